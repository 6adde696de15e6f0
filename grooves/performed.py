"""A track ready to sound: what is heard when, and where its bars stand on the ruler."""

from dataclasses import dataclass
from fractions import Fraction

from grooves.kit import BAND, HELPERS, PARTS
from grooves.meter import Meter


@dataclass(frozen=True)
class Hit:
    """One sounding stroke: when (seconds from the track's start), what, and how loud."""

    onset_seconds: float  # below 0 where a stroke is early for the first downbeat
    onset_quarters: Fraction  # the same moment on the track's ruler of quarters, for MIDI ticks
    part: str  # ride, hi-hat, snare, …, count-in, click
    limb: str  # "" for count-in and click
    instrument: str
    key: int  # General MIDI percussion key
    level_lu: float  # loudness of this hit against the ride's plain stroke


@dataclass(frozen=True)
class Note:
    """One sounding note of the band: when, for how long, what, and how loud."""

    onset_seconds: float
    onset_quarters: Fraction  # the same moment on the track's ruler of quarters, for MIDI ticks
    length_seconds: float  # from onset to the release of the key
    length_quarters: Fraction
    part: str  # bass, piano, horns
    program: int  # General MIDI program, counted from 0: 32 acoustic bass, 0 piano, 66 tenor saxophone, 56 trumpet
    key: int  # MIDI key: 28 is E1, the open string
    level_lu: float  # loudness against the ride's plain stroke


@dataclass(frozen=True)
class BarMark:
    """One bar on the track's ruler: where it begins, how fast it goes, what it is called."""

    onset_seconds: float
    onset_quarters: Fraction
    quarters: Fraction  # its length
    seconds: float  # its length
    quarters_per_minute: float
    label: str  # "bar 1", "count-in"
    letter: str = ""  # the rehearsal letter over it


@dataclass(frozen=True)
class Performance:
    """A track ready to sound: hits, notes and bars, each in order of time."""

    title: str
    meter: Meter
    hits: tuple[Hit, ...]
    bars: tuple[BarMark, ...]
    notes: tuple[Note, ...] = ()
    key_signature: str = ""  # of the band: "F", "Dm"; "" where there is none

    @property
    def length_seconds(self) -> float:
        """From the first downbeat to the last barline, without the tails of the sounds."""
        last = self.bars[-1]
        return last.onset_seconds + last.seconds

    @property
    def parts(self) -> tuple[str, ...]:
        """The parts that sound, from the top of the staff down, then the band, then count-in and click."""
        sounding = {hit.part for hit in self.hits} | {note.part for note in self.notes}
        return tuple(part for part in (*PARTS, *BAND, *HELPERS) if part in sounding)
