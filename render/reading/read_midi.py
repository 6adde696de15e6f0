"""One line of rhythm from a Standard MIDI File: which part, and its notes on the nearest written grid.

Ticks become quarters; `render.reading.quantize` finds the grid. Our own files carry a marker for every bar: the
count-in is left out, and the line is read once, where the part first plays it. Velocities are not read as accents.
Sources: MIDI 1.0 Detailed Specification, Standard MIDI Files 1.0 (no tempo: 120; markers in the first track);
General MIDI 1 (channel 10 is percussion, one key a drum).
"""

import re
from bisect import bisect_left, bisect_right
from collections import Counter
from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction

from grooves.errors import LessonError
from grooves.kit import HELPERS, PARTS
from grooves.rhythm import Meter
from render.files.midi_file import MidiNote, MidiSong, MidiTrack, open_midi
from render.reading.imported_line import ImportedLine
from render.reading.lengths import lay_out
from render.reading.midi_report import reading_report
from render.reading.parts import (
    DRUM_KEYS,
    LONGEST_LINE_BARS,
    choice,
    listed,
    matching,
    numbered,
    pick,
    shown,
    unknown_part,
)
from render.reading.played import PlayedNote
from render.reading.quantize import quantize

DRUM_CHANNEL = 9
EARLY = Fraction(1, 8)  # quarters: a note this little before a bar may be an early one in it
MOST_NOTES = 20_000


def bars_from_midi(data: bytes, meter: Meter, part: str | int | None = None) -> ImportedLine:
    """Read a line from a MIDI file's bytes: `bars_from_midi(data, Meter(4, 4), "snare").bars`.

    `part` is a track's name or number, a drum's name, or "key 45". Raises LessonError with bar and beat.
    """
    song = open_midi(data)
    _check_meters(song, meter)
    chosen = _choose(song, part)
    if len(chosen.notes) > MOST_NOTES:
        raise LessonError(f"has {len(chosen.notes)} notes in one part; a line has at most {MOST_NOTES}")
    played, bars, told = _from_bar_one(song, chosen, meter)
    quantized = quantize(played, meter, Fraction(1, song.division), _others(song, chosen))
    laid = lay_out(quantized, meter, bars)
    silent = 0 if bars else next((i for i, bar in enumerate(laid) if any(s.kind == "struck" for s in bar)), 0)
    names = [track.name for track in _sounding(song)]
    return ImportedLine(
        laid[silent:],
        (
            *([f"parts: {listed(names)}; read: {shown(chosen.name)}"] if len(names) > 1 else []),
            *([told] if told else []),
            *([f"{silent} empty bars before the first note are left out"] if silent else []),
            *reading_report(quantized, meter, silent),
        ),
    )


# --- the part -----------------------------------------------------------------------------------


def _check_meters(song: MidiSong, meter: Meter) -> None:
    """Refuse a time signature that is not the groove's; a file that says none is taken at the groove's."""
    for tick, count, power in song.meters:
        same = (count, power) == (meter.count, meter.unit.bit_length() - 1)
        if not same and not ((count, power) == (2, 1) and meter == Meter(4, 4)):
            found = f"{count}/{2**power}" if power < 8 else "no known meter"
            bar = int(Fraction(tick, song.division) // meter.length) + 1
            raise LessonError(f"bar {bar} is in {found}, but the groove is in {meter}; every bar must be in its meter")


def _sounding(song: MidiSong) -> list[MidiTrack]:
    """The tracks with notes; beside others, count-in and click are nobody's line."""
    sounding = [track for track in song.tracks if track.notes]
    return [track for track in sounding if track.name not in HELPERS] or sounding


def _choose(song: MidiSong, part: str | int | None) -> MidiTrack:
    tracks = _sounding(song)
    if not tracks:
        raise LessonError("there are no notes in it")
    names = [track.name for track in tracks]
    number = numbered(part)
    exact = matching(names, part) if isinstance(part, str) else None
    if exact is not None:
        return _one_drum(tracks[exact])
    if number is not None:
        return _one_drum(tracks[pick(names, number)])
    if isinstance(part, str):
        return _by_drum(tracks, part)
    if len(tracks) > 1:
        raise LessonError(f"{len(tracks)} tracks have notes ({listed(names)}); choose one: {choice(names, 0)}")
    return _one_drum(tracks[0])


def _is_drum(note: MidiNote) -> bool:
    return note.channel == DRUM_CHANNEL


def _one_drum(track: MidiTrack) -> MidiTrack:
    """The track, unless it holds several drums: everyone's strokes are nobody's line."""
    keys = sorted({note.key for note in track.notes if _is_drum(note)})
    names = list(dict.fromkeys(map(_drum_name, keys)))
    if len(names) > 1:
        raise LessonError(f'the track holds {len(names)} drums ({", ".join(names)}); choose one: part = "{names[0]}"')
    return track


def _drum_name(key: int) -> str:
    return next((name for name, keys in DRUM_KEYS.items() if key in keys), f"key {key}")


def _by_drum(tracks: Sequence[MidiTrack], wanted: str) -> MidiTrack:
    """All strokes of one drum: on the drum channel where there is one, else by its key on any."""
    word = " ".join(wanted.casefold().split())
    drums = any(_is_drum(note) for track in tracks for note in track.notes)
    notes = [note for track in tracks for note in track.notes if _is_drum(note) or not drums]
    mine = tuple(note for note in notes if _drum_name(note.key) == word or word == f"key {note.key}")
    if not mine:
        there = dict.fromkeys(_drum_name(note.key) for note in notes)
        raise unknown_part(wanted, [track.name for track in tracks], [*there, *(() if drums else PARTS)])
    return MidiTrack(word, mine)


# --- bars and seconds ---------------------------------------------------------------------------


def _from_bar_one(song: MidiSong, track: MidiTrack, meter: Meter) -> tuple[list[PlayedNote], int, str]:
    """The notes from the line's first downbeat, how many bars the markers say, and what to report of them."""
    marks = _bar_marks(song, meter)
    played = _played(song, track)
    if not marks:
        last = max(note.onset for note in played)
        if last >= LONGEST_LINE_BARS * meter.length:
            raise LessonError(
                f"its last note is in bar {int(last // meter.length) + 1}; a line has at most {LONGEST_LINE_BARS}"
            )
        return played, 0, ""
    played = sorted(played, key=lambda note: note.onset)
    onsets = [note.onset for note in played]
    passes = _passes(marks)
    if len(passes[0]) > LONGEST_LINE_BARS:
        raise LessonError(f"its markers count {len(passes[0])} bars; a line has at most {LONGEST_LINE_BARS}")
    for turn in passes:
        if within := _within(played, onsets, turn, meter):
            return within, len(turn), f"read once by its bar markers: {len(turn)} of {len(marks)} bars"
    raise LessonError("has no notes in the bars that its markers count; export the line again, without markers")


def _bar_marks(song: MidiSong, meter: Meter) -> list[tuple[str, Fraction]]:
    """The markers `bar 1`, `bar 2` … of a file like ours, if they stand on barlines as ours do."""
    marks = [
        (text, Fraction(tick, song.division)) for tick, text in song.markers if re.fullmatch(r"bar [1-9]\d{0,3}", text)
    ]
    steady = all((place - marks[0][1]) % meter.length == 0 for _, place in marks)
    return sorted(dict.fromkeys(marks), key=lambda mark: mark[1])[:MOST_NOTES] if steady else []


def _passes(marks: Sequence[tuple[str, Fraction]]) -> list[list[Fraction]]:
    """Where each bar begins, the first time through, the second time, and so on."""
    times: Counter[str] = Counter()
    passes: list[list[Fraction]] = []
    for label, place in marks:
        if times[label] == len(passes):
            passes.append([])
        passes[times[label]].append(place)
        times[label] += 1
    return passes


def _others(song: MidiSong, chosen: MidiTrack) -> tuple[list[Fraction], list[Fraction]]:
    """Onsets in the file of the other drums, which show whether it swings, and of this one."""
    mine = {(note.tick, note.key) for note in chosen.notes}
    others = (note for track in _sounding(song) for note in track.notes if _is_drum(note))
    found = [Fraction(note.tick, song.division) for note in others if (note.tick, note.key) not in mine]
    return found[:MOST_NOTES], [Fraction(tick, song.division) for tick, _ in mine]


def _within(
    notes: Sequence[PlayedNote], onsets: Sequence[Fraction], bars: Sequence[Fraction], meter: Meter
) -> list[PlayedNote]:
    """The notes of these bars, moved so that they stand side by side from 0; early notes belong to their beat.

    Our note-offs only let the drum ring, so they say nothing of written lengths.
    """
    found = []
    for index, start in enumerate(bars):
        low, high = (bisect_left(onsets, edge - EARLY) for edge in (start, start + meter.length))
        found += [
            replace(note, onset=note.onset - start + index * meter.length, length=None) for note in notes[low:high]
        ]
    return found


def _played(song: MidiSong, track: MidiTrack) -> list[PlayedNote]:
    """Ticks as quarters, each with the tempo that holds there; 120 where the file says none."""
    tempos = [(0, 500_000), *sorted(song.tempos)]
    ticks = [tick for tick, _ in tempos]
    return [
        PlayedNote(
            Fraction(note.tick, song.division),
            None if note.end_tick is None else Fraction(note.end_tick - note.tick, song.division),
            tempos[bisect_right(ticks, note.tick) - 1][1] / 1e6,
            note.velocity,
        )
        for note in track.notes
    ]
