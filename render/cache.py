"""Recorded hits kept on disk between runs, so that a second render need not start the synthesizer.

Under the user's cache folder (platformdirs), or where FOURLIMB_CACHE says. One file per array, written beside and
renamed, so two processes may fill it at once; each carries a checksum, and a damaged one counts as absent. A cache
that cannot be written is no error: the work is done again.
"""

import contextlib
import os
import struct
import time
import zlib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt

VERSION = 5  # raise whenever recorded hits or loudness figures would come out otherwise
LIMIT_BYTES = 400_000_000  # about ten kits; the longest unused go first
_HEAD = struct.Struct("<4sIII")  # mark, CRC-32 of the rest, rows, columns
_MARK = b"4L\x00\x01"
_STALE_SECONDS = 3600  # a half-written file of that age was left by a process that died


def cache_root() -> Path:
    """Where the cache lies: FOURLIMB_CACHE, else the user's cache folder."""
    moved = os.environ.get("FOURLIMB_CACHE")
    if moved:
        return Path(moved).expanduser()
    from platformdirs import user_cache_path

    return user_cache_path("fourlimb")


@dataclass(frozen=True)
class Cache:
    """One kit's folder in the cache: `Cache(folder).load("hit-51-127")` is the array, or None."""

    folder: Path

    def load(self, name: str) -> npt.NDArray[np.float32] | None:
        """Return the array kept under a name, shape (rows, columns), or None where there is none or it is damaged."""
        path = self.folder / name
        try:
            data = path.read_bytes()
            os.utime(path)  # the least recently used go first
        except OSError:
            return None
        if len(data) < _HEAD.size:
            return None
        mark, checksum, rows, columns = _HEAD.unpack_from(data)
        body = memoryview(data)[_HEAD.size :]
        if mark != _MARK or len(body) != rows * columns * 4 or zlib.crc32(body) != checksum:
            return None
        return np.frombuffer(body, np.float32).reshape(rows, columns)

    def store(self, name: str, array: npt.NDArray[np.float32]) -> None:
        """Keep a two-dimensional array under a name."""
        rows, columns = array.shape
        body = np.ascontiguousarray(array, np.float32).tobytes()
        _write(self.folder / name, _HEAD.pack(_MARK, zlib.crc32(body), rows, columns) + body)


def kit_cache(soundfont: Path, program: int, rate: int) -> Cache:
    """Return the folder for one kit of one soundfont at one rate, by the soundfont's content."""
    return Cache(cache_root() / "kits" / f"{_digest(soundfont)[:20]}-{program}-{rate}-{VERSION}")


def trim(root: Path, limit_bytes: int = LIMIT_BYTES) -> None:
    """Remove the longest unused files until the rest fits: `trim(cache_root())`."""
    files = sorted(_files(root), reverse=True)
    total = 0
    for used, size, path in files:
        total += size
        stale = ".part-" in path.name and used < time.time() - _STALE_SECONDS
        if total > limit_bytes or stale:
            with contextlib.suppress(OSError):
                path.unlink()


def _files(root: Path) -> Iterator[tuple[float, int, Path]]:
    for path in root.glob("*/**/*"):
        with contextlib.suppress(OSError):
            if path.is_file():
                state = path.stat()
                yield state.st_mtime, state.st_size, path


def _digest(path: Path) -> str:
    """SHA-256 of a file, remembered as long as its size, times and inode stay the same."""
    state = path.stat()
    stamp = f"{state.st_size} {state.st_mtime_ns} {state.st_ctime_ns} {state.st_ino}"
    note = cache_root() / "digests" / f"{zlib.crc32(os.fsencode(path.resolve())):08x}"
    with contextlib.suppress(OSError, UnicodeDecodeError):
        digest, _, kept = note.read_text().partition(" ")
        if kept == stamp and len(digest) == 64:
            return digest
    import hashlib

    with path.open("rb") as file:
        digest = hashlib.file_digest(file, "sha256").hexdigest()
    _write(note, f"{digest} {stamp}".encode())
    return digest


def _write(path: Path, data: bytes) -> None:
    part = path.with_name(f"{path.name}.part-{os.getpid()}")
    with contextlib.suppress(OSError):
        path.parent.mkdir(parents=True, exist_ok=True)
        try:
            part.write_bytes(data)
            part.replace(path)
        finally:
            part.unlink(missing_ok=True)
