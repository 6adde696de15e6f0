"""`fourlimb page`: the lesson page, one file that works offline."""

from pathlib import Path
from typing import Annotated

import typer

from render.command.options import NoCache, Rate, Soundfont

EXAMPLE = "fourlimb page tuesday.toml -o tuesday.html"


def page(
    lesson: Annotated[Path, typer.Argument(metavar="LESSON", help="A lesson file, or a folder of lessons.")],
    out: Annotated[
        Path | None,
        typer.Option("-o", "--out", metavar="FILE.html", help="The page; for a folder: output folder."),
    ] = None,
    soundfont: Soundfont = None,
    rate: Rate = 44100,
    no_cache: NoCache = False,
) -> None:
    """Make the lesson page: one file, works offline; for a folder, all of them with an index."""
    from render.command.report import show_lines
    from render.lesson.documents import page_files

    show_lines(map(str, page_files(lesson, out, soundfont, rate, not no_cache)))
