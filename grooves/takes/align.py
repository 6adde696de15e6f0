"""Where a take lies on its track: by how much it begins later, and how its clock drifts.

The offset is where the strokes of each part fall best on that part's own comb of written moments, summed over parts
so that the busy ride does not outvote the rest. It is then refined by the median, the drift by Theil and Sen's median
of slopes (H. Theil 1950, P. K. Sen 1968).
"""

from dataclasses import dataclass

import numpy as np

from grooves.takes.sheet import Sheet
from grooves.takes.take import Floats, Ints, Take, median, onsets

NEAR_SECONDS, FAR_SECONDS = 0.45, 1.5  # where a take's beginning is looked for, one after the other
BIN_SECONDS = 0.004
BLUR_SECONDS = 0.028
GOOD = 0.8  # share of what is written that falls in place, from which on nothing farther is tried
SHORTEST = 0.25  # share of the track that a part is taken to cover at least
LEAD = 0.06  # how much better a farther place must be
REACH_SECONDS = 0.06
_SLOPE_POINTS = 400


@dataclass(frozen=True)
class Alignment:
    """A track's moment t is the take's moment `offset_seconds + (1 + drift) * t`; `share` of the strokes fit it."""

    offset_seconds: float
    drift: float = 0.0
    share: float = 0.0

    def on_track(self, moments: Floats) -> Floats:
        """Moments of the take as moments of the track: with an offset of 1 s, 3 s is 2 s."""
        return np.asarray((moments - self.offset_seconds) / (1.0 + self.drift), dtype=np.float64)


Combs = list[tuple[Floats, Floats]]  # of each part: written moments, played moments


def combs(take: Take, sheet: Sheet, together: bool = False) -> Combs:
    """Written and played moments of every part that was played: `combs(take, sheet)`; `together` mixes all parts."""
    real = [one for one in take.strokes if one.mark != "double"]  # a feathered stroke looks like crosstalk
    if together:
        return [(np.array([one.onset_seconds for one in sheet.strokes]), onsets(real))]
    found = []
    for part in sheet.parts:
        played = onsets(one for one in real if one.part == part)
        if len(played):
            found.append((np.array([one.onset_seconds for one in sheet.strokes if one.part == part]), played))
    return found


def align(take: Take, sheet: Sheet) -> Alignment:
    """Lay a take on its track: `align(take, sheet).offset_seconds`; a take of nothing lies at 0."""
    parts = combs(take, sheet)
    if not parts:
        return Alignment(0.0)
    best = _search(parts, take, sheet)
    for _ in range(3):
        best = refined(parts, best)
    return best


def coarse_offset(take: Take, sheet: Sheet) -> float:
    """The offset by known parts alone, or where none is known by all strokes together, in seconds."""
    parts = combs(take, sheet) or combs(take, sheet, together=True)
    return refined(parts, _search(parts, take, sheet)).offset_seconds if parts else 0.0


def _search(parts: Combs, take: Take, sheet: Sheet) -> Alignment:
    """Near the beginning first, then farther, then anywhere; a farther place must be clearly better."""
    best = Alignment(0.0)
    anywhere = max(sheet.end_seconds, take.seconds)
    for reach in (NEAR_SECONDS, FAR_SECONDS, anywhere):
        offset, share = _comb_peak(parts, reach)
        if not best.share or share > best.share + LEAD:
            best = Alignment(offset, 0.0, share)
        if best.share >= GOOD:
            break
    return best


def _comb_peak(parts: Combs, reach: float) -> tuple[float, float]:
    """The offset within reach at which most falls in place, and the share of the written strokes that does."""
    bins = int(2 * reach / BIN_SECONDS) + 1
    total = np.zeros(bins)
    for (written, played), weight in zip(parts, _weights(parts), strict=True):
        total += weight * _gap_counts(written, played, reach, bins) / _due(written, played)
    width = int(BLUR_SECONDS / BIN_SECONDS) * 2 + 1
    window = np.hanning(width + 4)[1:-1]
    smooth = np.convolve(total, window, mode="same")
    centre = (np.arange(bins) + 0.5) * BIN_SECONDS - reach
    peak = int(np.argmax(smooth - 1e-4 * np.abs(centre)))  # of equals the nearest to 0
    return float(centre[peak]), float(min(smooth[peak], 1.0))


def _gap_counts(written: Floats, played: Floats, reach: float, bins: int) -> Floats:
    """How often each gap between a written and a played moment occurs: pair by pair, or by transform where many."""
    if reach <= 2 * FAR_SECONDS:
        first, second = pairs(written, played, reach)
        gaps = (played[second] - written[first] + reach) / BIN_SECONDS
        return np.bincount(np.clip(gaps.astype(np.int64), 0, bins - 1), minlength=bins).astype(np.float64)
    start = min(written[0], played[0])
    rows = [np.bincount(((one - start) / BIN_SECONDS).astype(np.int64)) for one in (written, played)]
    middle = int(reach / BIN_SECONDS)
    longest = max(map(len, rows))
    length = 1 << max(sum(map(len, rows)), longest + middle).bit_length()  # round which no gap comes back as another
    spectra = [np.fft.rfft(row, length) for row in rows]
    counts = np.round(np.fft.irfft(np.conj(spectra[0]) * spectra[1], length))
    return np.asarray(counts[np.arange(bins) - middle], dtype=np.float64)


def _due(written: Floats, played: Floats) -> float:
    """How many strokes are written in a stretch as long as the played one."""
    whole = float(written[-1] - written[0]) if len(written) > 1 else 0.0
    share = float(played[-1] - played[0]) / whole if whole and len(played) > 1 else 1.0
    return min(max(share, SHORTEST), 1.0) * len(written)


def _weights(parts: Combs) -> Floats:
    """What each part counts, 1 in all: a part that was struck four times as often counts twice as much."""
    roots = np.sqrt([min(len(written), len(played)) for written, played in parts])
    return np.asarray(roots / roots.sum(), dtype=np.float64)


def pairs(written: Floats, played: Floats, reach: float) -> tuple[Ints, Ints]:
    """Indexes of all written and played moments that are within reach of each other, both in order of time."""
    low = np.searchsorted(played, written - reach)
    high = np.searchsorted(played, written + reach)
    counts = high - low
    first = np.repeat(np.arange(len(written)), counts)
    steps = np.arange(len(first)) - np.repeat(np.cumsum(counts) - counts, counts)
    return first, np.repeat(low, counts) + steps


def nearest_gaps(written: Floats, played: Floats) -> Floats:
    """From each written moment to the played one nearest to it, seconds; infinite where nothing was played."""
    if not len(played):
        return np.full(len(written), np.inf)
    after = np.searchsorted(played, written)
    left = played[np.clip(after - 1, 0, len(played) - 1)] - written
    right = played[np.clip(after, 0, len(played) - 1)] - written
    return np.asarray(np.where(np.abs(left) < np.abs(right), left, right), dtype=np.float64)


def refined(parts: Combs, found: Alignment) -> Alignment:
    """The same more exactly, from what lies within 60 ms: offset by the median of parts, drift by the slopes.

    Example: `refined(combs(take, sheet), Alignment(0.2)).drift`.
    """
    times, gaps, middles, near = [], [], [], 0
    for written, played in parts:
        gap = nearest_gaps(written, found.on_track(played))
        close = np.abs(gap) <= REACH_SECONDS
        if not close.any():
            continue
        middle = median(gap[close])
        times.append(written[close])
        gaps.append(gap[close] - middle)
        middles.append(middle)
        near += int(close.sum())
    if not times:
        return found
    slope = _slope(np.concatenate(times), np.concatenate(gaps))
    drift = found.drift + slope
    middle_time = median(np.concatenate(times))
    offset = found.offset_seconds + median(middles) - slope * middle_time
    return Alignment(offset, drift, near / sum(len(written) for written, _ in parts))


def _slope(times: Floats, gaps: Floats) -> float:
    """The median of the slopes between any two moments: seconds a second; 0 where too little is there."""
    if len(times) < 16 or times.max() - times.min() < 8:
        return 0.0
    order = np.argsort(times, kind="stable")[:: max(len(times) // _SLOPE_POINTS, 1)]
    x, y = times[order], gaps[order]
    first, second = np.triu_indices(len(x), 1)
    apart = x[second] - x[first]
    far = apart > (x[-1] - x[0]) / 4
    return median((y[second][far] - y[first][far]) / apart[far])


def agreement(written: Floats, played: Floats, within: float = 0.05) -> float:
    """F of played moments with written ones, 0 to 1: `agreement(moments, moments)` is 1.0."""
    if not len(written) or not len(played):
        return 0.0
    hit = float(np.sum(np.abs(nearest_gaps(written, played)) <= within))
    right = float(np.sum(np.abs(nearest_gaps(played, written)) <= within))
    recall, precision = hit / len(written), right / len(played)
    return 2 * recall * precision / (recall + precision) if recall + precision else 0.0


FITS = 0.7  # F from which on a speed is believed
RATES = ((0.5, "half"), (2.0, "twice"), (2 / 3, "two thirds of"), (1.5, "one and a half times"))


def other_speed(take: Take, sheet: Sheet, better_than: float = 0.0, fits: float = FITS) -> str:
    """At what other speed a take fits its track, in words, "" where at none: "half" for half as fast.

    `better_than` is the F that it must clearly surpass, `fits` the least F that is believed.
    """
    found: list[tuple[float, str]] = []
    for rate, words in RATES:
        parts = [(written, played * rate) for written, played in combs(take, sheet)]
        if parts:
            offset, _ = _comb_peak(parts, max(sheet.end_seconds, take.seconds * rate))
            found.append((median([_inside(written, played - offset) for written, played in parts]), words))
    fit, words = max(found, default=(0.0, ""))
    return words if fit >= max(fits, better_than + LEAD) else ""


def _inside(written: Floats, played: Floats) -> float:
    """F of one part over the stretch that was played."""
    return agreement(written[(written > played[0] - 0.1) & (written < played[-1] + 0.1)], played)
