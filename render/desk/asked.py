"""What a request holds, checked at the door: `word(body, "name")`, `number(body, "bar", 0, 7)`."""

from collections.abc import Mapping
from typing import Any

from grooves.errors import LessonError, quoted
from grooves.lesson_lines import ALPHABET

LAST_LINE = len(ALPHABET) - 1  # of several, from 0


def word(body: Mapping[str, Any], key: str, default: str | None = None, most: int = 4_000) -> str:
    """A text of a request; raises LessonError where it is missing or too long."""
    value = body.get(key, default)
    if not isinstance(value, str):
        raise LessonError(f"{key}: a text belongs here, not {quoted(value)}")
    if len(value) > most:
        raise LessonError(f"{key}: the text is longer than {most} signs")
    return value


def number(body: Mapping[str, Any], key: str, low: int, high: int) -> int:
    """A whole number of a request within bounds; raises LessonError."""
    value = body.get(key)
    if isinstance(value, bool) or not isinstance(value, int) or not low <= value <= high:
        raise LessonError(f"{key}: {quoted(value)} does not fit; it is a whole number from {low} to {high}")
    return value


def which_line(body: Mapping[str, Any]) -> int:
    """Which of several lines a request is about, from 0, the first where it does not say; raises LessonError."""
    return number(body, "line", 0, LAST_LINE) if "line" in body else 0
