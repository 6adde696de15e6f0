"""Bars in which a player is a beat or two off and knows it not: the likeliest row of lags, bar after bar.

Each bar is held against the take at lags of -2 to 2 beats, once each limb's own lateness is taken off; a Viterbi
search (A. J. Viterbi 1967) then weighs how well bars fit against how often the lag changes.
"""

from collections.abc import Sequence

import numpy as np

from grooves.takes.align import Alignment, nearest_gaps
from grooves.takes.sheet import Sheet
from grooves.takes.take import Floats, Take, median
from grooves.takes.wander import straightened

LAGS = (0, -1, 1, -2, 2)  # beats late; the first is in place
WITHIN_SECONDS = 0.045
CHANGE = 7.0  # price of another lag, in strokes that fit
STRAY = 0.5  # of a played stroke that fits nowhere


def lost_beats(take: Take, sheet: Sheet, alignment: Alignment) -> tuple[int, ...]:
    """For each bar how many beats late it was played: `lost_beats(take, sheet, alignment)` is mostly 0s."""
    fits = _fits(take, sheet, alignment)
    total, came = fits[0] - np.array([0.0, *([CHANGE] * (len(LAGS) - 1))]), []
    for fit in fits[1:]:
        ways = total[:, None] - CHANGE * (1 - np.eye(len(LAGS)))
        came.append(ways.argmax(axis=0))
        total = ways.max(axis=0) + fit
    lag = int(total.argmax())
    row = [lag]
    for before in reversed(came):
        row.append(int(before[row[-1]]))
    return tuple(LAGS[place] for place in reversed(row))


def off_throughout(lost: Sequence[int], sheet: Sheet) -> float:
    """Seconds by which most bars are off, so that the take was laid wrong and not played wrong; 0 where they are not.

    Example: `off_throughout((0, 1, 0, 0), sheet)` is 0.0.
    """
    lag = max(LAGS, key=lambda one: sum(other == one for other in lost))
    return lag * sorted(bar.beat_seconds for bar in sheet.bars)[len(sheet.bars) // 2]


def _fits(take: Take, sheet: Sheet, alignment: Alignment) -> Floats:
    """How many strokes of each bar fit the take at each lag, less those played there that do not."""
    straight = straightened(take, sheet, alignment)
    fits = np.zeros((len(sheet.bars), len(LAGS)))
    for part in sheet.parts:
        played = straight[
            [place for place, one in enumerate(take.strokes) if one.part == part and one.mark != "double"]
        ]
        own = [one for one in sheet.strokes if one.part == part]
        if not len(played) or not own:
            continue
        written = np.array([one.onset_seconds for one in own])
        bars = np.array([one.bar for one in own])
        beats = np.array([sheet.bars[one.bar].beat_seconds for one in own])
        gaps = nearest_gaps(written, played)
        played = played - median(gaps[np.abs(gaps) <= 2 * WITHIN_SECONDS])
        for column, lag in enumerate(LAGS):
            fits[:, column] += _fit(written + lag * beats, played, bars, sheet, lag)
    return fits


def _fit(meant: Floats, played: Floats, bars: "np.typing.NDArray[np.int64]", sheet: Sheet, lag: int) -> Floats:
    """Of one part at one lag: hits less misses, and less strokes in the bar that meet nothing."""
    hit = np.abs(nearest_gaps(meant, played)) <= WITHIN_SECONDS
    fit = np.bincount(bars, np.where(hit, 1.0, -1.0), len(sheet.bars))
    starts = np.array([bar.onset_seconds + lag * bar.beat_seconds for bar in sheet.bars])
    stray = np.abs(nearest_gaps(played, np.sort(meant))) > WITHIN_SECONDS
    place = np.clip(np.searchsorted(starts, played[stray] + WITHIN_SECONDS) - 1, 0, len(sheet.bars) - 1)
    return np.asarray(fit - STRAY * np.bincount(place, minlength=len(sheet.bars)), dtype=np.float64)
