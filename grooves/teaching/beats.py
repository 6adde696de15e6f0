"""Bars from beats and strokes, and back; in a drawn beat `x` is a stroke, `-` still sounding, `.` silence, evenly."""

from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction
from functools import lru_cache
from itertools import pairwise

from grooves.rhythm import Bar, Kind, Meter, Symbol, is_one_sign, spell


def bar_of(cells: Sequence[str], meter: Meter, tied_in: bool = False) -> Bar:
    """Join beats into a bar: `bar_of(["x", "-x", "xx", "."], Meter(4, 4))` is "4. 8 8 8 4r"."""
    events: list[Symbol] = []
    sounding = tied_in
    for number, cell in enumerate(cells):
        length = meter.pulse / len(cell)
        for part, mark in enumerate(cell):
            sounding = mark == "x" or (mark == "-" and sounding)
            kind: Kind = "struck" if mark == "x" else "held" if sounding else "rest"
            if events and (kind == "held" or kind == events[-1].kind == "rest"):
                events[-1] = replace(events[-1], length=events[-1].length + length)
            else:
                events.append(Symbol(place_in_beat(number, part, len(cell), meter), length, kind))
    return spell(tuple(events), meter)


@lru_cache(maxsize=256)
def place_in_beat(beat: int, part: int, parts: int, meter: Meter) -> Fraction:
    """Where a part of a beat begins, both from 0: `place_in_beat(1, 2, 3, Meter(4, 4))` is 5/3."""
    return meter.pulse * (beat * parts + part) / parts


def upbeat_bar(cells: Sequence[str], meter: Meter) -> Bar:
    """Join beats into a bar without ties: `upbeat_bar([".x", ".x", "x", "."], Meter(4, 4))` is "8r 4 8 4 4r"."""
    onsets = [
        place_in_beat(number, part, len(cell), meter)
        for number, cell in enumerate(cells)
        for part, mark in enumerate(cell)
        if mark == "x"
    ]
    return untied(onsets, meter)


def untied(onsets: Sequence[Fraction], meter: Meter) -> Bar:
    """Strokes as a bar without ties: a note that one sign cannot write ends with its beat, and a rest follows."""
    silent = min(onsets, default=meter.length)
    symbols = [Symbol(Fraction(0), silent, "rest")] if silent else []
    for onset, following in pairwise([*onsets, meter.length]):
        end = following
        if not is_one_sign(onset, following - onset, meter):
            end = min(following, (onset // meter.pulse + 1) * meter.pulse)
        symbols += [Symbol(onset, end - onset), Symbol(end, following - end, "rest")][: 1 + (end < following)]
    return spell(tuple(symbols), meter)


def on_the_beats(meter: Meter) -> Bar:
    """One note on each beat: four quarters in 4/4, two dotted quarters in 6/8."""
    return tuple(Symbol(meter.pulse * number, meter.pulse) for number in range(meter.pulses))


def strokes_of(bar: Bar) -> tuple[Fraction, ...]:
    """Where a bar is struck: `strokes_of` of "4 8r 8 2r" is (0, 3/2)."""
    return tuple(symbol.onset for symbol in bar if symbol.kind == "struck")
