"""What several commands say: tables for a terminal, plain lines for a pipe, JSON for a program."""

import json
import sys
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import asdict, is_dataclass
from typing import TYPE_CHECKING, Any

from grooves.errors import visible

if TYPE_CHECKING:
    from rich.console import Console

    from render.lesson.options import MadeFile, Progress, Report


def as_json(value: Any) -> str:
    """A report as JSON: dataclasses become objects, paths text; what a terminal obeys or cannot show is escaped."""
    plain = _plain(value)
    text = json.dumps(plain, indent=2, ensure_ascii=False)
    fit = all(map(str.isprintable, text.split("\n"))) and _can_be_printed(text)
    return text if fit else json.dumps(plain, indent=2)


def _can_be_printed(text: str) -> bool:
    """Whether standard output knows all signs of a text: a terminal may know 256, or 128."""
    try:
        text.encode(getattr(sys.stdout, "encoding", None) or "utf-8")
    except UnicodeEncodeError:
        return False
    return True


def _plain(value: Any) -> Any:
    if is_dataclass(value) and not isinstance(value, type):
        return _plain(asdict(value))
    if isinstance(value, dict):
        return {str(key): _plain(one) for key, one in value.items()}
    if isinstance(value, list | tuple | set | frozenset):
        return [_plain(one) for one in value]
    return value if isinstance(value, str | int | float | bool | type(None)) else str(value)


def reports_json(reports: "Sequence[Report]") -> str:
    """Several lessons as one JSON object: `files` of all of them, `notes`, `lessons`."""
    return as_json(
        {
            "files": [made for report in reports for made in report.files],
            "notes": [note for report in reports for note in report.notes],
            "lessons": [{"path": report.lesson, "title": report.title} for report in reports],
        }
    )


def clock(seconds: float) -> str:
    """A length as minutes and seconds: `clock(83.4)` is "1:23"."""
    return f"{int(seconds) // 60}:{int(seconds) % 60:02d}" if seconds else ""


def show_table(title: str, heads: Sequence[str], rows: Iterable[Sequence[str]], right: Sequence[int] = ()) -> None:
    """Print a table, the columns in `right` set to the right: fitted to a terminal, plain lines in a pipe."""
    title, *lines = _fit(title), *(tuple(map(_fit, line)) for line in (heads, *rows))
    if sys.stdout.isatty():
        _rich_table(title, lines[0], lines[1:], right)
        return
    widths = [max(map(len, column)) for column in zip(*lines, strict=True)]
    print(title)
    for line in lines:
        cells = enumerate(zip(line, widths, strict=True))
        set_out = [cell.rjust(width) if number in right else cell.ljust(width) for number, (cell, width) in cells]
        print(f"  {'  '.join(set_out)}".rstrip())


def _rich_table(title: str, heads: Sequence[str], rows: Iterable[Sequence[str]], right: Sequence[int]) -> None:
    from rich import box
    from rich.table import Table
    from rich.text import Text

    table = Table(title=Text(title), title_justify="left", box=box.SIMPLE_HEAD)
    for number, head in enumerate(heads):
        table.add_column(head, justify="right" if number in right else "left", overflow="fold")
    for row in rows:
        table.add_row(*(Text(cell) for cell in row))
    _console().print(table)


def show_lines(lines: Iterable[str]) -> None:
    """Print lines, folded at the edge of a terminal; whatever does not print in one is made visible."""
    for line in map(_fit, lines):
        if sys.stdout.isatty():
            _console().print(line)
        else:
            print(line)


def _fit(text: str) -> str:
    """Text for a line of its own: a file may be named, or a lesson be called, by signs that drive a terminal."""
    return text if text.isprintable() else visible(text, 10 * len(text))


def _console() -> "Console":
    from rich.console import Console

    return Console(highlight=False, markup=False)


def show_reports(reports: "Sequence[Report]", json: bool) -> None:
    """Print what was made of lessons, for a person or as JSON."""
    if json:
        print(reports_json(reports))
        return
    for report in reports:
        show_report(report)


def show_report(report: "Report") -> None:
    """Print what was made of a lesson: each file, its length, who plays, who is left out."""
    rows = [_row(made) for made in report.files]
    show_table(report.title, ("file", "length", "plays", "left out"), rows, right=(1,))
    show_lines(f"  {note}" for note in report.notes)


def _row(made: "MadeFile") -> tuple[str, str, str, str]:
    return str(made.path), clock(made.seconds), ", ".join(made.plays), ", ".join(made.left_out)


@contextmanager
def progress_bar(what: str, wanted: bool) -> "Iterator[Progress]":
    """A bar on stderr while something long runs; nothing in a pipe, or where it is not wanted."""
    if not (wanted and sys.stderr and sys.stderr.isatty()):
        yield lambda _: None
        return
    from rich.console import Console
    from rich.progress import Progress as Bar

    with Bar(console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task(what, total=1.0)
        yield lambda share: bar.update(task, completed=share)
