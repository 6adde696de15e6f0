"""What a term's folder remembers of its own making, so that only what changed is made again; and its lock.

The format is described in docs/formats.md. A lesson's hash is put down before the lesson is written and the old one
kept, so that a run that was killed at any moment is never taken for a teacher's hand; a made file's is put down after,
so that such a run's last file is made again. The system takes the lock away from a process that dies.
"""

import contextlib
import hashlib
import json
import os
import re
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from functools import cache
from importlib.resources import files
from pathlib import Path
from time import monotonic, sleep
from typing import Any, cast

from grooves.errors import LessonError
from render.files.write import write_bytes

FORMAT, VERSION = "fourlimb-term", 1
RECORD, LOCK = "fourlimb-term.json", ".fourlimb-term.lock"
_SAVED_EVERY_SECONDS = 1.0
_PATIENCE_SECONDS = 1.0
_LESSON = re.compile(r"[a-z0-9-]+/week-\d\d-[a-z0-9]+\.toml")  # nothing is ever written elsewhere
_ENDINGS = {".py", ".js", ".css", ".html", ".svg", ".toml"}


@dataclass
class Record:
    """The record of a folder: which lessons it wrote, and of which words each made file is."""

    folder: Path
    lessons: dict[str, list[str]] = field(default_factory=dict)  # by path: SHA-256 of what was written there
    made: dict[str, dict[str, str]] = field(default_factory=dict)  # by path: what it was made "from", what it "is"
    levels: dict[str, dict[str, Any]] = field(default_factory=dict)  # by lesson: measured "from", its "lufs"
    plans: dict[str, dict[str, Any]] = field(default_factory=dict)  # by group's folder: planned "from", its "lessons"
    notes: dict[str, str] = field(default_factory=dict)  # by a lesson's notes, `lesson_hash`: its path
    _saved: float = float("-inf")

    def save(self, now: bool = True) -> None:
        """Write it, or, where it can wait, only where the last time is a second ago; raises LessonError."""
        if not now and monotonic() < self._saved + _SAVED_EVERY_SECONDS:
            return
        tables: dict[str, Any] = {"lessons": self.lessons, "made": self.made, "levels": self.levels}
        tables |= {"plans": self.plans, "notes": self.notes}
        text = json.dumps({"format": FORMAT, "version": VERSION, **tables}, indent=1, sort_keys=True)
        target = self.folder / RECORD
        if not (target.is_file() and target.read_bytes() == text.encode()):
            write_bytes(target, text.encode(), ())
        self._saved = monotonic()

    def is_made(self, path: str, source: str) -> bool:
        """Whether a file is there, whole, and made from just this."""
        one = self.made.get(path, {})
        return one.get("from") == source and one.get("is") == hash_of_file(self.folder / path)

    def put(self, path: str, source: str) -> None:
        """Put down that a file was made."""
        self.made[path] = {"from": source, "is": hash_of_file(self.folder / path)}


def read_record(folder: Path) -> Record:
    """The record of a folder, empty where there is none: `read_record(Path("autumn")).made`.

    Raises LessonError for one of another version. One that cannot be read is begun afresh: then lessons that are
    not as the term would write them count as edited.
    """
    try:
        found = json.loads((folder / RECORD).read_bytes())
    except (OSError, ValueError, RecursionError):
        return Record(folder)
    if not isinstance(found, dict) or found.get("format") != FORMAT:
        return Record(folder)
    if found.get("version") != VERSION:
        raise LessonError(
            f"{folder / RECORD}: this is of version {found.get('version')!r}, and version {VERSION} can be read; "
            "use the fourlimb that wrote it, or choose another folder with -o"
        )
    record = Record(folder)
    with contextlib.suppress(TypeError, ValueError, AttributeError, KeyError):
        record.lessons = {str(path): [str(one) for one in known] for path, known in found["lessons"].items()}
        record.made = {str(path): {str(k): str(v) for k, v in one.items()} for path, one in found["made"].items()}
        record.levels = {
            str(path): {"from": str(one["from"]), "lufs": float(one["lufs"])} for path, one in found["levels"].items()
        }
        record.plans = {
            str(group): {"from": str(one["from"]), "lessons": [_planned(lesson) for lesson in one["lessons"]]}
            for group, one in found["plans"].items()
        }
        record.notes = {str(notes): str(path) for notes, path in found["notes"].items()}
    return record


def _planned(lesson: Mapping[str, Any]) -> dict[str, Any]:
    texts = {key: str(lesson[key]) for key in ("path", "text", "what")}
    if not _LESSON.fullmatch(texts["path"]):
        raise ValueError
    return {**texts, "week": int(lesson["week"])}


# --- hashes -------------------------------------------------------------------------------------


def hash_of(*pieces: bytes | str) -> str:
    """One hash of several pieces, each with its length: `hash_of("a", b"bc")`, 64 hexadecimal digits of SHA-256."""
    made = hashlib.sha256()
    for piece in pieces:
        data = piece.encode() if isinstance(piece, str) else piece
        made.update(b"%d:" % len(data) + data)
    return made.hexdigest()


def hash_of_file(path: Path) -> str:
    """The SHA-256 of a file's bytes, "" where it cannot be read: `hash_of_file(Path("none"))` is ""."""
    try:
        with path.open("rb") as file:
            return hashlib.file_digest(file, "sha256").hexdigest()
    except OSError:
        return ""


@cache
def hash_of_program() -> str:
    """The hash of all that this program is made of, so that another version makes its files again."""
    found: dict[str, bytes] = {}
    for top in ("grooves", "render"):
        root = Path(str(files(top)))
        for path in sorted(root.rglob("*")):
            if path.suffix in _ENDINGS and path.is_file():
                found[f"{top}/{path.relative_to(root).as_posix()}"] = path.read_bytes()
    return hash_of(*(piece for name, data in found.items() for piece in (name, data)))


# --- one run at a time --------------------------------------------------------------------------


@contextmanager
def locked(folder: Path) -> Iterator[None]:
    """Keep other runs out of a folder meanwhile; raises LessonError where one is at work in it."""
    try:
        file = os.open(folder / LOCK, os.O_RDWR | os.O_CREAT, 0o644)
    except OSError as error:
        raise LessonError(f"{folder / LOCK}: cannot be written: {error.strerror or error}") from None
    try:
        if not _taken(file):
            raise LessonError(f"{folder}: another run is at work in this folder; wait until it is done, then try again")
        yield
    finally:
        os.close(file)


def _taken(file: int) -> bool:
    """Whether the lock is ours, within a second: the processes of a run that was killed die after it."""
    until = monotonic() + _PATIENCE_SECONDS
    while not _take(file):
        if monotonic() > until:
            return False
        sleep(0.05)
    return True


def _take(file: int) -> bool:
    """Whether nobody else holds the lock; where the file system knows no locks, nobody does."""
    try:
        import fcntl
    except ImportError:  # Windows
        return _take_on_windows(file)
    try:
        fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        return False
    except OSError:
        return True
    return True


def _take_on_windows(file: int) -> bool:
    from importlib import import_module

    system = cast(Any, import_module("msvcrt"))
    try:
        system.locking(file, system.LK_NBLCK, 1)
    except OSError:
        return False
    return True


def newest(known: Mapping[str, list[str]], path: str) -> str:
    """The hash of what was last written at a path, "" where nothing was."""
    return (known.get(path) or [""])[-1]


def hash_of_bytes(data: bytes) -> str:
    """The SHA-256 that a file of these bytes has."""
    return hashlib.sha256(data).hexdigest()
