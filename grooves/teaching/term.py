"""A term planned: for every group and week new reading lines, evenly harder, and bars of earlier weeks again.

How hard a week is aimed to be lies on a straight line between the means of the first and the last level. A week's
lines are those of several seeds that come nearest to it, and no week reads easier than the one before. The hardest
bars of a week come back after one, two and four weeks (common practice, no source). All of it is a function of the
term's own words: the same file plans the same term on any machine.
"""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cache
from statistics import fmean

from grooves.errors import LessonError
from grooves.rhythm import Bar, Meter
from grooves.teaching.graded import difficulty_in_line, lines
from grooves.teaching.levels import LEVELS
from grooves.teaching.stairs import alone

COMES_BACK_AFTER = (1, 2, 4)  # weeks
# Seeds drawn for each level that a week may be taken from: more where none of fewer comes near.
_SEEDS = (range(6), range(6, 16), range(16, 48))
_NEAR = 0.3  # of a week's mean to its aim; levels lie 1.5 and more apart
_MEAN_SEEDS = 8  # lines that a level's mean is taken over


@dataclass(frozen=True)
class OwnLesson:
    """What a teacher says of one week of a group: a lesson of their own in its place, a note on paper."""

    week: int
    lesson: str = ""  # a file beside the term's, or none
    note: str = ""


@dataclass(frozen=True)
class Group:
    """A group of students and where the term leads them: `Group("Monday", (1, 3), ("swing",), (80, 110))`."""

    name: str
    level: tuple[int, int]  # in the first week and in the last
    grooves: tuple[str, ...]  # in turn, one a week
    tempo_bpm: tuple[float, float]
    bars: int = 8
    lines: int = 1  # a week
    played_on: tuple[str, ...] = ("snare",)  # in turn, one a line
    review: int = 0  # bars of a week that come back
    weeks: Mapping[int, OwnLesson] = field(default_factory=dict)


@dataclass(frozen=True)
class PlannedLine:
    """One line of a week: `level` and `seed` are those of `lines`, `difficulty` the mean of its bars."""

    level: int
    seed: int
    bars: tuple[Bar, ...]
    difficulty: float


@dataclass(frozen=True)
class ReviewBar:
    """A bar that comes back: from which week, line (from 1) and bar (from 1) of the same group."""

    week: int
    line: int
    bar: int
    written: Bar


@dataclass(frozen=True)
class Week:
    """One week of a group: its aim, its lines, the bars that come back, and what the teacher says of it."""

    number: int
    groove: str
    meter: Meter
    tempo_bpm: int
    aim: float
    lines: tuple[PlannedLine, ...]
    readers: tuple[str, ...]  # who plays each line
    review: tuple[ReviewBar, ...]
    own: OwnLesson | None = None

    @property
    def difficulty(self) -> float:
        """The mean of its lines: `plan_group(...)[0].difficulty`."""
        return fmean(line.difficulty for line in self.lines)


def plan_group(group: Group, weeks: int, meter_of: Callable[[str], Meter], seed: str) -> tuple[Week, ...]:
    """Plan a group's term: `plan_group(group, 12, meter_of, "Harbour Street, autumn")[4].lines[0].bars`.

    `meter_of` gives the meter of a groove by its name. Raises LessonError for a level that a meter does not have.
    """
    planned: list[Week] = []
    used: set[tuple[Bar, ...]] = set()
    for number in range(1, weeks + 1):
        groove = group.grooves[(number - 1) % len(group.grooves)]
        meter = meter_of(groove)
        share = (number - 1) / max(weeks - 1, 1)
        aim = _aim(group.level, share, meter)
        least = planned[-1].difficulty if planned else 0.0
        chosen = _choose(_Wanted(group, share, meter, aim, least, f"{seed} {group.name} {number}"), used)
        used |= {line.bars for line in chosen}
        first = (number - 1) * group.lines
        readers = tuple(group.played_on[(first + line) % len(group.played_on)] for line in range(group.lines))
        low, high = group.tempo_bpm
        review = tuple(_review(planned, number, group.review, meter))
        tempo_bpm = round(low + (high - low) * share)
        own = group.weeks.get(number)
        planned.append(Week(number, groove, meter, tempo_bpm, aim, chosen, readers, review, own))
    return tuple(planned)


# --- lines --------------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Wanted:
    """What a week's lines are chosen by."""

    group: Group
    share: float  # of the term that is past, 0 to 1
    meter: Meter
    aim: float
    least: float  # the mean of the week before
    seed: str


def _aim(level: tuple[int, int], share: float, meter: Meter) -> float:
    low, high = (_level_mean(one, meter) for one in level)
    return low + (high - low) * share


@cache
def _level_mean(level: int, meter: Meter) -> float:
    """The mean difficulty of a level's lines of eight bars."""
    return fmean(_mean(lines(level, 8, seed, meter), meter) for seed in range(1, _MEAN_SEEDS + 1))


def _mean(line: Sequence[Bar], meter: Meter) -> float:
    return fmean(difficulty_in_line(line, number, meter) for number in range(len(line)))


def _choose(wanted: _Wanted, used: set[tuple[Bar, ...]]) -> tuple[PlannedLine, ...]:
    """The lines nearest to the aim whose mean is not under that of the week before, of harder levels at need."""
    own = _own_levels(wanted)
    pool: list[PlannedLine] = []
    chosen: tuple[PlannedLine, ...] = ()
    for seeds in _SEEDS:
        pool += _drawn(wanted, own, seeds, used | {line.bars for line in pool})
        chosen = _nearest(pool, wanted)
        if chosen and abs(_run_mean(chosen) - wanted.aim) <= _NEAR:
            return chosen
    for level in LEVELS:
        if level > own[-1] and not chosen:
            pool += _drawn(wanted, [level], range(_SEEDS[-1].stop), used | {line.bars for line in pool})
            chosen = _nearest(pool, wanted)
    if not chosen:
        raise LessonError(
            f"group '{wanted.group.name}': in {wanted.meter} no lines are as hard as those of the week before; "
            "keep the grooves of one meter together, or raise the level"
        )
    return chosen


def _nearest(pool: Sequence[PlannedLine], wanted: _Wanted) -> tuple[PlannedLine, ...]:
    """The lines, alike in difficulty, whose mean is nearest to the aim and no lower than the last; () for none."""
    ranked = sorted(pool, key=lambda line: (line.difficulty, line.level, line.seed))
    runs = [tuple(ranked[at : at + wanted.group.lines]) for at in range(len(ranked) - wanted.group.lines + 1)]
    rising = [run for run in runs if _run_mean(run) >= wanted.least]
    return min(rising, key=lambda run: (abs(_run_mean(run) - wanted.aim), run[0].seed), default=())


def _run_mean(run: Sequence[PlannedLine]) -> float:
    return fmean(line.difficulty for line in run)


def _own_levels(wanted: _Wanted) -> list[int]:
    """The levels that a week stands between, in the order of difficulty."""
    first, last = wanted.group.level
    own = first + (last - first) * wanted.share
    return sorted({level for level in (int(own), int(own) + 1) if min(first, last) <= level <= max(first, last)})


def _drawn(wanted: _Wanted, levels: Sequence[int], seeds: range, used: set[tuple[Bar, ...]]) -> Iterator[PlannedLine]:
    """Lines of some levels, each once, none of them read before; of harder levels where the meter has them."""
    seen = set(used)
    for level in levels:
        for number in seeds:
            seed = _seed(f"{wanted.seed} {level} {number}")
            try:
                bars = lines(level, wanted.group.bars, seed, wanted.meter)
            except LessonError:
                if level in _own_levels(wanted):
                    raise
                break  # this meter has no such level
            if bars not in seen:
                seen.add(bars)
                yield PlannedLine(level, seed, bars, _mean(bars, wanted.meter))


def _seed(words: str) -> int:
    """A seed from words, the same on any machine: `_seed("autumn 1")`."""
    from zlib import crc32

    return crc32(words.encode())


# --- bars that come back --------------------------------------------------------------------------


def _review(planned: Sequence[Week], number: int, count: int, meter: Meter) -> Iterator[ReviewBar]:
    """The hardest bars of the weeks one, two and four before, as far as they are in this week's meter."""
    for weeks in COMES_BACK_AFTER:
        if weeks < number and (then := planned[number - 1 - weeks]).meter == meter and not _own(then):
            yield from _hardest(then, count)


def _own(week: Week) -> bool:
    """Whether the teacher's own lesson was read in a week instead of its lines, so that none of them can come back."""
    return bool(week.own and week.own.lesson)


def _hardest(week: Week, count: int) -> list[ReviewBar]:
    meter = week.meter
    found = [
        (difficulty_in_line(line.bars, place, meter), ReviewBar(week.number, of, place + 1, alone(bar, meter)))
        for of, line in enumerate(week.lines, 1)
        for place, bar in enumerate(line.bars)
    ]
    hardest = sorted(found, key=lambda one: (-one[0], one[1].line, one[1].bar))
    different = {one.written: one for _, one in reversed(hardest)}  # of equal bars the first of them
    return [one for _, one in hardest if different[one.written] is one][:count]
