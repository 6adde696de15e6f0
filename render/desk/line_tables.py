"""One line more in a lesson's text, or one fewer.

A lone `[line]` becomes the first `[[line]]`, and the last that is left a `[line]` again. The text is changed by tomlkit
and read back by the lessons' own reader, as in `toml_edit`. A comment behind an empty line belongs to what follows it:
it stays before that, and goes with it.
"""

from collections.abc import Callable, Mapping
from copy import deepcopy
from typing import Any

from grooves.errors import LessonError
from grooves.toml_text import read_toml
from render.lesson.lesson_text import on_one_line

_CANNOT = "line: the file is written in a way that this cannot be put into; change it in the text"


def with_line(text: str, table: Mapping[str, Any]) -> str:
    """A lesson's text with one line more, after all others: `with_line(text, {"values": "1r"})`; raises LessonError."""

    def add(tables: list[Any]) -> None:
        import tomlkit
        from tomlkit.items import Whitespace

        new = tomlkit.table(is_super_table=False)
        for key, value in table.items():
            new.add(key, on_one_line(value))
        last = _last(tables[-1])
        new.value.body.append((None, Whitespace(_cut_tail(last))))
        if not last.as_string().endswith("\n"):  # as a file may end
            last.value.body.append((None, Whitespace("\n")))
        new.trivia.indent = "\n"
        tables.append(new)

    return _rewritten(text, add, lambda tables: tables.append(dict(table)))


def without_line(text: str, which: int) -> str:
    """A lesson's text without one of its several lines, from 0: `without_line(text, 1)`; raises LessonError."""

    def remove(tables: list[Any]) -> None:
        from tomlkit.items import Whitespace

        gone = tables.pop(which)
        tail = _cut_tail(_last(gone))
        if which == 0:
            tables[0].trivia.indent = tail.lstrip("\r\n")
        else:
            before = _last(tables[which - 1])
            _cut_tail(before)
            before.value.body.append((None, Whitespace(tail)))

    return _rewritten(text, remove, lambda tables: tables.pop(which))


def _rewritten(text: str, change: Callable[[list[Any]], Any], meant: Callable[[list[Any]], Any]) -> str:
    """A lesson's text with the tables of its lines changed, where it comes to what is meant and to nothing else."""
    import tomlkit
    from tomlkit.exceptions import TOMLKitError

    wanted = deepcopy(read_toml(text))
    lines = wanted["line"] if isinstance(wanted["line"], list) else [wanted["line"]]
    meant(lines)
    wanted["line"] = lines if len(lines) > 1 else lines[0]
    try:
        document = tomlkit.parse(text)
        (at,) = (number for number, (key, _) in enumerate(document.body) if key is not None and key.key == "line")
        key, old = document.body[at]
        tables = _tables(key, old)
        change(tables)
        document.body[at] = key, _item(tables)
        written = tomlkit.dumps(document)
        if 0 < text.count("\n") == text.count("\r\n"):
            written = written.replace("\r\n", "\n").replace("\n", "\r\n")
    except (TOMLKitError, ValueError, KeyError):
        raise LessonError(_CANNOT) from None
    if read_toml(written) != wanted:
        raise LessonError(_CANNOT)
    return written


def _tables(key: Any, old: Any) -> list[Any]:
    """The tables of the lines; ValueError where they are written another way, such as on one line."""
    from tomlkit.items import AoT, Table

    if isinstance(old, AoT):
        return list(old.body)
    if isinstance(old, Table) and not key.is_dotted():
        return [old]
    raise ValueError


def _item(tables: list[Any]) -> Any:
    """Tables as `[[line]]`s, one alone as `[line]`."""
    from tomlkit.items import AoT, Table

    several = len(tables) > 1
    own = [Table(table.value, table.trivia, several, name="line") for table in tables]
    return AoT(own, name="line", parsed=True) if several else own[0]


def _last(table: Any) -> Any:
    """The table inside a table whose end is its end."""
    from tomlkit.items import Table

    keyed = [item for key, item in table.value.body if key is not None]
    return _last(keyed[-1]) if keyed and isinstance(keyed[-1], Table) else table


def _cut_tail(table: Any) -> str:
    """What stands behind the first empty line after a table's last key, taken out of it."""
    from tomlkit.items import Whitespace

    body = table.value.body
    last = max((number for number, (key, _) in enumerate(body) if key is not None), default=-1)
    blank = next((n for n in range(last + 1, len(body)) if isinstance(body[n][1], Whitespace)), len(body))
    tail = "".join(item.as_string() for _, item in body[blank:])
    del body[blank:]
    return tail
