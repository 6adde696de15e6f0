"""Stairs: the shortest series of bars from one that can be played to one that cannot yet.

A step changes one stroke: a note is added, or moves by no more than an eighth past no other note, or
disappears: tied to the note before it, or taken away where the goal has a rest. Among the shortest
series the stairs are the one whose difficulty (`grooves.teaching.complexity.reading_points`, each bar over and
over) rises most evenly: the smallest sum of squared rises. The search is exhaustive, so no shorter
series exists on the grid; where that is more than about two seconds of work, a few series are followed
side by side, and the climb says so.

The grid: eighths; in beats where either bar has sixteenths or triplets, those. A bar between the two
takes its lengths from the goal: a note lasts until the next, unless the goal rests after it.
The rules and the measure of evenness are ours.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property
from itertools import count, pairwise

from grooves.errors import LessonError
from grooves.notes import line_notes
from grooves.rhythm import EIGHTH, QUARTER, Bar, Meter, Symbol, place_name, spell
from grooves.teaching.beats import on_the_beats, strokes_of
from grooves.teaching.complexity import reading_points

Series = tuple[float, tuple[int, ...]]  # its sum of squared rises, its bars as sets of places
StrokeBits = int  # a set of places, one bit each

# Work before the search gives up on the shortest series: about two seconds in all.
MOST_VISITED = 20_000  # bars reached
MOST_WEIGHED = 2_500  # bars whose difficulty is measured
KEPT_SIDE_BY_SIDE = 8  # series, when not all can be looked at


@dataclass(frozen=True)
class Climb:
    """A series of bars, and whether all were looked at: `Climb(bars, False)` is the best that was found."""

    bars: tuple[Bar, ...]
    shortest: bool


def stairs(target: Bar, meter: Meter, start: Bar | None = None) -> tuple[Bar, ...]:
    """The bars of `climb_to`: from quarters to "4 8 8 4 4" they are two."""
    return climb_to(target, meter, start).bars


def climb_to(target: Bar, meter: Meter, start: Bar | None = None) -> Climb:
    """The bars from `start` (none: one note on each beat) up to `target`, both included.

    From quarters to "4 8 8 4 4" are two bars; a bar that strikes what the start strikes has no stairs
    but itself. A bar that begins with a tied note begins with a rest here, as it stands alone. Raises
    LessonError for a bar without notes or finer than sixteenths. Where there is too much to look at, the climb
    is the best of what was found.
    """
    goal = alone(target, meter)
    first = on_the_beats(meter) if start is None else alone(start, meter)
    for bar, name in ((goal, "the bar to reach"), (first, "the bar to start from")):
        _check(bar, meter, name)
    walk = _Walk(first, goal, meter)
    layers = _shortest(walk)
    series = _most_even(layers, walk) if layers else _found_nearby(walk)
    return Climb(tuple(walk.written[strokes] for strokes in series), layers is not None)


def alone(bar: Bar, meter: Meter) -> Bar:
    """The bar by itself: a tie into it becomes a rest, as there is nothing to be tied to."""
    if bar[0].kind != "held":
        return bar
    sounding = [symbol for symbol in bar if symbol.kind == "struck"]
    silent = sounding[0].onset if sounding else bar[-1].end
    rest = Symbol(Fraction(0), silent, "rest")
    return spell((rest, *(symbol for symbol in bar if symbol.onset >= silent)), meter)


def said(before: Bar, after: Bar, meter: Meter) -> str:
    """What one step changes: "add a note on 2&", "move the note on 3 to 2&", "tie 3 to the note before it"."""
    old, new = set(strokes_of(before)), set(strokes_of(after))
    gone = [place_name(onset, meter) for onset in sorted(old - new)]
    come = [place_name(onset, meter) for onset in sorted(new - old)]
    if gone and come:
        return f"move the note on {gone[0]} to {come[0]}"
    if come:
        return f"add a note on {come[0]}"
    if not gone:
        return "change nothing that is struck"
    tied = any(n.onset < onset < n.onset + n.length for n in line_notes([after]) for onset in old - new)
    return f"tie {gone[0]} to the note before it" if tied else f"leave out the note on {gone[0]}"


def _check(bar: Bar, meter: Meter, name: str) -> None:
    if bar[-1].end != meter.length:
        raise LessonError(f"{name} does not fill a bar of {meter}")
    if not strokes_of(bar):
        raise LessonError(f"{name} has no notes; stairs go from notes to notes, so choose another bar")
    for onset in strokes_of(bar):
        if onset.denominator > 4:
            raise LessonError(
                f"{name} has a note on {place_name(onset, meter)}, finer than a sixteenth or a triplet eighth; "
                "stairs are built of those and of eighths"
            )


# --- one step -----------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Walk:
    """The ground between two bars: the places where notes may stand, and what one step can do."""

    first: Bar
    goal: Bar
    meter: Meter

    @cached_property
    def places(self) -> tuple[Fraction, ...]:
        struck = {*strokes_of(self.first), *strokes_of(self.goal)}
        found = set(struck)
        for beat in range(-(-self.meter.length // QUARTER)):
            parts = {onset.denominator for onset in struck if onset // QUARTER == beat} - {1} or {2}
            found |= {beat + Fraction(part, number) for number in parts for part in range(number)}
        return tuple(sorted(place for place in found if place < self.meter.length))

    @cached_property
    def clashes(self) -> tuple[tuple[StrokeBits, StrokeBits], ...]:
        """For each quarter its triplets and its eighths and sixteenths: one bar cannot write both."""
        halves = [
            self.bits(p for p in self.places if p // 1 == beat and p.denominator in (2, 4)) for beat in self.beats
        ]
        thirds = [self.bits(p for p in self.places if p // 1 == beat and p.denominator == 3) for beat in self.beats]
        return tuple((third, half) for third, half in zip(thirds, halves, strict=True) if third and half)

    @cached_property
    def beats(self) -> range:
        return range(-(-self.meter.length // QUARTER))

    @cached_property
    def neighbours(self) -> tuple[tuple[int, int, StrokeBits], ...]:
        """Pairs of places no further than an eighth apart, and the places between them."""
        return tuple(
            (low, high, sum(1 << between for between in range(low + 1, high)))
            for high, place in enumerate(self.places)
            for low in range(high)
            if place - self.places[low] <= EIGHTH
        )

    @cached_property
    def start(self) -> StrokeBits:
        return self.bits(strokes_of(self.first))

    @cached_property
    def end(self) -> StrokeBits:
        return self.bits(strokes_of(self.goal))

    @cached_property
    def points(self) -> dict[StrokeBits, float]:
        return {}

    def longer(self, series: Series, strokes: StrokeBits) -> Series:
        """A series with one more bar, and what its rise costs."""
        for one in (series[1][-1], strokes):
            if one not in self.points:
                self.points[one] = reading_points(self.written[one], self.meter, self.written[one])
        rise = self.points[strokes] - self.points[series[1][-1]]
        return round(series[0] + rise**2, 9), (*series[1], strokes)

    def nearer(self, strokes: StrokeBits) -> Iterator[StrokeBits]:
        """The steps that leave fewer notes different from the goal's."""
        apart = (strokes ^ self.end).bit_count()
        return (after for after in self.steps(strokes) if (after ^ self.end).bit_count() < apart)

    @cached_property
    def written(self) -> "_Written":
        return _Written(self)

    def bits(self, onsets: Iterator[Fraction] | Sequence[Fraction]) -> StrokeBits:
        return sum(1 << self.places.index(onset) for onset in onsets)

    def steps(self, strokes: StrokeBits) -> Iterator[StrokeBits]:
        """Every bar one step away."""
        one_more_or_less = (strokes ^ (1 << number) for number in range(len(self.places)))
        moved = (
            strokes ^ (1 << low) ^ (1 << high)
            for low, high, between in self.neighbours
            if (strokes >> low & 1) != (strokes >> high & 1) and not strokes & between
        )
        for changed in (*one_more_or_less, *moved):
            if changed and not any(changed & thirds and changed & halves for thirds, halves in self.clashes):
                yield changed


# --- the search ---------------------------------------------------------------------------------


def _shortest(walk: _Walk) -> list[set[StrokeBits]] | None:
    """All bars on shortest series by their number of steps from the start; None where they are too many to look at."""
    # A series always exists: take away what is too much, then add the rest.
    for length in count(_at_least(walk.start, walk.end)):
        layers = _within(length, walk)
        if layers is None:
            return None
        if walk.end in layers[-1]:
            kept = _on_the_way(layers, walk)
            return kept if sum(map(len, kept)) <= MOST_WEIGHED else None
    return None


def _at_least(strokes: StrokeBits, goal: StrokeBits) -> int:
    """No series is shorter: one step mends at most one note too many and one too few."""
    return max((strokes & ~goal).bit_count(), (goal & ~strokes).bit_count())


def _within(length: int, walk: _Walk) -> list[set[StrokeBits]] | None:
    """Bars by steps from the start, without those that cannot reach the goal in `length` steps."""
    layers = [{walk.start}]
    seen = {walk.start}
    for taken in range(1, length + 1):
        reached = {after for before in layers[-1] for after in walk.steps(before)} - seen
        layers.append({strokes for strokes in reached if taken + _at_least(strokes, walk.end) <= length})
        seen |= layers[-1]
        if len(seen) > MOST_VISITED:
            return None
    return layers


def _on_the_way(layers: list[set[StrokeBits]], walk: _Walk) -> list[set[StrokeBits]]:
    kept = [{walk.end}]
    for layer in reversed(layers[:-1]):
        kept.append({strokes for strokes in layer if not kept[-1].isdisjoint(walk.steps(strokes))})
    return kept[::-1]


def _most_even(layers: list[set[StrokeBits]], walk: _Walk) -> tuple[StrokeBits, ...]:
    """The series with the smallest sum of squared rises in difficulty; of equals, the one that changes early places."""
    found: dict[StrokeBits, Series] = {}
    for layer in layers:
        found = {strokes: _cheapest(strokes, found, walk) for strokes in layer}
    return found[walk.end][1]


def _cheapest(strokes: StrokeBits, found: Mapping[StrokeBits, Series], walk: _Walk) -> Series:
    ways = [walk.longer(found[before], strokes) for before in walk.steps(strokes) if before in found]
    return min(ways, key=lambda way: (way[0], way[1][-2]), default=(0.0, (strokes,)))


def _found_nearby(walk: _Walk) -> tuple[StrokeBits, ...]:
    """A series that mends a note with every step, the most even of a few kept side by side: not surely the shortest."""
    kept: list[Series] = [(0.0, (walk.start,))]
    while kept:
        there = [one for one in kept if one[1][-1] == walk.end]
        if there:
            return min(there)[1]
        after: dict[StrokeBits, Series] = {}
        for series in kept:
            for strokes in walk.nearer(series[1][-1]):
                longer = walk.longer(series, strokes)
                after[strokes] = min(longer, after.get(strokes, longer))
        kept = sorted(after.values())[:KEPT_SIDE_BY_SIDE]
    raise LessonError("no stairs were found to that bar; start from a bar that has more of its notes")


# --- writing the bars between -------------------------------------------------------------------


class _Written(dict[StrokeBits, Bar]):
    """Bars by their strokes, written when first asked for."""

    def __init__(self, walk: _Walk) -> None:
        super().__init__({walk.bits(strokes_of(bar)): bar for bar in (walk.first, walk.goal)})
        self.walk = walk
        self.ends = {note.onset: note.onset + note.length for note in line_notes([walk.goal])}
        self.accents = {note.onset for note in line_notes([walk.goal]) if note.accent}
        self.next = dict(pairwise([*self.ends, walk.meter.length]))

    def __missing__(self, strokes: StrokeBits) -> Bar:
        walk = self.walk
        onsets = [place for number, place in enumerate(walk.places) if strokes >> number & 1]
        symbols = [Symbol(Fraction(0), onsets[0], "rest")] if onsets[0] else []
        for onset, following in pairwise([*onsets, walk.meter.length]):
            end = self._end(onset, following)
            symbols.append(Symbol(onset, end - onset, accent=onset in self.accents))
            symbols += [Symbol(end, following - end, "rest")] if end < following else []
        self[strokes] = spell(tuple(symbols), walk.meter)
        return self[strokes]

    def _end(self, onset: Fraction, following: Fraction) -> Fraction:
        """Where a note ends: with the next one, or before a rest of the goal, if the beat can be written so."""
        end = self.ends.get(onset, following)
        rests_after = end < self.next.get(onset, end)
        mixed = {
            end.denominator == 3,
            *(p.denominator == 3 for p in (onset, following) if p // 1 == end // 1 and p % 1),
        }
        return end if rests_after and end < following and (end % 1 == 0 or len(mixed) == 1) else following
