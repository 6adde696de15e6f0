"""A lesson's tables as the text of a lesson file, and the files it names as found from another folder.

`tomllib` reads and the standard library does not write, so the little TOML that a lesson needs is written here.
"""

import json
import os
import re
from collections.abc import Mapping
from pathlib import Path
from typing import Any


def lesson_text(tables: Mapping[str, Any]) -> str:
    """Write tables so that `tomllib` reads the same back: `lesson_text({"tempo": 96, "line": {"values": "1"}})`.

    Single keys come first, then the tables, then the lists of tables; a table inside a table stands on one line.
    """
    single = {key: value for key, value in tables.items() if not isinstance(value, Mapping) and not _is_tables(value)}
    blocks = [_block("", single)] if single else []
    blocks += [_block(f"[{_key(key)}]\n", value) for key, value in tables.items() if isinstance(value, Mapping)]
    many = ((key, value) for key, value in tables.items() if _is_tables(value))
    blocks += [_block(f"[[{_key(key)}]]\n", one) for key, value in many for one in value]
    return "\n".join(blocks)


def _is_tables(value: object) -> bool:
    return isinstance(value, list) and bool(value) and all(isinstance(one, Mapping) for one in value)


def _block(head: str, table: Mapping[str, Any]) -> str:
    return head + "".join(f"{_key(key)} = {_value(value)}\n" for key, value in table.items())


def _key(key: str) -> str:
    return key if re.fullmatch(r"[A-Za-z0-9_-]+", key) else _quoted(key)


def _value(value: object) -> str:
    match value:
        case str():
            return _quoted(value)
        case bool():
            return "true" if value else "false"
        case list():
            return f"[{', '.join(map(_value, value))}]"
        case Mapping():
            return f"{{ {', '.join(f'{_key(key)} = {_value(one)}' for key, one in value.items())} }}"
    return repr(value)


def _quoted(text: str) -> str:
    """A TOML basic string; JSON's escapes are TOML's too, and TOML alone escapes the delete character."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007F")


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
