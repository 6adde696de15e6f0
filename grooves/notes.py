"""The notes of a line as they sound: ties joined, over barlines too."""

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from grooves.rhythm import Bar


@dataclass(frozen=True)
class LineNote:
    """One note as it sounds, ties joined: `length` may run over the barline."""

    bar: int  # index into the bars it was read from
    onset: Fraction
    length: Fraction
    accent: bool = False


def line_notes(bars: Sequence[Bar]) -> tuple[LineNote, ...]:
    """Join ties into sounding notes: `line_notes(parse_values("2 [2 | 2] 2", meter))` gives three notes."""
    notes: list[LineNote] = []
    for index, bar in enumerate(bars):
        for symbol in bar:
            if symbol.kind == "struck":
                notes.append(LineNote(index, symbol.onset, symbol.length, symbol.accent))
            elif symbol.kind == "held" and notes:
                last = notes[-1]
                notes[-1] = LineNote(last.bar, last.onset, last.length + symbol.length, last.accent)
    return tuple(notes)
