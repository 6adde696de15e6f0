"""Lessons and grooves from their files, every mistake with the file's name in front."""

import re
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from grooves.errors import LessonError, at
from grooves.groove import Groove
from grooves.lesson import Lesson, parse_lesson
from grooves.lesson_tables import BandTable
from grooves.line import WrittenLine
from grooves.players import Band
from grooves.remarks import remarks
from grooves.rhythm import Meter
from grooves.toml_text import read_toml
from render.files.there import files_below, is_file
from render.lesson.groove_files import find_groove, read_text
from render.lesson.lesson_text import line_tables

if TYPE_CHECKING:
    from render.reading.imported_line import ImportedLine

ONLY_LESSONS_SAY = frozenset({"line", "groove", "track"})


@dataclass(frozen=True)
class Loaded:
    """A lesson with what was noticed on the way in: how far a MIDI file was from the grid, a tempo out of range."""

    lesson: Lesson
    notes: tuple[str, ...]
    tables: dict[str, Any]  # as the file says them, checked
    reads: tuple[Path, ...]  # the files it comes from, never to be written over: lesson, line, groove, soundfont


def load_lesson(path: Path) -> Loaded:
    """Read a lesson file: `load_lesson(Path("first.toml")).lesson.title`; raises LessonError."""
    with at(str(path)):
        text = read_text(path)
        return lesson_of_text(text, path)


def lesson_of_text(text: str, path: Path) -> Loaded:
    """Read a lesson from a text, as if a file held it: `lesson_of_text(text, path).lesson`; raises LessonError."""
    notes: list[str] = []

    def read_line(name: str, meter: Meter, part: str | int | None) -> WrittenLine:
        line = read_line_beside(path, name, meter, part)
        notes.extend(f"{name}: {note}" for note in line.report)
        return WrittenLine(line.bars, line.pickup, line.letters)

    def hire(table: BandTable, groove: Groove, line_bars: int) -> Band:
        from grooves.band.band import form_and_line, read_band

        band = read_band(table, groove, line_bars)
        notes.append(form_and_line(band))
        return band

    lesson = parse_lesson(text, lambda name: find_groove(name, path.parent), read_line, hire)
    notes += remarks(lesson)
    tables = read_toml(text)
    return Loaded(lesson, tuple(notes), tables, (path, *_named_files(tables, path)))


def read_line_beside(path: Path, name: str, meter: Meter, part: str | int | None) -> "ImportedLine":
    """The line in a notation file beside a lesson: `read_line_beside(path, "line.mid", Meter(4, 4), None).bars`."""
    from render.reading.read_line import read_line

    return read_line(_beside(path, name), meter, part)


def _named_files(tables: dict[str, Any], path: Path) -> list[Path]:
    """The files that a lesson names and that are there."""
    lines = [line.get("file") for line in line_tables(tables)]
    names = (*lines, tables["groove"], tables.get("soundfont"))
    return [found for name in names if name and is_file(found := _beside(path, name))]


def lessons_in(folder: Path) -> list[Path]:
    """The lessons of a folder and of folders in it, week 2 before week 10: `lessons_in(Path("term"))`.

    Grooves beside them are none, and what begins with a dot is passed over. Raises LessonError where there are none.
    A file that is neither lesson nor groove is among them, so that its mistakes are told; a folder that holds far more
    than lessons, such as a whole disk, is refused.
    """
    seen = sorted((path.relative_to(folder) for path in files_below(folder, ".toml")), key=by_number)
    found = [folder / path for path in seen if not is_groove(folder / path)]
    if not found:
        raise LessonError(f"{folder}: there is no lesson (.toml) in this folder")
    return found


def by_number(path: Path) -> list[list[str | int]]:
    """A key that puts "week 2" before "week 10", folder by folder: `sorted(paths, key=by_number)`."""
    return [
        [int(piece) if place % 2 else piece.casefold() for place, piece in enumerate(re.split("([0-9]+)", part))]
        for part in path.parts
    ]


def is_groove(path: Path) -> bool:
    """Whether a file says its meter, as only a groove does, and nothing that only a lesson says."""
    try:
        table = read_toml(read_text(path))
    except LessonError:
        return False
    return "meter" in table and not table.keys() & ONLY_LESSONS_SAY


def _beside(lesson: Path, name: str) -> Path:
    return lesson.parent / name
