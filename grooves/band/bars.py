"""Bars with their chords, as the band sees them, and which chord sounds where."""

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from grooves.band.chords import Chord
from grooves.band.forms import FormBar
from grooves.meter import Meter
from grooves.players import LineOnset


@dataclass(frozen=True)
class BandBar:
    """One bar of a track as the band sees it: its chords, its pace, and the reading line over it."""

    chords: FormBar
    meter: Meter
    place: Fraction  # of its barline, quarters since the count-in
    quarters_per_minute: float
    line: tuple[LineOnset, ...] = ()
    fresh: bool = False  # the form begins here, or the track jumps
    pickup: tuple[LineOnset, ...] = ()  # read before its barline: onsets below 0


@dataclass(frozen=True)
class Span:
    """A chord while it lasts: where it begins and ends, in quarters since the count-in."""

    start: Fraction
    end: Fraction
    chord: Chord


def spans(bars: Sequence[BandBar]) -> tuple[Span, ...]:
    """The chords of some bars in order; one that goes on over a barline is one span, unless the form begins there."""
    found: list[Span] = []
    for bar in bars:
        for placed in bar.chords:
            start = bar.place + placed.onset
            goes_on = found and found[-1].chord == placed.chord and not (bar.fresh and placed.onset == 0)
            if goes_on:
                found[-1] = Span(found[-1].start, start + placed.length, placed.chord)
            else:
                found.append(Span(start, start + placed.length, placed.chord))
    return tuple(found)


class Changes:
    """Which chord sounds where: `Changes(spans(bars)).at(Fraction(5)).chord`."""

    def __init__(self, found: Sequence[Span]) -> None:
        """Keep the spans with their starts, for many look-ups."""
        self.spans = found
        self._starts = [float(span.start) for span in found]  # comparing fractions is slow

    def at(self, place: Fraction) -> Span:
        """The span that a place lies in; past the last one, the last."""
        return self.spans[max(bisect_right(self._starts, float(place)) - 1, 0)]
