"""`fourlimb new`: a commented lesson to start from."""

import shlex
from pathlib import Path
from typing import Annotated

import typer

from grooves.errors import LessonError

EXAMPLE = "fourlimb new tuesday.toml"
FIRST_LESSON = Path(__file__).parent.parent / "lesson" / "lesson.toml"


def new(
    file: Annotated[Path, typer.Argument(metavar="FILE.toml", help="The lesson to write; must not exist yet.")],
) -> None:
    """Write a commented lesson to start from."""
    from render.files.write import make_folder, write_bytes

    if file.suffix != ".toml" or not file.stem:
        right = file.with_suffix(".toml") if file.name else Path("tuesday.toml")
        raise LessonError(f"{file}: a lesson's name ends in .toml; write {right}")
    if file.exists():
        raise LessonError(f"{file}: there is a file of that name already; choose another")
    make_folder(file.parent)
    write_bytes(file, FIRST_LESSON.read_bytes())
    print(f"{file}: a lesson to start from; then: fourlimb render {shlex.quote(str(file))}")
