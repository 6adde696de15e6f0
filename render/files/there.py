"""Whether a file is there, asked also by names that no system takes."""

from pathlib import Path


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
