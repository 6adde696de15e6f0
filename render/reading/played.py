"""Played notes and the written places found for them. Places in quarters from the line's first downbeat."""

from dataclasses import dataclass
from fractions import Fraction

from grooves.rhythm import EIGHTH, QUARTER, SIXTEENTH, Meter

STEPS = {
    "eighths": EIGHTH,
    "triplets": QUARTER / 3,
    "sixteenths": SIXTEENTH,
    "32nds": EIGHTH / 4,
    "sextuplets": QUARTER / 6,
}


@dataclass(frozen=True)
class PlayedNote:
    """A note as played: `PlayedNote(Fraction(5, 3), Fraction(1, 4), 0.5)`; `length` is None where it never ended."""

    onset: Fraction
    length: Fraction | None = None
    quarter_seconds: float = 0.5
    velocity: int = 64


@dataclass(frozen=True)
class BeatGrid:
    """The places of one beat: where they are written, and where they fall when played."""

    name: str
    written: tuple[Fraction, ...]
    played: tuple[Fraction, ...]

    def nearest(self, within: Fraction) -> int:
        """The index of the nearest played place."""
        return min(range(len(self.played)), key=lambda index: abs(self.played[index] - within))


@dataclass(frozen=True)
class PlacedNote:
    """A note with its written place: `off` is how far after it was played, in quarters, delay and swing aside."""

    note: PlayedNote
    onset: Fraction
    off: Fraction


@dataclass(frozen=True)
class Quantized:
    """Notes on their grids: `grids[beat]` for every beat that has notes; `upbeat` is where swung eighths fall."""

    placed: tuple[PlacedNote, ...]
    grids: dict[int, BeatGrid]
    upbeat: Fraction | None
    exact: bool = False  # every note lies on its grid to the tick
    near: Fraction = Fraction(0)  # and this is how near that is
    delay_seconds: float = 0.0  # taken off every note
    spread_seconds: float = 0.0  # standard deviation of the rest
    pace: float = 1.0  # how much faster than the file says it was played
    sure: dict[int, float] | None = None  # the probability of each beat's reading; None: no doubt
    alike: frozenset[int] = frozenset()  # beats read as swung eighths that sound as open triplets to the tick


def beat_of(meter: Meter) -> Fraction:
    """The length that is quantized at a time: a quarter, in x/8 the felt beat."""
    return QUARTER if meter.unit < 8 else meter.pulse


def even_grid(name: str, beat: Fraction) -> BeatGrid:
    """A grid of even steps: `even_grid("triplets", QUARTER).written` is (0, 1/3, 2/3)."""
    places = tuple(STEPS[name] * index for index in range(int(beat / STEPS[name])))
    return BeatGrid(name, places, places)


def swung_grid(upbeat: Fraction) -> BeatGrid:
    """Eighths whose upbeat falls late: `swung_grid(Fraction(2, 3)).written` is (0, 1/2)."""
    return BeatGrid("swung eighths", (Fraction(0), EIGHTH), (Fraction(0), upbeat))
