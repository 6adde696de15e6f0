"""The commented lesson that comes along: to start from, and for the demonstration of every kind of file."""

from importlib.resources import files
from pathlib import Path

from grooves.errors import LessonError
from render.files.write import make_folder, write_bytes

FIRST_LESSON = "first-lesson.toml"


def new_lesson(target: Path) -> Path:
    """Write it to a file that is not there yet: `new_lesson(Path("tuesday.toml"))`; raises LessonError."""
    if target.suffix != ".toml":
        right = target.with_suffix(".toml") if target.name else Path("tuesday.toml")
        raise LessonError(f"{target}: a lesson's name ends in .toml; write {right}")
    make_folder(target.parent)
    write_bytes(target, _text(), ())
    return target


def demo_lesson(folder: Path) -> tuple[Path, str]:
    """The lesson to demonstrate with, in a folder, and what to say of it: `demo_lesson(Path("demo"))[1]` is "".

    One that lies there already is kept as it is, changed or not, and that is what is said of a changed one.
    """
    lesson = make_folder(folder) / FIRST_LESSON
    if not lesson.exists():
        return new_lesson(lesson), ""
    if lesson.is_file() and lesson.read_bytes() == _text():
        return lesson, ""
    return (
        lesson,
        f"{lesson} has been changed since it was written: it is kept as it is, and rendered",
    )


def _text() -> bytes:
    return (files("render.lesson") / "lesson.toml").read_bytes()
