"""Who reads the line: a drum, notes parted among drums, hands in turn, readers in turn."""

from collections.abc import Sequence
from typing import Any, Literal

from grooves.errors import LessonError, at, nearest, quoted
from grooves.kit import HANDS, INSTRUMENTS
from grooves.lesson_tables import LineTable
from grooves.line import PlayedOn

READERS = ("snare", "bass drum", "hi-hat", "ride", "cross-stick")  # what a line can be played on


def who_reads(table: LineTable) -> tuple[list[PlayedOn], Literal["chorus", "bar"]]:
    """The readers of a line, and whether they take turns by chorus or by bar; raises LessonError.

    Example: `who_reads(LineTable(played_on="snare"))` is `([PlayedOn("snare", "snare")], "chorus")`.
    """
    turns = table.played_on if isinstance(table.played_on, dict) else {}
    if table.each_chorus is not None:
        if "played_on" in table.model_fields_set:
            raise LessonError("played_on and each_chorus both stand here; write one of them")
        turns = {"each_chorus": table.each_chorus}
    for key in ("each_chorus", "each_bar"):
        if key in turns and len(turns) == 1:
            with at(key):
                return [_reading(one) for one in _reading_list(turns[key])], "chorus" if key == "each_chorus" else "bar"
    with at("played_on"):
        return [_reading(table.played_on)], "chorus"


def _reading_list(value: object) -> list[object]:
    if not isinstance(value, list) or not value:
        raise LessonError(f'{quoted(value)} is not a list; write the readers in turn, such as ["snare", "bass drum"]')
    return value


def _reading(value: Any) -> PlayedOn:
    """One way to read: an instrument, or a table that parts the notes."""
    match value:
        case str():
            return PlayedOn(_reader(value), _reader(value))
        case {"long": str(long), "short": str(short), **rest} if not rest:
            return PlayedOn(_reader(long), _reader(short))
        case {"notes": str(notes), "gaps": str(gaps), **rest} if not rest:
            return _with_gaps(_reader(notes), _reader(gaps))
        case {"hands": "alternate", **rest} if not rest:
            return PlayedOn("snare", "snare", alternate=True)
    raise LessonError(
        f"{quoted(value)} cannot be played; write one of {', '.join(READERS)}, or {{ long = …, short = … }}, "
        '{ notes = …, gaps = … }, { hands = "alternate" }, { each_bar = […] }, { each_chorus = […] }'
    )


def _reader(name: str) -> str:
    if name not in READERS:
        raise LessonError(f"'{name}' cannot read the line; {nearest(name, READERS)}")
    return name


def _with_gaps(notes: str, gaps: str) -> PlayedOn:
    if notes == gaps:
        raise LessonError(f"notes and gaps are both on the {notes}; give the gaps to another limb")
    return PlayedOn(notes, notes, gaps)


def reading_hand(table: LineTable, played_on: Sequence[PlayedOn]) -> str:
    """The hand that reads as the lesson asks, "" where it does not: raises LessonError where a foot reads."""
    names = [name for reading in played_on if not reading.alternate for name in reading.instruments]
    if table.reads_with and not any(INSTRUMENTS[name].limb in HANDS for name in names):
        raise LessonError(
            f"reads_with: the line is on the {names[0]}, which a foot plays; leave reads_with out"
            if names
            else "reads_with: both hands read in turn; leave it out"
        )
    return table.reads_with
