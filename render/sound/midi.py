"""A performance as a Standard MIDI File.

Type 1, 960 ticks a quarter. Track 0 holds title, time signature, tempo and a marker for every bar, with one more for a
rehearsal letter (what RP-001 names markers for); then one track for each part that sounds, drums on channel 10, the
band's parts on 1, 2 and 3. Ticks are rounded from absolute places, then
differenced, so that nothing drifts. Source: MIDI Manufacturers Association, Standard MIDI Files 1.0 (RP-001).
"""

from bisect import bisect_right
from collections.abc import Iterable, Iterator, Sequence
from fractions import Fraction
from io import BytesIO

import mido

from grooves.kit import BAND
from grooves.performance import BarMark, Note, Performance
from grooves.rhythm import Meter
from render.soundfont.synth import HIT_SECONDS

TICKS_PER_QUARTER = 960
DRUM_CHANNEL = 9  # channel 10, counted from 0

Timed = tuple[int, mido.Message]  # absolute tick, message


def midi_bytes(performance: Performance, velocities: Sequence[int], program: int | None = None) -> bytes:
    """Write a performance as MIDI: `midi_bytes(performance, velocities)[:4]` is b"MThd".

    `velocities` belong to `performance.hits` one by one, then to its notes; `program` is the drum kit to ask for (none:
    leave it).
    """
    file = mido.MidiFile(type=1, ticks_per_beat=TICKS_PER_QUARTER, charset="utf-8")
    end = _tick(performance.bars[-1].onset_quarters + performance.bars[-1].quarters)
    file.tracks.append(_track(performance.title, _conductor(performance), end))
    hits = len(performance.hits)
    for part in performance.parts:
        if part in BAND:
            timed = _band_part(part, zip(performance.notes, velocities[hits:], strict=True))
        else:
            timed = _part(part, performance, velocities[:hits], program)
        file.tracks.append(_track(part, timed, end))
    data = BytesIO()
    file.save(file=data)
    return data.getvalue()


def _tick(quarters: Fraction) -> int:
    return round(quarters * TICKS_PER_QUARTER)


def _track(name: str, timed: Iterator[Timed], end: int) -> mido.MidiTrack:
    """Difference absolute ticks into a track that lasts to `end`, note-offs before note-ons."""
    track = mido.MidiTrack([mido.MetaMessage("track_name", name=name, time=0)])
    now = 0
    for tick, message in sorted(timed, key=lambda one: (one[0], one[1].type == "note_on")):
        message.time = tick - now
        track.append(message)
        now = tick
    track.append(mido.MetaMessage("end_of_track", time=max(end - now, 0)))
    return track


def _conductor(performance: Performance) -> Iterator[Timed]:
    yield 0, _time_signature(performance.meter)
    if performance.key_signature:
        yield 0, mido.MetaMessage("key_signature", key=performance.key_signature)
    yield from _tempos(performance.bars)
    for bar in performance.bars:
        for text in filter(None, (bar.letter, bar.label)):
            yield _tick(bar.onset_quarters), mido.MetaMessage("marker", text=text)


def _time_signature(meter: Meter) -> mido.MetaMessage:
    """`FF 58`: 24 MIDI clocks to a quarter click, 36 to a dotted one."""
    clocks = int(24 * (meter.pulse if meter.unit >= 8 else meter.step))
    return mido.MetaMessage(
        "time_signature",
        numerator=meter.count,
        denominator=meter.unit,
        clocks_per_click=clocks,
        notated_32nd_notes_per_beat=8,
    )


def _tempos(bars: Sequence[BarMark]) -> Iterator[Timed]:
    """Tempo in whole microseconds a quarter, mended for one bar whenever that rounding adds up to half a tick."""
    written, clock_seconds = 0, 0.0
    for bar in bars:
        wanted = round(60e6 / bar.quarters_per_minute)
        half_tick_seconds = 30 / bar.quarters_per_minute / TICKS_PER_QUARTER
        if abs(clock_seconds - bar.onset_seconds) > half_tick_seconds:
            wanted = round((bar.onset_seconds + bar.seconds - clock_seconds) * 1e6 / float(bar.quarters))
        if wanted != written:
            yield _tick(bar.onset_quarters), mido.MetaMessage("set_tempo", tempo=wanted)
            written = wanted
        clock_seconds += written * 1e-6 * float(bar.quarters)


def _part(part: str, performance: Performance, velocities: Sequence[int], program: int | None) -> Iterator[Timed]:
    if program is not None:
        yield 0, mido.Message("program_change", channel=DRUM_CHANNEL, program=program)
    struck = [(hit, v) for hit, v in zip(performance.hits, velocities, strict=True) if hit.part == part]
    bar_starts = [float(bar.onset_quarters) for bar in performance.bars]
    next_on: dict[int, int] = {}
    for hit, velocity in reversed(struck):
        on = max(_tick(hit.onset_quarters), 0)  # nothing before the file begins
        bar = performance.bars[max(bisect_right(bar_starts, float(hit.onset_quarters)) - 1, 0)]
        off = min(on + _held_ticks(bar), next_on.get(hit.key, on + 2**28))
        next_on[hit.key] = on
        yield from _note(DRUM_CHANNEL, hit.key, velocity, on, off)


def _band_part(part: str, played: Iterable[tuple[Note, int]]) -> Iterator[Timed]:
    """A pitched part on its own channel, as long as its notes are; one on a key ends where the next begins."""
    channel, next_on = BAND.index(part), dict[int, int]()
    own = sorted((one for one in played if one[0].part == part), key=lambda one: one[0].onset_quarters)
    yield 0, mido.Message("program_change", channel=channel, program=own[0][0].program)
    for note, velocity in reversed(own):
        on = max(_tick(note.onset_quarters), 0)
        off = min(_tick(note.onset_quarters + note.length_quarters), next_on.get(note.key, on + 2**28))
        next_on[note.key] = on
        yield from _note(channel, note.key, velocity, on, off)


def _note(channel: int, key: int, velocity: int, on: int, off: int) -> Iterator[Timed]:
    """Not checked by mido, which would take most of the time; keys and velocities come from tables of ours."""
    for tick, kind, loud in ((on, "note_on", velocity), (max(off, on + 1), "note_off", 0)):
        yield tick, mido.Message(kind, skip_checks=True, channel=channel, note=key, velocity=loud)


def _held_ticks(bar: BarMark) -> int:
    return round(HIT_SECONDS * bar.quarters_per_minute / 60 * TICKS_PER_QUARTER)
