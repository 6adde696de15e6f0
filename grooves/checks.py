"""Kinds of value in a lesson file: what fits, and what is said of one that does not.

Each kind is a pydantic validator that also says what it takes (`kind`) and in what unit, for the table of keys.
"""

import math
import re
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from pydantic import BeforeValidator

from grooves.errors import LessonError, nearest, quoted, shown, visible
from grooves.kit import BAND


@dataclass(frozen=True)
class Check(BeforeValidator):
    """A validator that says what it takes: `number(30, 400, "a tempo").kind` is "number, 30 to 400"."""

    kind: str = ""
    unit: str = ""


def _check(check: Callable[[Any], object], kind: str, unit: str = "") -> Check:
    return Check(check, kind=kind, unit=unit)


def number(low: float, high: float, what: str, unit: str = "") -> Check:
    """A number in a range: `number(30, 400, "a tempo")` refuses 0, true and nan."""

    def check(value: object) -> float:
        if isinstance(value, str) and _is_number(value):
            raise LessonError(f"{quoted(value)} is a text; leave the quotes out: {value.strip()}")
        if isinstance(value, bool) or not isinstance(value, int | float) or value != value or abs(value) == math.inf:
            raise LessonError(f"{quoted(value)} is not {what}; write a number from {low:g} to {high:g}")
        if not low <= value <= high:
            raise LessonError(f"{shown(value)} is out of range; {what} runs from {low:g} to {high:g}")
        return float(value)

    return _check(check, f"number, {low:g} to {high:g}", unit)


def level(low: float, high: float) -> Check:
    """A level in LU, as `number`: `level(0, 12)`."""
    return number(low, high, "a level in LU", "LU")


def whole(low: int, high: int, what: str, unit: str = "") -> Check:
    """A whole number in a range: `whole(1, 64, "a number of times")` refuses 1.5."""

    def check(value: object) -> int:
        if isinstance(value, str) and _is_number(value):
            raise LessonError(f"{quoted(value)} is a text; leave the quotes out: {value.strip()}")
        if isinstance(value, bool) or not isinstance(value, int):
            raise LessonError(f"{quoted(value)} is not {what}; write a whole number from {low} to {high}")
        if not low <= value <= high:
            raise LessonError(f"{shown(value)} is out of range; {what} runs from {low} to {high}")
        return value

    return _check(check, f"whole number, {low} to {high}", unit)


def _is_number(text: str) -> bool:
    return len(text) < 30 and text.strip().removeprefix("-").replace(".", "", 1).isdecimal()


def text(what: str) -> Check:
    """A text that is not empty: `text("a groove")` refuses 4 and ""."""

    def check(value: object) -> str:
        if not isinstance(value, str) or not value.strip():
            how = "write something between the quotes" if isinstance(value, str) else "write it between quotes"
            raise LessonError(f"{quoted(value)} is not {what}; {how}")
        return value

    return _check(check, "text")


LONGEST_NOTE = 2000  # signs; ours: what a student reads before playing


def _read_note(value: object) -> str:
    if not isinstance(value, str):
        raise LessonError(
            f"{quoted(value)} is not a note; write it between quotes, or over several lines between triple quotes"
        )
    if not value.strip():
        raise LessonError("the note is empty; write something, or leave the key out")
    if len(value.strip()) > LONGEST_NOTE:
        raise LessonError(f"the note has {len(value.strip())} signs; there is room for {LONGEST_NOTE}")
    return value.strip()


NOTE = _check(_read_note, f"text, up to {LONGEST_NOTE} signs, over several lines if you like")


def choice(*words: str) -> Check:
    """One of some words: `choice("off", "on")`."""

    def check(value: object) -> str:
        if value not in words:
            raise LessonError(f"{quoted(value)} is not known; {nearest(str(value)[:60], words)}")
        return str(value)

    return _check(check, " or ".join(f'"{word}"' for word in words))


def read_pace(value: object) -> float | str:
    """A tempo as a number, or as a share of the lesson's: `read_pace("60%")` is "60%"; raises LessonError."""
    if isinstance(value, str) and len(value) < 30:
        share, sign, rest = value.strip().partition("%")
        digits = share.replace(".", "", 1).isdecimal() and not rest
        if digits and sign and 10 <= float(share) <= 300:
            return value.strip()
        if digits and sign:
            raise LessonError(f"{quoted(value)} is out of range; a share of the tempo runs from 10% to 300%")
        value = float(share) if digits else value
    if isinstance(value, bool) or not isinstance(value, int | float) or not 30 <= value <= 400:
        raise LessonError(f'{quoted(value)} is not a tempo; write a number from 30 to 400, or a share such as "60%"')
    return float(value)


PACE = _check(read_pace, "number, 30 to 400, or a share of the lesson's tempo", "beats a minute, or %")


def _read_names(value: object) -> list[str]:
    if isinstance(value, str):
        raise LessonError(f'{quoted(value)} stands alone; write a list, such as ["{visible(value, 60)}"]')
    if not isinstance(value, list) or not value or not all(isinstance(name, str) for name in value):
        raise LessonError(
            f'{quoted(value)} is not a list of names; write parts or limbs, such as ["snare", "left foot"]'
        )
    return value


NAMES = _check(_read_names, "list of parts or limbs")


def by_name(low: float, high: float, unit: str) -> Check:
    """A table of names with numbers: `by_name(-60, 0, "LU")` takes { snare = -9 }."""

    def check(value: object) -> dict[str, float]:
        if not isinstance(value, dict):
            raise LessonError(
                f"{quoted(value)} is not a table; write names with numbers, such as {{ snare = {low / 2:g} }}"
            )
        for name, one in value.items():
            if not isinstance(one, int | float) or isinstance(one, bool) or not low <= one <= high:
                said = f"{visible(name, 60)}: {quoted(one)} does not fit"
                raise LessonError(f"{said}; write a number of {unit} from {low:g} to {high:g}")
        return {name: float(one) for name, one in value.items()}

    return _check(check, f"table of names with numbers, {low:g} to {high:g}", unit)


def text_or_whole(wrong: str, kind: str) -> Check:
    """A text or a number that stands for one, such as bars: `text_or_whole("not a choice of bars", "text")`."""

    def check(value: object) -> str | int:
        if isinstance(value, bool) or not isinstance(value, str | int) or (isinstance(value, int) and value > 10**9):
            raise LessonError(f"{quoted(value)} is {wrong}")
        return value

    return _check(check, kind)


def _read_programs(value: object) -> dict[str, int]:
    if not isinstance(value, dict):
        raise LessonError(f"{quoted(value)} is not a table; write parts with numbers, such as {{ horns = 56 }}")
    for name, program in value.items():
        if name not in BAND:
            raise LessonError(f"'{visible(name, 60)}' is not in the band; {nearest(name[:60], BAND)}")
        if isinstance(program, bool) or not isinstance(program, int) or not 0 <= program <= 127:
            said = f"{name}: {quoted(program)} is not a General MIDI program"
            raise LessonError(f"{said}; write a whole number from 0 to 127")
    return value


PROGRAMS = _check(_read_programs, f"table of {', '.join(BAND)} with General MIDI programs, 0 to 127")


_LETTER = re.compile(r"[^\W\d_][^\W_'’′]*(?:[ '’′][^\W_]*)*")
LONGEST_LETTER = 12  # signs: a word such as Intro; ours
MOST_LETTERS = 99  # over one line; ours


def _read_letter(value: object) -> str:
    said = value.strip() if isinstance(value, str) else ""
    if not _LETTER.fullmatch(said) or len(said) > LONGEST_LETTER:
        raise LessonError(
            f"{quoted(value)} is not a rehearsal letter; write A, or a short word such as Intro, "
            f"a letter first, up to {LONGEST_LETTER} signs"
        )
    return said


LETTER = _check(_read_letter, f"letter, or a word of up to {LONGEST_LETTER} signs")


def _read_sections(value: object) -> dict[str, int]:
    if not isinstance(value, dict) or not value:
        said = "no letter stands here" if value == {} else f"{quoted(value)} is not a table of letters"
        raise LessonError(f"{said}; write letters with bars, such as {{ A = 1, B = 9 }}")
    if len(value) > MOST_LETTERS:
        raise LessonError(f"{len(value)} letters stand here; a line has at most {MOST_LETTERS}")
    over: dict[object, str] = {}
    for name, bar in value.items():
        letter = _read_letter(name)
        if isinstance(bar, bool) or not isinstance(bar, int) or bar < 1:
            raise LessonError(f"{letter} = {quoted(bar)}: write the number of the bar that it stands over")
        for same in (bar, letter.casefold()):
            if same in over:
                what = f"both stand over bar {bar}" if same == bar else "are one letter"
                raise LessonError(f"{over[same]} and {letter} {what}; keep one")
            over[same] = letter
    return {name.strip(): bar for name, bar in value.items()}


SECTIONS = _check(_read_sections, "table of letters with numbers of bars")


def _read_yes_or_no(value: object) -> bool:
    if not isinstance(value, bool):
        raise LessonError(f"{quoted(value)} is neither true nor false; write one of them, without quotes")
    return value


YES_OR_NO = _check(_read_yes_or_no, "true or false")


def said_as(kind: str) -> Check:
    """A value that is read later, where the whole lesson is known, with what it may be: `said_as("a drum")`."""
    return _check(lambda value: value, kind)
