"""What a lesson and its band know of each other: bars of a track go in, pitched notes at exact places come out.

`grooves.band` plays; here is only what it is asked for. Whatever fits `Band` may play along.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Protocol

BASSES = ("walking", "two-feel", "by the groove", "off")
PIANOS = ("comping", "line", "off")
HORNS = ("line", "off")

# Levels of a part against the ride's plain stroke, LU: ours, set by ear. A chord sounds as loud as its part is to be.
BAND_LU: Mapping[str, float] = {"bass": -6.0, "piano": -8.0, "horns": -5.0}
# General MIDI 1, counted from 0: acoustic bass, acoustic grand piano, tenor saxophone.
BAND_PROGRAMS: Mapping[str, int] = {"bass": 32, "piano": 0, "horns": 66}


@dataclass(frozen=True)
class LineOnset:
    """One note of the reading line: `LineOnset(Fraction(3, 2), Fraction(1, 2))` is an eighth on the & of 2."""

    onset: Fraction  # in its bar
    length: Fraction  # may run over the barline
    accent_lu: float = 0.0  # what its phrasing adds


@dataclass(frozen=True)
class TrackBar:
    """One bar of a track: which one of the chorus, where, how fast, and what is read over it."""

    index: int  # of the bar in the chorus, from 0; -1 the bar of the groove before it, for a pickup
    place: Fraction  # of its barline, quarters since the count-in
    quarters_per_minute: float
    line: tuple[LineOnset, ...] = ()
    pickup: tuple[LineOnset, ...] = ()  # read before its barline: onsets below 0


@dataclass(frozen=True)
class BandNote:
    """One note of the band as written, straight eighths and all."""

    bar: int  # index among the bars that were given
    onset: Fraction  # in its bar; below 0 in a pickup to it
    length: Fraction  # may run over the barline
    part: str
    key: int  # MIDI key
    accent_lu: float = 0.0


@dataclass(frozen=True)
class ChordMark:
    """A chord as it stands above the staff: `ChordMark(Fraction(2), "Bb7", "Bb", "7", (0, 4, 7, 10))`."""

    onset: Fraction  # in its bar
    symbol: str
    root: str
    quality: str  # as pychord spells it
    tones: tuple[int, ...]  # semitones above the root
    bass: str = ""  # what stands behind a slash


@dataclass(frozen=True)
class WrittenBar:
    """One bar of what a band plays, as it is written: its number in the line, its chords, all notes struck in it."""

    number: int
    chords: tuple[ChordMark, ...]
    notes: tuple[BandNote, ...]


class Band(Protocol):
    """Who plays along with a score, over which chords."""

    @property
    def parts(self) -> tuple[str, ...]:
        """Those that play: bass, piano, horns."""

    @property
    def readers(self) -> tuple[str, ...]:
        """Those that play the reading line, and rest where nobody reads."""

    @property
    def programs(self) -> Mapping[str, int]:
        """Their General MIDI programs, counted from 0."""

    @property
    def form_bars(self) -> int:
        """How many bars its form has."""

    @property
    def key_signature(self) -> str:
        """Its key, such as "F" or "Dm"; "" where none is named."""

    @property
    def fifths(self) -> int:
        """Signs of its key: sharps above 0, flats below."""

    def chords(self, index: int) -> tuple[ChordMark, ...]:
        """The chords over a bar of the chorus, the first time through, one that goes on among them."""

    def chords_over(self, bars: Sequence[TrackBar]) -> list[tuple[ChordMark, ...]]:
        """The chords over each bar of a track."""

    def play(self, bars: Sequence[TrackBar], seed: int) -> list[BandNote]:
        """What it plays over the bars of a track, by part and place."""
