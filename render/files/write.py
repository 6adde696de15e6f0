"""Names and writes every file, whole or not at all. The only module that writes what a user keeps."""

import os
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

from grooves.errors import LessonError


@contextmanager
def whole(paths: Sequence[Path]) -> Iterator[list[Path]]:
    """Give each file a name to be written under, then rename them all: `with … as (beside,): beside.write_bytes(data)`.

    The files appear together at the end; after an error or an interruption nothing is left. Raises LessonError, before
    anything is done where a folder is in a file's way.
    """
    check_targets(paths)
    beside = [path.with_name(f".{path.name}.{os.getpid()}.part") for path in paths]
    meant = {str(written): path for written, path in zip(beside, paths, strict=True)}
    try:
        yield beside
        for written, path in zip(beside, paths, strict=True):
            written.replace(path)
    except OSError as error:  # of a disk that is full it says no name
        path = meant.get(str(error.filename), paths[0])
        raise LessonError(f"{path}: cannot be written: {error.strerror or error}") from None
    except RuntimeError as error:
        if type(error).__module__ != "soundfile":
            raise
        raise LessonError(f"{paths[0]}: cannot be written: {error}") from None
    finally:
        for written in beside:
            written.unlink(missing_ok=True)


def check_targets(paths: Iterable[Path]) -> None:
    """Make sure that files may be put in their places, the old ones replaced: `check_targets([Path("a.mid")])`.

    Raises LessonError that names the first path where a folder is in the way, or whose folder nobody may write into.
    """
    for path in paths:
        if path.is_dir():
            raise LessonError(f"{path}: there is a folder of that name; move it away, or choose another place with -o")
        if path.parent.is_dir() and not os.access(path.parent, os.W_OK):
            raise LessonError(f"{path}: nothing may be written into {path.parent}; choose another place with -o")


def write_bytes(path: Path, data: bytes) -> None:
    """Write a file in one go: `write_bytes(Path("a.mid"), data)`; raises LessonError."""
    with whole([path]) as (beside,):
        beside.write_bytes(data)


def make_folder(folder: Path) -> Path:
    """Make sure a folder is there and can be written to; raises LessonError."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except (FileExistsError, NotADirectoryError):
        raise LessonError(f"{folder}: this is a file; name a folder") from None
    except OSError as error:
        raise LessonError(f"{folder}: the folder cannot be made: {error.strerror or error}") from None
    if not os.access(folder, os.W_OK):
        raise LessonError(f"{folder}: nothing may be written into this folder; choose another with -o")
    return folder
