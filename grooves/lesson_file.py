"""The tables of a lesson file, checked key by key (pydantic at this door only).

Every wrong key or value becomes one LessonError: place, what stands there, what would be right.
"""

import math
import re
import tomllib
from collections.abc import Callable
from typing import Annotated, Any

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, ValidationError

from grooves.errors import LessonError, nearest, shown
from grooves.kit import Handedness
from grooves.passages import CLICKS

# --- kinds of value ------------------------------------------------------------------------------


def _number(low: float, high: float, what: str) -> BeforeValidator:
    def check(value: object) -> float:
        if isinstance(value, bool) or not isinstance(value, int | float) or value != value or abs(value) == math.inf:
            raise LessonError(f"{value!r} is not {what}; write a number from {low:g} to {high:g}")
        if not low <= value <= high:
            raise LessonError(f"{shown(value)} is out of range; {what} runs from {low:g} to {high:g}")
        return float(value)

    return BeforeValidator(check)


def _whole(low: int, high: int, what: str) -> BeforeValidator:
    def check(value: object) -> int:
        if isinstance(value, bool) or not isinstance(value, int):
            raise LessonError(f"{value!r} is not {what}; write a whole number from {low} to {high}")
        if not low <= value <= high:
            raise LessonError(f"{shown(value)} is out of range; {what} runs from {low} to {high}")
        return value

    return BeforeValidator(check)


def _text(what: str) -> BeforeValidator:
    def check(value: object) -> str:
        if not isinstance(value, str) or not value.strip():
            how = "write something between the quotes" if isinstance(value, str) else "write it between quotes"
            raise LessonError(f"{value!r} is not {what}; {how}")
        return value

    return BeforeValidator(check)


def _choice(*words: str) -> BeforeValidator:
    def check(value: object) -> str:
        if value not in words:
            raise LessonError(f"{value!r} is not known; {nearest(str(value), words)}")
        return str(value)

    return BeforeValidator(check)


def read_pace(value: object) -> float | str:
    """A tempo as a number, or as a share of the lesson's: `read_pace("60%")` is "60%"; raises LessonError."""
    if isinstance(value, str):
        share, sign, rest = value.strip().partition("%")
        digits = share.replace(".", "", 1).isdecimal() and not rest
        if digits and sign and 10 <= float(share) <= 300:
            return value.strip()
        if digits and sign:
            raise LessonError(f"{value!r} is out of range; a share of the tempo runs from 10% to 300%")
        value = float(share) if digits else value
    if isinstance(value, bool) or not isinstance(value, int | float) or not 30 <= value <= 400:
        raise LessonError(f'{value!r} is not a tempo; write a number from 30 to 400, or a share such as "60%"')
    return float(value)


def _names(value: object) -> list[str]:
    if isinstance(value, str):
        raise LessonError(f'{value!r} stands alone; write a list, such as ["{value}"]')
    if not isinstance(value, list) or not value or not all(isinstance(name, str) for name in value):
        raise LessonError(f'{value!r} is not a list of names; write parts or limbs, such as ["snare", "left foot"]')
    return value


def _levels(low: float, high: float, unit: str) -> BeforeValidator:
    def check(value: object) -> dict[str, float]:
        if not isinstance(value, dict):
            raise LessonError(f"{value!r} is not a table; write names with numbers, such as {{ snare = {low / 2:g} }}")
        for name, level in value.items():
            good = isinstance(level, int | float) and not isinstance(level, bool) and low <= level <= high
            if not good:
                raise LessonError(f"{name}: {level!r} does not fit; write a number of {unit} from {low:g} to {high:g}")
        return {name: float(level) for name, level in value.items()}

    return BeforeValidator(check)


def _text_or_whole(wrong: str) -> BeforeValidator:
    def check(value: object) -> str | int:
        if isinstance(value, bool) or not isinstance(value, str | int):
            raise LessonError(f"{value!r} is {wrong}")
        return value

    return BeforeValidator(check)


def _yes_or_no(value: object) -> bool:
    if not isinstance(value, bool):
        raise LessonError(f"{value!r} is neither true nor false; write one of them, without quotes")
    return value


LONGEST_NOTE = 2000  # signs; ours: what a student reads before playing


def _check_note(value: object) -> str:
    text = _text_of_note(value)
    if len(text) > LONGEST_NOTE:
        raise LessonError(f"{len(text)} signs are too many for a note; it has room for {LONGEST_NOTE}")
    return text


def _text_of_note(value: object) -> str:
    if not isinstance(value, str):
        raise LessonError(
            f"{value!r} is not a note; write it between quotes, or over several lines between triple quotes"
        )
    if not value.strip():
        raise LessonError(f"{value!r} is an empty note; write something, or leave the key out")
    return value.strip()


_note = BeforeValidator(_check_note)

Title = Annotated[str, _text("a text")]
Note = Annotated[str, _note]
Tempo = Annotated[float, _number(30, 400, "a tempo")]
Pace = Annotated[float | str, BeforeValidator(read_pace)]
Bars = Annotated[str | int, _text_or_whole('not a choice of bars; write a number or ranges, such as "1-4, 7"')]
PartName = Annotated[
    str | int, _text_or_whole("neither a name nor a number; write the part's name, or its number from 1")
]
Names = Annotated[list[str], BeforeValidator(_names)]
Milliseconds = Annotated[dict[str, float], _levels(0, 80, "milliseconds")]


def _lu(low: float, high: float) -> BeforeValidator:
    return _number(low, high, "a level in LU")


# --- tables --------------------------------------------------------------------------------------


class Table(BaseModel):
    """A table that knows its keys and refuses others."""

    model_config = ConfigDict(extra="forbid", frozen=True, arbitrary_types_allowed=True)


class LineTable(Table):
    """`[line]`: the rhythm and who plays it."""

    values: Annotated[str, _text("a line")] = ""
    counts: Annotated[str, _text("a line")] = ""
    file: Annotated[str, _text("a file name")] = ""
    part: PartName | None = None
    played_on: Any = "snare"
    each_chorus: Any = None
    repeat_each: Annotated[int, _whole(1, 64, "a number of times")] = 1
    bars: Bars | None = None


class FeelTable(Table):
    """`[feel]`: swing, phrasing and deviations."""

    swing: Any = None
    line_swing: Any = None
    upbeat_accent: Annotated[float, _lu(0, 12)] = 2.0
    held_upbeat_accent: Annotated[float, _lu(0, 12)] = 1.0
    downbeat_quarters: Annotated[float, _lu(0, 12)] = 1.0
    accent: Annotated[float, _lu(0, 12)] = 3.0
    timing_ms: Annotated[float, _number(0, 30, "a standard deviation in milliseconds")] = 6.0
    level_lu: Annotated[float, _number(0, 6, "a standard deviation in LU")] = 1.0
    correlation: Annotated[float, _number(0, 1.5, "the exponent of the deviations")] = 1.0
    together: Annotated[float, _number(0, 1, "the correlation of the limbs")] = 0.75
    ahead_ms: Milliseconds = {}
    behind_ms: Milliseconds = {}
    seed: Annotated[int, _whole(0, 2**32 - 1, "a seed")] = 1


class LadderTable(Table):
    """`ladder`: a tempo that rises by steps."""

    from_: Pace = Field(alias="from")
    to: Pace
    step: Annotated[float, _number(0.5, 100, "a step in beats a minute")]
    times_each: Annotated[int, _whole(1, 64, "a number of times")] = 1


class TradeTable(Table):
    """`trade`: bars with your part, then bars without it."""

    with_: Annotated[int, _whole(1, 64, "a number of bars")] = Field(alias="with")
    without: Annotated[int, _whole(1, 64, "a number of bars")]


class SilenceTable(Table):
    """`silence`: bars of sound, then bars of silence."""

    play: Annotated[int, _whole(1, 64, "a number of bars")]
    rest: Annotated[int, _whole(1, 64, "a number of bars")]


class FadeTable(Table):
    """`fade`: a part that sinks each time through."""

    times: Annotated[int, _whole(2, 64, "a number of times")]
    to: Annotated[float, _lu(-60, 0)]


class TrackTable(Table):
    """`[[track]]`: one track to render."""

    name: Title
    note: Note = ""
    without: Names = []
    only: Names = []
    softer: Annotated[dict[str, float], _levels(-60, 0, "LU")] = {}
    bars: Bars | None = None
    tempo: Pace | None = None
    times: Annotated[int, _whole(1, 1000, "a number of times")] | None = None
    count_in: Annotated[int, _whole(0, 16, "a number of bars")] | None = None
    click: Annotated[str, _choice(*CLICKS)] = "off"
    ladder: LadderTable | None = None
    trade: TradeTable | None = None
    fade: FadeTable | None = None
    silence: SilenceTable | None = None
    line: Annotated[bool, BeforeValidator(_yes_or_no)] = True


class LessonFile(Table):
    """The whole file."""

    title: Title
    note: Note = ""
    tempo: Tempo
    groove: Annotated[str, _text("a groove")]
    line: LineTable
    choruses: Annotated[int, _whole(1, 1000, "a number of choruses")] = 1
    count_in: Annotated[int, _whole(0, 16, "a number of bars")] = 2
    kit: Annotated[Handedness, _choice("right-handed", "left-handed")] = "right-handed"
    soundfont: Annotated[str, _text("a soundfont file")] = ""
    feel: FeelTable = FeelTable()
    balance: Annotated[dict[str, float], _levels(-40, 6, "LU")] = {}
    track: list[TrackTable] = []


# --- reading -------------------------------------------------------------------------------------

_WANTED = {
    "title": 'every lesson needs one, such as title = "Harbour Street, first line"',
    "tempo": "every lesson needs one, in beats a minute, such as tempo = 120",
    "groove": 'every lesson needs one, such as groove = "swing"',
    "line": "every lesson needs a table [line] with values, counts or file",
    "name": 'every track needs one, such as name = "slow"',
}


def read_tables(text: str) -> LessonFile:
    """Read and check the tables of a lesson file: `read_tables(text).tempo` is 120.0; raises LessonError."""
    try:
        table = tomllib.loads(text)
    except ValueError as error:  # TOML's own, or a number of thousands of digits
        raise LessonError(_explain_toml(str(error), text)) from None
    except RecursionError:
        raise LessonError("this is nested too deeply for a lesson") from None
    try:
        return LessonFile.model_validate(table)
    except ValidationError as error:
        raise LessonError(_explain(error)) from None


def _explain_toml(error: str, text: str) -> str:
    """What is wrong with the text as such, with the line that it is in."""
    at_line = re.search(r"at line (\d+)", error)
    lines = text.rstrip().splitlines() or [""]
    line = lines[min(int(at_line[1]) if at_line else len(lines), len(lines)) - 1].strip()
    hint = next((hint for start, hint in _TOML_HINTS.items() if error.startswith(start)), "")
    hint = next((say(found) for pattern, say in _LINE_HINTS if (found := re.search(pattern, line))), hint)
    return f"this is not TOML: {error}{f': {line}' if line else ''}{f'; {hint}' if hint else ''}"


_LINE_HINTS: tuple[tuple[str, Callable[[re.Match[str]], str]], ...] = (
    (r"=$", lambda _: "write a value after it"),
    (r"=\s*(\d+),(\d+)\s*(#|$)", lambda found: f"write {found[1]}.{found[2]}, with a point"),
    (r"[=,{]\s*(\d+)\s*%", lambda found: f'write "{found[1]}%", between quotes'),
    (r"(?:^|[{,])\s*([a-z]+ [a-z]+)\s*=", lambda found: f'a name of two words needs quotes: "{found[1]}"'),
)

_TOML_HINTS = {
    "Cannot overwrite": "this key stands in the table twice; keep one",
    "Cannot declare": "this table stands in the file twice; keep one",
    "Illegal character": "a quote may be missing at its end",
    "Unterminated string": "a quote is missing at its end",
    "Invalid value": "words are written between quotes",
}


_RENAMED = {
    "offbeat_accent": "upbeat_accent",
    "held_offbeat_accent": "held_upbeat_accent",
    "leads": 'kit; a left-handed one is kit = "left-handed"',
    "gap": "silence",
}


def _explain(error: ValidationError) -> str:
    """The first thing wrong, misspelt keys before all else, since they cause the others."""
    found = sorted(error.errors(), key=lambda one: one["type"] != "extra_forbidden")[0]
    loc = [step for step in found["loc"] if step not in ("float", "str", "int", "bool")]
    *above, key = loc or ["lesson"]
    where = _place(loc)
    match found["type"]:
        case "extra_forbidden" if str(key) in _RENAMED:
            return f"{where}: this is now called {_RENAMED[str(key)]}"
        case "extra_forbidden":
            return f"{where}: no such key; {nearest(str(key), _keys(above))}"
        case "missing":
            return f"{where}: missing; {_WANTED.get(str(key), 'it is needed here')}"
        case "value_error":
            return f"{where}: {found['ctx']['error']}"
        case "model_type" | "model_attributes_type":
            return f"{where}: {found['input']!r} is not a table; write its keys: {', '.join(_keys(loc))}"
        case "list_type":
            return f"{where}: write each track under its own [[{key}]]"
    return f"{where}: {found['input']!r} does not fit ({found['msg'].lower()})"


def _place(loc: list[Any]) -> str:
    """A key's place as a teacher counts: ("track", 0, "tempo") is "track 1, tempo"."""
    words: list[str] = []
    for step in loc:
        if isinstance(step, int):
            words[-1] += f" {step + 1}"
        else:
            words.append(str(step))
    return ", ".join(words) if any(isinstance(step, int) for step in loc) else ".".join(words)


_TABLES: dict[str, type[Table]] = {
    "line": LineTable, "feel": FeelTable, "track": TrackTable,
    "ladder": LadderTable, "trade": TradeTable, "silence": SilenceTable, "fade": FadeTable,
}  # fmt: skip


def _keys(loc: list[Any]) -> list[str]:
    names = [step for step in loc if isinstance(step, str)]
    table = _TABLES[names[-1]] if names and names[-1] in _TABLES else LessonFile
    return [field.alias or name for name, field in table.model_fields.items()]
