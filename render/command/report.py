"""What the command line says: tables for a terminal, plain lines for a pipe, JSON for a program."""

import json
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import asdict, is_dataclass
from typing import TYPE_CHECKING, Any

from grooves.feel import swing_ratio
from grooves.groove import Groove, Part
from grooves.rhythm import Meter, place_name
from render.lesson.bar_report import BarView
from render.lesson.options import MadeFile, Progress, Report

if TYPE_CHECKING:
    from rich.console import Console

    from render.lesson.demonstration import BalanceReport


def as_json(value: Any) -> str:
    """A report as JSON: dataclasses become objects, paths text."""
    return json.dumps(_plain(value), indent=2, ensure_ascii=False)


def _plain(value: Any) -> Any:
    if is_dataclass(value) and not isinstance(value, type):
        return _plain(asdict(value))
    if isinstance(value, dict):
        return {str(key): _plain(one) for key, one in value.items()}
    if isinstance(value, list | tuple | set | frozenset):
        return [_plain(one) for one in value]
    return value if isinstance(value, str | int | float | bool | type(None)) else str(value)


def reports_json(reports: Sequence[Report]) -> str:
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


def console() -> "Console":
    """Standard output: as wide as the terminal, and never cut short in a pipe."""
    from rich.console import Console

    found = Console(highlight=False, markup=False)
    return found if found.is_terminal else Console(highlight=False, markup=False, width=200)


def show_table(title: str, heads: Sequence[str], rows: Iterable[Sequence[str]], right: Sequence[int] = ()) -> None:
    """Print a table; columns in `right` are set to the right."""
    from rich import box
    from rich.table import Table
    from rich.text import Text

    table = Table(title=Text(title), title_justify="left", box=box.SIMPLE_HEAD)
    for number, head in enumerate(heads):
        table.add_column(head, justify="right" if number in right else "left", overflow="fold")
    for row in rows:
        table.add_row(*(Text(cell) for cell in row))
    console().print(table)


def show_report(report: Report) -> None:
    """Print what was made of a lesson: each file, its length, who plays, who is left out."""
    rows = [_row(made) for made in report.files]
    show_table(report.title, ("file", "length", "plays", "left out"), rows, right=(1,))
    for note in report.notes:
        console().print(f"  {note}")


def _row(made: MadeFile) -> tuple[str, str, str, str]:
    return str(made.path), clock(made.seconds), ", ".join(made.plays), ", ".join(made.left_out)


def show_bars(title: str, bars: Sequence[BarView], notes: Sequence[str] = ()) -> None:
    """Print bars, hardest first: difficulty and why, then place by place who sounds together."""
    screen = console()
    screen.print(f"{title}: hardest first\n")
    for bar in bars:
        points = ", ".join(f"{name} {value:g}" for name, value in bar.parts.items())
        screen.print(f"bar {bar.bar}   {bar.values}   difficulty {bar.difficulty:g} ({points})\n  {bar.why}")
        for place in bar.places:
            screen.print(f"    {place.count:<6}{place.words}")
    for note in notes:
        screen.print(note)


def show_groove(groove: Groove) -> None:
    """Print a groove's parts, then how its eighths swing at each tempo."""
    rows = [
        (part.name, part.limb, part.instrument, f"{part.level_lu:+g}", _pattern_text(part, groove.meter))
        for part in groove.parts
    ]
    console().print(f"{groove.title}, {groove.meter}: {groove.source}")
    show_table("Parts", ("part", "limb", "instrument", "LU against the ride", "struck on"), rows)
    tempos = range(60, 301, 20)
    ratios = [(f"{t}", *(f"{swing_ratio(s, t):.2f}" for s in (groove.swing, "as measured"))) for t in tempos]
    if groove.meter.unit < 8:
        heads = ("quarters a minute", f"swing = {groove.swing}", "as measured")
        show_table("Ratio long:short of the eighths (Jazz Trio Database, TISMIR 2024)", heads, ratios, right=(0, 1, 2))


BAR_LU = 24  # the balance picture's width, a sign for each LU from -24 to 0


def show_balance(report: "BalanceReport") -> None:
    """Print target, measured level and difference of each part, with a bar picture."""
    rows = [
        (
            row.part,
            {"line": "reads", "fill": "fills"}.get(row.role, "keeps time"),
            f"{row.target_lu:+.1f}",
            f"{row.measured_lu:+.1f}",
            f"{row.difference_lu:+.1f}",
            "=" * max(round(BAR_LU + row.measured_lu), 1),
        )
        for row in report.rows
    ]
    heads = ("part", "", "target LU", "measured LU", "off by", "loudness")
    show_table(f"{report.title}: one plain stroke against the ride's", heads, rows, right=(2, 3, 4))
    for note in (*report.notes, *(str(made.path) for made in report.files)):
        console().print(f"  {note}")
    if not report.good:
        console().print("  the balance is off: a part is more than 1 LU from its target, or the ride is not on top")


def _pattern_text(part: Part, meter: Meter) -> str:
    return " | ".join(" ".join(place_name(stroke.onset, meter) for stroke in bar) for bar in part.bars)


@contextmanager
def progress_bar(what: str, wanted: bool) -> Iterator[Progress]:
    """A bar on stderr while something long runs; nothing in a pipe, or where it is not wanted."""
    from rich.console import Console

    screen = Console(stderr=True)
    if not (wanted and screen.is_terminal):
        yield lambda _: None
        return
    from rich.progress import Progress as Bar

    with Bar(console=screen, transient=True) as bar:
        task = bar.add_task(what, total=1.0)
        yield lambda share: bar.update(task, completed=share)
