"""What a press or a key does to a lesson: from its text to its text, by the house's own readers and writers.

Every change is a table with a `kind`; what is wrong with it is one LessonError, and the text stays as it was.
"""

from collections.abc import Callable, Mapping, Sequence
from fractions import Fraction
from pathlib import Path
from typing import Any

from grooves.errors import LessonError, at
from grooves.line import WrittenLine
from grooves.meter import Meter
from grooves.rhythm import Bar, spell
from grooves.teaching.graded import lines
from render.desk import places, steps
from render.desk.asked import number, word
from render.desk.line_text import line_of, meter_of, typed_counts, typed_values, with_bars
from render.desk.places import Marks, bar_of, ends_sounding, marks_of, mended, silent_bar
from render.desk.toml_edit import with_values
from render.lesson.load import lesson_of_text

Change = Mapping[str, Any]


def edited(text: str, path: Path, change: Change) -> str:
    """A lesson's text after a change: `edited(text, path, {"kind": "set", "key": ["tempo"], "value": 96})`.

    Raises LessonError where the change cannot be made, or where what comes of it is no lesson.
    """
    kind = word(change, "kind")
    if kind in _OF_A_BAR or kind in _OF_THE_LINE:
        after = _with_line(text, path, kind, change)
    elif kind == "set":
        after = with_values(text, [(_key(change), change.get("value"))])
    elif kind == "text":
        after = word(change, "text", most=1_000_000)
    elif kind in _OF_TRACKS:
        after = _OF_TRACKS[kind](text, path, change)
    else:
        raise LessonError(f"'{kind}' is no change that can be made here")
    lesson_of_text(after, path)
    return after


def _key(change: Change) -> Sequence[str | int]:
    key = change.get("key")
    if not isinstance(key, list) or not 1 <= len(key) <= 4 or not all(isinstance(one, str | int) for one in key):
        raise LessonError("a key is missing")
    return key


# --- the line -------------------------------------------------------------------------------------


def _with_line(text: str, path: Path, kind: str, change: Change) -> str:
    meter, line = meter_of(text, path), line_of(text, path)
    if kind in _OF_THE_LINE:
        bars = _OF_THE_LINE[kind](line, meter, change)
    else:
        index = number(change, "bar", 0, len(line.bars) - 1)
        with at(f"bar {index + 1}") if kind not in ("values", "counts") else at("line"):
            bars = _OF_A_BAR[kind](line, index, meter, change)
    sounds = bool(line.pickup) and ends_sounding(line.pickup)
    return with_bars(text, path, mended(bars, meter, sounds))


def _sounds_before(line: WrittenLine, index: int) -> bool:
    before = line.bars[index - 1] if index else line.pickup
    return bool(before) and ends_sounding(before)


def _pencil(act: Callable[[Marks, Fraction, Meter, bool, Change], Marks]) -> Any:
    """A change of a bar's marks at a place, as a change of the line."""

    def changed(line: WrittenLine, index: int, meter: Meter, change: Change) -> tuple[Bar, ...]:
        place = places.place(number(change, "tick", 0, 10_000), meter, index + 1)
        marks = act(marks_of(line.bars[index]), place, meter, _sounds_before(line, index), change)
        return _replaced(line, index, bar_of(marks, meter, index + 1))

    return changed


def _replaced(line: WrittenLine, index: int, *bars: Bar) -> tuple[Bar, ...]:
    return (*line.bars[:index], *bars, *line.bars[index + 1 :])


def _step(change: Change) -> Fraction:
    return Fraction(number(change, "step", 1, 1_000), places.TICKS)


def _hold(marks: Marks, start: Fraction, meter: Meter, _: bool, change: Change) -> Marks:
    last = places.place(number(change, "to", 0, 10_000), meter, 1)
    step = _step(change)
    if last < start:
        raise LessonError("a note is held on, not back; draw it from its beginning")
    return places.hold(marks, start, last, step, meter)


def _turn(marks: Marks, place: Fraction, meter: Meter, _: bool, __: Change) -> Marks:
    """A touch makes a note, and a touch on a note a rest."""
    mark = marks.get(place)
    return places.rest(marks, place) if mark and mark.kind == "struck" else places.strike(marks, place, meter)


def _divided(line: WrittenLine, index: int, meter: Meter, change: Change) -> tuple[Bar, ...]:
    marks = places.divide(
        marks_of(line.bars[index]), number(change, "beat", 0, 15), number(change, "parts", 1, 12), meter
    )
    return _replaced(line, index, bar_of(marks, meter, index + 1))


_OF_A_BAR: dict[str, Any] = {
    "touch": _pencil(_turn),
    "strike": _pencil(lambda marks, place, meter, sounds, change: places.strike(marks, place, meter)),
    "rest": _pencil(lambda marks, place, meter, sounds, change: places.rest(marks, place)),
    "tie": _pencil(lambda marks, place, meter, sounds, change: places.tie(marks, place, sounds, _step(change), meter)),
    "accent": _pencil(lambda marks, place, meter, sounds, change: places.accent(marks, place)),
    "hold": _pencil(_hold),
    "divide": _divided,
    "values": lambda line, index, meter, change: typed_values(line, index, word(change, "text", ""), meter),
    "counts": lambda line, index, meter, change: typed_counts(line, index, word(change, "text", ""), meter),
    "add bar": lambda line, index, meter, change: _replaced(line, index, line.bars[index], silent_bar(meter)),
    "copy bar": lambda line, index, meter, change: _replaced(line, index, line.bars[index], line.bars[index]),
    "remove bar": lambda line, index, meter, change: _without(line, index),
    "clear bar": lambda line, index, meter, change: _replaced(line, index, silent_bar(meter)),
    "easier": lambda line, index, meter, change: _replaced(line, index, steps.easier(line.bars[index], meter)),
    "harder": lambda line, index, meter, change: _replaced(line, index, steps.harder(line.bars[index], meter)),
}


def _without(line: WrittenLine, index: int) -> tuple[Bar, ...]:
    if len(line.bars) == 1:
        raise LessonError("a line has at least one bar; change this one")
    return _replaced(line, index)


def _level(line: WrittenLine, meter: Meter, change: Change) -> tuple[Bar, ...]:
    with at("level"):
        return lines(number(change, "level", 1, 99), number(change, "bars", 1, 128), number(change, "seed", 0, 2**32), meter)


def _taken(line: WrittenLine, meter: Meter, change: Change) -> tuple[Bar, ...]:
    """A whole line in values, as it was tapped or read from a file."""
    from grooves.rhythm import parse_values

    return parse_values(word(change, "text", most=100_000), meter)


_OF_THE_LINE: dict[str, Any] = {"level": _level, "take": _taken}


# --- another meter, tracks ------------------------------------------------------------------------


def _fit(text: str, path: Path, change: Change) -> str:
    """A groove in another meter, with every bar of the line cut off or filled with rests to fit it."""
    from render.lesson.groove_files import find_groove

    with at("groove"):
        meter = find_groove(word(change, "groove"), path.parent).meter
    bars = []
    for number_of, bar in enumerate(line_of(text, path).bars, 1):
        marks = {onset: mark for onset, mark in marks_of(bar).items() if onset < meter.length}
        if bar[-1].end < meter.length:
            marks[bar[-1].end] = places.Mark("rest")
        bars.append(bar_of(places.tidy(marks), meter, number_of))
    from grooves.rhythm import values_text
    from render.desk.line_text import in_rows

    written = in_rows(values_text(mended(bars, meter)))
    gone = [(["line", key], None) for key in ("counts", "file", "part", "pickup")]
    return with_values(text, [(["groove"], word(change, "groove")), *gone, (["line", "values"], written)])


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


_OF_TRACKS: dict[str, Any] = {"fit": _fit, "add track": _add_track, "remove track": _remove_track}
