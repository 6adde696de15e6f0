"""What a match says in numbers: for each limb, each bar, each pair of limbs, and for the whole take.

Lateness is positive behind. That of a limb is its median against the median of all limbs that were heard, since a
constant lateness of everything cannot be told from the device's delay; where the delay is known, it is against the
track. A limb's spread is 1.48 times its strokes' median distance from their median, after offset and drift.
"""

from bisect import bisect_right
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import combinations
from typing import Literal

import numpy as np

from grooves.kit import LIMBS
from grooves.takes.align import Alignment
from grooves.takes.match import Match
from grooves.takes.sheet import Sheet, Written
from grooves.takes.take import Take, median, robust_spread

State = Literal["hit", "unsure", "missed"]
WITHIN_MS = (20, 30, 50)
FEWEST_HEARD = 0.1  # share of a part's strokes under which it was not played at all
ECHOES_HEARD = 0.8  # the same where they look like echoes of other pads, as feathered strokes do


@dataclass(frozen=True)
class Judged:
    """One written stroke: whether it was played, how late against the track, how loud it was."""

    stroke: Written
    state: State
    late_ms: float = 0.0
    level_db: float = 0.0


@dataclass(frozen=True)
class LimbFinding:
    """One limb on one part, as counted and measured."""

    limb: str
    part: str
    heard: bool
    written: int = 0
    hit: int = 0
    missed: int = 0
    unsure: int = 0
    extra: int = 0
    lateness_ms: float | None = None
    spread_ms: float | None = None
    within_20: float | None = None  # share of the strokes that lie so near to the limb's own middle place
    within_30: float | None = None
    within_50: float | None = None


@dataclass(frozen=True)
class BarFinding:
    """One bar of the line over all its turns: `lost_beats` are those of each turn, behind positive."""

    bar: int
    times: int
    written: int
    hit: int
    missed: int
    unsure: int
    extra: int
    lateness_ms: float | None
    spread_ms: float | None
    lost_beats: tuple[int, ...]
    limbs: Mapping[str, Mapping[str, float | int | None]]

    @property
    def trouble(self) -> float:
        """How badly it went: the share missed, half of what is unsure or extra, the spread in tenths of a second."""
        gone = self.missed + 0.5 * (self.unsure + self.extra) + 2 * sum(map(abs, self.lost_beats))
        return gone / max(self.written, 1) + (self.spread_ms or 0.0) / 100


@dataclass(frozen=True)
class Together:
    """Two limbs that are written together: how far apart they fell as a rule, and how late the second came."""

    limbs: tuple[str, str]
    places: int
    apart_ms: float
    second_late_ms: float


@dataclass(frozen=True)
class Findings:
    """All numbers of a take; `judged` has every written stroke of every judged bar, for pictures and sentences."""

    offset_ms: float
    drift_ms_per_minute: float
    swing_asked: float | None
    swing_played: float | None
    bass_drum_lu: float | None
    limbs: tuple[LimbFinding, ...]
    bars: tuple[BarFinding, ...]
    together: tuple[Together, ...]
    judged: tuple[Judged, ...]
    zero_ms: float  # what lateness is measured against, ms behind the track as it was laid
    kept: tuple[int, ...] = ()  # the sheet's bars that were judged: a take may end before its track


def find(
    take: Take,
    sheet: Sheet,
    alignment: Alignment,
    match: Match,
    bars: Collection[int] = (),
    latency_ms: float | None = None,
) -> Findings:
    """Count and measure: `find(take, sheet, alignment, match).limbs[0].lateness_ms`.

    `bars` are the sheet's bars that count (none: all); `latency_ms` is the device's delay where it is known.
    """
    kept = set(bars) or set(range(len(sheet.bars)))
    heard = _heard(take, sheet, match, kept)
    judged = tuple(_judged(take, sheet, match, kept, heard))
    extras = [place for place in match.extras if bar_of(take, sheet, alignment, place) in kept]
    rows = {(limb, part): _of_limb(judged, limb, part) for limb, part in sheet.limb_parts}
    middles = _limb_middles(judged)
    zero = median(list(middles.values()))
    offset_ms = alignment.offset_seconds * 1000 + zero
    against = zero if latency_ms is None else latency_ms - alignment.offset_seconds * 1000
    limbs = tuple(
        _limb(limb, part, own, part in heard, sum(take.strokes[place].part == part for place in extras), against)
        for (limb, part), own in rows.items()
    )
    return Findings(
        offset_ms,
        alignment.drift * 60_000,
        sheet.swing,
        swing_played(judged, sheet),
        _bass_drum_lu(take, judged),
        limbs,
        tuple(_bars(judged, take, sheet, alignment, match, extras, kept, against)),
        tuple(_together(judged)),
        judged,
        against,
        tuple(sorted(kept)),
    )


def _heard(take: Take, sheet: Sheet, match: Match, kept: Collection[int]) -> set[str]:
    """The parts that were played at all, and clearly enough."""
    found = set()
    for part in sheet.parts:
        own = [place for place, one in enumerate(sheet.strokes) if one.part == part and one.bar in kept]
        hits = [take.strokes[match.of[place]] for place in own if match.of[place] >= 0]
        plain = sum(not one.mark for one in hits)
        enough = plain >= FEWEST_HEARD * len(own) or len(hits) >= ECHOES_HEARD * len(own)
        if hits and enough and part not in take.unclear:
            found.add(part)
    return found


def _judged(take: Take, sheet: Sheet, match: Match, kept: Collection[int], heard: Collection[str]) -> Iterable[Judged]:
    for stroke, place, late in zip(sheet.strokes, match.of, match.late_seconds, strict=True):
        if stroke.bar not in kept or stroke.part not in heard:
            continue
        if place < 0:
            yield Judged(stroke, "missed")
        else:
            played = take.strokes[place]
            yield Judged(stroke, "hit" if played.sure else "unsure", late * 1000, played.level_db)


def _of_limb(judged: Sequence[Judged], limb: str, part: str) -> list[Judged]:
    return [one for one in judged if (one.stroke.limb, one.stroke.part) == (limb, part)]


def _limb_middles(judged: Sequence[Judged]) -> dict[str, float]:
    late: dict[str, list[float]] = {}
    for one in judged:
        if one.state == "hit":
            late.setdefault(one.stroke.limb, []).append(one.late_ms)
    return {limb: median(values) for limb, values in late.items()}


def _counts(judged: Sequence[Judged]) -> tuple[int, int, int, int]:
    states = [one.state for one in judged]
    return len(states), states.count("hit"), states.count("missed"), states.count("unsure")


def _limb(limb: str, part: str, own: Sequence[Judged], heard: bool, extra: int, against: float) -> LimbFinding:
    if not heard:
        return LimbFinding(limb, part, False)
    written, hit, missed, unsure = _counts(own)
    late = np.array([one.late_ms for one in own if one.state == "hit"])
    if not len(late):
        return LimbFinding(limb, part, True, written, hit, missed, unsure, extra)
    off = np.abs(late - median(late))
    within = [round(float(np.mean(off <= limit)), 3) for limit in WITHIN_MS]
    return LimbFinding(
        limb, part, True, written, hit, missed, unsure, extra, median(late) - against, robust_spread(late), *within
    )


# --- bars -----------------------------------------------------------------------------------------


def bar_of(take: Take, sheet: Sheet, alignment: Alignment, place: int) -> int:
    """The bar of the sheet that a played stroke falls in: `bar_of(take, sheet, alignment, 0)`."""
    moment = (take.strokes[place].onset_seconds - alignment.offset_seconds) / (1 + alignment.drift)
    place = bisect_right(sheet.bars, moment, key=lambda bar: bar.onset_seconds - bar.beat_seconds / 4) - 1
    return min(max(place, 0), len(sheet.bars) - 1)


def _bars(
    judged: Sequence[Judged],
    take: Take,
    sheet: Sheet,
    alignment: Alignment,
    match: Match,
    extras: Sequence[int],
    kept: Collection[int],
    against: float,
) -> Iterable[BarFinding]:
    """Every bar of the line, its turns together, each limb's own lateness taken off its spread."""
    middles = _limb_middles(judged)
    extra_in = [sheet.bars[bar_of(take, sheet, alignment, place)].number for place in extras]
    for number in dict.fromkeys(sheet.bars[place].number for place in sorted(kept)):
        turns = [place for place in sorted(kept) if sheet.bars[place].number == number]
        own = [one for one in judged if one.stroke.bar in turns]
        written, hit, missed, unsure = _counts(own)
        late = [one.late_ms - against for one in own if one.state == "hit"]
        around = [one.late_ms - middles[one.stroke.limb] for one in own if one.state == "hit"]
        yield BarFinding(
            number,
            len(turns),
            written,
            hit,
            missed,
            unsure,
            extra_in.count(number),
            median(late) if late else None,
            robust_spread(around) if around else None,
            tuple(match.lost_beats[place] for place in turns),
            {limb: _bar_limb(own, limb, against) for limb in middles},
        )


def _bar_limb(own: Sequence[Judged], limb: str, against: float) -> dict[str, float | int | None]:
    mine = [one for one in own if one.stroke.limb == limb]
    written, hit, missed, unsure = _counts(mine)
    late = [one.late_ms - against for one in mine if one.state == "hit"]
    lateness = round(median(late), 1) if late else None
    return {"written": written, "hit": hit, "missed": missed, "unsure": unsure, "lateness_ms": lateness}


# --- limbs together, swing, levels ----------------------------------------------------------------


def _together(judged: Sequence[Judged]) -> Iterable[Together]:
    """Every pair of limbs over the places where both are written and both were played."""
    by_place: dict[tuple[int, Fraction], dict[str, float]] = {}
    limbs = list(dict.fromkeys(one.stroke.limb for one in judged))
    for one in judged:
        if one.state == "hit":
            by_place.setdefault((one.stroke.bar, one.stroke.place), {})[one.stroke.limb] = one.late_ms
    for pair in combinations(sorted(limbs, key=LIMBS.index), 2):
        first, second = pair
        gaps = [late[second] - late[first] for late in by_place.values() if first in late and second in late]
        if gaps:
            yield Together((first, second), len(gaps), median(np.abs(gaps)), median(gaps))


def swing_played(judged: Sequence[Judged], sheet: Sheet) -> float | None:
    """Long to short of the eighths as one limb played them: the median over beats with a stroke on both sides.

    By the ride where it was heard, else by the part with the most such beats. None in x/8, or where there are none.
    """
    if sheet.swing is None:
        return None
    ratios = {part: _ratios(judged, sheet, part) for part in sheet.parts}
    part = "ride" if len(ratios.get("ride", [])) >= 4 else max(ratios, key=lambda one: len(ratios[one]), default="")
    return median(ratios[part]) if part and ratios[part] else None


def _ratios(judged: Sequence[Judged], sheet: Sheet, part: str) -> list[float]:
    """(upbeat - beat) / (next beat - upbeat) wherever a part has struck all three."""
    moments: dict[Fraction, float] = {}
    for one in judged:
        if one.stroke.part == part and one.state == "hit":
            place = one.stroke.bar * sheet.meter.length + one.stroke.place
            moments[place] = one.stroke.onset_seconds + one.late_ms / 1000
    found = []
    for place, upbeat in moments.items():
        before, after = place - Fraction(1, 2), place + Fraction(1, 2)
        if place % 1 == Fraction(1, 2) and before in moments and after in moments and moments[after] > upbeat:
            found.append((upbeat - moments[before]) / (moments[after] - upbeat))
    return found


def _bass_drum_lu(take: Take, judged: Sequence[Judged]) -> float | None:
    """The bass drum's time keeping strokes against the ride's, where levels stand on one scale."""
    if not take.levels:
        return None
    level = {
        part: [one.level_db for one in judged if one.stroke.part == part and one.state == "hit"]
        for part in ("bass drum", "ride")
    }
    return median(level["bass drum"]) - median(level["ride"]) if all(level.values()) else None


def usable_bars(take: Take, sheet: Sheet, alignment: Alignment, numbers: Collection[int] = ()) -> tuple[int, ...]:
    """The sheet's bars that lie within a take, and of those the asked numbers: a take may begin late and end early."""
    last = {one.bar: one.onset_seconds for one in sheet.strokes}
    begins, ends = alignment.on_track(np.array([0.0, take.seconds])).tolist()
    return tuple(
        place
        for place, bar in enumerate(sheet.bars)
        if bar.onset_seconds > begins - bar.beat_seconds / 4
        and last.get(place, bar.onset_seconds) - bar.beat_seconds / 4 < ends
        and (not numbers or bar.number in numbers)
    )
