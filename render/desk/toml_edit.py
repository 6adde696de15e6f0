"""One key of a lesson file changed, everything else of its text left as it stands: order, comments, spaces.

The text is changed by tomlkit and read back by the lessons' own reader: what comes out says what was meant and
nothing else, or nothing is changed.
"""

from collections.abc import Sequence
from copy import deepcopy
from itertools import pairwise
from typing import Any

from grooves.errors import LessonError
from grooves.toml_text import read_toml
from render.lesson.lesson_text import on_one_line, toml_item

Path = Sequence[str | int]  # ["feel", "swing"] or ["track", 0, "name"]; a track one past the last is a new one
Value = str | float | bool | list[Any] | dict[str, Any] | None  # None: take it away


def with_values(text: str, changes: Sequence[tuple[Path, Value]]) -> str:
    """A lesson's text with keys set or taken away: `with_values(text, [(["tempo"], 96)])`; raises LessonError."""
    import tomlkit
    from tomlkit.exceptions import TOMLKitError

    meant = deepcopy(read_toml(text))
    try:
        document: Any = tomlkit.parse(text)
        for path, value in changes:
            _put(meant, path, value, tomlkit=False)
            _put(document, path, value, tomlkit=True)
        written = tomlkit.dumps(document)
    except (TOMLKitError, KeyError, IndexError, TypeError, ValueError):
        raise _unchanged(changes) from None
    if read_toml(written) != meant:
        raise _unchanged(changes)
    return written


def _unchanged(changes: Sequence[tuple[Path, Value]]) -> LessonError:
    keys = ", ".join(str(path[-1]) for path, _ in changes)
    return LessonError(f"{keys}: the file is written in a way that this cannot be put into; change it in the text")


def _put(root: Any, path: Path, value: Value, tomlkit: bool) -> None:
    """Set a key in nested tables, making those that are missing; None takes it away, with a table it leaves empty."""
    table = root
    for step, following in pairwise(path):
        if isinstance(step, int):
            if step == len(table):
                table.append(_new({}, tomlkit))
        elif step not in table:
            if value is None:
                return
            table[step] = _new([] if isinstance(following, int) else {}, tomlkit)
        table = table[step]
    last = path[-1]
    if value is None:
        if isinstance(last, int) or last in table:
            del table[last]
        _drop_empty(root, path)
    elif isinstance(last, int) and last == len(table):
        table.append(toml_item(value) if tomlkit else value)
    else:
        table[last] = _like(table, last, value) if tomlkit else value


def _drop_empty(root: Any, path: Path) -> None:
    """A list of tables that lost its last one is taken away too: an empty one cannot be written."""
    if isinstance(path[-1], int) and len(path) == 2 and path[0] in root and not len(root[path[0]]):
        del root[path[0]]


def _new(kind: list[Any] | dict[str, Any], tomlkit: bool) -> Any:
    if not tomlkit:
        return kind
    import tomlkit as kit

    return kit.aot() if isinstance(kind, list) else kit.table()


def _like(table: Any, key: str | int, value: Any) -> Any:
    """A value in the place of another, a text of several lines between triple quotes if the other one was."""
    import tomlkit
    from tomlkit.items import String, StringType

    old = table[key] if isinstance(key, int) or key in table else None
    if isinstance(value, str) and "\\" not in value and '"' not in value:
        long = isinstance(old, String) and old.as_string().startswith('"""')
        if long or "\n" in value:
            return String(StringType.MLB, value, f"\n{value}", tomlkit.items.Trivia())
    return on_one_line(value)
