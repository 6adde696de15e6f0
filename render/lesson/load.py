"""Lessons and grooves from their files, every mistake with the file's name in front."""

import re
import tomllib
from collections.abc import Sequence
from dataclasses import dataclass
from importlib.resources import files
from pathlib import Path
from typing import Any

from grooves.errors import LessonError, at, nearest
from grooves.groove import Groove, parse_groove
from grooves.lesson import Lesson, parse_lesson
from grooves.rhythm import Bar, Meter

LARGEST_FILE_BYTES = 2_000_000  # a lesson or a groove is a page of text


@dataclass(frozen=True)
class Loaded:
    """A lesson with what was noticed on the way in, such as how far a MIDI file was from the grid."""

    lesson: Lesson
    notes: tuple[str, ...]
    tables: dict[str, Any]  # as the file says them, checked
    reads: tuple[Path, ...]  # the files it comes from, never to be written over: lesson, line, groove, soundfont


def load_lesson(path: Path) -> Loaded:
    """Read a lesson file: `load_lesson(Path("first.toml")).lesson.title`; raises LessonError."""
    notes: list[str] = []

    def read_line(name: str, meter: Meter, part: str | int | None) -> Sequence[Bar]:
        from render.reading.read_line import read_line as read

        line = read(_beside(path, name), meter, part)
        notes.extend(f"{name}: {note}" for note in line.report)
        return line.bars

    with at(str(path)):
        text = read_text(path)
        lesson = parse_lesson(text, lambda name: find_groove(name, path.parent), read_line)
    tables = tomllib.loads(text)
    return Loaded(lesson, tuple(notes), tables, (path, *_named_files(tables, path)))


def _named_files(tables: dict[str, Any], path: Path) -> list[Path]:
    """The files that a lesson names and that are there."""
    names = (tables["line"].get("file"), tables["groove"], tables.get("soundfont"))
    return [found for name in names if name and (found := _beside(path, name)).is_file()]


def lessons_in(folder: Path) -> list[Path]:
    """The lessons of a folder and of folders in it, week 2 before week 10: `lessons_in(Path("term"))`.

    Grooves beside them are none, and what begins with a dot is passed over. Raises LessonError where there are none.
    A file that is neither lesson nor groove is among them, so that its mistakes are told.
    """
    inside = (path.relative_to(folder) for path in folder.rglob("*.toml"))
    seen = sorted((path for path in inside if not any(part.startswith(".") for part in path.parts)), key=_by_number)
    found = [folder / path for path in seen if not _is_groove(folder / path)]
    if not found:
        raise LessonError(f"{folder}: there is no lesson (.toml) in this folder")
    return found


def _by_number(path: Path) -> list[list[str | int]]:
    """A key that puts "week 2" before "week 10", folder by folder."""
    return [
        [int(piece) if place % 2 else piece.casefold() for place, piece in enumerate(re.split("([0-9]+)", part))]
        for part in path.parts
    ]


def _is_groove(path: Path) -> bool:
    """Whether a file says its meter, as only a groove does, and nothing that only a lesson says."""
    try:
        table = tomllib.loads(read_text(path))
    except (LessonError, tomllib.TOMLDecodeError, RecursionError):
        return False
    return "meter" in table and not table.keys() & {"line", "groove", "track"}


def read_text(path: Path) -> str:
    """Read a text file, or raise LessonError saying why it cannot be read."""
    try:
        if path.stat().st_size > LARGEST_FILE_BYTES:
            raise LessonError(
                f"this file is larger than {LARGEST_FILE_BYTES // 1_000_000} MB; a lesson is a page of text"
            )
        return path.read_text(encoding="utf-8-sig")  # some editors begin a text with a mark
    except FileNotFoundError:
        here = sorted(p.name for p in path.parent.glob(f"*{path.suffix}")) if path.parent.is_dir() else []
        hint = f"; {nearest(path.name, here[:12])}" if here else ""
        raise LessonError(f"there is no such file{hint}") from None
    except IsADirectoryError:
        raise LessonError("this is a folder; name a file in it") from None
    except UnicodeDecodeError as error:
        raise LessonError(f"this is not UTF-8 text (byte {error.start}); save it as UTF-8") from None
    except (OSError, ValueError) as error:
        raise LessonError(f"this cannot be read: {getattr(error, 'strerror', None) or error}") from None


def shipped_grooves() -> tuple[str, ...]:
    """Names of the grooves that come along: "swing" is among them."""
    return tuple(sorted(p.name.removesuffix(".toml") for p in _library().iterdir() if p.name.endswith(".toml")))


def _library() -> Path:
    return Path(str(files("grooves"))) / "library"


def find_groove(name: str, folder: Path) -> Groove:
    """Find a shipped groove by name, or a groove file beside the lesson: `find_groove("swing", Path("."))`."""
    if name in shipped_grooves():
        return parse_groove(read_text(_library() / f"{name}.toml"))
    if name.endswith(".toml"):
        with at(name):
            return parse_groove(read_text(folder / name))
    raise LessonError(
        f"'{name}' is not shipped; {nearest(name, shipped_grooves())}, or name a groove file ending in .toml"
    )


def _beside(lesson: Path, name: str) -> Path:
    return lesson.parent / name
