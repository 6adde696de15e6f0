"""What a SoundFont holds, read from the file's own headers before any synthesizer opens it.

Only names and numbers are read: presets, and for drum kits which keys have a sample, at which velocities.
Chunk layout and generator numbers: SoundFont Technical Specification 2.04, sections 4 to 8 (written from memory
of it, checked against FluidSynth on two soundfonts in the tests).
"""

import struct
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
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
    """Every preset by name; the zones of drum kits only, and only of the instruments that these play."""
    heads = list(struct.iter_unpack("<20sHHHIII", chunks["phdr"]))
    instruments = list(struct.iter_unpack("<20sH", chunks["inst"]))
    table, inner = _Zones(chunks["pbag"], chunks["pgen"]), _Zones(chunks["ibag"], chunks["igen"])
    table.check([head[3] for head in heads])
    inner.check([first for _, first in instruments])
    frames = [record[2] - record[1] for record in struct.iter_unpack("<20sIIIIIBbHH", chunks["shdr"])][:-1]

    @cache
    def samples(instrument: int) -> tuple[Zone, ...]:
        """The zones of an instrument that have a sample of at least one frame."""
        if instrument >= len(instruments) - 1:
            return ()
        pointing = inner.pointing(instruments[instrument][1], instruments[instrument + 1][1], _SAMPLE)
        return tuple(zone for zone, target in pointing if target < len(frames) and frames[target] > 0)

    def zones(first: int, last: int) -> tuple[Zone, ...]:
        """The samples of a preset, each where the preset's zone and the instrument's zone overlap."""
        return tuple(
            both
            for outer, instrument in table.pointing(first, last, _INSTRUMENT)
            for zone in samples(instrument)
            if (both := _overlap(outer, zone)) is not None
        )

    presets = [
        Preset(bank, program, _name(name), zones(first, last) if bank == DRUM_BANK else ())
        for (name, program, bank, first, *_), (_, _, _, last, *_) in pairwise(heads)
    ]
    return tuple(sorted(presets, key=_by_number))


def _name(raw: bytes) -> str:
    return raw.split(b"\0")[0].decode("latin-1").strip()


class _Zones:
    """The zones of presets or of instruments: a table of bags, each a run of generators."""

    def __init__(self, bags: bytes, generators: bytes) -> None:
        self._starts = [start for start, _ in struct.iter_unpack("<HH", bags)]
        self._generators = generators

    def check(self, firsts: list[int]) -> None:
        """Raise Mistake where a sound or a zone points backwards or past the end."""
        ends = (firsts, len(self._starts) - 1), (self._starts, len(self._generators) // 4)
        if any(numbers != sorted(numbers) or numbers[-1] > end for numbers, end in ends):
            raise Mistake("damaged: a sound points past the end of its table; get the file again")

    def pointing(self, first: int, last: int, pointer: int) -> Iterator[tuple[Zone, int]]:
        """The zones from one bag to another that point at something, and at what; one before them is their base."""
        base = Zone(_FULL, _FULL)
        for number in range(first, last):
            run = self._generators[4 * self._starts[number] : 4 * self._starts[number + 1]]
            amounts = {generator: (low, high) for generator, low, high in struct.iter_unpack("<HBB", run)}
            zone = Zone(amounts.get(_KEY_RANGE, base.keys), amounts.get(_VELOCITY_RANGE, base.velocities))
            if pointer in amounts:
                low, high = amounts[pointer]
                yield zone, low | high << 8
            elif number == first:
                base = zone


def _overlap(one: Zone, other: Zone) -> Zone | None:
    if one.keys == one.velocities == _FULL:  # most zones of a preset
        return other
    keys, velocities = _both(one.keys, other.keys), _both(one.velocities, other.velocities)
    return Zone(keys, velocities) if keys[0] <= keys[1] and velocities[0] <= velocities[1] else None


def _both(one: Range, other: Range) -> Range:
    return max(one[0], other[0]), min(one[1], other[1])
