"""A take as data: the strokes that were played, whoever heard them. Times in seconds of the take."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Mark = Literal["", "double", "crosstalk"]


@dataclass(frozen=True)
class Played:
    """One stroke of a take: `Played(1.52, "snare", -8.0)`."""

    onset_seconds: float
    part: str  # "" where nobody knows what was struck
    level_db: float = 0.0
    key: int = 0  # of a pad; 0 where a microphone listened
    mark: Mark = ""  # what it probably is instead of a stroke
    sure: bool = True  # false where it is only just heard


@dataclass(frozen=True)
class Take:
    """What a student played: its strokes in order of time, and how long it is."""

    strokes: tuple[Played, ...]
    seconds: float
    unclear: tuple[str, ...] = ()  # parts that a microphone could not tell from the others
    levels: bool = False  # whether `level_db` of all strokes stand on one scale, that of the ride's calibration
    against_own_lu: float | None = None  # bass drum against ride, by how much louder than in single strokes of the kit
    automatic: bool = False  # whether the recorder changed its own gain
    speed: str = ""  # at which other speed than its track's it runs, "half", where a microphone heard that at once


def onsets(strokes: Iterable[Played]) -> Floats:
    """The moments of strokes: `onsets([Played(1.5, "snare")])` is [1.5]."""
    return np.array([stroke.onset_seconds for stroke in strokes], dtype=np.float64)


def median(values: "Sequence[float] | Floats") -> float:
    """The middle value, 0 of none: `median([1.0, 9.0, 2.0])` is 2.0."""
    return float(np.median(values)) if len(values) else 0.0


def robust_spread(values: "Sequence[float] | Floats") -> float:
    """1.48 times the median distance from the median: the standard deviation where strays are few.

    Example: `robust_spread([0.0, 1.0, 2.0, 50.0])` is 1.48. Source of 1.4826: the normal distribution's quartile.
    """
    if not len(values):
        return 0.0
    return 1.4826 * median(np.abs(np.asarray(values) - median(values)))
