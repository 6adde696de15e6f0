"""Bars for a band to play over, and what tests ask of the notes."""

from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction

from grooves.band.bars import BandBar
from grooves.band.forms import Form, find_form, form_table, shipped_forms
from grooves.meter import Meter
from grooves.notes import line_notes
from grooves.players import BandNote, LineOnset
from grooves.rhythm import parse_values

COMMON = Meter(4, 4)
MAJOR = ("C", "Db", "D", "Eb", "E", "F", "Gb", "G", "Ab", "A", "Bb", "B")
MINOR = ("C", "C#", "D", "Eb", "E", "F", "F#", "G", "G#", "A", "Bb", "B")


def every_form(meter: Meter = COMMON) -> list[Form]:
    """All shipped forms that are for a meter, each in twelve keys."""
    names = [name for name in shipped_forms() if str(meter) in form_table(name)["meters"]]
    return [
        find_form(name, meter, key)
        for name in names
        for key in (MINOR if form_table(name)["key"].endswith("m") else MAJOR)
    ]


def bars_of(form: Form, count: int, meter: Meter = COMMON, quarters_per_minute: float = 140.0) -> list[BandBar]:
    """So many bars of a form, over and over, with no line."""
    length = len(form.bars)
    return [
        BandBar(form.bars[n % length], meter, meter.length * n, quarters_per_minute, fresh=n % length == 0)
        for n in range(count)
    ]


def with_line(bars: Sequence[BandBar], values: str) -> list[BandBar]:
    """Bars with a reading line over them, over and over."""
    line = parse_values(values, bars[0].meter)
    notes = line_notes(line)
    return [
        replace(bar, line=tuple(LineOnset(n.onset, n.length) for n in notes if n.bar == number % len(line)))
        for number, bar in enumerate(bars)
    ]


def place_of(note: BandNote, bars: Sequence[BandBar]) -> Fraction:
    """Quarters since the count-in."""
    return bars[note.bar].place + note.onset


def chords_of(notes: Sequence[BandNote], bars: Sequence[BandBar]) -> dict[Fraction, list[int]]:
    """Keys struck together, from the lowest up, by place."""
    struck: dict[Fraction, list[int]] = {}
    for note in notes:
        struck.setdefault(place_of(note, bars), []).append(note.key)
    return {place: sorted(keys) for place, keys in struck.items()}


def sounding(bass: Sequence[BandNote], bars: Sequence[BandBar], places: Sequence[Fraction]) -> list[int]:
    """The key that the bass sounds at each place, in order of time."""
    starts = [place_of(note, bars) for note in bass]
    found, turn = [], 0
    for place in places:
        while turn + 1 < len(starts) and starts[turn + 1] <= place:
            turn += 1
        found.append(bass[turn].key)
    return found
