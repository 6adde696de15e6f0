"""The practice log that a lesson page exports: what it belongs to, and how a file of one is read.

The format is described in docs/formats.md; the page writes it, so do tools that come back to a student's results.
"""

import hashlib
import json
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from sys import float_info
from typing import Any

from grooves.errors import LessonError, nearest
from grooves.kit import LIMBS
from grooves.lesson import FASTEST_BPM, SLOWEST_BPM, Lesson

FORMAT, VERSION = "fourlimb-practice", 1
_DAY = re.compile(r"\d{4}-\d\d-\d\d")
_MINUTES_A_DAY = 1440.0


@dataclass(frozen=True)
class Listened:
    """What a page heard on one day: the tempo, and how late each limb came, in milliseconds."""

    tempo_bpm: float
    lateness_ms: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True)
class PracticeLog:
    """What a student practised of one lesson: `read_log(text).bars["3"]` are the tempos at which bar 3 came clean."""

    title: str
    lesson_hash: str
    minutes: Mapping[str, float] = field(default_factory=dict)  # by day, "2026-11-27"
    bars: Mapping[str, tuple[float, ...]] = field(default_factory=dict)  # tempos in beats a minute, rising
    word: str = ""  # that the student typed to be known by
    listened: Mapping[str, Listened] = field(default_factory=dict)  # by day


def lesson_hash(lesson: Lesson) -> str:
    """What ties a result to its lesson, its title and its notes: 16 hexadecimal digits of their SHA-256.

    Tempo, feel and balance may change without a student's results being lost.
    """
    notes = [
        [f"{symbol.onset} {symbol.length} {symbol.kind}" for symbol in bar.line]
        for bar in lesson.score.bars[: lesson.score.chorus_length]
    ]
    text = json.dumps([lesson.title, notes], ensure_ascii=True, separators=(",", ":"))
    return hashlib.sha256(text.encode()).hexdigest()[:16]


def read_log(text: str) -> PracticeLog:
    """Read an exported log; raises LessonError saying what stands there and what would be right."""
    try:
        log = json.loads(text)
    except (ValueError, RecursionError):
        raise LessonError("this is not a practice log: it is not JSON") from None
    if not isinstance(log, dict) or log.get("format") != FORMAT:
        raise LessonError(f'this is not a practice log: its format is not "{FORMAT}"')
    if log.get("version") != VERSION:
        raise LessonError(f"this log is of version {log.get('version')!r}; version {VERSION} can be read")
    lesson = log.get("lesson")
    if not isinstance(lesson, dict) or not isinstance(lesson.get("hash"), str):
        raise LessonError("this log does not say which lesson it belongs to")
    minutes = {day: _number(value, 0, _MINUTES_A_DAY, day) for day, value in _table(log, "minutes").items()}
    for day in minutes:
        if not _DAY.fullmatch(day):
            raise LessonError(f"minutes: '{day}' is not a day; days are written as 2026-11-27")
    bars = {bar: _tempos(bar, tempos) for bar, tempos in _table(log, "bars").items()}
    listened = {day: _listened(day, one) for day, one in _table(log, "listened").items()}
    word = log.get("word", "")
    return PracticeLog(
        str(lesson.get("title", "")), lesson["hash"], minutes, bars, word if isinstance(word, str) else "", listened
    )


def _listened(day: str, one: object) -> Listened:
    if not _DAY.fullmatch(day):
        raise LessonError(f"listened: '{day}' is not a day; days are written as 2026-11-27")
    if not isinstance(one, dict):
        raise LessonError(f"listened: {day}: {one!r} is not a table")
    tempo = _number(one.get("tempo_bpm"), SLOWEST_BPM, FASTEST_BPM, f"listened: {day}: tempo_bpm")
    late = {
        limb: _number(value, -1000, 1000, f"listened: {day}: {limb}")
        for limb, value in _table(one, "lateness_ms").items()
    }
    for limb in late:
        if limb not in LIMBS:
            raise LessonError(f"listened: {day}: '{limb}' is no limb; {nearest(limb, LIMBS)}")
    return Listened(tempo, late)


def _table(log: Mapping[str, Any], key: str) -> Mapping[str, Any]:
    table = log.get(key, {})
    if not isinstance(table, dict):
        raise LessonError(f"{key}: {table!r} is not a table")
    return table


def _tempos(bar: str, tempos: object) -> tuple[float, ...]:
    if not isinstance(tempos, list):
        raise LessonError(f"bars: bar {bar}: {tempos!r} is not a list of tempos")
    return tuple(sorted(_number(one, SLOWEST_BPM, FASTEST_BPM, f"bar {bar}") for one in tempos))


def _number(value: object, low: float, high: float, where: str) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float) or not abs(value) <= float_info.max:
        raise LessonError(f"{where}: {value!r} is not a number")
    if not low <= value <= high:
        raise LessonError(f"{where}: {value:g} is out of range; it runs from {low:g} to {high:g}")
    return float(value)
