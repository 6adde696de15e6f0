"""The pages `docs/lesson.md` and `docs/groove.md`: every key, from the tables that the files are checked by.

`python -m render.lesson.key_pages` writes them into docs/.
"""

from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import get_args

from pydantic import Discriminator
from pydantic.fields import FieldInfo

from grooves.checks import Check
from grooves.keys import GROOVE_KEYS, PART_KEYS, Key
from grooves.lesson_tables import TABLES, LessonFile, Table, keys_of
from render.files.write import whole

_MADE = "<!-- made by python -m render.lesson.key_pages; change the tables in grooves/ instead -->\n"


def lesson_page() -> str:
    """Write every key of a lesson file as Markdown, a table for each of its tables."""
    head = "# The lesson file\n\nTOML. Single keys stand above the first heading. What is not needed may be left out.\n"
    tables: dict[str, type[Table]] = {
        "Above the first heading, and the headings": LessonFile,
        **{_heading(n): t for n, t in TABLES.items()},
    }
    return "\n".join([_MADE, head, *(f"## {name}\n\n{_table(_rows(table))}" for name, table in tables.items())])


def groove_page() -> str:
    """Write every key of a groove file as Markdown."""
    head = "# The groove file\n\nTOML: these keys, then one table for each part, such as [ride].\n"
    return "\n".join(
        [_MADE, head, _table(_plain(GROOVE_KEYS)), f"## A part, such as [ride]\n\n{_table(_plain(PART_KEYS))}"]
    )


def _heading(name: str) -> str:
    if name == "line":
        return "[line], or several [[line]]"
    if name in ("feel", "band"):
        return f"[{name}]"
    return "[[track]]" if name == "track" else f"{name} = {{ … }}, in a track"


def _rows(table: type[Table]) -> Iterable[tuple[str, ...]]:
    keys = keys_of(table)
    for name, field in table.model_fields.items():
        key = field.alias or name
        check = next((one for one in field.metadata if isinstance(one, Check)), None)
        kind, unit = (check.kind, check.unit) if check else (_kind_of_table(field), "")
        yield key, kind, _default(field), unit, keys[key].example, keys[key].what


def _kind_of_table(field: FieldInfo) -> str:
    if any(isinstance(one, Discriminator) for one in field.metadata):
        return "table, or tables"
    return (
        "tables"
        if any(isinstance(one, type) and issubclass(one, Table) for one in get_args(field.annotation))
        and (getattr(field.annotation, "__origin__", None) is list)
        else "table"
    )


def _default(field: FieldInfo) -> str:
    if field.is_required():
        return "needed"
    value = field.default
    if value in (None, "", [], {}) or isinstance(value, Table):
        return "none"
    return str(value).lower() if isinstance(value, bool) else f'"{value}"' if isinstance(value, str) else f"{value:g}"


def _plain(keys: Mapping[str, Key]) -> Iterable[tuple[str, ...]]:
    return ((name, key.kind, key.default or "needed", key.unit, key.example, key.what) for name, key in keys.items())


def _table(rows: Iterable[tuple[str, ...]]) -> str:
    heads = ("key", "takes", "default", "unit", "example", "what it is for")
    written = ((key, kind, default, unit, _code(example), what) for key, kind, default, unit, example, what in rows)
    lines = [heads, ("---",) * len(heads), *written]
    return "".join(f"| {' | '.join(cell.replace('|', chr(92) + '|') for cell in line)} |\n" for line in lines)


def _code(example: str) -> str:
    return "<br>".join(f"`{line}`" for line in example.splitlines())


def main(folder: Path = Path("docs")) -> None:
    """Write both pages into a folder."""
    folder.mkdir(exist_ok=True)
    for name, text in (("lesson.md", lesson_page()), ("groove.md", groove_page())):
        with whole([folder / name], []) as (beside,):
            beside.write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
