"""Which lessons lie in a folder and in folders in it, found quickly whatever else lies there, such as in a home folder.

What is near comes first. Hidden folders, links, folders in which programs keep their own files, and names that are no
text are passed over.
"""

import os
from collections import deque
from dataclasses import dataclass
from itertools import islice
from pathlib import Path

from grooves.errors import LessonError
from grooves.toml_text import read_toml
from render.files.there import MOST_LOOKED_AT
from render.lesson.groove_files import read_text
from render.lesson.load import ONLY_LESSONS_SAY, by_number

MOST_LESSONS = 500  # shown at once; ours
MOST_FOLDERS = 1_000  # that are watched: far fewer than a system allows
_PROGRAMS = {"node_modules", "__pycache__", "site-packages", "venv", "AppData"}


@dataclass(frozen=True)
class Listing:
    """What was found: `listing(Path("term")).lessons`."""

    lessons: tuple[Path, ...]  # week 2 before week 10
    folders: tuple[Path, ...]  # that were looked through
    left_out: str = ""  # a sentence, where something was


def listing(folder: Path) -> Listing:
    """The lessons of a folder: `listing(Path("term")).lessons`.

    A file that cannot be read is among them, so that its mistakes are told; one that says nothing a lesson says is not.
    """
    files, folders, whole = _looked_through(folder)
    lessons: list[Path] = []
    for path in sorted(files, key=lambda one: by_number(one.relative_to(folder))):
        if len(lessons) == MOST_LESSONS:
            break
        if _is_lesson(path):
            lessons.append(path)
    left_out = ""
    if not whole:
        left_out = (
            "So many files lie in this folder that only the nearest were looked at; open the desk over the folder that "
            "your lessons lie in."
        )
    elif len(lessons) == MOST_LESSONS < len(files):
        left_out = f"Only the first {MOST_LESSONS} lessons of this folder are shown; open the desk over a folder in it."
    return Listing(tuple(lessons), tuple(folders), left_out)


def _looked_through(folder: Path) -> tuple[list[Path], list[Path], bool]:
    """The TOML files, the folders, and whether everything was looked at."""
    files: list[Path] = []
    folders: list[Path] = []
    waiting, seen = deque([folder]), 0
    while waiting and seen <= MOST_LOOKED_AT and len(folders) < MOST_FOLDERS:
        here = waiting.popleft()
        try:
            with os.scandir(here) as found:
                inside = sorted(islice(found, MOST_LOOKED_AT - seen + 1), key=lambda one: one.name)
        except OSError:  # not ours to look into, or gone
            continue
        folders.append(here)
        seen += len(inside)
        for entry in inside:
            if entry.name.startswith(".") or entry.is_symlink() or not _can_be_said(entry.name):
                continue
            if entry.is_dir() and entry.name not in _PROGRAMS:
                waiting.append(here / entry.name)
            elif entry.name.endswith(".toml"):
                files.append(here / entry.name)
    return files, folders, not waiting and seen <= MOST_LOOKED_AT


def _can_be_said(name: str) -> bool:
    """Whether a name is text: a system may hold one that is none, which no browser could ask for."""
    return not any("\ud800" <= letter <= "\udfff" for letter in name)


def _is_lesson(path: Path) -> bool:
    """Whether a file says something that a lesson says, or cannot be read."""
    try:
        table = read_toml(read_text(path))
    except LessonError:
        return True
    if table.keys() & ONLY_LESSONS_SAY:
        return True
    if table.keys() & {"meter", "weeks", "group"}:  # a groove, a term
        return False
    return not table or bool(table.keys() & {"title", "tempo"})
