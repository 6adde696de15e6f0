"""`fourlimb new`: a commented lesson to start from."""

import shlex
from pathlib import Path
from typing import Annotated

import typer

from grooves.errors import LessonError

EXAMPLE = "fourlimb new tuesday.toml"


def new(
    file: Annotated[Path, typer.Argument(metavar="FILE.toml", help="The lesson to write; must not exist yet.")],
) -> None:
    """Write a commented lesson to start from."""
    from render.lesson.first_lesson import new_lesson

    if file.suffix != ".toml" or not file.stem:
        right = file.with_suffix(".toml") if file.name else Path("tuesday.toml")
        raise LessonError(f"{file}: a lesson's name ends in .toml; write {right}")
    new_lesson(file)
    print(f"{file}: a lesson to start from; then: fourlimb render {shlex.quote(str(file))}")
