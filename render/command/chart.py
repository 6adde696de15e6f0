"""`fourlimb chart`: the line, the drum score and the triplet grid on paper."""

from pathlib import Path
from typing import Annotated, Literal

import typer

from render.command.options import Lesson
from render.command.report import show_lines

EXAMPLE = "fourlimb chart tuesday.toml -o tuesday.pdf"


def chart(
    lesson: Lesson,
    out: Annotated[Path, typer.Option("-o", "--out", metavar="FILE", help="Ends in .pdf, .svg, .png or .musicxml.")],
    bars: Annotated[
        str | None,
        typer.Option("--bars", metavar="BARS", help='Only these bars, such as 6 or "1-4".'),
    ] = None,
    show: Annotated[
        list[str],
        typer.Option("--show", metavar="PIECE", help="Only this piece: line, score, grid or band (may be repeated)."),
    ] = [],  # noqa: B006 - never changed; typer wants a list
    counts: Annotated[bool, typer.Option("--counts", help="The counts under the line.")] = False,
    no_sticking: Annotated[bool, typer.Option("--no-sticking", help="No R and L where the hands take turns.")] = False,
    paper: Annotated[Literal["a4", "letter"], typer.Option("--paper", help="Paper size.")] = "a4",
) -> None:
    """Draw the line, the drum score and the triplet grid."""
    from render.lesson.documents import chart_file
    from render.lesson.load import load_lesson
    from render.lesson.options import ChartOptions

    loaded = load_lesson(lesson)
    under = (*(["counts"] if counts else []), *([] if no_sticking else ["sticking"]))
    show_lines([str(chart_file(loaded, out, ChartOptions(bars, paper, tuple(show), under))), *loaded.notes])
