"""The door for Standard MIDI Files from anywhere: bytes in, notes and the few events that lines and takes need out.

Every length and number is checked against the bytes that are there before it is believed, so that reading takes time
in proportion to the file. (mido gathers a number of any length in one integer, so that a damaged file takes time by
the square of its size; mido checks this reader in the tests.) Sources: MIDI 1.0 Detailed Specification, Standard MIDI
Files 1.0: chunks, variable-length numbers of at most four bytes, running status, unknown chunks to be passed over.
"""

import struct
from collections import deque
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import groupby

from grooves.errors import LessonError

LARGEST_FILE = 1_000_000
MOST_TRACKS = 200
_NAME, _MARKER, _END, _TEMPO, _METER = 0x03, 0x06, 0x2F, 0x51, 0x58
_DAMAGED = "is damaged or cut short; export it again"


@dataclass(frozen=True)
class MidiNote:
    """A note in ticks: `end_tick` is None where the file never ends it."""

    tick: int
    end_tick: int | None
    channel: int  # 0 to 15
    key: int
    velocity: int = 64


@dataclass(frozen=True)
class MidiTrack:
    """The notes of one track, in order of time."""

    name: str
    notes: tuple[MidiNote, ...]


@dataclass(frozen=True)
class MidiSong:
    """What is read of a file; `division` is ticks a quarter, tempos are microseconds a quarter."""

    division: int
    tracks: tuple[MidiTrack, ...]
    tempos: tuple[tuple[int, int], ...]
    meters: tuple[tuple[int, int, int], ...]  # tick, count, power of two
    markers: tuple[tuple[int, str], ...]


@dataclass(frozen=True)
class MidiEvent:
    """A message at its tick: a status with data bytes, or a meta event (`status` 0xFF) with its kind."""

    tick: int
    status: int
    data: bytes
    kind: int = -1


def open_midi(data: bytes) -> MidiSong:
    """Read a file's bytes: `open_midi(data).tracks[0].notes[0].tick`. Raises LessonError for a damaged or odd one."""
    if len(data) > LARGEST_FILE:
        raise LessonError(f"holds {len(data) / 1e6:.0f} MB; at most 1 MB is read, so export one track alone")
    kind, division, chunks = _chunks(data)
    tracks = [tuple(events(chunk)) for chunk in chunks]
    flat = [event for track in tracks for event in track if event.status == 0xFF]
    return MidiSong(
        division,
        tuple(_split(tracks[0]) if kind == 0 else map(_track, tracks)),
        _tempos(flat),
        tuple((e.tick, e.data[0], e.data[1]) for e in flat if e.kind == _METER and len(e.data) == 4),
        tuple((e.tick, _text(e.data)) for e in flat if e.kind == _MARKER),
    )


def _tempos(flat: Sequence[MidiEvent]) -> tuple[tuple[int, int], ...]:
    """Those that there are: at 0 microseconds a quarter nothing can be played, so the tempo before it holds on."""
    found = (
        (event.tick, int.from_bytes(event.data)) for event in flat if event.kind == _TEMPO and len(event.data) == 3
    )
    return tuple((tick, microseconds) for tick, microseconds in found if microseconds)


# --- chunks -------------------------------------------------------------------------------------


def _chunks(data: bytes) -> tuple[int, int, list[bytes]]:
    """Format, ticks a quarter, and the bytes of each track."""
    if not data.startswith(b"MThd"):
        raise LessonError("is not a Standard MIDI File; export it again as .mid")
    if len(data) < 14:
        raise LessonError(_DAMAGED)
    size, kind, count, division = struct.unpack(">IHHH", data[4:14])
    if size < 6 or size > len(data) - 8:
        raise LessonError(_DAMAGED)
    if kind > 1:
        raise LessonError(
            f"is a MIDI file of format {kind}, whose tracks are not one piece; export it as format 0 or 1"
        )
    if division & 0x8000:
        raise LessonError("counts film frames (SMPTE), not beats; export it with ticks per quarter")
    if not division:
        raise LessonError("has 0 ticks per quarter, so no note has a place; export it again")
    if count > MOST_TRACKS or (kind == 0 and count != 1):
        raise LessonError(f"says it has {count} tracks; export one track alone")
    found = list(_track_chunks(data, 8 + size))[:count]
    if len(found) < count or not found:
        raise LessonError(f"says it has {count} tracks, but {len(found)} are there; export it again")
    return kind, division, found


def _track_chunks(data: bytes, at: int) -> Iterator[bytes]:
    while at + 8 <= len(data):
        name, size = data[at : at + 4], int.from_bytes(data[at + 4 : at + 8])
        at += 8
        if size > len(data) - at:
            raise LessonError(f"has a part that says {size} bytes where {len(data) - at} are left; export it again")
        if name == b"MTrk":
            yield data[at : at + size]
        at += size


# --- events -------------------------------------------------------------------------------------


def events(chunk: bytes) -> Iterator[MidiEvent]:
    """The events of one track's bytes: `next(events(bytes.fromhex("00 FF 2F 00"))).kind` is 0x2F."""
    at = tick = running = 0
    while at < len(chunk):
        delta, at = _number(chunk, at)
        tick += delta
        status = chunk[at] if at < len(chunk) else 0
        if status >= 0x80:
            at += 1
        else:
            status = running
        if status in (0xF0, 0xF7, 0xFF):
            kind = chunk[at] if status == 0xFF and at < len(chunk) else -1
            size, at = _number(chunk, at + (status == 0xFF))
            running = 0  # these end running status
        elif 0x80 <= status < 0xF0:
            kind, size, running = -1, (1 if 0xC0 <= status < 0xE0 else 2), status
        else:
            raise LessonError(_DAMAGED)
        content = chunk[at : at + size]
        at += size
        if len(content) < size or (status < 0xF0 and any(byte > 0x7F for byte in content)):
            raise LessonError(_DAMAGED)
        yield MidiEvent(tick, status, content, kind)
        if kind == _END:
            return


def _number(chunk: bytes, at: int) -> tuple[int, int]:
    """A variable-length number, and where it ends."""
    value = 0
    for byte in chunk[at : at + 4]:
        at += 1
        value = value << 7 | byte & 0x7F
        if byte < 0x80:
            return value, at
    raise LessonError(_DAMAGED)


# --- notes --------------------------------------------------------------------------------------


def _track(track: tuple[MidiEvent, ...]) -> MidiTrack:
    name = next((_text(event.data) for event in track if event.kind == _NAME), "")
    return MidiTrack(name, _notes(track))


def _split(track: tuple[MidiEvent, ...]) -> list[MidiTrack]:
    """The one track of format 0, parted by channel."""
    whole = _track(track)
    by_channel = sorted(whole.notes, key=lambda note: note.channel)
    groups = [(channel, tuple(notes)) for channel, notes in groupby(by_channel, key=lambda note: note.channel)]
    if len(groups) < 2:
        return [whole]
    return [MidiTrack(f"channel {channel + 1}", notes) for channel, notes in groups]


def _notes(track: tuple[MidiEvent, ...]) -> tuple[MidiNote, ...]:
    """Note-ons with their ends; the oldest open note of a key ends first."""
    notes: list[MidiNote] = []
    sounding: dict[tuple[int, int], deque[int]] = {}
    for event in track:
        if not 0x80 <= event.status < 0xA0:
            continue
        channel, (key, velocity) = event.status & 0x0F, event.data
        started = sounding.setdefault((channel, key), deque())
        if event.status >= 0x90 and velocity:
            started.append(len(notes))
            notes.append(MidiNote(event.tick, None, channel, key, velocity))
        elif started:
            index = started.popleft()
            notes[index] = replace(notes[index], end_tick=event.tick)
    return tuple(notes)


def _text(data: bytes) -> str:
    """A name in a file: the format says ASCII, programs write UTF-8 or Latin-1."""
    try:
        return data.decode("utf-8").strip()
    except UnicodeDecodeError:
        return data.decode("latin-1").strip()
