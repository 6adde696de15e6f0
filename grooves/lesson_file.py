"""A lesson file's text as checked tables, or one message about the first thing that is wrong.

Every wrong key or value becomes one LessonError: place, what stands there, what would be right.
"""

from collections.abc import Sequence
from typing import Any

from pydantic import ValidationError

from grooves.errors import LessonError, nearest, quoted, visible
from grooves.kit import PARTS
from grooves.lesson_tables import ONE, SEVERAL, TABLES, FeelTable, LessonFile, LineTable, Table, TrackTable, keys_of
from grooves.toml_text import read_toml


def read_tables(text: str) -> LessonFile:
    """Read and check the tables of a lesson file: `read_tables(text).tempo` is 120.0; raises LessonError."""
    table = read_toml(text)
    if "meter" in table and not table.keys() & {"line", "groove", "track"}:
        parts = [part for part in PARTS if isinstance(table.get(part), dict)]
        if parts:
            raise LessonError(f"this is a groove, with a table [{parts[0]}]; a lesson names its file after groove =")
    try:
        return LessonFile.model_validate(table)
    except ValidationError as error:
        raise LessonError(_explain(error)) from None


def _explain(error: ValidationError) -> str:
    """The first thing wrong, misspelt keys before all else, since they cause the others."""
    found = sorted(error.errors(), key=lambda one: one["type"] != "extra_forbidden")[0]
    loc = [step for step in found["loc"] if step not in ("float", "str", "int", "bool", ONE, SEVERAL)]
    *above, key = loc or ["lesson"]
    where = key_place(loc)
    match found["type"]:
        case "extra_forbidden":
            return f"{where}: {_unknown(str(key), above)}"
        case "missing":
            return f"{where}: missing; write {_in_words(keys_of(_table(above))[str(key)].example)}"
        case "value_error":
            return f"{where}: {found['ctx']['error']}"
        case "model_type" | "model_attributes_type":
            return (
                f"{where}: {quoted(found['input'])} is not a table; write its keys: {', '.join(keys_of(_table(loc)))}"
            )
        case "list_type":
            return f"{where}: write each track under its own [[{key}]]"
    return f"{where}: {quoted(found['input'])} does not fit ({found['msg'].lower()})"


def _in_words(example: str) -> str:
    """An example within a sentence: a table's heading with its first key."""
    return example.replace("\n", " and below it ")


def key_place(loc: Sequence[int | str]) -> str:
    """A key's place as a teacher counts: `key_place(["track", 0, "tempo"])` is "track 1, tempo"."""
    words: list[str] = []
    for step in loc:
        if isinstance(step, int):
            words[-1] += f" {step + 1}"
        else:
            words.append(visible(str(step), 60))
    return ", ".join(words) if any(isinstance(step, int) for step in loc) else ".".join(words)


def _table(loc: list[Any]) -> Any:
    names = [step for step in loc if isinstance(step, str)]
    return TABLES[names[-1]] if names and names[-1] in TABLES else LessonFile


# --- keys that there are not, here ---------------------------------------------------------------

_NOW_CALLED = {
    "offbeat_accent": "upbeat_accent",
    "held_offbeat_accent": "held_upbeat_accent",
    "leads": 'kit; a left-handed one is kit = "left-handed"',
    "gap": "silence",
}
_OTHERWISE = {
    "each_bar": "write played_on = { each_bar = […] }",
    "left_handed": 'write kit = "left-handed"',
    "left-handed": 'write kit = "left-handed"',
}
_HEADINGS: dict[str, type[Table]] = {"line": LineTable, "feel": FeelTable, "track": TrackTable}


def _unknown(key: str, above: list[Any]) -> str:
    """What to do about a key that its table does not have."""
    if key in _NOW_CALLED:
        return f"this is now called {_NOW_CALLED[key]}"
    if key in _OTHERWISE:
        return f"no such key; {_OTHERWISE[key]}"
    if above and key in keys_of(LessonFile) and key not in TABLES:
        return f"this belongs above {'[line]' if above == ['line'] else 'the first heading'}"
    here = keys_of(_table(above))
    if len(above) < 2 or isinstance(above[-1], int):
        for heading, table in _HEADINGS.items():
            if key in keys_of(table) and heading not in above:
                return f"this belongs below {'[[track]]' if heading == 'track' else f'[{heading}]'}"
    return f"no such key; {nearest(key, here)}"
