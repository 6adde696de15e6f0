"""Writes every file that a user keeps, whole or not at all, and none over what a user wrote.

The one guard: no lesson is ever replaced, and no file that what is being written comes from.
"""

import contextlib
import itertools
import os
import platform
import re
from collections.abc import Collection, Iterable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

from grooves.errors import LessonError

_number = itertools.count()  # so that two threads that write one file write it under two names
_OURS = re.compile(r"\..+\.(?P<host>[A-Za-z0-9_-]+)\.(?P<process>\d+)-\d+\.(part|old)")


@contextmanager
def whole(paths: Sequence[Path], reads: Sequence[Path], own: Collection[Path] = ()) -> Iterator[list[Path]]:
    """Give each file a name to be written under, then rename them all: `with … as (beside,): beside.write_bytes(data)`.

    `reads` are the files that all this comes from: they and lessons are not written over, but for the program's `own`,
    lessons that it wrote and nobody touched. Raises LessonError before
    anything is done where one would be, or where a folder is in the way. What processes that died have left half
    written in these folders is removed.

    At the end every file is brought onto the disk, then all are renamed, one after another. Each is the old one or
    the new one at any moment, never half of it. Where a rename fails, those before it are taken back: new files go,
    old ones return, as long as the file system knows hard links (most do, FAT does not; there the files renamed
    already stay new). A process that is killed, or a machine that loses its power, in the midst of the renames
    leaves some files new and the others old. After any other error or an interruption nothing is changed.
    """
    check_targets(paths)
    check_reads([path for path in paths if path not in own], reads)
    for folder in {path.parent: None for path in paths}:
        _sweep(folder)
    beside = [_beside(path, "part") for path in paths]
    meant = {str(written): path for written, path in zip(beside, paths, strict=True)}
    try:
        yield beside
        for written in beside:
            _bring_to_disk(written)
        _rename_together(beside, paths)
    except OSError as error:  # of a disk that is full it says no name
        path = meant.get(str(error.filename), paths[0] if paths else Path(str(error.filename)))
        raise LessonError(f"{path}: cannot be written: {error.strerror or error}") from None
    except RuntimeError as error:
        if type(error).__module__ != "soundfile":
            raise
        raise LessonError(f"{paths[0]}: cannot be written: {error}") from None
    finally:
        for written in beside:
            with contextlib.suppress(OSError):
                written.unlink(missing_ok=True)


def write_bytes(path: Path, data: bytes, reads: Sequence[Path], own: Collection[Path] = ()) -> None:
    """Write a file in one go: `write_bytes(Path("a.mid"), data, [lesson])`; raises LessonError."""
    with whole([path], reads, own) as (beside,):
        beside.write_bytes(data)


# --- what is not written over ---------------------------------------------------------------------


def check_targets(paths: Iterable[Path]) -> None:
    """Make sure that files may be put in their places, the old ones replaced: `check_targets([Path("a.mid")])`.

    Raises LessonError that names the first path where a folder is in the way, or whose folder nobody may write into.
    """
    for path in paths:
        if path.is_dir():
            raise LessonError(f"{path}: there is a folder of that name; move it away, or choose another place with -o")
        if path.parent.is_dir() and not os.access(path.parent, os.W_OK):
            raise LessonError(f"{path}: nothing may be written into {path.parent}; choose another place with -o")


def check_reads(paths: Iterable[Path], reads: Iterable[Path]) -> None:
    """Make sure that no file that others are made from is written over: `check_reads(targets, loaded.reads)`.

    Raises LessonError that names the first; a lesson that is there already is one, whoever reads it.
    """
    sources = {_identity(path): path for path in reads if path.exists()}
    for path in paths:
        if path.suffix == ".toml" and path.exists():
            raise LessonError(f"{path}: there is a file of that name already; choose another")
        if sources and path.exists() and _identity(path) in sources:
            raise LessonError(f"{path}: the lesson is read from this file; write to another folder or name")


def _identity(path: Path) -> tuple[int, int]:
    """What tells whether two names are one file."""
    state = path.stat()
    return state.st_dev, state.st_ino


# --- one step -------------------------------------------------------------------------------------


def _bring_to_disk(path: Path) -> None:
    """Have the system write a file out, so that a full disk is noticed before the old file is replaced."""
    with path.open("rb+") as file:
        os.fsync(file.fileno())


def _rename_together(written: Sequence[Path], paths: Sequence[Path]) -> None:
    """Put files in their places, or, where one of them cannot be, all back as they were."""
    new = {path for path in paths if not path.exists()}
    kept = {path: old for path in paths if path not in new and (old := _kept(path))}
    try:
        for beside, path in zip(written, paths, strict=True):
            beside.replace(path)
    except BaseException:
        renamed = [path for beside, path in zip(written, paths, strict=True) if not beside.exists()]
        with contextlib.suppress(OSError):
            for path in renamed:
                if path in new:
                    path.unlink()
                elif path in kept:
                    kept[path].replace(path)
        raise
    finally:
        for old in kept.values():
            with contextlib.suppress(OSError):
                old.unlink(missing_ok=True)


def _kept(path: Path) -> Path | None:
    """Another name for a file that will be replaced; none where it can have but one."""
    old = _beside(path, "old")
    try:
        old.hardlink_to(path)
    except (OSError, NotImplementedError):
        return None
    return old


def _beside(path: Path, ending: str) -> Path:
    """A hidden name in the same folder that says which process of which machine it belongs to."""
    return path.with_name(f".{path.name}.{_host()}.{os.getpid()}-{next(_number)}.{ending}")


def _host() -> str:
    return re.sub(r"[^A-Za-z0-9_-]", "-", platform.node())[:32] or "here"


def _sweep(folder: Path) -> None:
    """Remove what processes of this machine that are gone have left half written."""
    if os.name != "posix" or not folder.is_dir():  # on Windows to ask after a process is to end it
        return
    with contextlib.suppress(OSError):
        for path in folder.iterdir():
            found = _OURS.fullmatch(path.name)
            if found and found["host"] == _host() and not _alive(int(found["process"])):
                path.unlink(missing_ok=True)


def _alive(process: int) -> bool:
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return False
    except (OSError, OverflowError):  # another user's, or no number of a process
        return True
    return True


# --- folders --------------------------------------------------------------------------------------


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
