"""The number of an Ogg stream, made the same in every run: the encoder draws one, and no two files would be alike.

An Ogg file is a row of pages, each with its stream's number and a check sum over the page (RFC 3533, section 6).
"""

import struct
import zlib
from pathlib import Path
from typing import BinaryIO

SERIAL = 1  # streams that are joined in one file need numbers of their own; ours are files of one stream
_HEAD = struct.Struct("<4sBBqIIIB")  # mark, version, kind, place in time, stream, page, check sum, segments
_SERIAL_AT, _SUM_AT = 14, 22
_TURNED = bytes(int(f"{byte:08b}"[::-1], 2) for byte in range(256))


def number_stream(path: Path) -> None:
    """Give all pages of a file the number 1: `number_stream(Path("a.ogg"))`; raises OSError, also for a broken page."""
    with path.open("rb+") as file:
        while head := file.read(_HEAD.size):
            _number_page(file, head)


def _number_page(file: BinaryIO, head: bytes) -> None:
    """Number the page whose head was just read, and go to its end."""
    if len(head) < _HEAD.size or not head.startswith(b"OggS"):
        raise OSError("it is no row of Ogg pages")
    start, lengths = file.tell() - _HEAD.size, file.read(head[-1])
    page = bytearray(head + lengths + file.read(sum(lengths)))
    page[_SERIAL_AT : _SERIAL_AT + 4] = SERIAL.to_bytes(4, "little")
    page[_SUM_AT : _SUM_AT + 4] = bytes(4)
    page[_SUM_AT : _SUM_AT + 4] = check_sum(page).to_bytes(4, "little")
    file.seek(start)
    file.write(page)


def check_sum(page: bytes | bytearray) -> int:
    """The CRC-32 of Ogg: that of zip with the bits of all bytes the other way round, from 0 on and not inverted.

    Example: `check_sum(b"")` is 0.
    """
    found = zlib.crc32(page.translate(_TURNED), 0xFFFFFFFF) ^ 0xFFFFFFFF
    return int(f"{found:032b}"[::-1], 2)
