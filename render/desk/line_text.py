"""The reading line in a lesson's text: its bars read, and bars written back where the line stands.

A bar that was not changed keeps the words and the spaces it has; the line stays in values or in counts, as its
author wrote it, as long as it can be said so.
"""

from collections.abc import Sequence
from pathlib import Path

from grooves.counts import counts_text, parse_counts
from grooves.errors import LessonError, at
from grooves.lesson_file import read_tables
from grooves.lesson_lines import written_line
from grooves.lesson_tables import LineTable
from grooves.line import WrittenLine
from grooves.meter import Meter
from grooves.pickup import parse_pickup
from grooves.rhythm import Bar, Symbol, parse_values, spell, values_text
from render.desk.places import ends_sounding, marks_of
from render.desk.toml_edit import Value, with_values
from render.lesson.groove_files import find_groove
from render.lesson.load import read_line_beside

BARS_A_ROW = 4


def meter_of(text: str, path: Path) -> Meter:
    """The meter of a lesson, which is its groove's: `meter_of(text, path)` is `Meter(4, 4)`; raises LessonError."""
    with at("groove"):
        return find_groove(read_tables(text).groove, path.parent).meter


def line_table(text: str, which: int = 0) -> LineTable:
    """The table of a lesson's line, of several of one of them, from 0; raises LessonError."""
    tables = read_tables(text).lines
    if not 0 <= which < len(tables):
        raise LessonError(f"line {which + 1}: this lesson has {len(tables)}")
    return tables[which]


def line_key(text: str, which: int = 0) -> list[str | int]:
    """Where that table stands: `line_key(text)` is `["line"]`, of several lines `["line", 0]`."""
    return ["line", which] if isinstance(read_tables(text).line, list) else ["line"]


def line_of(text: str, path: Path, which: int = 0) -> WrittenLine:
    """A line of a lesson as it is written, before bars are chosen or repeated; raises LessonError."""
    table = line_table(text, which)

    def read(name: str, meter: Meter, part: str | int | None) -> WrittenLine:
        line = read_line_beside(path, name, meter, part)
        return WrittenLine(line.bars, line.pickup)

    with at("line"):
        return written_line(table, meter_of(text, path), read)


def with_bars(text: str, path: Path, bars: Sequence[Bar], pickup: Bar | None = None, which: int = 0) -> str:
    """A lesson's text with other bars in its line: `with_bars(text, path, bars)`; raises LessonError.

    A line that was read from a file stands in the lesson from then on. Without `pickup` the pickup stays as it is; an
    empty one takes it away.
    """
    table, key_of = line_table(text, which), line_key(text, which)
    meter = meter_of(text, path)
    old = line_of(text, path, which).bars
    changes: list[tuple[list[str | int], Value]] = []
    if table.file:
        read = line_of(text, path, which).pickup if pickup is None else pickup
        changes += [([*key_of, "file"], None), ([*key_of, "part"], None)]
    else:
        read = pickup or ()
    if table.pickup and pickup == ():
        changes.append(([*key_of, "pickup"], None))
    if read:
        changes.append(([*key_of, "pickup"], values_text([read, *bars]).split(" | ")[0]))
    key, written = "values", values_text(bars)
    if table.counts and (said := _said(bars, meter)):
        key, written = "counts", said
    elif table.counts:
        changes.append(([*key_of, "counts"], None))
    before = getattr(table, key)
    spoken = values_text(old) if key == "values" else _said(old, meter)
    changes.append(([*key_of, key], _into(before, spoken, written) if before else in_rows(written)))
    return with_values(text, changes)


def _said(bars: Sequence[Bar], meter: Meter) -> str:
    """The line in counts, or "" where some place has none, or where they would be read as another line."""
    try:
        said = counts_text(bars, meter)
        return said if parse_counts(said, meter) == tuple(bars) else ""
    except LessonError:
        return ""


def in_rows(written: str) -> str:
    """A line on rows of four bars, on one row where it is as short as that."""
    bars = written.split(" | ")
    if len(bars) <= BARS_A_ROW:
        return written
    rows = [" | ".join(bars[begin : begin + BARS_A_ROW]) for begin in range(0, len(bars), BARS_A_ROW)]
    return " |\n".join(rows) + "\n"


def _into(before: str, old: str, new: str) -> str:
    """A line's own text with the bars changed that are other ones now; rows of four where it grew or shrank."""
    pieces, olds, news = before.strip().strip("|").split("|"), old.split(" | "), new.split(" | ")
    if not len(pieces) == len(olds) == len(news):
        return in_rows(new)
    changed = False  # the bar before, so that a sign for "once more" would mean another bar
    for number, (piece, was, now) in enumerate(zip(pieces, olds, news, strict=True)):
        once_more = piece.strip() == "%"
        if now != was or (once_more and changed):
            pieces[number] = piece.replace(piece.strip(), now)
            changed = True
        else:
            changed = False
    tail = "\n" if before.endswith("\n") else ""
    return "|".join(pieces).rstrip() + tail


# --- one bar as it is typed -----------------------------------------------------------------------


def typed_values(line: WrittenLine, number: int, typed: str, meter: Meter) -> tuple[Bar, ...]:
    """The line with one bar as somebody typed it in values, or several with bar signs between; raises LessonError.

    `number` counts from 0.
    """
    _check_written(number, typed)
    pickup, *written = values_text([line.pickup, *line.bars]).split(" | ")
    whole = " | ".join([*written[:number], typed.strip(), *written[number + 1 :]])
    if line.pickup:
        return parse_pickup(pickup, meter, whole)[1]
    return parse_values(whole, meter)


def typed_counts(line: WrittenLine, number: int, typed: str, meter: Meter) -> tuple[Bar, ...]:
    """The same in counts; what stands before is only told whether it sounds on, so that the bar has its number."""
    _check_written(number, typed)
    before = line.bars[number - 1] if number else line.pickup
    read = _after(bool(before) and ends_sounding(before), number, typed, meter)
    return (*line.bars[:number], *read, *line.bars[number + 1 :])


def _after(sounds: bool, number: int, typed: str, meter: Meter) -> tuple[Bar, ...]:
    """Bars of counts behind so many others, of which the last sounds on or not."""
    note = spell((Symbol(meter.length * 0, meter.length, "struck" if sounds else "rest"),), meter)
    filled = [counts_text([note], meter)] * max(number, 1 if sounds else 0)
    return parse_counts(" | ".join([*filled, typed.strip()]), meter)[len(filled) :]


def _check_written(number: int, typed: str) -> None:
    if not typed.strip(" |"):
        raise LessonError(f"bar {number + 1} is empty; write its notes, or a rest such as 1r")


def counts_of(bar: Bar, meter: Meter) -> str | None:
    """One bar in counts; None where some place has none, or where they would be read as another bar."""
    try:
        said = counts_text([bar], meter)
        read = _after(bar[0].kind == "held", 0, said, meter)
    except LessonError:
        return None
    return said if [marks_of(one) for one in read] == [marks_of(bar)] else None
