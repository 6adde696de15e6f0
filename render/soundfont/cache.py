"""Samples, and what was measured on them, kept on disk, so that a second render need not start the synthesizer.

Under the user's cache folder (platformdirs), or where FOURLIMB_CACHE says. What one process has made is one file of
entries (see `entries.py`), since a disk takes longer to make a file than to fill it. It is written beside and renamed,
so two processes may fill a cache at once; an entry that is damaged or does not fit counts as absent. A cache that
cannot be written is no error: the work is done again.
"""

import contextlib
import mmap
import os
import re
import threading
import time
import zlib
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path

from grooves.errors import LessonError
from render.soundfont.entries import Kind, Table, decode, entries_in, label, pieces

VERSION = 10  # raise whenever samples or figures would come out otherwise
LIMIT_BYTES = 400_000_000  # about ten kits; the longest unused go first
_MOST_FILES = 32  # of a kit: then they are made into one
_PIECE_BYTES = 1 << 23
_OURS = re.compile(r"[0-9a-f]{20}-\d+-\d+-\d+")  # a kit's folder, see kit_cache
_STALE_SECONDS = 3600  # a half-written file of that age was left by a process that died


def cache_root() -> Path:
    """Where the cache lies: FOURLIMB_CACHE, else the user's cache folder; raises LessonError for an unknown home."""
    moved = os.environ.get("FOURLIMB_CACHE")
    if moved:
        try:
            return Path(moved).expanduser()
        except RuntimeError:
            raise LessonError(f"the variable FOURLIMB_CACHE names {moved}, and there is no such user") from None
    from platformdirs import user_cache_path

    return user_cache_path("fourlimb")


Found = dict[bytes, list[tuple[Path, memoryview]]]  # by label: the entries of that label, and the files they are in


class Cache:
    """One kit's folder in the cache: `Cache(folder).load(SAMPLE, "51-127")` is the table, or None.

    Which folder may take a while to find: until then nothing is loaded. What is stored waits until it is to settle.
    """

    def __init__(self, folder: Path | None = None, find: Callable[[], Path] | None = None) -> None:
        self._folder = folder
        self._found: Found | None = None
        self._used: set[Path] = set()
        self._waiting: dict[tuple[Kind, str], Table] = {}
        self._writer: threading.Thread | None = None
        self._has_grown = False
        self._finder = _begun(self._set, find) if find else None

    def _set(self, find: Callable[[], Path]) -> None:
        with contextlib.suppress(OSError, MemoryError):
            self._folder = find()

    @property
    def folder(self) -> Path | None:
        """Where it lies; None where its soundfont cannot be read any more."""
        if self._finder:
            self._finder.join()
        return self._folder

    def load(self, kind: Kind, name: str) -> Table | None:
        """Return the entry kept under a name, or None where there is none or it is not what it should be."""
        if self._folder is None:
            return None
        if self._found is None:
            self._found = _found_in(_files_of(self._folder))
        for path, entry in self._found.get(label(kind, name), ()):
            if (table := decode(kind, entry)) is not None:
                self._use(path)
                return table
        return None

    def _use(self, path: Path) -> None:
        """Note that a file is of use: the least recently used go first."""
        if path not in self._used:
            self._used.add(path)
            with contextlib.suppress(OSError):  # it may be another user's
                os.utime(path)

    def store(self, kind: Kind, name: str, table: Table) -> None:
        """Keep a table under a name."""
        self._waiting[kind, name] = table

    def settle(self) -> bool:
        """Write what was stored so far into one file; say whether this cache has written anything yet."""
        if self._writer:
            self._writer.join()
        self._write(self._handed_over())
        return self._has_grown

    def begin_to_settle(self) -> None:
        """The same, but go on meanwhile."""
        if self._waiting:
            self._writer = _begun(self._write, self._handed_over(), self._writer)

    def _handed_over(self) -> dict[tuple[Kind, str], Table]:
        """What is to be written, which waits no longer."""
        waiting, self._waiting, self._found = self._waiting, {}, None
        return waiting

    def _write(self, waiting: dict[tuple[Kind, str], Table], before: threading.Thread | None = None) -> None:
        if before:
            before.join()
        folder = self.folder
        if folder is None or not waiting:
            return
        old = files if len(files := _files_of(folder)) >= _MOST_FILES else []
        kept = [entry for entries in _found_in(old).values() for _, entry in entries]
        labels = sorted(label(*what) for what in waiting)
        name = f"entries-{zlib.crc32(b''.join(labels)):08x}"  # another process that made the same replaces it
        entries = (piece for what, table in waiting.items() for piece in pieces(*what, table))
        if _write(folder / name, *kept, *entries):
            self._has_grown = True
            _remove(path for path in old if path.name != name)


def _begun(work: Callable[..., None], *words: object) -> threading.Thread | None:
    """Begin some work in the background; where no thread is to be had, do it."""
    thread = threading.Thread(target=work, args=words, daemon=True)
    try:
        thread.start()
    except RuntimeError:
        work(*words)
        return None
    return thread


def _files_of(folder: Path) -> list[Path]:
    """The files of entries in a kit's folder, none of those in the making."""
    return sorted(folder.glob("entries-????????"))


def _found_in(paths: Iterable[Path]) -> Found:
    """The entries of some files, which stay where they are on the disk until they are looked at."""
    found: Found = {}
    for path in paths:
        with contextlib.suppress(OSError, ValueError), path.open("rb") as file:  # ValueError: it is empty
            for name, entry in entries_in(memoryview(mmap.mmap(file.fileno(), 0, access=mmap.ACCESS_READ))):
                found.setdefault(name, []).append((path, entry))
    return found


def kit_cache(soundfont: Path, program: int, rate: int) -> Cache:
    """Return the cache of one kit of one soundfont at one rate, by the soundfont's content.

    A soundfont that is seen for the first time is read in the background, while its samples are recorded.
    """

    def folder(digest: str) -> Path:
        return cache_root() / "kits" / f"{digest[:20]}-{program}-{rate}-{VERSION}"

    known = _known_digest(soundfont)
    return Cache(folder(known)) if known else Cache(find=lambda: folder(_digest(soundfont)))


def trim(root: Path, limit_bytes: int = LIMIT_BYTES) -> None:
    """Remove the longest unused files until the rest fits: `trim(cache_root())`."""
    files = sorted(_files(root), reverse=True)
    total = 0
    for used, size, path in files:
        total += size
        stale = ".part-" in path.name and used < time.time() - _STALE_SECONDS
        if total > limit_bytes or stale:
            _remove([path])


def _remove(paths: Iterable[Path]) -> None:
    for path in paths:
        with contextlib.suppress(OSError):
            path.unlink()


def _files(root: Path) -> Iterator[tuple[float, int, Path]]:
    """What we put there, and nothing else: the folder may be one that a user keeps other things in."""
    kits = (kit for kit in root.glob("kits/*") if _OURS.fullmatch(kit.name))
    for path in (*root.glob("digests/????????"), *(path for kit in kits for path in kit.glob("*-*"))):
        with contextlib.suppress(OSError):
            if path.is_file():
                state = path.stat()
                yield state.st_mtime, state.st_size, path


def _stamp(path: Path) -> tuple[Path, str]:
    """Where a file's digest is noted, and what tells whether the file is still the same."""
    state = path.stat()
    note = cache_root() / "digests" / f"{zlib.crc32(os.fsencode(path.resolve())):08x}"
    return note, f"{state.st_size} {state.st_mtime_ns} {state.st_ctime_ns} {state.st_ino}"


def _known_digest(path: Path) -> str:
    """SHA-256 of a file's content as it was noted, as long as its size, times and inode stay the same; else ""."""
    note, stamp = _stamp(path)
    with contextlib.suppress(OSError, UnicodeDecodeError):
        digest, _, noted = note.read_text().partition(" ")
        if noted == stamp and len(digest) == 64:
            return digest
    return ""


def _digest(path: Path) -> str:
    """SHA-256 of a file's content, noted for the next time."""
    import hashlib

    note, stamp = _stamp(path)
    content = hashlib.sha256()
    with path.open("rb") as file:
        while piece := file.read(_PIECE_BYTES):
            content.update(piece)
    _write(note, f"{content.hexdigest()} {stamp}".encode())
    return content.hexdigest()


def _write(path: Path, *data: bytes | memoryview) -> bool:
    """Write a file beside its place and put it there; say whether that was possible."""
    part = path.with_name(f"{path.name}.part-{os.getpid()}")
    with contextlib.suppress(OSError):
        path.parent.mkdir(parents=True, exist_ok=True)
        try:
            with part.open("wb") as file:
                file.writelines(data)
            part.replace(path)
            return True
        finally:
            part.unlink(missing_ok=True)
    return False
