"""Where the columns of a bar's grid lie across it, for staff, grid and cursor alike."""

from collections.abc import Sequence
from fractions import Fraction
from itertools import pairwise
from typing import Any

from grooves.score import Score
from grooves.teaching.coordination import grid

Share = tuple[Fraction, float]  # a place in quarters, and where it lies: 0 at its barline, 1 at the next


def shares(score: Score, index: int) -> list[Share]:
    """The columns of a bar, its end among them: `shares(score, 0)[0]` is (0, 0.0)."""
    length = score.meter.length
    return [*((place.onset, float(place.onset / length)) for place in grid(score, index)), (length, 1.0)]


def share_of(onset: Fraction, columns: Sequence[Share]) -> float:
    """Where a written place lies: at its column, a swung upbeat on its beat's third, else between its neighbours."""
    known = dict(columns)
    upbeat = onset // 1 + Fraction(2, 3)
    if onset not in known and onset % 1 == Fraction(1, 2) and upbeat in known:
        return known[upbeat]
    if onset in known:
        return known[onset]
    (low, left), (high, right) = next(
        pair for pair in pairwise(columns) if pair[0][0] < onset < pair[1][0]
    )
    return left + (right - left) * float((onset - low) / (high - low))


def column_data(score: Score, index: int) -> list[list[Any]]:
    """A bar's columns for the page: share of the bar, what is said, 2 on a felt beat, 1 on a counted one, else 0."""
    felt = score.meter.pulse
    return [
        [round(float(place.onset / score.meter.length), 5), place.says, _weight(place.onset, place.says, felt)]
        for place in grid(score, index)
    ]


def _weight(onset: Fraction, says: str, felt: Fraction) -> int:
    if onset % felt == 0:
        return 2
    return 1 if says.isdigit() else 0
