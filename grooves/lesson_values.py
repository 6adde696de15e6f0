"""Kinds of value in a lesson file: each is a check that says what stands there and what would be right."""

import math

from pydantic import BeforeValidator

from grooves.errors import LessonError, nearest, shown
from grooves.kit import BAND


def number(low: float, high: float, what: str) -> BeforeValidator:
    """A number within bounds: `number(30, 400, "a tempo")`."""

    def check(value: object) -> float:
        if isinstance(value, bool) or not isinstance(value, int | float) or value != value or abs(value) == math.inf:
            raise LessonError(f"{value!r} is not {what}; write a number from {low:g} to {high:g}")
        if not low <= value <= high:
            raise LessonError(f"{shown(value)} is out of range; {what} runs from {low:g} to {high:g}")
        return float(value)

    return BeforeValidator(check)


def whole(low: int, high: int, what: str) -> BeforeValidator:
    """A whole number within bounds: `whole(1, 64, "a number of times")`."""

    def check(value: object) -> int:
        if isinstance(value, bool) or not isinstance(value, int):
            raise LessonError(f"{value!r} is not {what}; write a whole number from {low} to {high}")
        if not low <= value <= high:
            raise LessonError(f"{shown(value)} is out of range; {what} runs from {low} to {high}")
        return value

    return BeforeValidator(check)


def text(what: str) -> BeforeValidator:
    """A text with something in it: `text("a file name")`."""

    def check(value: object) -> str:
        if not isinstance(value, str) or not value.strip():
            how = "write something between the quotes" if isinstance(value, str) else "write it between quotes"
            raise LessonError(f"{value!r} is not {what}; {how}")
        return value

    return BeforeValidator(check)


def choice(*words: str) -> BeforeValidator:
    """One of some words: `choice("off", "2 and 4")`."""

    def check(value: object) -> str:
        if value not in words:
            raise LessonError(f"{value!r} is not known; {nearest(str(value), words)}")
        return str(value)

    return BeforeValidator(check)


def names(value: object) -> list[str]:
    """A list of names: `names(["snare"])`; raises LessonError."""
    if isinstance(value, str):
        raise LessonError(f'{value!r} stands alone; write a list, such as ["{value}"]')
    if not isinstance(value, list) or not value or not all(isinstance(name, str) for name in value):
        raise LessonError(f'{value!r} is not a list of names; write parts or limbs, such as ["snare", "left foot"]')
    return value


def levels(low: float, high: float, unit: str) -> BeforeValidator:
    """A table of names with numbers: `levels(-60, 0, "LU")`."""

    def check(value: object) -> dict[str, float]:
        if not isinstance(value, dict):
            raise LessonError(f"{value!r} is not a table; write names with numbers, such as {{ snare = {low / 2:g} }}")
        for name, level in value.items():
            good = isinstance(level, int | float) and not isinstance(level, bool) and low <= level <= high
            if not good:
                raise LessonError(f"{name}: {level!r} does not fit; write a number of {unit} from {low:g} to {high:g}")
        return {name: float(level) for name, level in value.items()}

    return BeforeValidator(check)


def programs(value: object) -> dict[str, int]:
    """A table of the band's parts with General MIDI programs: `programs({"horns": 56})`; raises LessonError."""
    if not isinstance(value, dict):
        raise LessonError(f"{value!r} is not a table; write parts with numbers, such as {{ horns = 56 }}")
    for name, program in value.items():
        if name not in BAND:
            raise LessonError(f"'{name}' is not in the band; {nearest(name, BAND)}")
        if isinstance(program, bool) or not isinstance(program, int) or not 0 <= program <= 127:
            raise LessonError(f"{name}: {program!r} is not a General MIDI program; write a whole number from 0 to 127")
    return value


def text_or_whole(wrong: str) -> BeforeValidator:
    """A text or a whole number; `wrong` says what anything else is not."""

    def check(value: object) -> str | int:
        if isinstance(value, bool) or not isinstance(value, str | int):
            raise LessonError(f"{value!r} is {wrong}")
        return value

    return BeforeValidator(check)


def yes_or_no(value: object) -> bool:
    """True or false: `yes_or_no(True)`; raises LessonError."""
    if not isinstance(value, bool):
        raise LessonError(f"{value!r} is neither true nor false; write one of them, without quotes")
    return value


def lu(low: float, high: float) -> BeforeValidator:
    """A level: `lu(0, 12)`."""
    return number(low, high, "a level in LU")
