"""`fourlimb chart`: the line, the drum score and the triplet grid on paper."""

from pathlib import Path
from typing import Annotated, Literal

import typer

from render.command.options import Lesson

EXAMPLE = "fourlimb chart tuesday.toml -o tuesday.pdf"


def chart(
    lesson: Lesson,
    out: Annotated[Path, typer.Option("-o", "--out", metavar="FILE", help="Ends in .pdf, .svg, .png or .musicxml.")],
    bars: Annotated[
        str | None,
        typer.Option("--bars", metavar="BARS", help='Only these bars, such as 6 or "1-4".'),
    ] = None,
    paper: Annotated[Literal["a4", "letter"], typer.Option("--paper", help="Paper size.")] = "a4",
) -> None:
    """Draw the line, the drum score and the triplet grid."""
    from render.lesson.documents import chart_file
    from render.lesson.load import load_lesson

    loaded = load_lesson(lesson)
    print(chart_file(loaded, out, bars, paper))
    print("\n".join(loaded.notes), end="\n" * bool(loaded.notes))
