"""A performance as a Standard MIDI File.

Type 1, 960 ticks a quarter. Track 0 holds title, time signature, tempo and a marker for every bar; then
one track for each part that sounds, all on channel 10. Ticks are rounded from absolute places, then
differenced, so that nothing drifts. Source: MIDI Manufacturers Association, Standard MIDI Files 1.0 (RP-001).
"""

from bisect import bisect_right
from collections.abc import Iterator, Sequence
from fractions import Fraction
from io import BytesIO

import mido

from grooves.performance import BarMark, Performance
from grooves.rhythm import Meter
from render.soundfont.synth import HIT_SECONDS

TICKS_PER_QUARTER = 960
DRUM_CHANNEL = 9  # channel 10, counted from 0

Timed = tuple[int, mido.Message]  # absolute tick, message


def midi_bytes(performance: Performance, velocities: Sequence[int], program: int | None = None) -> bytes:
    """Write a performance as MIDI: `midi_bytes(performance, velocities)[:4]` is b"MThd".

    `velocities` belong to `performance.hits` one by one; `program` is the drum kit to ask for (none: leave it).
    """
    file = mido.MidiFile(type=1, ticks_per_beat=TICKS_PER_QUARTER, charset="utf-8")
    end = _tick(performance.bars[-1].onset_quarters + performance.bars[-1].quarters)
    file.tracks.append(_track(performance.title, _conductor(performance), end))
    for part in performance.parts:
        file.tracks.append(_track(part, _part(part, performance, velocities, program), end))
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
    yield from _tempos(performance.bars)
    for bar in performance.bars:
        yield _tick(bar.onset_quarters), mido.MetaMessage("marker", text=bar.label)


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
        yield on, _note("note_on", hit.key, velocity)
        yield max(off, on + 1), _note("note_off", hit.key, 0)


def _note(kind: str, key: int, velocity: int) -> mido.Message:
    """Not checked by mido, which would take most of the time; keys and velocities come from tables of ours."""
    return mido.Message(kind, skip_checks=True, channel=DRUM_CHANNEL, note=key, velocity=velocity)


def _held_ticks(bar: BarMark) -> int:
    return round(HIT_SECONDS * bar.quarters_per_minute / 60 * TICKS_PER_QUARTER)
