"""What a press or a key does to a lesson: from its text to its text, by the house's own readers and writers.

Every change is a table with a `kind`; what is wrong with it is one LessonError, and the text stays as it was.
"""

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import Any

from grooves.errors import LessonError, at
from grooves.lesson_file import read_tables
from grooves.lesson_lines import ALPHABET, letters_of
from grooves.line import WrittenLine
from grooves.meter import Meter
from grooves.pickup import parse_pickup
from grooves.rhythm import Bar, parse_values, values_text
from grooves.teaching.graded import lines
from grooves.toml_text import read_toml
from render.desk import places, steps
from render.desk.asked import number, which_line, word
from render.desk.line_tables import with_line, without_line
from render.desk.line_text import (
    in_rows,
    line_key,
    line_of,
    line_table,
    meter_of,
    typed_counts,
    typed_values,
    with_bars,
)  # fmt: skip
from render.desk.places import Marks, bar_of, ends_sounding, marks_of, mended, silent_bar
from render.desk.toml_edit import Value, with_values
from render.lesson.groove_files import find_groove
from render.lesson.lesson_text import line_tables
from render.lesson.load import lesson_of_text

Change = Mapping[str, Any]


def edited(text: str, path: Path, change: Change) -> str:
    """A lesson's text after a change: `edited(text, path, {"kind": "set", "key": ["tempo"], "value": 96})`.

    Raises LessonError where the change cannot be made, or where what comes of it is no lesson.
    """
    kind = word(change, "kind")
    if kind in _OF_A_BAR or kind in ("level", "take"):
        after = _with_line(text, path, kind, change)
    elif kind == "set":
        after = with_values(text, [(key, change.get("value")) for key in _keys(text, _key(change))])
    elif kind == "text":
        after = word(change, "text", most=1_000_000)
    elif kind in _OF_TABLES:
        after = _OF_TABLES[kind](text, path, change)
    else:
        raise LessonError(f"'{kind}' is no change that can be made here")
    lesson_of_text(after, path)
    return after


def _key(change: Change) -> Sequence[str | int]:
    key = change.get("key")
    if not isinstance(key, list) or not 1 <= len(key) <= 4 or not all(isinstance(one, str | int) for one in key):
        raise LessonError("a key is missing")
    return key


def _keys(text: str, key: Sequence[str | int]) -> list[Sequence[str | int]]:
    """The keys that are set with one: several lines repeat their bars alike."""
    if len(key) == 3 and key[0] == "line" and key[2] == "repeat_each":
        return [["line", which, "repeat_each"] for which in range(len(read_tables(text).lines))]
    return [key]


# --- the line -------------------------------------------------------------------------------------


@dataclass(frozen=True)
class _InBar:
    """A change of one bar: which line, which bar of it from 0, what is asked."""

    line: WrittenLine
    index: int
    meter: Meter
    change: Change

    @property
    def bar(self) -> Bar:
        return self.line.bars[self.index]

    @property
    def marks(self) -> Marks:
        return marks_of(self.bar)

    @property
    def sounds_before(self) -> bool:
        """Whether the bar before, or the pickup, ends with a note."""
        before = self.line.bars[self.index - 1] if self.index else self.line.pickup
        return bool(before) and ends_sounding(before)

    def place(self, key: str = "tick") -> Fraction:
        return places.place(number(self.change, key, 0, 10_000), self.meter, self.index + 1)

    @property
    def step(self) -> Fraction:
        return Fraction(number(self.change, "step", 1, 1_000), places.TICKS)

    def drawn(self, marks: Marks) -> tuple[Bar, ...]:
        """The line with this bar as marks have it."""
        return self.replaced(bar_of(marks, self.meter, self.index + 1))

    def replaced(self, *bars: Bar) -> tuple[Bar, ...]:
        """The line with other bars in this one's place."""
        return (*self.line.bars[: self.index], *bars, *self.line.bars[self.index + 1 :])


def _with_line(text: str, path: Path, kind: str, change: Change) -> str:
    which = which_line(change)
    meter, line = meter_of(text, path), line_of(text, path, which)
    if kind == "take":
        return _taken(text, path, meter, change, which)
    if kind == "level":
        bars = _level(meter, change)
    else:
        index = number(change, "bar", 0, len(line.bars) - 1)
        with at("line" if kind in ("values", "counts") else f"bar {index + 1}"):
            bars = _OF_A_BAR[kind](_InBar(line, index, meter, change))
    sounds = bool(line.pickup) and ends_sounding(line.pickup)
    return with_bars(text, path, mended(bars, meter, sounds), which=which)


def _touched(one: _InBar) -> Marks:
    """A touch makes a note, and a touch on a note a rest."""
    mark = one.marks.get(one.place())
    struck = mark is not None and mark.kind == "struck"
    return places.rest(one.marks, one.place()) if struck else places.strike(one.marks, one.place(), one.meter)


def _held(one: _InBar) -> Marks:
    start, last = one.place(), one.place("to")
    if last < start:
        raise LessonError("a note is held on, not back; draw it from its beginning")
    return places.hold(one.marks, start, last, one.step, one.meter)


def _divided(one: _InBar) -> Marks:
    beat, parts = number(one.change, "beat", 0, 15), number(one.change, "parts", 1, 12)
    return places.divide(one.marks, beat, parts, one.meter)


def _removed(one: _InBar) -> tuple[Bar, ...]:
    if len(one.line.bars) == 1:
        raise LessonError("a line has at least one bar; change this one")
    return one.replaced()


_OF_A_BAR: dict[str, Callable[[_InBar], tuple[Bar, ...]]] = {
    "touch": lambda one: one.drawn(_touched(one)),
    "rest": lambda one: one.drawn(places.rest(one.marks, one.place())),
    "tie": lambda one: one.drawn(places.tie(one.marks, one.place(), one.sounds_before, one.step, one.meter)),
    "accent": lambda one: one.drawn(places.accent(one.marks, one.place())),
    "hold": lambda one: one.drawn(_held(one)),
    "divide": lambda one: one.drawn(_divided(one)),
    "values": lambda one: typed_values(one.line, one.index, word(one.change, "text", ""), one.meter),
    "counts": lambda one: typed_counts(one.line, one.index, word(one.change, "text", ""), one.meter),
    "add bar": lambda one: one.replaced(one.bar, silent_bar(one.meter)),
    "copy bar": lambda one: one.replaced(one.bar, one.bar),
    "clear bar": lambda one: one.replaced(silent_bar(one.meter)),
    "remove bar": _removed,
    "easier": lambda one: one.replaced(steps.easier(one.bar, one.meter)),
    "harder": lambda one: one.replaced(steps.harder(one.bar, one.meter)),
}


def _level(meter: Meter, change: Change) -> tuple[Bar, ...]:
    with at("level"):
        level, bars = number(change, "level", 1, 99), number(change, "bars", 1, 128)
        return lines(level, bars, number(change, "seed", 0, 2**32), meter)


def _taken(text: str, path: Path, meter: Meter, change: Change, which: int) -> str:
    """A whole line in values, as it was tapped or read from a file, with its own pickup or none."""
    values, pickup = word(change, "text", most=100_000), word(change, "pickup", "")
    if not pickup:
        return with_bars(text, path, mended(parse_values(values, meter), meter), (), which)
    before, bars = parse_pickup(pickup, meter, values)
    return with_bars(text, path, bars, before, which)


# --- another meter, tracks ------------------------------------------------------------------------


def _fit(text: str, path: Path, change: Change) -> str:
    """A groove in another meter, with every bar of the line cut off or filled with rests to fit it."""
    with at("groove"):
        meter = find_groove(word(change, "groove"), path.parent).meter
    changes: list[tuple[list[str | int], Value]] = [(["groove"], word(change, "groove"))]
    for which in range(len(read_tables(text).lines)):
        key = line_key(text, which)
        bars = [_cut(bar, meter, n) for n, bar in enumerate(line_of(text, path, which).bars, 1)]
        changes += [([*key, gone], None) for gone in ("counts", "file", "part", "pickup")]
        changes.append(([*key, "values"], in_rows(values_text(mended(bars, meter)))))
    return with_values(text, changes)


def _cut(bar: Bar, meter: Meter, number_of: int) -> Bar:
    """A bar cut off at the end of a shorter meter, or filled with a rest up to that of a longer one."""
    marks = {onset: mark for onset, mark in marks_of(bar).items() if onset < meter.length}
    if bar[-1].end < meter.length:
        marks[bar[-1].end] = places.Mark("rest")
    return bar_of(places.tidy(marks), meter, number_of)


def _add_track(text: str, path: Path, change: Change) -> str:
    """One more track, or, where there were none, the first of its own."""
    tracks = lesson_of_text(text, path).tables.get("track", [])
    names = {str(one.get("name", "")).casefold() for one in tracks}
    wished = word(change, "name")
    name = next(one for one in [wished, *(f"{wished} {n}" for n in range(2, 999))] if one.casefold() not in names)
    table = change.get("table")
    own = table if isinstance(table, dict) else {}
    return with_values(text, [(["track", len(tracks)], {"name": name, **own})])


def _remove_track(text: str, path: Path, change: Change) -> str:
    count = len(lesson_of_text(text, path).tables.get("track", []))
    return with_values(text, [(["track", number(change, "track", 0, count - 1)], None)])


# --- several lines --------------------------------------------------------------------------------

_NEW_BARS = 4  # of rests, to be written in


def _add_line(text: str, path: Path, change: Change) -> str:
    """One line more after all others: bars of rests, read as the line that is written now is read."""
    tables = read_tables(text).lines
    if len(tables) == len(ALPHABET):
        raise LessonError(f"line: a lesson has at most {len(tables)} lines, A to Z")
    line_table(text, which_line(change))
    like = line_tables(read_toml(text))[which_line(change)]
    kept = {key: like[key] for key in ("played_on", "reads_with", "repeat_each") if key in like}
    taken = {letter.casefold() for letter in letters_of(tables)}
    letter = ALPHABET[len(tables)]
    if letter.casefold() in taken:
        kept["letter"] = next(one for one in ALPHABET if one.casefold() not in taken)
    values = " | ".join([values_text([silent_bar(meter_of(text, path))])] * _NEW_BARS)
    return with_line(text, {"values": values, **kept})


def _remove_line(text: str, _: Path, change: Change) -> str:
    """One line less; those after it keep their letters where a track names its bars by them."""
    tables, which = read_tables(text).lines, which_line(change)
    if len(tables) == 1:
        raise LessonError("a lesson has at least one line; change this one")
    line_table(text, which)
    named = any(re.search("[A-Za-z]", str(track.get("bars", ""))) for track in read_toml(text).get("track", []))
    after = [(n, letter) for n, letter in enumerate(letters_of(tables)) if n > which and not tables[n].letter]
    if named:
        text = with_values(text, [([*line_key(text, n), "letter"], letter) for n, letter in after])
    return without_line(text, which)


_OF_TABLES: dict[str, Callable[[str, Path, Change], str]] = {
    "fit": _fit,
    "add line": _add_line,
    "remove line": _remove_line,
    "add track": _add_track,
    "remove track": _remove_track,
}
