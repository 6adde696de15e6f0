"""Which files are there: asked also by names that no system takes, and of folders that hold a whole disk."""

import os
from pathlib import Path

from grooves.errors import LessonError

MOST_LOOKED_AT = 20_000  # files and folders in one folder: some tenths of a second; ours


def is_file(path: Path) -> bool:
    """Whether a name is a file's: `is_file(Path("tuesday.toml"))`; one that is too long for the system is none's."""
    try:
        return path.is_file()
    except OSError:
        return False


def is_there(path: Path) -> bool:
    """Whether anything has this name: `is_there(Path("lessons"))`; what is too long for the system names nothing."""
    try:
        return path.exists()
    except OSError:
        return False


def files_below(folder: Path, ending: str) -> list[Path]:
    """The files of a folder and of folders in it with an ending, nothing hidden: `files_below(Path("term"), ".toml")`.

    Raises LessonError where so much lies there that nobody can have meant it.
    """
    found: list[Path] = []
    looked_at = 0
    for here, folders, files in os.walk(folder):
        folders[:] = [name for name in folders if not name.startswith(".")]
        looked_at += len(folders) + len(files)
        if looked_at > MOST_LOOKED_AT:
            raise LessonError(f"{folder}: more than {MOST_LOOKED_AT} files lie in it; name a smaller folder of it")
        found += [Path(here, name) for name in files if name.endswith(ending) and not name.startswith(".")]
    return found
