"""The tables of a SoundFont file, held to the order and the numbers that FluidSynth asks of them.

A file that FluidSynth refuses it hands on to a reader of other formats, which complains on its own account; a
modulator aimed at no generator makes it write outside its memory. So both are found out here, before it sees the file.
The rules are those of its loader (fluid_sffile.c, FluidSynth 2.3), some stricter than the SoundFont Technical
Specification 2.04, whose sections 4 to 8 they rest on: lists and tables in one order, indexes that use a table up.
"""

import re
import struct
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import islice
from operator import le
from typing import BinaryIO

from grooves.errors import LessonError

INSTRUMENT, SAMPLE = 41, 53  # the generators that point at an instrument, at a sample; section 8.1.2
_LAST_GENERATOR = 58
_LISTS = ("INFO", "sdta", "pdta")
_FACTS = ("isng", "INAM", "irom", "ICRD", "IENG", "IPRD", "ICOP", "ICMT", "ISFT")  # section 5, besides the versions
_RECORDS = {  # bytes, section 7
    "phdr": 38,
    "pbag": 4,
    "pmod": 10,
    "pgen": 4,
    "inst": 22,
    "ibag": 4,
    "imod": 10,
    "igen": 4,
    "shdr": 46,
}
_AGAIN = "get the file again"

Amounts = dict[int, bytes]  # the generators of a zone by number, each with the two bytes of its amount
InstrumentHeader = tuple[bytes, int]  # the name of an instrument, its first bag
# Name, start, end, loop start, loop end in frames, rate in Hz, pitch, correction, link, kind; section 7.10.
SampleHeader = tuple[bytes, int, int, int, int, int, int, int, int, int]


@dataclass(frozen=True)
class Zones:
    """The zones of presets or of instruments: a table of bags, each a run of generators and a run of modulators."""

    bags: Sequence[int]  # the first generator of each, at the end how many there are
    generators: bytes
    modulator_bags: Sequence[int]
    modulators: bytes
    aimed: frozenset[int]  # the generators that any modulator aims at

    def amounts(self, bag: int) -> Amounts:
        """The generators of a bag."""
        return dict(struct.iter_unpack("<H2s", self.generators[4 * self.bags[bag] : 4 * self.bags[bag + 1]]))

    def is_modulated(self, bag: int) -> bool:
        """Say whether a bag has modulators."""
        return self.modulator_bags[bag] < self.modulator_bags[bag + 1]

    def aims(self, bag: int) -> Iterator[tuple[int, int]]:
        """What the modulators of a bag aim at, and by how much each moves it at most."""
        first, last = self.modulator_bags[bag], self.modulator_bags[bag + 1]
        for _, generator, amount, _ in struct.iter_unpack("<HBxhI", self.modulators[10 * first : 10 * last]):
            yield generator, abs(amount)


@dataclass(frozen=True)
class Tables:
    """What a SoundFont says about its sounds, as it stands in the file; each list ends in a closing record."""

    presets: list[tuple[bytes, int, int, int]]  # name, program, bank, first bag
    preset_zones: Zones
    instruments: list[InstrumentHeader]
    instrument_zones: Zones
    samples: list[SampleHeader]
    frames: int  # of the sample data


def read_tables(file: BinaryIO, size: int) -> Tables:
    """Read a SoundFont's tables: `read_tables(file, size).frames` is the length of all its samples together.

    `size` is the file's, in bytes. Raises LessonError where the file is something else, ends early or is damaged.
    """
    _check_head(file.read(12), size)
    facts, samples, sounds = _lists(file, size)
    _check_facts(file, *facts)
    frames = _sample_frames(file, *samples)
    return _tables(_records(file, *sounds), frames)


def _check_head(head: bytes, size: int) -> None:
    if size == 0:
        raise LessonError("the file is empty")
    if len(head) < 12 or head[:4] != b"RIFF" or head[8:] != b"sfbk":
        raise LessonError("not a SoundFont 2 file (it does not begin with RIFF … sfbk)")
    said = struct.unpack("<I", head[4:8])[0] + 8
    if said > size:
        raise LessonError(f"cut short: it should have {said} bytes and has {size}; get it again")
    if said < size:
        raise _damaged(f"it should have {said} bytes and has {size}")


def _damaged(what: str) -> LessonError:
    return LessonError(f"damaged: {what}; {_AGAIN}")


def _chunks(file: BinaryIO, start: int, end: int) -> Iterator[tuple[str, int, int]]:
    """Name, start and end of each chunk between two places."""
    while start < end:
        name, length = struct.unpack("<4sI", _read(file, start, 8).ljust(8, b"\0"))
        start += 8
        if start + length > end:
            raise _damaged("a part of it is longer than the file")
        yield name.decode("latin-1"), start, start + length
        start += length


def _read(file: BinaryIO, start: int, length: int) -> bytes:
    file.seek(start)
    return file.read(length)


def _lists(file: BinaryIO, size: int) -> list[tuple[int, int]]:
    """Where the lists of facts, samples and sounds begin and end."""
    found = list(islice(_chunks(file, 12, size), len(_LISTS)))
    kinds = [_read(file, start, 4) if name == "LIST" else b"" for name, start, _ in found]
    for wanted, kind in zip(_LISTS, [*kinds, b"", b"", b""], strict=False):
        if kind != wanted.encode():
            raise _damaged(f"its list {wanted} is missing or not where it should be")
    return [(start + 4, end) for _, start, end in found]


def _check_facts(file: BinaryIO, start: int, end: int) -> None:
    """Raise LessonError where the list INFO has anything in it that FluidSynth would not take."""
    for name, at, stop in _chunks(file, start, end):
        length = stop - at
        fits = length == 4 if name in ("ifil", "iver") else name in _FACTS and length and length % 2 == 0
        if not fits or length > (65536 if name == "ICMT" else 256):
            raise _damaged(f"its list INFO has a part '{_printable(name)}' of {length} bytes")
        if name == "ifil" and (version := _read(file, at, 2)[0]) not in (2, 3):
            raise LessonError(f"not a SoundFont 2 file (its version is {version}); choose another soundfont")


def _printable(name: str) -> str:
    return "".join(letter if letter.isprintable() else "?" for letter in name)


def _sample_frames(file: BinaryIO, start: int, end: int) -> int:
    """How long the sample data is."""
    name, at, stop = next(_chunks(file, start, end), ("smpl", 0, 0))
    if name != "smpl":
        raise _damaged("its samples (smpl) are missing")
    return (stop - at) // 2


def _records(file: BinaryIO, start: int, end: int) -> dict[str, bytes]:
    """The bytes of each table of the list `pdta`."""
    tables: dict[str, bytes] = {}
    for wanted, (name, at, stop) in zip(_RECORDS, _chunks(file, start, end), strict=False):
        if name != wanted:
            break
        tables[name] = _read(file, at, stop - at)
    for name, size in _RECORDS.items():
        length, least = len(tables.get(name, b"?")), 0 if name.endswith("mod") else size
        if length < least or length % size:
            raise _damaged(f"its table {name} is missing or has the wrong length")
    return tables


def _tables(records: dict[str, bytes], frames: int) -> Tables:
    presets = [head[:4] for head in struct.iter_unpack("<20sHHHIII", records["phdr"])]
    instruments: list[InstrumentHeader] = list(struct.iter_unpack("<20sH", records["inst"]))
    samples: list[SampleHeader] = list(struct.iter_unpack("<20sIIIIIBbHH", records["shdr"]))
    outer = _zones([head[3] for head in presets], *(records[name] for name in ("pbag", "pgen", "pmod")))
    inner = _zones([first for _, first in instruments], *(records[name] for name in ("ibag", "igen", "imod")))
    _check_targets(outer, INSTRUMENT, len(instruments) - 1, "a preset points at an instrument")
    _check_targets(inner, SAMPLE, len(samples) - 1, "an instrument points at a sample")
    return Tables(presets, outer, instruments, inner, samples, frames)


def _zones(firsts: list[int], bags: bytes, generators: bytes, modulators: bytes) -> Zones:
    """Raise LessonError where a sound or a zone points backwards or past the end, or a modulator at no generator."""
    numbers = struct.unpack(f"<{len(bags) // 2}H", bags)
    starts, modulator_starts = numbers[0::2], numbers[1::2]
    sizes = len(generators) // 4, len(modulators) // 10
    if not (
        _uses_up(firsts, len(starts) - 1)
        and any(_uses_up(starts, sizes[0] - closing) for closing in (1, 0))  # some files have no closing record
        and any(_uses_up(modulator_starts, sizes[1] - closing) for closing in (1, 0))
    ):
        raise _damaged("a sound points past the end of its table")
    used = modulators[: 10 * modulator_starts[-1]]
    aimed = frozenset(used[2::10])  # the low bytes; a modulator that points at another has a high one
    if max(aimed, default=0) > _LAST_GENERATOR or any(used[3::10]):
        raise _damaged("a modulator points at something that is no generator")
    return Zones(starts, generators, modulator_starts, modulators, aimed)


def _uses_up(numbers: Sequence[int], count: int) -> bool:
    """Say whether indexes rise from the first to the last record of a table."""
    return numbers[0] == 0 and numbers[-1] == count and all(map(le, numbers, numbers[1:]))


def _check_targets(zones: Zones, pointer: int, count: int, what: str) -> None:
    """Raise LessonError where a generator points past the end of another table."""
    numbers = zones.generators[: 4 * zones.bags[-1] : 4]  # to search their low bytes is quicker than to unpack all
    places = [found.start() for found in re.finditer(re.escape(bytes([pointer])), numbers)]
    pairs = {zones.generators[4 * place : 4 * place + 4] for place in places}
    if any(number == pointer and target >= count for number, target in struct.iter_unpack("<HH", b"".join(pairs))):
        raise _damaged(f"{what} that is not there")
