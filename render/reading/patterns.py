"""The rhythms that one beat can hold: which places are struck, on which grid, and how usual each is.

A grid of a quarter has eighths (whose upbeat may swing), triplets or sixteenths; a felt beat of 6/8 and its kin has
eighths or sixteenths. Places in quarters from the start of the beat. How usual a pattern is, is ours: what stands in
print most often counts most; the likelihood in `render.reading.likelihood` learns the rest from the file.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from fractions import Fraction
from functools import cache
from itertools import combinations

from grooves.rhythm import EIGHTH, QUARTER, SIXTEENTH

THIRD = Fraction(1, 3)
GRIDS = ("beats", "eighths", "triplets", "sixteenths")
# Beforehand, of all beats that are struck: how many are of each grid.
BESIDE_SWING = 0.1  # a pattern like swung eighths is so much rarer in a file that swings
USUAL_GRIDS = {"beats": 0.40, "eighths": 0.36, "triplets": 0.12, "sixteenths": 0.12}


@dataclass(frozen=True)
class Pattern:
    """A beat's struck places: `Pattern("eighths", (Fraction(0), EIGHTH), 0.7)`; `usual` is its share of its grid."""

    grid: str
    places: tuple[Fraction, ...]
    usual: float

    @property
    def like_upbeat(self) -> bool:
        """Whether it could be heard as swung eighths: one late stroke, after one on the beat or none."""
        return self.grid in ("triplets", "sixteenths") and set(self.places) - {Fraction(0)} <= {
            2 * THIRD,
            3 * SIXTEENTH,
        }


_QUARTER = {  # places in steps of the grid, by how often they stand in print
    "beats": (((0,), 1.0),),
    "eighths": (((0, 1), 0.7), ((1,), 0.3)),
    "triplets": (
        ((0, 1, 2), 0.45), ((0, 2), 0.14), ((1, 2), 0.15), ((0, 1), 0.14), ((1,), 0.07), ((2,), 0.05),
    ),
    "sixteenths": (
        ((0, 1, 2, 3), 0.27), ((0, 2, 3), 0.20), ((0, 1, 2), 0.17), ((0, 3), 0.14), ((0, 1, 3), 0.08),
        ((1, 2, 3), 0.04), ((2, 3), 0.03), ((1, 3), 0.02), ((0, 1), 0.02), ((1, 2), 0.01), ((3,), 0.01), ((1,), 0.01),
    ),
}  # fmt: skip
_STEPS = {"beats": EIGHTH, "eighths": EIGHTH, "triplets": THIRD, "sixteenths": SIXTEENTH}


@cache
def patterns(beat: Fraction) -> tuple[Pattern, ...]:
    """All patterns of a beat: `patterns(QUARTER)[0].places` is (0,), a stroke on the beat alone."""
    if beat == QUARTER:
        return tuple(
            Pattern(grid, tuple(_STEPS[grid] * step for step in steps), usual)
            for grid, rows in _QUARTER.items()
            for steps, usual in rows
        )
    eighths = [SIXTEENTH * n for n in range(0, int(beat / SIXTEENTH), 2)]
    sixteenths = [SIXTEENTH * n for n in range(int(beat / SIXTEENTH))]
    plain = [places for places in _subsets(eighths) if places != (Fraction(0),)]
    fine = [places for places in _subsets(sixteenths) if not set(places) <= set(eighths)]
    return (
        Pattern("beats", (Fraction(0),), 1.0),
        *(Pattern("eighths", places, 1 / len(plain)) for places in plain),
        *(Pattern("sixteenths", places, 1 / len(fine)) for places in fine),
    )


@cache
def usual_shares(beat: Fraction, swung: bool) -> dict[str, tuple[tuple[int, float], ...]]:
    """By grid, the index of each of its patterns with its usual share of it: they sum to 1."""
    known = patterns(beat)
    shares: dict[str, tuple[tuple[int, float], ...]] = {}
    for grid in dict.fromkeys(pattern.grid for pattern in known):
        mine = [
            (index, one.usual * (BESIDE_SWING if swung and one.like_upbeat else 1))
            for index, one in enumerate(known)
            if one.grid == grid
        ]
        total = sum(share for _, share in mine)
        shares[grid] = tuple((index, share / total) for index, share in mine)
    return shares


def _subsets(places: list[Fraction]) -> Iterable[tuple[Fraction, ...]]:
    for many in range(1, len(places) + 1):
        yield from combinations(places, many)
