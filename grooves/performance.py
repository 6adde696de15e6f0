"""Passages played: every stroke as seconds, instrument and loudness. The only door from paper to sound."""

from dataclasses import dataclass
from fractions import Fraction

from grooves.rhythm import Meter


@dataclass(frozen=True)
class Hit:
    """One sounding stroke: when (seconds from the track's start), what, and how loud."""

    onset_seconds: float
    onset_quarters: Fraction  # the same moment on the track's ruler of quarters, for MIDI ticks
    part: str  # ride, hi-hat, snare, …, count-in, click
    limb: str  # "" for count-in and click
    instrument: str
    key: int  # General MIDI percussion key
    level_lu: float  # loudness of this hit against the ride's plain stroke


@dataclass(frozen=True)
class BarMark:
    """One bar on the track's ruler: where it begins, how fast it goes, what it is called."""

    onset_seconds: float
    onset_quarters: Fraction
    quarters: Fraction  # its length
    seconds: float  # its length
    quarters_per_minute: float
    label: str  # "bar 1", "count-in"


@dataclass(frozen=True)
class Performance:
    """A track ready to sound: hits in order of time, bars in order of time."""

    title: str
    meter: Meter
    hits: tuple[Hit, ...]
    bars: tuple[BarMark, ...]

    @property
    def length_seconds(self) -> float:
        """From the first downbeat to the last barline, without the tails of the sounds."""
        last = self.bars[-1]
        return last.onset_seconds + last.seconds

    @property
    def parts(self) -> tuple[str, ...]:
        """The parts that sound, in order of first appearance."""
        return tuple(dict.fromkeys(hit.part for hit in self.hits))
