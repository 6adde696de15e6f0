"""Played strokes put to written ones: part by part, in order of time, none twice.

A dynamic programme finds the cheapest way through both rows: a stroke off its place costs half the square of its
distance in spreads, one left out or left over a fixed price; an echo of a pad costs little to leave over. What a part
lies before or behind as a rule, and how widely, is estimated anew from what was found, four times. All parts together
may wander slowly off the track; that is followed for finding them, and counted in what is said.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from grooves.takes.align import Alignment, nearest_gaps
from grooves.takes.sheet import Sheet
from grooves.takes.take import Floats, Take, median, robust_spread
from grooves.takes.wander import straightened

ROUNDS = 4
MISS = 3.2  # price of a written stroke that nobody played, in half squares of spreads
EXTRA = 3.2  # of a played one that is not written
ECHO = 0.3  # of a marked one
TAKEN_ECHO = 1.5  # of a marked one that is taken for a stroke after all
FIRST_SPREAD_SECONDS = 0.030
SPREADS_SECONDS = (0.008, 0.040)  # the narrowest and the widest that are believed
REACH_SECONDS = 0.15
WANDER_STROKES = 25  # over so many strokes of all limbs the slow wandering is the median


@dataclass(frozen=True)
class Match:
    """Which played stroke is which written one: `match.of[0]` is that of the first, -1 where it was missed."""

    of: tuple[int, ...]  # for each stroke of the sheet an index into the take's strokes, or -1
    late_seconds: tuple[float, ...]  # for each stroke of the sheet against the track; 0 where missed
    extras: tuple[int, ...]  # indexes of played strokes of a written part that belong nowhere
    lost_beats: tuple[int, ...]  # for each bar how many beats late it was played


def match(take: Take, sheet: Sheet, alignment: Alignment, lost_beats: Sequence[int] = ()) -> Match:
    """Put a take to its sheet: `match(take, sheet, align(take, sheet)).of`.

    `lost_beats` says for each bar by how many beats it was played late; none: in place.
    """
    lost = tuple(lost_beats) or (0,) * len(sheet.bars)
    meant = np.array([one.onset_seconds + lost[one.bar] * sheet.bars[one.bar].beat_seconds for one in sheet.strokes])
    played = straightened(take, sheet, alignment)
    rows = {part: _Row.of(part, take, sheet, meant, played) for part in sheet.parts}
    rows = {part: row for part, row in rows.items() if len(row.played)}
    found = {part: _first(row) for part, row in rows.items()}
    for _ in range(ROUNDS):
        wander = _wander(rows, found)
        found = {part: _again(row, found[part], wander) for part, row in rows.items()}
    true = alignment.on_track(np.array([one.onset_seconds for one in take.strokes]))
    return _gathered(take, sheet, rows, found, lost, true)


Found = list[tuple[int, int]]  # written and played indexes of a row


@dataclass(frozen=True)
class _Row:
    """One part: its written and played moments in order of time, where each comes from, what it costs left over."""

    written: Floats
    played: Floats
    strokes: tuple[int, ...]  # indexes into Sheet.strokes
    hits: tuple[int, ...]  # indexes into Take.strokes
    prices: tuple[float, ...]

    @classmethod
    def of(cls, part: str, take: Take, sheet: Sheet, meant: Floats, played: Floats) -> "_Row":
        strokes = [place for place, one in enumerate(sheet.strokes) if one.part == part]
        strokes.sort(key=lambda place: meant[place])
        hits = [place for place, one in enumerate(take.strokes) if one.part == part]
        prices = tuple(ECHO if take.strokes[place].mark else EXTRA for place in hits)
        return cls(meant[strokes], played[hits], tuple(strokes), tuple(hits), prices)


def _first(row: _Row) -> Found:
    """With a wide spread, off by the middle of what lies near."""
    gaps = nearest_gaps(row.written, row.played)
    near = gaps[np.abs(gaps) <= 2 * FIRST_SPREAD_SECONDS]
    return cheapest(row.written + median(near), row.played, FIRST_SPREAD_SECONDS, row.prices)


def _again(row: _Row, found: Found, wander: tuple[Floats, Floats]) -> Found:
    """Once more, with the part's own lateness and spread as found."""
    if not found:
        return found
    written, played = (np.array(one) for one in zip(*found, strict=True))
    drawn = np.interp(row.written, *wander) if len(wander[0]) else np.zeros(len(row.written))
    late = row.played[played] - row.written[written] - drawn[written]
    spread = float(np.clip(robust_spread(late), *SPREADS_SECONDS))
    return cheapest(row.written + drawn + median(late), row.played, spread, row.prices)


def _wander(rows: Mapping[str, _Row], found: Mapping[str, Found]) -> tuple[Floats, Floats]:
    """How far all parts together lie off along the track: moments and running medians, each part's own taken off."""
    times, late = [], []
    for part, row in rows.items():
        if len(found[part]) < 2:
            continue
        written, played = (np.array(one) for one in zip(*found[part], strict=True))
        gaps = row.played[played] - row.written[written]
        times.append(row.written[written])
        late.append(gaps - median(gaps))
    if not times or sum(map(len, times)) < 2 * WANDER_STROKES:
        return np.zeros(0), np.zeros(0)
    order = np.argsort(np.concatenate(times), kind="stable")
    moments, off = np.concatenate(times)[order], np.concatenate(late)[order]
    half = WANDER_STROKES // 2
    windows = np.lib.stride_tricks.sliding_window_view(np.pad(off, half, mode="reflect"), WANDER_STROKES)
    return moments, np.median(windows, axis=1)


def cheapest(written: Floats, played: Floats, spread: float, prices: Sequence[float]) -> Found:
    """The cheapest monotone matching: `cheapest(moments, moments, 0.01, prices)` pairs each with itself.

    `prices[j]` is that of leaving played stroke j over. Only pairs within reach are looked at, so that it takes time
    in proportion to the strokes.
    """
    reach = min(REACH_SECONDS, spread * (2 * (MISS + EXTRA)) ** 0.5)
    low = np.searchsorted(played, written - reach).tolist()
    high = np.searchsorted(played, written + reach).tolist()
    moments, targets = played.tolist(), written.tolist()
    scale = 0.5 / spread**2
    paid = [0.0]
    for price in prices:
        paid.append(paid[-1] + price)
    first, costs = 0, [0.0]  # costs[k]: the first k + first played strokes are done with
    steps: list[tuple[int, list[int]]] = []
    for target, start, end in zip(targets, low, high, strict=True):
        new_costs: list[float] = []
        choices: list[int] = []
        for done in range(start, max(end, start) + 1):
            cost, choice = _kept(first, costs, paid, done) + MISS, 0
            if done > start:
                echo = 0.0 if prices[done - 1] > ECHO else TAKEN_ECHO
                hit = _kept(first, costs, paid, done - 1) + (moments[done - 1] - target) ** 2 * scale + echo
                if hit < cost:
                    cost, choice = hit, 1
                over = new_costs[-1] + prices[done - 1]
                if over < cost:
                    cost, choice = over, 2
            new_costs.append(cost)
            choices.append(choice)
        steps.append((start, choices))
        first, costs = start, new_costs
    return _traced(steps, len(written))


def _kept(first: int, costs: Sequence[float], paid: Sequence[float], done: int) -> float:
    """The cost before a written stroke with so many played ones done with, those past its table left over."""
    place = done - first
    if place < 0:
        return float("inf")
    if place < len(costs):
        return costs[place]
    last = first + len(costs) - 1
    return costs[-1] + paid[done] - paid[last]


def _traced(steps: Sequence[tuple[int, Sequence[int]]], count: int) -> Found:
    """Back through the choices."""
    found: Found = []
    if not steps:
        return found
    done = steps[-1][0] + len(steps[-1][1]) - 1
    for stroke in range(count - 1, -1, -1):
        first, choices = steps[stroke]
        done = min(done, first + len(choices) - 1)
        while choices[done - first] == 2:
            done -= 1
        if choices[done - first] == 1:
            done -= 1
            found.append((stroke, done))
    return found[::-1]


def _gathered(
    take: Take, sheet: Sheet, rows: Mapping[str, _Row], found: Mapping[str, Found], lost: tuple[int, ...], true: Floats
) -> Match:
    of, late = [-1] * len(sheet.strokes), [0.0] * len(sheet.strokes)
    used: set[int] = set()
    for part, row in rows.items():
        for written, played in found[part]:
            of[row.strokes[written]] = row.hits[played]
            late[row.strokes[written]] = float(true[row.hits[played]] - row.written[written])
            used.add(row.hits[played])
    parts = {*sheet.parts}
    extras = [
        place
        for place, one in enumerate(take.strokes)
        if one.part in parts and not one.mark and place not in used and true[place] >= sheet.begins_seconds
    ]
    return Match(tuple(of), tuple(late), tuple(extras), lost)
