"""Bass lines of set rhythms: two-feel, bossa nova and samba, the street beat, straight eighths.

Each bar has a few rhythms to choose from by place; each note says what it wants: the root, the fifth, or a note that
leads into the next chord. Where a chord begins inside a bar, the first note on it takes its root. Pitches are found
as for a walking line. The rhythms: common practice, no source; their shares are ours.
"""

from collections.abc import Iterator, Sequence
from fractions import Fraction
from itertools import chain

from grooves.band.bars import BandBar, Changes, spans
from grooves.band.bass import BassEvent
from grooves.band.chance import chosen
from grooves.band.walking import Beat, play_beats, walk
from grooves.meter import Meter
from grooves.players import BandNote

Rhythm = tuple[tuple[str, str], ...]  # places in felt beats and what the note there wants; each lasts up to the next

_HALVES: dict[Rhythm, float] = {
    (("0", "root"), ("2", "fifth")): 0.6,
    (("0", "root"), ("2", "fifth"), ("3", "lead")): 0.25,
    (("0", "root"), ("3/2", "root"), ("2", "fifth")): 0.15,
}
_DOTTED: dict[Rhythm, float] = {
    (("0", "root"), ("3/2", "fifth"), ("2", "fifth"), ("7/2", "root")): 0.7,
    (("0", "root"), ("3/2", "root"), ("2", "fifth"), ("7/2", "lead")): 0.3,
}
_STREET: dict[Rhythm, float] = {
    (("0", "root"), ("3/2", "fifth"), ("3", "root")): 0.6,
    (("0", "root"), ("3/2", "fifth"), ("3", "lead")): 0.4,
}
_STRAIGHT: dict[Rhythm, float] = {
    (("0", "root"), ("3/2", "root"), ("2", "fifth")): 0.4,
    (("0", "root"), ("3/2", "root"), ("2", "fifth"), ("3", "lead")): 0.35,
    (("0", "root"), ("3/2", "fifth")): 0.25,
}
STYLES = {"two-feel": _HALVES, "dotted": _DOTTED, "street": _STREET, "straight": _STRAIGHT}  # in four
# Two to a bar in other meters: the length of the first, in felt beats; a waltz in two has one note to a bar.
_TWO_BEATS = {2: 1, 3: 3, 5: 3}


def play_bass(bars: Sequence[BandBar], style: str, seed: int) -> list[BandNote]:
    """A bass line in a style: `play_bass(bars, "walking", 1)`; "two-feel", "dotted", "street", "straight"."""
    if style == "walking":
        return walk(bars, seed)
    changes = Changes(spans(bars))
    beats = [beat for index, bar in enumerate(bars) for beat in _bar_beats(index, bar, style, changes, seed)]
    return play_beats(beats, bars, seed)


def _bar_beats(index: int, bar: BandBar, style: str, changes: Changes, seed: int) -> Iterator[Beat]:
    """A bar's notes; where a chord begins between them, one more on it, and the note before it is cut short."""
    wants = dict(_rhythm(bar, style, seed))
    for placed in bar.chords:
        wants.setdefault(placed.onset, "root")
    onsets = sorted(wants)
    for onset, end in zip(onsets, chain(onsets[1:], [bar.meter.length]), strict=True):
        yield Beat(index, onset, end - onset, _event(bar, onset, wants[onset], changes))


def _rhythm(bar: BandBar, style: str, seed: int) -> list[tuple[Fraction, str]]:
    """Where the notes of a bar begin, and what each wants. Each lasts up to the next."""
    beats = bar.meter.pulses
    if beats == 4:
        rhythm = chosen(STYLES[style], seed, "bass/rhythm", bar.place)
        return [(_within(Fraction(place), bar.meter), want) for place, want in rhythm]
    first = _TWO_BEATS.get(beats, (beats + 1) // 2)
    return [(place * bar.meter.pulse, want) for place, want in ((0, "root"), (first, "fifth")) if place < beats]


def _within(beats: Fraction, meter: Meter) -> Fraction:
    """A place in felt beats as quarters: half a beat is the third eighth of three in 12/8."""
    whole, part = divmod(beats, 1)
    return (whole + (Fraction(2, 3) if part and meter.compound else part)) * meter.pulse


def _event(bar: BandBar, onset: Fraction, want: str, changes: Changes) -> BassEvent:
    place = bar.place + onset
    span = changes.at(place)
    if want == "lead":
        return BassEvent(place, span.chord, begins=False, strong=False)
    begins = span.start == place
    return BassEvent(place, span.chord, begins, strong=True, aim="root" if begins else want, firmly=True)
