"""The reading line: which limb plays each of its notes.

The ways to read a line (all on one limb, long and short notes parted, the gaps filled, the hands
in turn) are common practice, no source.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from math import ceil

from grooves.kit import HANDS, INSTRUMENTS
from grooves.notes import LineNote
from grooves.rhythm import EIGHTH, QUARTER, Bar, Meter

LONG = QUARTER  # a note this long or longer is a long one


@dataclass(frozen=True)
class PlayedOn:
    """Who reads: `PlayedOn("snare", "snare")` is all on the snare.

    `gaps` is a second instrument that fills what the line leaves open; `alternate` lets the hands take turns.
    """

    long: str
    short: str
    gaps: str = ""
    alternate: bool = False
    hands: tuple[tuple[str, str], ...] = ()  # instruments that another hand strikes than usual, with that hand

    @property
    def instruments(self) -> tuple[str, ...]:
        """The instruments of the line itself, long first."""
        return (self.long,) if self.long == self.short else (self.long, self.short)

    @property
    def limbs(self) -> frozenset[str]:
        """The limbs that are busy reading; their own patterns are silent."""
        limbs = {self.limb(name) for name in (*self.instruments, self.gaps) if name}
        return frozenset(limbs | (set(HANDS) if self.alternate else set()))

    def limb(self, instrument: str) -> str:
        """Who strikes an instrument of the line: `PlayedOn("snare", "snare").limb("snare")` is "left hand"."""
        return dict(self.hands).get(instrument, INSTRUMENTS[instrument].limb)


@dataclass(frozen=True)
class RehearsalLetter:
    """A letter over a bar: `RehearsalLetter("B", 9)`."""

    letter: str
    bar: int  # its number
    readers: tuple[PlayedOn, ...] = ()  # who reads from here on, where the lines of a lesson differ


@dataclass(frozen=True)
class WrittenLine:
    """A line as it is written: its bars, and the notes before bar 1, their places those of the bar that they end."""

    bars: tuple[Bar, ...]
    pickup: Bar = ()
    letters: tuple[RehearsalLetter, ...] = ()  # that stand over its bars, in their order


@dataclass(frozen=True)
class Assigned:
    """A note with its player: `Assigned(note, "snare", "left hand")`; `gap` marks a gap that is filled."""

    note: LineNote
    instrument: str
    limb: str
    gap: bool = False


def assign(notes: Sequence[LineNote], played_on: PlayedOn) -> tuple[Assigned, ...]:
    """Give each note its instrument and limb: with `PlayedOn("bass drum", "snare")` quarters go to the bass drum."""
    given = []
    for turn, note in enumerate(notes):
        instrument = played_on.long if note.length >= LONG else played_on.short
        limb = HANDS[turn % 2] if played_on.alternate else played_on.limb(instrument)
        given.append(Assigned(note, instrument, limb))
    return tuple(given)


def fill_gaps(bar: Bar, index: int, played_on: PlayedOn, meter: Meter, triplets: bool) -> tuple[Assigned, ...]:
    """Fill the places between a bar's notes: with triplets, a line of quarters gets the `trip let` of every beat."""
    if not played_on.gaps:
        return ()
    filled = []
    limb = played_on.limb(played_on.gaps)
    for beat in range(ceil(meter.length / QUARTER)):
        struck = {s.onset - beat for s in bar if s.kind == "struck" and beat <= s.onset < beat + 1}
        step = _gap_step(struck, triplets)
        taken = {Fraction(2, 3) if step == Fraction(1, 3) and place == EIGHTH else place for place in struck}
        there = [step * number for number in range(int(1 / step)) if beat + step * number < meter.length]
        places = [place for place in there if place not in taken]
        filled += [Assigned(LineNote(index, beat + place, step), played_on.gaps, limb, gap=True) for place in places]
    return tuple(filled)


def _gap_step(struck: set[Fraction], triplets: bool) -> Fraction:
    """Triplets between the notes where the beat allows them, else eighths or sixteenths."""
    if any(place.denominator == 4 for place in struck):
        return Fraction(1, 4)
    return Fraction(1, 3) if triplets or any(place.denominator == 3 for place in struck) else EIGHTH
