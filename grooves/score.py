"""Groove and line together, as written: every stroke at its exact place, straight eighths and all.

A `Score` is paper. It knows no seconds, no swing and no deviation; those come in `grooves.performance`.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import cached_property
from itertools import pairwise
from math import lcm
from typing import Literal

from grooves.errors import LessonError
from grooves.groove import Groove, swings
from grooves.kit import HANDS, INSTRUMENTS, LIMBS, PARTS, Handedness, mirrored
from grooves.line import Assigned, PlayedOn, RehearsalLetter, assign, fill_gaps
from grooves.notes import line_notes
from grooves.players import Band, ChordMark
from grooves.rhythm import Bar, Meter, place_name

Role = Literal["time", "line", "gaps"]


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
    spread: float = 1.0  # share of the lesson's level deviation; feathered strokes are more even


@dataclass(frozen=True)
class ScoreBar:
    """One bar as played: its number in the line, the line as printed, and all strokes in order of time."""

    number: int
    line: Bar
    strokes: tuple[Stroke, ...]
    groove_alone: tuple[Stroke, ...]  # what all limbs play while nobody reads
    chords: tuple[ChordMark, ...] = ()  # the band's, the first time through


@dataclass(frozen=True)
class Pickup:
    """What is read before bar 1: its places are those of the bar that it ends, whichever bar that is.

    `strokes` has a row for each reading of the choruses. A pickup of an eighth in 4/4 starts on 7/2.
    """

    line: Bar
    strokes: tuple[tuple[Stroke, ...], ...]

    @property
    def start(self) -> Fraction:
        """Where it begins in its bar."""
        return self.line[0].onset

    def before(self, bar: ScoreBar | None, groove_alone: bool, reading: int) -> tuple[Stroke, ...]:
        """What sounds in the bar before bar 1, the pickup with it: `pickup.before(None, False, 0)` in a count-in.

        In a bar of the groove the limbs that read leave their pattern. A bar whose own line sounds that late has no
        room: then the pickup is left out.
        """
        own = self.strokes[reading]
        there = () if bar is None else bar.groove_alone if groove_alone else bar.strokes
        limbs = {stroke.limb for stroke in own}
        free = [stroke for stroke in there if stroke.onset < self.start or stroke.limb not in limbs]
        room = all(stroke.role == "time" for stroke in there if stroke.onset >= self.start)
        return _in_order([*free, *own]) if room else there


@dataclass(frozen=True)
class Score:
    """A lesson on paper: `score.bars[0].strokes` are the strokes of the first bar.

    `bars` runs once through the line with every repeat written out; where the choruses are read in
    different ways (`played_on`), once for each way.
    """

    title: str
    groove: Groove
    tempo_bpm: float
    bars: tuple[ScoreBar, ...]
    played_on: tuple[PlayedOn, ...]
    repeat_each: int = 1
    readings: int = 1  # choruses that differ
    band: Band | None = None  # who plays along
    pickup: Pickup | None = None  # read before bar 1
    letters: tuple[RehearsalLetter, ...] = ()  # in the order of their bars

    @property
    def meter(self) -> Meter:
        """The meter of every bar."""
        return self.groove.meter

    @property
    def chorus_length(self) -> int:
        """Bars in one chorus, repeats included."""
        return len(self.bars) // self.readings

    def letter_over(self, number: int) -> str:
        """The letter that stands over a bar, by its number, "" for none: `score.letter_over(9)` is "B"."""
        return next((one.letter for one in self.letters if one.bar == number), "")

    def readers_of(self, number: int, reading: int) -> tuple[PlayedOn, ...]:
        """Who reads a bar in one of the readings: `score.readers_of(9, 0)`; with lines in turn, who reads its line."""
        lines = [one.readers for one in self.letters if one.readers and one.bar <= max(number, 1)]
        ways = self.played_on if self.readings == 1 else self.played_on[reading : reading + 1]
        return lines[-1] if lines else ways

    def pickup_leads_to(self, index: int) -> bool:
        """Whether a bar, by its index, is one that the pickup is read before: the first of each reading."""
        return self.pickup is not None and index % self.chorus_length == 0

    @cached_property
    def parts(self) -> tuple[str, ...]:
        """The parts that play while the line is read, from the top of the staff down."""
        played = {stroke.part for bar in self.bars for stroke in bar.strokes}
        return tuple(part for part in PARTS if part in played)

    @cached_property
    def limbs(self) -> tuple[str, ...]:
        """The limbs that play while the line is read, hands first."""
        played = {stroke.limb for bar in self.bars for stroke in bar.strokes}
        return tuple(limb for limb in LIMBS if limb in played)


def write_score(
    title: str,
    groove: Groove,
    tempo_bpm: float,
    line: Sequence[Bar],
    played_on: Sequence[PlayedOn],
    chosen: Sequence[int] = (),
    repeat_each: int = 1,
    turns: Literal["chorus", "bar"] = "chorus",
    kit: Handedness = "right-handed",
    reads_with: str = "",
    pickup: Bar = (),
    start: int = 0,
) -> Score:
    """Set a line over a groove: `write_score("x", groove, 120, bars, [PlayedOn("snare", "snare")])`.

    The groove swings as it is to be played: a lesson's own swing is put into it before.

    `chosen` are 1-based bar numbers (none: all). Several ways of `played_on` take turns by chorus or by bar.
    `kit="left-handed"` swaps right and left. The hand that keeps the ride goes on, the other one reads, unless
    `reads_with` names a hand. A bar that is repeated in a row begins with a stroke where a tie came from the bar
    before. A `pickup` is read before bar 1, where that is the first bar chosen. With `start=3` the groove's pattern
    has come three bars far already. Raises LessonError where one limb has two instruments at once.
    """
    if reads_with and kit == "left-handed":
        reads_with = mirrored(reads_with)  # as seen on the kit that is mirrored below
    played_on = [with_hands(reading, groove, reads_with) for reading in played_on]
    if repeat_each > 1:
        line = [_struck_first(bar) for bar in line]
    numbers = [number for number in (chosen or range(1, len(line) + 1)) for _ in range(repeat_each)]
    notes = [replace(note, bar=note.bar - 1) for note in line_notes([pickup, *line])]
    read = {reading: _by_bar(assign(notes, reading)) for reading in played_on}
    choruses = [list(played_on)] if turns == "bar" else [[reading] for reading in played_on]
    cycle = lcm(*(len(part.bars) for part in groove.parts))
    written: dict[tuple[int, int, PlayedOn], ScoreBar] = {}  # bars that are played alike are written once
    bars: list[ScoreBar] = []
    for ways in choruses:
        for place, number in enumerate(numbers):
            once = number, (start + place) % cycle, ways[place % len(ways)]
            if once not in written:
                own = read[once[2]].get(number - 1, [])
                written[once] = _write_bar(groove, line[number - 1], number, start + place, once[2], own)
            bars.append(written[once])
    if kit == "left-handed":
        mirror = {id(bar): _mirrored_bar(bar) for bar in written.values()}
        groove, bars = mirrored_groove(groove), [mirror[id(bar)] for bar in bars]
    before = _pickup(pickup, [read[ways[0]].get(-1, []) for ways in choruses], kit) if numbers[0] == 1 else None
    return Score(title, groove, tempo_bpm, tuple(bars), tuple(played_on), repeat_each, len(choruses), pickup=before)


def in_turn(scores: Sequence[Score], before: Sequence[int]) -> Score:
    """Several lines one after another, as one score: `in_turn([first, second], [0, 8])`.

    The second one's bars go on from number 9. All are over one groove and read in one way each chorus.
    """
    bars = [
        replace(bar, number=bar.number + offset)
        for score, offset in zip(scores, before, strict=True)
        for bar in score.bars
    ]
    readers = tuple(dict.fromkeys(way for score in scores for way in score.played_on))
    return replace(scores[0], bars=tuple(bars), played_on=readers)


def _pickup(line: Bar, read: Sequence[Sequence[Assigned]], kit: Handedness) -> Pickup | None:
    if not line:
        return None
    rows = [_in_order([_line_stroke(one) for one in reading]) for reading in read]
    return Pickup(line, tuple(map(_mirrored, rows)) if kit == "left-handed" else tuple(rows))


def _by_bar(assigned: Sequence[Assigned]) -> dict[int, list[Assigned]]:
    found: dict[int, list[Assigned]] = {}
    for one in assigned:
        found.setdefault(one.note.bar, []).append(one)
    return found


CYMBALS = ("ride", "ride bell", "closed hi-hat", "open hi-hat")  # what a hand keeps time on


def with_hands(reading: PlayedOn, groove: Groove, reads_with: str = "") -> PlayedOn:
    """Say which hand strikes each drum of the line: over an open-handed groove the right hand reads on the snare."""
    if reading.alternate:
        return reading
    limbs = {name: _limb(name, groove) for name in (*reading.instruments, reading.gaps) if name}
    if reads_with:  # a hand that fills gaps elsewhere changes with it
        turned = any(limb == mirrored(reads_with) for name, limb in limbs.items() if name in reading.instruments)
        limbs = {name: mirrored(limb) if turned and limb in HANDS else limb for name, limb in limbs.items()}
    hands = tuple((name, limb) for name, limb in limbs.items() if limb != INSTRUMENTS[name].limb)
    return replace(reading, hands=hands)


def _limb(instrument: str, groove: Groove) -> str:
    """Who strikes an instrument of the line: who plays it in time, else its usual limb, else the hand left free."""
    own = next((part.limb for part in groove.parts if part.instrument == instrument), INSTRUMENTS[instrument].limb)
    keeping = {part.limb for part in groove.parts if part.instrument in CYMBALS and part.limb in HANDS}
    return mirrored(own) if keeping == {own} and instrument not in CYMBALS else own


def _struck_first(bar: Bar) -> Bar:
    """The bar by itself: what is tied into it is struck, or nothing would sound when it comes again."""
    first, *others = bar
    return (replace(first, kind="struck"), *others) if first.kind == "held" else bar


def mirrored_groove(groove: Groove) -> Groove:
    """The groove on a left-handed kit: right and left swapped."""
    return replace(groove, parts=tuple(replace(part, limb=mirrored(part.limb)) for part in groove.parts))


def _mirrored_bar(bar: ScoreBar) -> ScoreBar:
    return replace(bar, strokes=_mirrored(bar.strokes), groove_alone=_mirrored(bar.groove_alone))


def _mirrored(strokes: Sequence[Stroke]) -> tuple[Stroke, ...]:
    return tuple(replace(stroke, limb=mirrored(stroke.limb)) for stroke in strokes)


def _write_bar(
    groove: Groove, own: Bar, number: int, place: int, reading: PlayedOn, read: Sequence[Assigned]
) -> ScoreBar:
    read = [*read, *fill_gaps(own, number - 1, reading, groove.meter, triplets=swings(groove))]
    time = _time_strokes(groove, place)
    free = [stroke for stroke in time if stroke.limb not in reading.limbs]
    bar = ScoreBar(number, own, _in_order([*free, *map(_line_stroke, read)]), _in_order(time))
    _check_limbs(bar, groove.meter)
    return bar


def with_band(score: Score, band: Band) -> Score:
    """The same score with a band, its chords over the bars: `with_band(score, band).bars[0].chords`."""
    length = score.chorus_length
    bars = tuple(replace(bar, chords=band.chords(index % length)) for index, bar in enumerate(score.bars))
    return replace(score, bars=bars, band=band)


def _in_order(strokes: Sequence[Stroke]) -> tuple[Stroke, ...]:
    return tuple(sorted(strokes, key=lambda stroke: (stroke.onset, stroke.limb, stroke.instrument)))


def _time_strokes(groove: Groove, place: int) -> list[Stroke]:
    """What the limbs play in the bar at this place of the chorus, while nobody reads."""
    return [
        Stroke(
            stroke.onset,
            stroke.length,
            part.name,
            part.limb,
            part.instrument,
            accent_lu=stroke.accent_lu,
            spread=part.spread,
        )
        for part in groove.parts
        for stroke in part.bars[place % len(part.bars)]
    ]


def _line_stroke(assigned: Assigned) -> Stroke:
    note = assigned.note
    role: Role = "gaps" if assigned.gap else "line"
    name = assigned.instrument
    return Stroke(note.onset, note.length, name, assigned.limb, name, role, accented=note.accent)


def _check_limbs(bar: ScoreBar, meter: Meter) -> None:
    for before, after in (*pairwise(bar.strokes), *pairwise(bar.groove_alone)):
        if (before.onset, before.limb) == (after.onset, after.limb):
            raise LessonError(
                f"bar {bar.number}, beat {place_name(after.onset, meter)}: the {after.limb} would play "
                f"{before.instrument} and {after.instrument} at once"
            )
