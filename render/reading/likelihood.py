"""What was meant by strokes that a hand played: delay, swing, spread and each beat's pattern, the likeliest together.

Model: a stroke falls at its pattern's place plus the file's constant delay plus a normal deviation; a few fall
anywhere. A file's upbeats are even or swing by one ratio. How often each grid and pattern occurs, the swing, the delay
and the deviation's spread are all estimated from the file (expectation and maximization, from several starts); the
start that comes out likeliest wins, a free swing paying for its freedom (Bayesian information criterion, G. Schwarz,
Annals of Statistics 6(2), 1978; from memory). Conventions: within in quarters from the beat, deviations in seconds.
The priors are ours, by trial on graded lines played up to 20 ms from their places.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from math import exp, gamma, log, sqrt

import numpy as np
from numpy.typing import NDArray

from grooves.rhythm import EIGHTH, QUARTER
from render.reading.patterns import THIRD, USUAL_GRIDS, Pattern, patterns, usual_shares

Floats = NDArray[np.float64]

EARLY = 0.125  # quarters: a stroke this little before a beat may be an early one on it
LEAST_UPBEAT, MOST_UPBEAT = 0.53, 0.735  # 1.1:1 to 2.8:1; beyond, it is a dotted eighth and a sixteenth
FIRST_SPREAD = 0.012  # seconds, where the search begins
USUAL_SPREAD, SPREAD_WEIGHT = 0.008, 4.0  # what a file of few strokes leans to, and as how many strokes it counts
LEAST_SPREAD = 0.0005
EARLIEST, LATEST = -0.040, 0.100  # seconds: the delays that are looked for
LATEST_QUARTERS = 0.22  # and not so late that a grid's next place would fit as well
HALF_SIXTEENTH = 0.14  # quarters, and a little: a later file of sixteenths may as well be early by the next place
NEEDED = 0.05  # share of the beats from which a grid is there
LATE_ODDS = 20.0  # log odds against that
USUAL_DELAY = 0.015  # seconds: one search begins within it
AT_ONCE = 0.97  # of all files, those without a delay; the others come late, about 35 ms
BELL, FLAT = 2, 8  # shapes of the deviation's density, exp(-|x|^shape): normal, and nearly even up to an edge
PATTERN_WEIGHT = 10.0  # as how many beats the usual shares of a grid's patterns count
# Beats added to each grid's count; below 0, a grid that is hardly needed is believed not to be there.
LEANING = {"beats": 0.0, "eighths": 0.5, "triplets": -0.6, "sixteenths": -0.6}
LEAST_COUNT = 0.05
SWING_ODDS = 2.0  # log odds against a swing: one late upbeat is late, a few are swung
NEAR_THIRD = 0.07  # quarters: an upbeat so near to the triplet's last place could be that
TRIPLET_ODDS = 8.0  # log odds that it is, in a file with half as many triplets of other kinds
STRAY = 0.004  # share of strokes that fall anywhere
ROUNDS = 25
NEGLIGIBLE = 0.0001
MOST_BEATS = 600  # that the estimate looks at; all are read by it


@dataclass(frozen=True)
class Estimate:
    """What a file was found to be: `upbeat` is where swung eighths fall in their beat, 1/2 where they are even."""

    upbeat: float
    delay_seconds: float
    spread_seconds: float
    shares: Floats  # of each pattern
    shape: int = BELL  # of the deviation's density
    log_likelihood: float = 0.0

    @property
    def swung(self) -> bool:
        """Whether upbeats are late on purpose."""
        return self.upbeat != 0.5


@dataclass(frozen=True)
class BeatReading:
    """One beat read: `sure` is the probability of its pattern; no pattern where it has more strokes than any."""

    beat: int
    strokes: tuple[int, ...]  # indices of its strokes
    pattern: Pattern | None
    sure: float


@dataclass(frozen=True)
class _Group:
    """All beats of so many strokes, with the patterns that fit them."""

    beats: NDArray[np.int64]  # their numbers
    strokes: NDArray[np.int64]  # beats × strokes: indices
    within: Floats  # beats × strokes
    quarter: Floats  # beats × 1: seconds
    which: NDArray[np.int64]  # index of each pattern that fits
    places: Floats  # patterns × strokes
    swings: NDArray[np.bool_]  # patterns × strokes: an eighth's upbeat


def as_arrays(strokes: Sequence[tuple[float, float]]) -> tuple[Floats, Floats]:
    """Onsets and seconds a quarter of strokes, in order: `as_arrays([(0.0, 0.5)])`."""
    table = np.array(strokes, dtype=np.float64).reshape(-1, 2)
    return table[:, 0], np.maximum(table[:, 1], 0.001)


def estimate(onsets: Floats, quarter_seconds: Floats, beat: Fraction) -> Estimate:
    """The likeliest delay, swing, spread and shares: `.upbeat` is 0.6 for strokes swung 1.5:1.

    `onsets` in quarters from a downbeat, in order, each with the seconds of a quarter where it stands.
    """
    many = int(np.searchsorted(onsets, onsets[0] + MOST_BEATS * float(beat)))
    usual = {swung: _first_shares(beat, swung) for swung in (False, True)}
    upbeats = [0.5, *np.arange(0.54, MOST_UPBEAT, 0.02).tolist()] if beat == QUARTER else [0.5]
    tried: list[tuple[float, float, float]] = []
    grouped: dict[float, list[_Group]] = {}
    latest = min(LATEST, LATEST_QUARTERS * float(np.median(quarter_seconds)))
    for delay in np.arange(EARLIEST, latest + 0.001, 0.01).tolist():
        grouped[delay] = _grouped(onsets[:many], quarter_seconds[:many], delay, beat)
        for upbeat in upbeats:
            start = Estimate(upbeat, delay, FIRST_SPREAD, usual[upbeat != 0.5])
            tried.append((_log_likelihood(grouped[delay], start) - _cost(delay), upbeat, delay))
    tried.sort(reverse=True)
    even, swung = [one for one in tried if one[1] == 0.5], [one for one in tried if one[1] != 0.5]
    at_once = [one for one in even if abs(one[2]) <= USUAL_DELAY][:1]
    starts = dict.fromkeys([*even[:2], *swung[:2], *at_once])
    found = [
        (_refined(grouped[delay], Estimate(upbeat, delay, FIRST_SPREAD, usual[upbeat != 0.5]), beat), delay)
        for _, upbeat, delay in starts
    ]
    best, delay = max(found, key=lambda one: one[0].log_likelihood)
    flat = _refined(grouped[delay], replace(best, shape=FLAT), beat)
    return max(best, flat, key=lambda one: one.log_likelihood)


def quick_score(onsets: Floats, quarter_seconds: Floats, beat: Fraction) -> float:
    """How well strokes lie on any grid, as a log likelihood of the best of a few swings and delays."""
    groups = {delay: _grouped(onsets, quarter_seconds, delay, beat) for delay in (-0.015, 0.0, 0.015)}
    return max(
        _log_likelihood(groups[delay], Estimate(upbeat, delay, FIRST_SPREAD, _first_shares(beat, upbeat != 0.5)))
        for upbeat in (0.5, 0.6, 2 / 3)
        for delay in groups
    )


def read_beats(onsets: Floats, quarter_seconds: Floats, beat: Fraction, found: Estimate) -> list[BeatReading]:
    """The likeliest pattern of every beat that has strokes, by an estimate."""
    known = patterns(beat)
    readings = []
    for group in _grouped(onsets, quarter_seconds, found.delay_seconds, beat):
        if not len(group.which):
            sure = best = np.zeros(len(group.beats))
        else:
            scores = _scores(group, found)
            best = scores.argmax(axis=1)
            sure = np.exp(scores.max(axis=1) - np.logaddexp.reduce(scores, axis=1))
        for row, (number, index) in enumerate(zip(group.beats.tolist(), best.tolist(), strict=True)):
            pattern = known[int(group.which[int(index)])] if len(group.which) else None
            readings.append(BeatReading(number, tuple(group.strokes[row].tolist()), pattern, float(sure[row])))
    return sorted(readings, key=lambda reading: reading.beat)


def _grouped(onsets: Floats, quarter_seconds: Floats, delay_seconds: float, beat: Fraction) -> list[_Group]:
    """Strokes by beats, a little early ones with the beat that they come before, and beats by their many strokes."""
    known = patterns(beat)
    numbers = np.floor((onsets - delay_seconds / quarter_seconds + EARLY) / float(beat)).astype(np.int64)
    beats, firsts, counts = np.unique(numbers, return_index=True, return_counts=True)
    groups = []
    for many in np.unique(counts).tolist():
        mine = counts == many
        strokes = firsts[mine][:, None] + np.arange(many)
        which = [index for index, pattern in enumerate(known) if len(pattern.places) == many]
        swings = [
            [known[index].grid == "eighths" and place == EIGHTH and beat == QUARTER for place in known[index].places]
            for index in which
        ]
        groups.append(
            _Group(
                beats[mine],
                strokes,
                onsets[strokes] - beats[mine][:, None] * float(beat),
                quarter_seconds[strokes[:, :1]],
                np.array(which, dtype=np.int64),
                np.array([[float(place) for place in known[index].places] for index in which]).reshape(-1, many),
                np.array(swings, dtype=np.bool_).reshape(-1, many),
            )
        )
    return groups


def _offsets(group: _Group, found: Estimate) -> Floats:
    """Seconds of every stroke from every pattern's place: beats × patterns × strokes."""
    places = np.where(group.swings, found.upbeat, group.places)
    return (group.within[:, None, :] - places) * group.quarter[:, :, None] - found.delay_seconds


def _scores(group: _Group, found: Estimate) -> Floats:
    """Log likelihood of every beat under every pattern, shares included: beats × patterns."""
    near = _density(_offsets(group, found), found) * (1 - STRAY)
    anywhere = STRAY / group.quarter[:, :, None]
    return np.asarray(np.log(near + anywhere).sum(axis=2) + np.log(found.shares[group.which]), dtype=np.float64)


def _log_likelihood(groups: Sequence[_Group], found: Estimate) -> float:
    fits = [group for group in groups if len(group.which)]
    return sum(float(np.logaddexp.reduce(_scores(group, found), axis=1).sum()) for group in fits)


def _cost(delay_seconds: float) -> float:
    """How unusual a delay is, as minus a log density: most files have none, some are a few hundredths late."""
    none = AT_ONCE * exp(-0.5 * (delay_seconds / 0.008) ** 2) / 0.008
    late = (1 - AT_ONCE) * exp(-0.5 * ((delay_seconds - 0.035) / 0.020) ** 2) / 0.020
    return -log((none + late) * 0.008)


def _leaning_delay(found: Estimate) -> tuple[float, float]:
    """As how many strokes the usual delays count, and which delay they lean to."""
    none = AT_ONCE * exp(-0.5 * (found.delay_seconds / 0.008) ** 2) / 0.008
    late = (1 - AT_ONCE) * exp(-0.5 * ((found.delay_seconds - 0.035) / 0.020) ** 2) / 0.020
    share = none / (none + late) if none + late else 0.0
    pulls = found.spread_seconds**2 * np.array([share / 0.008**2, (1 - share) / 0.020**2])
    return float(pulls.sum()), float(pulls[1] * 0.035 / pulls.sum())


def _density(offsets: Floats, found: Estimate) -> Floats:
    """Density of a deviation: a generalized normal one of the estimate's spread and shape."""
    shape = found.shape
    scale = found.spread_seconds / sqrt(gamma(3 / shape) / gamma(1 / shape))
    height = shape / (2 * scale * gamma(1 / shape))
    return np.asarray(height * np.exp(-(np.abs(offsets / scale) ** shape)), dtype=np.float64)


def _refined(groups: Sequence[_Group], found: Estimate, beat: Fraction) -> Estimate:
    """Climb from a start to the nearest top."""
    groups = [group for group in groups if len(group.which)]
    if not groups:
        return found
    for _ in range(ROUNDS):
        before, found = found, _better(groups, found, beat)
        moved = abs(before.delay_seconds - found.delay_seconds) + abs(before.spread_seconds - found.spread_seconds)
        if moved < NEGLIGIBLE and abs(before.upbeat - found.upbeat) < NEGLIGIBLE:
            break
    strokes = sum(group.within.size for group in groups)
    free = 0.5 * np.log(max(strokes, 2)) + SWING_ODDS if found.swung else 0.0
    spread = SPREAD_WEIGHT * (np.log(found.spread_seconds) + 0.5 * (USUAL_SPREAD / found.spread_seconds) ** 2)
    shares = _share_prior(found, beat)
    if found.swung and _mostly_triplets(found, beat):
        free += TRIPLET_ODDS
    if _a_sixteenth_late(found, beat, float(np.median(groups[0].quarter))):
        free += LATE_ODDS
    total = _log_likelihood(groups, found) - _cost(found.delay_seconds) - free - spread + shares
    return replace(found, log_likelihood=float(total))


def _mostly_triplets(found: Estimate, beat: Fraction) -> bool:
    """Whether what is taken for swung eighths may be open triplets, in a file with many triplets of other kinds."""
    known = patterns(beat)
    inner = sum(share for share, one in zip(found.shares, known, strict=True) if THIRD in one.places)
    eighths = sum(share for share, one in zip(found.shares, known, strict=True) if one.grid == "eighths")
    return abs(found.upbeat - 2 / 3) < NEAR_THIRD and 2 * inner >= eighths


def _a_sixteenth_late(found: Estimate, beat: Fraction, quarter_seconds: float) -> bool:
    """Whether what is taken for a delay may be a place of the grid, in a file of sixteenths."""
    known = patterns(beat)
    sixteenths = sum(share for share, one in zip(found.shares, known, strict=True) if one.grid == "sixteenths")
    return abs(found.delay_seconds) > HALF_SIXTEENTH * quarter_seconds and sixteenths > NEEDED


def _share_prior(found: Estimate, beat: Fraction) -> float:
    """How far the shares have moved from the usual ones, as a log density (Dirichlet), 0 at most for patterns."""
    total = 0.0
    for grid, mine in usual_shares(beat, found.swung).items():
        index, usual = (np.array(column) for column in zip(*mine, strict=True))
        of_grid = found.shares[index].sum()
        total += LEANING[grid] * np.log(of_grid)
        total += float((PATTERN_WEIGHT * usual * np.log(found.shares[index] / of_grid / usual)).sum())
    return total


def _better(groups: Sequence[_Group], found: Estimate, beat: Fraction) -> Estimate:
    """One round: how sure each pattern is by the last estimate, then the estimate that fits that best."""
    counts = np.zeros(len(found.shares))
    off, weight, swings, late, quarter = [], [], [], [], []
    for group in groups:
        scores = _scores(group, found)
        sure = np.exp(scores - np.logaddexp.reduce(scores, axis=1, keepdims=True))
        np.add.at(counts, group.which, sure.sum(axis=0))
        offsets = _offsets(group, found)
        bell = _density(offsets, found) * (1 - STRAY)
        near = bell / (bell + STRAY / group.quarter[:, :, None])
        off.append(offsets.ravel())
        weight.append((near * sure[:, :, None]).ravel())
        swings.append(np.broadcast_to(group.swings, offsets.shape).ravel())
        late.append((offsets + found.delay_seconds).ravel())
        quarter.append(np.broadcast_to(group.quarter[:, :, None], offsets.shape).ravel())
    off_all, weights, upbeats = np.concatenate(off), np.concatenate(weight), np.concatenate(swings)
    lates, quarters = np.concatenate(late), np.concatenate(quarter)
    free = found.swung
    fixed = weights * ~upbeats if free else weights
    pull, towards = _leaning_delay(found)
    delay = float(((fixed * lates).sum() + pull * towards) / (fixed.sum() + pull))
    delay = min(max(delay, EARLIEST), LATEST)
    upbeat = found.upbeat
    if free and (swung := weights * upbeats).sum() > 0.5:
        moved = float((swung * (lates - delay) * quarters).sum() / (swung * quarters**2).sum())
        upbeat = min(max(upbeat + moved, LEAST_UPBEAT), MOST_UPBEAT)
    spread = max(_spread(off_all, weights, found.shape), LEAST_SPREAD)
    return Estimate(upbeat, delay, spread, _shares(counts, beat, found.swung), found.shape)


def _spread(offsets: Floats, weights: Floats, shape: int) -> float:
    """Standard deviation of weighted deviations, leaning to the usual one, by the likeliest scale of their shape."""
    to_scale = sqrt(gamma(1 / shape) / gamma(3 / shape))
    powers = float((weights * np.abs(offsets) ** shape).sum()) * shape
    total = (powers + SPREAD_WEIGHT * (USUAL_SPREAD * to_scale) ** shape) / (float(weights.sum()) + SPREAD_WEIGHT)
    return float(total ** (1 / shape)) / to_scale


def _shares(counts: Floats, beat: Fraction, swung: bool) -> Floats:
    """Shares of the patterns: those counted, leaning to the usual ones where little is counted."""
    shares = np.zeros(len(counts))
    grids = usual_shares(beat, swung)
    columns = {grid: [np.array(column) for column in zip(*mine, strict=True)] for grid, mine in grids.items()}
    there = {grid: max(float(counts[index].sum()) + LEANING[grid], LEAST_COUNT) for grid, (index, _) in columns.items()}
    for grid, (index, usual) in columns.items():
        of_grid = there[grid] / sum(there.values())
        shares[index] = of_grid * (counts[index] + PATTERN_WEIGHT * usual) / (counts[index].sum() + PATTERN_WEIGHT)
    return shares


def _first_shares(beat: Fraction, swung: bool) -> Floats:
    shares = np.zeros(len(patterns(beat)))
    for grid, mine in usual_shares(beat, swung).items():
        for index, share in mine:
            shares[index] = USUAL_GRIDS[grid] * share
    return shares
