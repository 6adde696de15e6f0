"""A lesson's tables as the text of a lesson file, and the files it names as found from another folder."""

import os
from collections.abc import Mapping
from pathlib import Path
from typing import Any


def lesson_text(tables: Mapping[str, Any]) -> str:
    """Write tables so that `tomllib` reads the same back: `lesson_text({"tempo": 96, "line": {"values": "1"}})`.

    Single keys come first, then the tables, then the lists of tables.
    """
    import tomlkit

    text = tomlkit.document()
    for key, value in sorted(tables.items(), key=_place):
        text.add(key, toml_item(value))
    return tomlkit.dumps(text)


def _place(entry: tuple[str, object]) -> int:
    return 2 if _is_tables(entry[1]) else isinstance(entry[1], Mapping)


def _is_tables(value: object) -> bool:
    return isinstance(value, list) and bool(value) and all(isinstance(one, Mapping) for one in value)


def toml_item(value: Any) -> Any:
    """A table or a list of tables as TOML, with the tables inside each on one line."""
    import tomlkit

    if _is_tables(value):
        many = tomlkit.aot()
        for one in value:
            many.append(toml_item(one))
        return many
    if not isinstance(value, Mapping):
        return value
    table = tomlkit.table()
    for key, one in value.items():
        table.add(key, on_one_line(one))
    return table


def on_one_line(value: Any) -> Any:
    """A value with the tables in it on one line."""
    import tomlkit

    if not isinstance(value, Mapping):
        return value
    inline = tomlkit.inline_table()
    inline.update({key: on_one_line(one) for key, one in value.items()})
    return inline


def line_tables(tables: Mapping[str, Any]) -> list[Any]:
    """The table of a lesson's line, or those of several: `line_tables({"line": {"values": "1"}})` is one."""
    return list(tables["line"]) if isinstance(tables["line"], list) else [tables["line"]]


def named_from(folder: Path, name: str, beside: Path) -> str:
    """Name a file beside a lesson from another folder: `named_from(Path("up"), "a.toml", Path())` is "../a.toml".

    An absolute name stays as it is. Links to folders are followed first, since ".." goes up from where they lead.
    Where no way leads from one folder to the other (two drives), the name becomes absolute.
    """
    if Path(name).is_absolute():
        return name
    try:
        place = beside / Path(name).expanduser()
    except RuntimeError:  # of a user whom nobody knows
        return name
    place = place.parent.resolve() / place.name
    try:
        return Path(os.path.relpath(place, folder.resolve())).as_posix()
    except ValueError:
        return place.as_posix()
