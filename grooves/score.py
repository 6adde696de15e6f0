"""Groove and line together, as written: every stroke at its exact place, straight eighths and all.

A `Score` is paper. It knows no seconds, no swing and no deviation; those come in `grooves.performance`.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise
from typing import Literal

from grooves.groove import Groove
from grooves.line import Assigned, PlayedOn, assign, fill_gaps, line_notes
from grooves.mistake import Mistake
from grooves.rhythm import Bar, Meter, place_name

Role = Literal["time", "line", "fill"]


@dataclass(frozen=True)
class Stroke:
    """One stroke at its written place in its bar: `Stroke(Fraction(1), QUARTER, "ride", "right hand", "ride")`."""

    onset: Fraction
    length: Fraction  # as written, ties joined
    part: str
    limb: str
    instrument: str
    role: Role = "time"
    accent_lu: float = 0.0  # the groove's own accent or lightness
    accented: bool = False  # an accent written in the line


@dataclass(frozen=True)
class ScoreBar:
    """One bar as played: its number in the line, the line as printed, and all strokes in order of time."""

    number: int
    line: Bar
    strokes: tuple[Stroke, ...]


@dataclass(frozen=True)
class Score:
    """A lesson on paper: `score.bars[0].strokes` are the strokes of the first bar.

    `bars` runs once through the line with every repeat written out, once for each way of `played_on`.
    """

    title: str
    groove: Groove
    tempo_bpm: float
    bars: tuple[ScoreBar, ...]
    played_on: tuple[PlayedOn, ...]
    repeat_each: int = 1

    @property
    def meter(self) -> Meter:
        """The meter of every bar."""
        return self.groove.meter

    @property
    def chorus_length(self) -> int:
        """Bars in one chorus, repeats included."""
        return len(self.bars) // len(self.played_on)

    @property
    def parts(self) -> tuple[str, ...]:
        """The parts that play anywhere, from the top of the staff down."""
        from grooves.kit import PARTS

        played = {stroke.part for bar in self.bars for stroke in bar.strokes}
        return tuple(part for part in PARTS if part in played)

    def limb_of(self, part: str) -> str:
        """The limb that plays a part."""
        return next(s.limb for bar in self.bars for s in bar.strokes if s.part == part)


def write_score(
    title: str,
    groove: Groove,
    tempo_bpm: float,
    line: Sequence[Bar],
    played_on: Sequence[PlayedOn],
    chosen: Sequence[int] = (),
    repeat_each: int = 1,
) -> Score:
    """Set a line over a groove: `write_score("x", groove, 120, bars, [PlayedOn("snare", "snare")])`.

    `chosen` are 1-based bar numbers (none: all). Raises Mistake where one limb has two instruments at once.
    """
    numbers = [number for number in (chosen or range(1, len(line) + 1)) for _ in range(repeat_each)]
    bars: list[ScoreBar] = []
    for reading in played_on:
        read = assign(line_notes(line), reading)
        for place, number in enumerate(numbers):
            own = [assigned for assigned in read if assigned.note.bar == number - 1]
            bars.append(_write_bar(groove, line[number - 1], number, place, reading, own))
    return Score(title, groove, tempo_bpm, tuple(bars), tuple(played_on), repeat_each)


def _write_bar(
    groove: Groove, own: Bar, number: int, place: int, reading: PlayedOn, read: Sequence[Assigned]
) -> ScoreBar:
    triplets = groove.swing != "straight" and groove.meter.unit < 8
    read = [*read, *fill_gaps(own, number - 1, reading, groove.meter, triplets)]
    strokes = [*_time_strokes(groove, place, reading), *map(_line_stroke, read)]
    bar = ScoreBar(number, own, tuple(sorted(strokes, key=lambda s: (s.onset, s.limb, s.instrument))))
    _check_limbs(bar, groove.meter)
    return bar


def _time_strokes(groove: Groove, place: int, reading: PlayedOn) -> list[Stroke]:
    """What the limbs that do not read play in the bar at this place of the chorus."""
    return [
        Stroke(stroke.onset, stroke.length, part.name, part.limb, part.instrument, "time", stroke.accent_lu)
        for part in groove.parts
        if part.limb not in reading.limbs
        for stroke in part.bars[place % len(part.bars)]
    ]


def _line_stroke(assigned: Assigned) -> Stroke:
    note = assigned.note
    role: Role = "fill" if assigned.fill else "line"
    name = assigned.instrument
    return Stroke(note.onset, note.length, name, assigned.limb, name, role, accented=note.accent)


def _check_limbs(bar: ScoreBar, meter: Meter) -> None:
    for before, after in pairwise(bar.strokes):
        if (before.onset, before.limb) == (after.onset, after.limb):
            raise Mistake(
                f"bar {bar.number}, beat {place_name(after.onset, meter)}: the {after.limb} would play "
                f"{before.instrument} and {after.instrument} at once"
            )
