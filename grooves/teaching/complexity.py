"""How hard a rhythm is to read: two published measures and what they are made of.

Both measures look at the rhythm as written; swing changes how it sounds, not how it reads.
Conventions: places are `Fraction` quarters from the start of the bar, or whole steps of a grid;
a note lasts until the next stroke, as a drum stroke has no end of its own. What a note holds over
(`held_over`) goes by its written length instead, because that is what the eye meets.
Sources: syncopation: H. C. Longuet-Higgins and C. S. Lee, The Rhythmic Interpretation of Monophonic
Music, Music Perception 1(4), 1984, pp. 424-441. Weighted note-to-beat distance: F. Gómez, A. Melvin,
D. Rappaport and G. Toussaint, Mathematical Measures of Syncopation, BRIDGES 2005.
The trees of 5/4 (3 + 2) and 7/4 (4 + 3) are ours: the papers treat only even ones.
"""

from collections.abc import Collection, Mapping, Sequence
from fractions import Fraction
from functools import lru_cache
from itertools import groupby, pairwise
from math import lcm
from typing import NamedTuple

from grooves.fastest import FASTEST_PER_SECOND
from grooves.notes import line_notes
from grooves.rhythm import Bar, Meter
from grooves.teaching.beats import place_in_beat

# What one unit of each measure adds to a bar's difficulty. The weights are ours, set against an order of twenty bars
# made by hand (in the tests): a bar of upbeats outweighs running eighths, a held-over strong beat outweighs both, and
# a backbeat that falls with the hi-hat weighs little.
SYNCOPATION_WEIGHT = 1.0  # per level of the tree that a note comes early
HELP_WEIGHT = -0.75  # per level of it whose note falls together with another limb, which carries it
DISTANCE_WEIGHT = 1.0  # per unit of the weighted distance; running eighths give 1, upbeats 4
TIES_WEIGHT = 1.5  # per strong beat that a note from a weaker place holds over
PACE_WEIGHT = 0.4  # per change of pace
RESTS_WEIGHT = 0.6  # per rest before or between notes: a silence must be counted
SPEED_WEIGHT = 0.4  # per note and second
EFFORT_WEIGHT = 8.0  # for a limb at its fastest; half as fast costs a quarter of it
READING_QUARTERS_PER_MINUTE = 120.0  # where a rhythm stands alone, without a lesson and its tempo
IN_A_ROW = 3  # strokes whose pace makes a limb's effort: two alone are thrown as one


class Syncopation(NamedTuple):
    """A note whose stronger neighbour stays silent: `Syncopation(Fraction(3, 2), Fraction(2), 2)` is the & before 3."""

    note: Fraction
    over: Fraction
    strength: int  # levels between the two, 0 where both are equally strong


class Reading(NamedTuple):
    """What makes one bar hard to read: `read(notes, Fraction(4), Meter(4, 4)).syncopation` is a sum of strengths."""

    syncopations: tuple[Syncopation, ...]
    distance: Fraction  # weighted note-to-beat distance
    held: tuple[tuple[Fraction, Fraction], ...]  # (note, strong beat it holds over)
    notes: int
    helped: int  # the part of the syncopation whose notes fall together with another limb
    pace_changes: int
    rests: int

    @property
    def syncopation(self) -> int:
        """The sum of all strengths in the bar."""
        return sum(found.strength for found in self.syncopations)

    def points(self, notes_per_second: float, effort: float) -> float:
        """The weighted sum of the parts.

        1.0 syncopation - 0.75 of it that is helped + 1.0 distance + 1.5 ties + 0.4 changes of pace + 0.6 rests
        + 0.4 notes per second + 8.0 effort squared, `effort` being the share of a limb's fastest.
        """
        return (
            SYNCOPATION_WEIGHT * self.syncopation
            + HELP_WEIGHT * self.helped
            + DISTANCE_WEIGHT * float(self.distance)
            + TIES_WEIGHT * len(self.held)
            + PACE_WEIGHT * self.pace_changes
            + RESTS_WEIGHT * self.rests
            + SPEED_WEIGHT * notes_per_second
            + EFFORT_WEIGHT * effort**2
        )


Span = tuple[Fraction, Fraction]  # onset and written end of one note, both from the start of its bar


# --- how strong a place is ----------------------------------------------------------------------


@lru_cache(maxsize=64)
def tree_weights(count: int) -> tuple[int, ...]:
    """The strength of each of `count` equal steps: `tree_weights(4)` is (0, -2, -1, -2), the first the strongest.

    A bar is halved while it can be, then parted in three; what is left is parted unevenly, longer part first.
    """
    if count == 1:
        return (0,)
    pieces = _pieces(count)
    weights: list[int] = []
    for piece in pieces:
        head, *rest = tree_weights(piece)
        weights += [head - bool(weights), *(weight - 1 for weight in rest)]
    return tuple(weights)


def _pieces(count: int) -> tuple[int, ...]:
    for parts in (2, 3):
        if count % parts == 0:
            return (count // parts,) * parts
    return ((count + 1) // 2, count // 2)


@lru_cache(maxsize=4096)
def weight(onset: Fraction, meter: Meter) -> int:
    """The strength of a place in its bar: `weight(Fraction(2), Meter(4, 4))` is -1; 0 is the downbeat."""
    pulses = tree_weights(meter.pulses)
    pulse, within = divmod(onset % meter.length / meter.pulse, 1)
    return pulses[pulse] if within == 0 else min(pulses) - _prime_factors(within.denominator)


def _prime_factors(number: int) -> int:
    """How many divisions lead to a place: two for a sixteenth (2 x 2), one for a triplet eighth (3)."""
    for prime in (2, 3, 5, 7):
        if number % prime == 0:
            return 1 + _prime_factors(number // prime)
    return 0


@lru_cache(maxsize=64)
def strong_beats(meter: Meter) -> tuple[Fraction, ...]:
    """The strong beats inside a bar: `strong_beats(Meter(4, 4))` is (2,), the middle; in 3/4 they are 2 and 3."""
    beats = [meter.pulse * number for number in range(1, meter.pulses)]
    return tuple(beat for beat in beats if weight(beat, meter) == -1)


# --- the measures -------------------------------------------------------------------------------


def syncopations(onsets: Sequence[Fraction], weights: Mapping[Fraction, int], end: Fraction) -> tuple[Syncopation, ...]:
    """Find each note that a silent place at least as strong follows, before the next note (Longuet-Higgins and Lee).

    `weights` gives every place of the grid in order of time, `end` the place of the next note after
    the last, on the grid or beyond: on a grid of four, onsets 0 and 1 with end 4 give one syncopation of
    strength 1 at 1.
    """
    found, grid, strengths = [], list(weights), list(weights.values())
    number = {place: number for number, place in enumerate(grid)}
    for onset, following in pairwise([*onsets, end]):
        here = number[onset]
        silent = range(here + 1, number.get(following, len(grid)))
        strongest = max(silent, key=strengths.__getitem__, default=here)
        if strongest > here and strengths[strongest] >= strengths[here]:
            found.append(Syncopation(onset, grid[strongest], strengths[strongest] - strengths[here]))
    return tuple(found)


def beat_distance(onsets: Sequence[Fraction], end: Fraction, beat: Fraction) -> Fraction:
    """Weighted note-to-beat distance (Gómez et al.): with beats of 4 steps, 0 3 6 10 12 and end 16 give 14/5.

    `end` is where the last note ends, that is the next onset; no onsets give 0.
    """
    if not onsets:
        return Fraction(0)
    spans = pairwise([*onsets, end])
    return sum((_one_distance(onset, ends, beat) for onset, ends in spans), Fraction(0)) / len(onsets)


@lru_cache(maxsize=4096)
def _one_distance(onset: Fraction, ends: Fraction, beat: Fraction) -> Fraction:
    past = Fraction(onset) / beat % 1
    if past == 0:
        return Fraction(0)
    next_beat = (onset // beat + 1) * beat
    crosses = next_beat < ends < next_beat + beat
    return (2 if crosses else 1) / min(past, 1 - past)


def held_over(notes: Sequence[Span], meter: Meter) -> tuple[tuple[Fraction, Fraction], ...]:
    """The strong beats that notes from weaker places hold over, with the note: a tie from 2& over 3 is (3/2, 2)."""
    strong = (*strong_beats(meter), meter.length)
    return tuple(
        (onset, beat)
        for onset, ends in notes
        for beat in strong
        if onset < beat < ends and weight(onset, meter) < weight(beat, meter)
    )


def places(onsets: Sequence[Fraction], meter: Meter) -> dict[Fraction, int]:
    """All places of a bar on the coarsest grid that holds its notes, with their strengths.

    The grid goes beat by beat: eighths only in beats with an &.
    """
    parts = [1] * meter.pulses
    for onset in onsets:
        number, within = divmod(onset / meter.pulse, 1)
        parts[number] = lcm(parts[number], within.denominator)
    return {place: strength for beat in enumerate(parts) for place, strength in _beat_places(*beat, meter)}


@lru_cache(maxsize=256)
def _beat_places(number: int, parts: int, meter: Meter) -> tuple[tuple[Fraction, int], ...]:
    there = [place_in_beat(number, part, parts, meter) for part in range(parts)]
    return tuple((place, weight(place, meter)) for place in there)


def pace_changes(onsets: Sequence[Fraction]) -> int:
    """How often the distance from note to note changes: once in 0 1 2 5/2 3, as 1 becomes 1/2.

    A change counts twice where neither distance is a whole number of the other, as from thirds to quarters of a beat.
    """
    steps = [after - before for before, after in pairwise(onsets)]
    ratios = (a / b if a > b else b / a for a, b in pairwise(steps) if a != b)
    return sum(1 if ratio.denominator == 1 else 2 for ratio in ratios)


def rests_of(bar: Bar) -> int:
    """The silences of a bar that has notes: `rests_of` of "4 4r 8r 8 4r" is 2, rests side by side being one."""
    kinds = [symbol.kind for symbol in bar]
    return sum(kind == "rest" for kind, _ in groupby(kinds)) if "struck" in kinds else 0


def effort(onsets: Sequence[Fraction], quarters_per_minute: float, fastest: float) -> float:
    """The quickest three strokes in a row as a share of a limb's fastest: eighths at 120 are 4 of 12 a second, 1/3."""
    spans = [last - first for first, last in zip(onsets, onsets[IN_A_ROW - 1 :], strict=False)]
    per_second = (IN_A_ROW - 1) / float(min(spans)) * quarters_per_minute / 60 if spans else 0.0
    return per_second / fastest


def read(
    notes: Sequence[Span],
    next_onset: Fraction,
    meter: Meter,
    together: Collection[Fraction] | None = None,
    rests: int = 0,
) -> Reading:
    """Measure one bar: its notes in order of time, and the place of the next note in a later bar.

    `together` are the places where another limb strikes; none given, the felt beats. `rests` as `rests_of` counts.
    """
    onsets = [onset for onset, _ in notes]
    # One place beyond the barline is enough: no silence is stronger than the next downbeat's.
    weights = places(onsets, meter) | {meter.length: weight(meter.length, meter)}
    found = syncopations(onsets, weights, next_onset)
    carried = [
        one.strength for one in found if (one.note in together if together is not None else not one.note % meter.pulse)
    ]
    return Reading(
        found,
        beat_distance(onsets, next_onset, meter.pulse),
        held_over(notes, meter),
        len(notes),
        sum(carried),
        pace_changes([*onsets, next_onset]),
        rests,
    )


def reading_points(bar: Bar, meter: Meter, following: Bar) -> float:
    """How hard a bar reads by itself in a hand at 120 quarters a minute, before the bar that follows it.

    `reading_points(bar, meter, bar)` is the bar over and over. The formula is `Reading.points`.
    """
    notes = [(note.onset, note.onset + note.length) for note in line_notes([bar, following]) if note.bar == 0]
    first = next((symbol.onset for symbol in following if symbol.kind == "struck"), meter.length)
    seconds = float(meter.length) * 60 / READING_QUARTERS_PER_MINUTE
    onsets = [*(onset for onset, _ in notes), meter.length + first]
    hand = effort(onsets, READING_QUARTERS_PER_MINUTE, FASTEST_PER_SECOND["hand"])
    return read(notes, meter.length + first, meter, None, rests_of(bar)).points(len(notes) / seconds, hand)
