"""`fourlimb new`: a commented lesson to start from."""

import shlex
from pathlib import Path
from typing import Annotated

import typer

EXAMPLE = "fourlimb new tuesday.toml"


def new(
    file: Annotated[Path, typer.Argument(metavar="FILE.toml", help="The lesson to write; must not exist yet.")],
) -> None:
    """Write a commented lesson to start from."""
    from render.command.report import show_lines
    from render.lesson.first_lesson import new_lesson

    new_lesson(file)
    show_lines([f"{file}: a lesson to start from; then: fourlimb render {shlex.quote(str(file))}"])
