"""What is kept of a kit on disk: seven kinds of entries, how they are written down, and what each may hold.

An entry is one table of float32, all little-endian: a mark, the CRC-32 of what follows it, the name of its kind (8
bytes), its own name (40), how many rows and columns, then the values row by row, and zeros up to a multiple of 64
bytes. Entries lie one behind the other in a file. One that does not fit its kind counts as absent.
"""

import struct
import zlib
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

_MARK = b"4L\x00\x03"
_CHECKED = struct.Struct("<4sI")  # mark, CRC-32 of the rest
_LABEL = struct.Struct("<8s40s")  # kind, name
_SHAPE = struct.Struct("<II")  # rows, columns
_HEADER_BYTES = _CHECKED.size + _LABEL.size + _SHAPE.size  # 64
_ALIGNED_BYTES = 64  # a processor's cache line: the mixer reads samples where they lie in the file

Table = npt.NDArray[np.float32]  # (rows, columns)


@dataclass(frozen=True)
class Kind:
    """One kind of entry: `GAINS.fits(table)` says whether a table may be one."""

    name: str
    rows: tuple[int, ...]  # how many there may be; none: any number from 1 on
    columns: tuple[int, ...]
    least: float
    most: float

    def fits(self, table: Table) -> bool:
        """Say whether a table has the shape and the values of this kind; what is not a number never has."""
        rows, columns = table.shape
        if not (rows and columns and rows in (self.rows or (rows,)) and columns in (self.columns or (columns,))):
            return False
        values = table[table != -np.inf] if self == LOUDNESS else table  # of silence
        if not (values.min(initial=self.most) >= self.least and values.max(initial=self.least) <= self.most):
            return False
        return self != SAMPLE or _is_sample(table)


def _is_sample(table: Table) -> bool:
    """Say whether a recording has two channels, or one and what it is worth on either side, 1.0 on the louder."""
    return table.shape[1] == 2 or (len(table) > 2 and float(np.abs(table[:2]).max()) == 1.0)


_LOUD = 1000.0  # 60 dB above full scale, which no drum reaches at FluidSynth's gain; an infinite value is past it too
# A recording, full scale 1.0: left and right as two columns. Or one signal that is only panned, in one column: what it
# is worth left and right, then its frames.
SAMPLE = Kind("sample", (), (1, 2), -_LOUD, _LOUD)
# The gain of each velocity from 0 to 127 against velocity 127; or one zero, where velocity is no pure gain.
GAINS = Kind("gains", (1, 128), (1,), -_LOUD, _LOUD)
# The momentary loudness of each velocity from 0 to 127 in LUFS; -inf where there is no sound.
LOUDNESS = Kind("loudness", (128,), (1,), -400.0, 100.0)
# The K-weighted power of each 10 ms of the key's loudest stroke, summed over frames and channels.
POWERS = Kind("powers", (), (1,), 0.0, 48000 * _LOUD**2)
# A sample's true peaks in windows of 16 frames: left up, left down, right up, right down.
PEAKS = Kind("peaks", (4,), (), 0.0, 2 * _LOUD)
# How many frames a key's loudest stroke is heard for.
RING = Kind("ring", (1,), (1,), 1.0, 60 * 48000.0)
# How fast a recorded note dies once its key is up, in dB a second.
RELEASE = Kind("release", (1,), (1,), 1.0, 1e6)


def label(kind: Kind, name: str) -> bytes:
    """What an entry is found by: `label(GAINS, "51")` begins with b"gains"; a name has at most 40 letters."""
    return _LABEL.pack(kind.name.encode(), name.encode())


def encode(kind: Kind, name: str, table: Table) -> bytes:
    """A table as an entry: `encode(RING, "51", np.array([[44100]], np.float32))[:2]` is b"4L"."""
    return b"".join(pieces(kind, name, table))


def pieces(kind: Kind, name: str, table: Table) -> tuple[bytes, memoryview, bytes]:
    """The same in pieces, the values where they lie: to copy a long sample takes as long as to write it."""
    values: Table = np.ascontiguousarray(table, "<f4")
    body = values.reshape(-1).view(np.uint8).data
    padding = bytes(-len(body) % _ALIGNED_BYTES)
    header = label(kind, name) + _SHAPE.pack(*table.shape)
    checksum = zlib.crc32(padding, zlib.crc32(body, zlib.crc32(header)))
    return _CHECKED.pack(_MARK, checksum) + header, body, padding


def decode(kind: Kind, entry: bytes | memoryview) -> Table | None:
    """The table of an entry, or None where it is damaged, of another kind, or holds what its kind does not."""
    if len(entry) < _HEADER_BYTES:
        return None
    mark, checksum = _CHECKED.unpack_from(entry)
    named, _ = _LABEL.unpack_from(entry, _CHECKED.size)
    rows, columns = _SHAPE.unpack_from(entry, _CHECKED.size + _LABEL.size)
    right = mark == _MARK and named.rstrip(b"\0") == kind.name.encode() and len(entry) == _size(rows, columns)
    if not right or zlib.crc32(memoryview(entry)[_CHECKED.size :]) != checksum:
        return None
    table: Table = np.frombuffer(entry, "<f4", rows * columns, _HEADER_BYTES).reshape(rows, columns)
    return table if kind.fits(table) else None


def entries_in(data: memoryview) -> Iterator[tuple[bytes, memoryview]]:
    """The label and the bytes of each entry of a file, up to where none begins or the file ends too soon."""
    place = 0
    while place + _HEADER_BYTES <= len(data):
        rows, columns = _SHAPE.unpack_from(data, place + _CHECKED.size + _LABEL.size)
        entry = data[place : place + _size(rows, columns)]
        if entry[: len(_MARK)] != _MARK or len(entry) < _size(rows, columns):
            return
        yield bytes(entry[_CHECKED.size : _CHECKED.size + _LABEL.size]), entry
        place += len(entry)


def _size(rows: int, columns: int) -> int:
    values = 4 * rows * columns
    return _HEADER_BYTES + values + -values % _ALIGNED_BYTES
