"""Strengths become strokes: where a part peaks, and whether that is a stroke of its own or another drum's leakage.

Each part's peaks where it is written are held against those where only others are. Where the two hardly differ, the
part is not heard clearly and gets no verdict; else a threshold between them parts hits from misses, and what lies
around it is unsure.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from grooves.takes.align import nearest_gaps
from grooves.takes.take import Floats
from render.hearing.drums import BEFORE
from render.hearing.features import HOP_SECONDS

WRITTEN_SECONDS = 0.06  # a written place reaches so far
UNSURE_DB = 2.0  # around the threshold
EXTRA_DB = 4.0  # over the leakage that an extra must stand
FOOT = 0.3  # of a peak, that counts for nothing in its centre: what smears behind it
CENTROID = 3  # moments on each side of a peak
_HILL = np.bartlett(2 * CENTROID + 3)[1:-1]
APART = 8  # moments between two peaks of one drum


@dataclass(frozen=True)
class Peaks:
    """Where one part peaks: moments in seconds, strengths, and how much of a fresh onset is there."""

    seconds: Floats
    strength: Floats


def peaks(row: npt.NDArray[np.float32], first_moment: int = 0) -> Peaks:
    """The peaks of one part's strengths, each at the centre of its weight: `peaks(strengths[0]).seconds`."""
    length = 2 * CENTROID + 1
    padded = np.pad(row.astype(np.float64), CENTROID)
    sums = np.convolve(padded, np.ones(length), mode="valid")
    hills = np.convolve(padded, _HILL, mode="valid")  # so that a single moment has one top
    wide = np.pad(hills, APART, constant_values=-1.0)
    around = np.lib.stride_tricks.sliding_window_view(wide, 2 * APART + 1)
    first = hills > around[:, :APART].max(axis=1)  # of equals the first
    places = np.flatnonzero(first & (hills >= around.max(axis=1)) & (sums > 0))
    if not len(places):
        return Peaks(np.zeros(0), np.zeros(0))
    windows = np.lib.stride_tricks.sliding_window_view(padded, length)[places]
    windows = np.maximum(windows - FOOT * windows.max(axis=1, keepdims=True), 0)
    steps = np.arange(length) - CENTROID
    centre = (windows * steps).sum(axis=1) / np.maximum(windows.sum(axis=1), 1e-12)
    return Peaks((places + centre + first_moment + BEFORE) * HOP_SECONDS, sums[places])


def strongest_near(found: Peaks, moments: Floats, within: float = WRITTEN_SECONDS) -> Floats:
    """The strongest peak around each moment, 0 where none is."""
    low = np.searchsorted(found.seconds, moments - within)
    high = np.searchsorted(found.seconds, moments + within)
    return np.array(
        [found.strength[a:b].max() if b > a else 0.0 for a, b in zip(low, high, strict=True)], dtype=np.float64
    )


def separation(own: Sequence[float] | Floats, others: Sequence[float] | Floats) -> float:
    """The chance that one of the first is greater than one of the second: `separation([2, 3], [1])` is 1.0.

    It is the area under the curve of hits against false alarms (J. A. Hanley & B. J. McNeil 1982, Radiology 143).
    """
    if not len(own) or not len(others):
        return 1.0
    order = np.sort(np.asarray(others, dtype=np.float64))
    below = np.searchsorted(order, own, "left") + np.searchsorted(order, own, "right")
    return float(below.mean() / 2 / len(order))


def threshold(own: Floats, others: Floats) -> float:
    """The strength that parts written places from others best, in the middle of the gap where there is one."""
    floor = max(float(own.max(initial=0.0)) * 1e-3, 1e-12)
    a, b = np.sort(np.log(np.maximum(own, floor))), np.sort(np.log(np.maximum(others, floor)))
    if not len(b):
        return float(np.exp(np.median(a))) * 0.25
    steps = np.linspace(min(a[0], b[0]), max(a[-1], b[-1]), 240)
    wrong = np.searchsorted(a, steps) / len(a) + 1 - np.searchsorted(b, steps) / len(b)
    best = steps[wrong <= wrong.min() + 1e-9]
    return float(np.exp((best[0] + best[-1]) / 2))


def away_from(moments: Floats, others: Floats, by: float) -> npt.NDArray[np.bool_]:
    """Which moments lie farther than so much from all others."""
    return np.abs(nearest_gaps(moments, others)) > by
