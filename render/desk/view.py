"""A lesson as the browser shows it: its line as rows of places, values and counts; its keys; what was noticed."""

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from grooves.kit import LIMBS, PARTS
from grooves.lesson import Lesson
from grooves.lesson_file import read_tables
from grooves.lesson_lines import letters_of
from grooves.line import WrittenLine
from grooves.meter import Meter
from grooves.performance import level_of
from grooves.rhythm import values_text
from render.desk.line_text import counts_of, line_of
from render.desk.places import TICKS, beats, divisions, ticks
from render.lesson.load import Loaded, lesson_of_text


def view(text: str, path: Path, which: int = 0) -> dict[str, Any]:
    """What the browser shows of a lesson's text: `view(text, path)["title"]`; raises LessonError where it is none.

    Of several lines it shows the bars of one, from 0.
    """
    loaded = lesson_of_text(text, path)
    lines = read_tables(text).lines
    which = min(which, len(lines) - 1)
    lesson, line = loaded.lesson, line_of(text, path, which)
    meter = lesson.score.meter
    return {
        "title": lesson.title,
        "groove": lesson.score.groove.title,
        "meter": meter_table(meter),
        "beat": float(lesson.score.groove.beat),
        "pickup": values_text([line.pickup]) if line.pickup else "",
        "line": which,
        "lines": letters_of(lines),
        "bars": _bars(line, meter),
        "tables": _plain(loaded.tables),
        "balance": _balance(lesson),
        "here": _who_is_here(lesson),
        "tracks": [track.name for track in lesson.tracks],
        "notes": list(loaded.notes),
    }


def meter_table(meter: Meter) -> dict[str, Any]:
    """A meter's row of places, in ticks: where each beat begins and ends, and into how many places it may be parted."""
    spans = [[int(start * TICKS), int(end * TICKS)] for start, end in beats(meter)]
    return {"name": str(meter), "ticks": int(meter.length * TICKS), "beats": spans, "parts": divisions(meter)}


def _bars(line: WrittenLine, meter: Meter) -> list[dict[str, Any]]:
    written = values_text(line.bars).split(" | ")
    return [
        {"values": values, "counts": counts_of(bar, meter), "marks": ticks(bar)}
        for values, bar in zip(written, line.bars, strict=True)
    ]


def _who_is_here(lesson: Lesson) -> list[str]:
    """Parts and limbs that play in a lesson: who can be left out of a track."""
    strokes = [stroke for bar in lesson.score.bars for stroke in (*bar.strokes, *bar.groove_alone)]
    parts = [part for part in PARTS if any(stroke.part == part for stroke in strokes)]
    limbs = [limb for limb in LIMBS if any(stroke.limb == limb for stroke in strokes)]
    return [*parts, *limbs, *(lesson.score.band.parts if lesson.score.band else ()), "line"]


def _balance(lesson: Lesson) -> dict[str, float]:
    """How loud each part's plain stroke is against the ride's: as the lesson says, else as the groove has it."""
    score, own = lesson.score, lesson.balance_lu
    levels = {part.name: own.get(part.name, part.level_lu) for part in score.groove.parts if part.name != "ride"}
    for role, name in (("line", "line"), ("gap", "gaps")):
        strokes = (stroke for bar in score.bars for stroke in bar.strokes if stroke.role == role)
        if stroke := next(strokes, None):
            levels[name] = level_of(stroke, score, own)
    return {name: round(level, 1) for name, level in levels.items()}


def _plain(value: Any) -> Any:
    """Tables as JSON holds them: a date, which no lesson has, as its text."""
    if isinstance(value, Mapping):
        return {str(key): _plain(one) for key, one in value.items()}
    if isinstance(value, list):
        return [_plain(one) for one in value]
    return value if isinstance(value, str | int | float | bool) else str(value)


def card(loaded: Loaded) -> dict[str, Any]:
    """What stands on a lesson's card: title, groove, tempo and how many bars its line has."""
    score = loaded.lesson.score
    return {
        "title": loaded.lesson.title,
        "groove": score.groove.title,
        "tempo": score.tempo_bpm,
        "bars": len({bar.number for bar in score.bars}),
        "meter": str(score.meter),
    }
