"""What a SoundFont holds, read from the file's own headers before any synthesizer opens it.

Only names and numbers are read: presets, and for drum kits which keys have a sample, at which velocities.
Chunk layout and generator numbers: SoundFont Technical Specification 2.04, sections 4 to 8 (written from memory
of it, checked against FluidSynth on two soundfonts in the tests).
"""

import struct
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import BinaryIO

from grooves.mistake import Mistake

DRUM_BANK = 128  # the General MIDI percussion bank of a SoundFont, section 7.2
_KEY_RANGE, _VELOCITY_RANGE, _INSTRUMENT, _SAMPLE = 43, 44, 41, 53  # generators, section 8.1.2
_RECORDS = {"phdr": 38, "pbag": 4, "pgen": 4, "inst": 22, "ibag": 4, "igen": 4, "shdr": 46}  # bytes, section 7
_FULL = (0, 127)

Range = tuple[int, int]


@dataclass(frozen=True)
class Zone:
    """One sample of a kit: the keys and the velocities that it answers to, both ends included."""

    keys: Range
    velocities: Range


@dataclass(frozen=True)
class Preset:
    """One sound of a soundfont: `Preset(128, 32, "Jazz", zones).keys` are the keys with a sample."""

    bank: int
    program: int
    name: str
    zones: tuple[Zone, ...] = ()  # read for drum kits only

    @property
    def keys(self) -> tuple[int, ...]:
        """The keys that sound, from low to high."""
        return tuple(key for key in range(128) if self.layers(key))

    def layers(self, key: int) -> tuple[Range, ...]:
        """The velocity ranges of a key, from soft to loud: `((0, 127),)` is one layer for all."""
        return tuple(sorted({zone.velocities for zone in self.zones if zone.keys[0] <= key <= zone.keys[1]}))

    def has(self, key: int) -> bool:
        """Say whether a key has a sample."""
        return any(zone.keys[0] <= key <= zone.keys[1] for zone in self.zones)


def read_presets(path: Path) -> tuple[Preset, ...]:
    """List a soundfont's presets by bank and program: `read_presets(path)[0].name` is "Piano 1".

    Reads the headers only, never the samples. Raises Mistake for anything that is not a whole SoundFont 2 file.
    """
    try:
        with path.open("rb") as file:
            return _presets(_header_chunks(file, path.stat().st_size))
    except Mistake as mistake:
        raise Mistake(f"{path}: {mistake}") from None
    except OSError as error:
        raise Mistake(f"{path}: {_why(error)}") from None


def choose_kit(presets: tuple[Preset, ...]) -> Preset:
    """Take the jazz kit, else the standard kit, else the first kit: `choose_kit(presets).program` is 32 or 0.

    Programs 32 (jazz) and 0 (standard): the drum kits of the Roland GS map, as both tested soundfonts number them.
    Raises Mistake where the soundfont has no drum kit.
    """
    kits = sorted((preset for preset in presets if preset.bank == DRUM_BANK and preset.zones), key=_by_number)
    if not kits:
        raise Mistake(
            f"no drum kit in it (bank {DRUM_BANK} is empty, {len(presets)} other sounds); "
            "choose a General MIDI soundfont"
        )
    wanted = [kit for program in (32, 0) for kit in kits if kit.program == program]
    return (wanted or kits)[0]


def _by_number(preset: Preset) -> tuple[int, int]:
    return preset.bank, preset.program


def _why(error: OSError) -> str:
    if isinstance(error, FileNotFoundError):
        return "there is no such file"
    if isinstance(error, IsADirectoryError):
        return "this is a folder; name the soundfont file (.sf2) in it"
    return f"cannot be read ({error.strerror})"


def _header_chunks(file: BinaryIO, size: int) -> dict[str, bytes]:
    """The records of the `pdta` list by name; raises Mistake where the file ends early or is something else."""
    if size == 0:
        raise Mistake("the file is empty")
    head = file.read(12)
    if len(head) < 12 or head[:4] != b"RIFF" or head[8:] != b"sfbk":
        raise Mistake("not a SoundFont 2 file (it does not begin with RIFF … sfbk)")
    said = struct.unpack("<I", head[4:8])[0] + 8
    if said > size:
        raise Mistake(f"cut short: it should have {said} bytes and has {size}; get it again")
    for kind, start, length in _chunks(file, 12, said):
        if kind == "LIST" and length >= 4 and _read(file, start, 4) == b"pdta":
            inner = {name: _read(file, at, count) for name, at, count in _chunks(file, start + 4, start + length)}
            return _checked(inner)
    raise Mistake("damaged: the list of sounds (pdta) is missing; get the file again")


def _chunks(file: BinaryIO, start: int, end: int) -> Iterator[tuple[str, int, int]]:
    """Name, start and length of each chunk between two places; chunks begin at even bytes."""
    while start + 8 <= end:
        name, length = struct.unpack("<4sI", _read(file, start, 8))
        if start + 8 + length > end:
            raise Mistake("damaged: a part of it is longer than the file; get it again")
        yield name.decode("latin-1"), start + 8, length
        start += 8 + length + length % 2


def _read(file: BinaryIO, start: int, length: int) -> bytes:
    file.seek(start)
    return file.read(length)


def _checked(chunks: dict[str, bytes]) -> dict[str, bytes]:
    for name, size in _RECORDS.items():
        if name not in chunks or len(chunks[name]) < size or len(chunks[name]) % size:
            raise Mistake(f"damaged: its table {name} is missing or has the wrong length; get the file again")
    return chunks


def _presets(chunks: dict[str, bytes]) -> tuple[Preset, ...]:
    heads = list(struct.iter_unpack("<20sHHHIII", chunks["phdr"]))
    bags, generators = _table(chunks["pbag"], "<HH"), _table(chunks["pgen"], "<BBBB")
    instruments = _instruments(chunks)
    presets = [
        Preset(bank, program, _name(name), _zones(bags, generators, first, last, instruments) if bank == 128 else ())
        for (name, program, bank, first, *_), (_, _, _, last, *_) in pairwise(heads)
    ]
    return tuple(sorted(presets, key=_by_number))


def _table(data: bytes, layout: str) -> list[tuple[int, ...]]:
    return list(struct.iter_unpack(layout, data))


def _name(raw: bytes) -> str:
    return raw.split(b"\0")[0].decode("latin-1").strip()


@dataclass(frozen=True)
class _Bag:
    """One zone of a preset or an instrument: its ranges, and the number of what it points at."""

    zone: Zone
    target: int


def _bags(
    bags: list[tuple[int, ...]], generators: list[tuple[int, ...]], first: int, last: int, pointer: int
) -> Iterator[_Bag]:
    """The zones from one bag to another that point at something; a first zone that does not is their common base."""
    if not first <= last < len(bags):
        raise Mistake("damaged: a sound points past the end of its table; get the file again")
    base = Zone(_FULL, _FULL)
    for number in range(first, last):
        start, end = bags[number][0], bags[number + 1][0]
        if not start <= end <= len(generators):
            raise Mistake("damaged: a sound points past the end of its table; get the file again")
        amounts = {low | high << 8: (a, b) for low, high, a, b in generators[start:end]}
        zone = Zone(amounts.get(_KEY_RANGE, base.keys), amounts.get(_VELOCITY_RANGE, base.velocities))
        if pointer in amounts:
            low, high = amounts[pointer]
            yield _Bag(zone, low | high << 8)
        elif number == first:
            base = zone


def _instruments(chunks: dict[str, bytes]) -> list[tuple[Zone, ...]]:
    """For each instrument the zones that have a sample of at least one frame."""
    heads = list(struct.iter_unpack("<20sH", chunks["inst"]))
    bags, generators = _table(chunks["ibag"], "<HH"), _table(chunks["igen"], "<BBBB")
    frames = [record[2] - record[1] for record in struct.iter_unpack("<20sIIIIIBbHH", chunks["shdr"])][:-1]
    return [
        tuple(
            bag.zone
            for bag in _bags(bags, generators, first, last, _SAMPLE)
            if bag.target < len(frames) and frames[bag.target] > 0
        )
        for (_, first), (_, last) in pairwise(heads)
    ]


def _zones(
    bags: list[tuple[int, ...]],
    generators: list[tuple[int, ...]],
    first: int,
    last: int,
    instruments: list[tuple[Zone, ...]],
) -> tuple[Zone, ...]:
    """The samples of one preset, each where the preset's zone and the instrument's zone overlap."""
    zones = [
        Zone(_overlap(bag.zone.keys, zone.keys), _overlap(bag.zone.velocities, zone.velocities))
        for bag in _bags(bags, generators, first, last, _INSTRUMENT)
        if bag.target < len(instruments)
        for zone in instruments[bag.target]
    ]
    return tuple(zone for zone in zones if zone.keys[0] <= zone.keys[1] and zone.velocities[0] <= zone.velocities[1])


def _overlap(one: Range, other: Range) -> Range:
    return max(one[0], other[0]), min(one[1], other[1])
