"""What a SoundFont holds, read from the file's own headers before any synthesizer opens it.

Only names and numbers are read: presets, and for drum kits which keys have a sample, at which velocities.
Chunk layout and generator numbers: SoundFont Technical Specification 2.04, sections 4 to 8 (written from memory
of it, checked against FluidSynth on two soundfonts in the tests).
"""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache, lru_cache
from itertools import pairwise
from pathlib import Path

from grooves.errors import LessonError, shown
from render.soundfont.sf2_tables import INSTRUMENT, SAMPLE, Amounts, SampleHeader, Tables, Zones, read_tables

DRUM_BANK = 128  # the General MIDI percussion bank of a SoundFont, section 7.2
_KEY_RANGE, _VELOCITY_RANGE = 43, 44  # generators, section 8.1.2
_COMPRESSED, _IN_ROM = 0x10, 0x8000  # kinds of samples: section 7.10; the first FluidSynth's own, for its .sf3 files
_RATES_HZ = range(400, 384_001)  # section 7.10 asks for 400 to 50000; recordings go up to eight times 48 kHz
_FULL = bytes((0, 127))

# What moves the pitch of a sample, in cents a step: tremolo, vibrato, envelope, fine and coarse tuning; the key to
# play as and the cents from key to key have ranges of their own. Section 8.1.2. Far out of range, FluidSynth runs
# through a sample's loop millions of times a frame and does not come back.
_PLAYED_KEY, _SCALE = 46, 56
_TUNING = {5: 1, 6: 1, 7: 1, 52: 1, 51: 100, _PLAYED_KEY: 0, _SCALE: 0}
_FARTHEST_CENTS = 14400

# What moves a sample's start and its loop, each by frames and by 32768 frames. Started past a loop that is not where
# it should be, FluidSynth reads outside its memory.
_START, _LOOP_START, _LOOP_END, _MODE = (0, 4), (2, 45), (3, 50), 54
_PLACES = frozenset({*_START, *_LOOP_START, *_LOOP_END})
_WATCHED = _PLACES.union(_TUNING)
_PROGRAMS = {0: "acoustic grand piano", 32: "acoustic bass", 56: "trumpet", 66: "tenor saxophone"}  # General MIDI 1
_LISTED = 20  # kits named in a message
_MARGIN = 8  # frames at a loop's end

Range = tuple[int, int]
Aims = dict[int, int]  # by generator, how far modulators move it at most
_NO_AIMS: Aims = {}


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
    zones: tuple[Zone, ...] = ()  # read for drum kits, or for the one program asked for

    @property
    def keys(self) -> tuple[int, ...]:
        """The keys that sound, from low to high."""
        return tuple(key for key in range(128) if self.layers(key))

    def layers(self, key: int) -> tuple[Range, ...]:
        """The velocity ranges of a key, from soft to loud: `((0, 127),)` is one layer for all."""
        found = {zone.velocities for zone in self.zones if zone.keys[0] <= key <= zone.keys[1]}
        return tuple(sorted((low, min(high, 127)) for low, high in found if low <= min(high, 127)))

    def zones_of(self, key: int) -> tuple[Zone, ...]:
        """The samples that answer to a key: `preset.zones_of(60) == preset.zones_of(61)` where they share them."""
        return tuple(zone for zone in self.zones if zone.keys[0] <= key <= zone.keys[1])

    def has(self, key: int, velocity: int | None = None) -> bool:
        """Say whether a key has a sample, at some velocity or at this one."""
        own = (zone.velocities for zone in self.zones if zone.keys[0] <= key <= zone.keys[1])
        return any(velocity is None or low <= velocity <= high for low, high in own)


def read_presets(path: Path, program: int | None = None) -> tuple[Preset, ...]:
    """List a soundfont's presets by bank and program: `read_presets(path)[0].name` is "Piano 1".

    Reads the headers only, never the samples: the zones of drum kits, or those of one program of bank 0. Raises
    LessonError for anything that is not a whole SoundFont 2 file.
    """
    try:
        with path.open("rb") as file:
            return _presets(read_tables(file, path.stat().st_size), program)
    except LessonError as error:
        raise LessonError(f"{path}: {error}") from None
    except OSError as error:
        raise LessonError(f"{path}: {_why(error)}") from None


def choose_kit(presets: tuple[Preset, ...], wanted: str | int | None = None) -> Preset:
    """Take the kit of that number or name: `choose_kit(presets, "brush").program` is 40. None: jazz, standard, first.

    Programs 32 (jazz) and 0 (standard): the drum kits of the Roland GS map, as both tested soundfonts number them.
    Raises LessonError where the soundfont has no drum kit, or not that one.
    """
    kits = sorted((preset for preset in presets if preset.bank == DRUM_BANK and preset.zones), key=_by_number)
    if not kits:
        raise LessonError(
            f"no drum kit in it (bank {DRUM_BANK} is empty, {len(presets)} other sounds); "
            "choose a General MIDI soundfont"
        )
    if wanted is None:
        return next((kit for program in (32, 0) for kit in kits if kit.program == program), kits[0])
    asked = str(wanted).strip().lower()
    found = [kit for kit in kits if asked in (str(kit.program), kit.name.lower())]
    if not found:
        listed = ", ".join(f"{kit.program} {kit.name}" for kit in kits[:_LISTED])
        more = f" and {len(kits) - _LISTED} more" if len(kits) > _LISTED else ""
        named = shown(wanted) if isinstance(wanted, int) else repr(wanted[:40])
        raise LessonError(f"kit_program: {named} is no drum kit of it; it has {listed}{more}")
    return found[0]


def choose_program(presets: tuple[Preset, ...], program: int) -> Preset:
    """Take a pitched sound of General MIDI, in bank 0: `choose_program(presets, 32).name` is "Acoustic Bass".

    Raises LessonError where the soundfont has no such sound.
    """
    found = [preset for preset in presets if (preset.bank, preset.program) == (0, program) and preset.zones]
    if not found:
        named = f"{_PROGRAMS.get(program, 'sound')} in it (General MIDI program {program})"
        raise LessonError(f"no {named}; choose another soundfont, or leave out who plays it")
    return found[0]


def _by_number(preset: Preset) -> tuple[int, int]:
    return preset.bank, preset.program


def _why(error: OSError) -> str:
    if isinstance(error, FileNotFoundError):
        return "there is no such file"
    if isinstance(error, IsADirectoryError):
        return "this is a folder; name the soundfont file (.sf2) in it"
    return f"cannot be read ({error.strerror})"


def _presets(tables: Tables, chosen: int | None) -> tuple[Preset, ...]:
    """Every preset by name; the zones of drum kits or of one program, and only of the instruments that they play."""
    firsts = [first for _, first in tables.instruments]
    usable = [_usable(sample, tables.frames) for sample in tables.samples]
    inner, aimed = tables.instrument_zones, dict.fromkeys(tables.preset_zones.aimed & _PLACES, 0)
    lost = False

    @cache
    def samples(instrument: int) -> list[tuple[Zone, int]]:
        """The zones of an instrument that have a sample, and how many cents each may be tuned away."""
        nonlocal lost
        found = []
        pointing = _pointing(inner, firsts[instrument], firsts[instrument + 1], SAMPLE, aimed)
        for zone, target, amounts, aims in pointing:
            if usable[target]:
                found.append((zone, _checked_cents(amounts, tables.samples[target], aims)))
            else:
                lost = True
        return found

    def zones(first: int, last: int) -> Iterator[Zone]:
        """The samples of a preset, each where the preset's zone and the instrument's zone overlap."""
        for outer, instrument, amounts, aims in _pointing(tables.preset_zones, first, last, INSTRUMENT):
            outer_cents = _cents(amounts, aims)
            for zone, cents in samples(instrument):
                if (both := _overlap(outer, zone)) is not None:
                    _check_reach(outer_cents + cents)
                    yield both

    def wanted(bank: int, program: int) -> bool:
        return bank == DRUM_BANK if chosen is None else (bank, program) == (0, chosen)

    presets = [
        Preset(bank, program, _name(name), tuple(zones(first, last)) if wanted(bank, program) else ())
        for (name, program, bank, first), (_, _, _, last) in pairwise(tables.presets)
    ]
    if lost and chosen is None and not any(preset.zones for preset in presets):
        raise LessonError("damaged: the samples of its drum kits are not in it; get the file again")
    return tuple(sorted(presets, key=_by_number))


def _usable(sample: SampleHeader, frames: int) -> bool:
    """Say whether FluidSynth plays a sample at all."""
    _, start, end, *_, kind = sample
    last = end - 1 if kind & _COMPRESSED == 0 else (end - 1) // 2  # compressed samples count bytes
    return start + 1 < end and last <= frames and not kind & _IN_ROM


def _name(raw: bytes) -> str:
    return raw.split(b"\0")[0].decode("latin-1").strip()


def _pointing(
    table: Zones, first: int, last: int, pointer: int, aimed: Aims = _NO_AIMS
) -> Iterator[tuple[Zone, int, Amounts, Aims]]:
    """The zones from one bag to another that point at something, at what, and what shapes them.

    A zone before them that points at nothing is their base.
    """
    base: Amounts = {}
    watched = not table.aimed.isdisjoint(_WATCHED)
    for number in range(first, last):
        amounts = table.amounts(number)
        aims = _aims(table, number, aimed) if watched and table.is_modulated(number) else aimed
        if pointer in amounts:
            if base:
                amounts = base | amounts
            zone = _zone(amounts.get(_KEY_RANGE, _FULL), amounts.get(_VELOCITY_RANGE, _FULL))
            yield zone, int.from_bytes(amounts[pointer], "little"), amounts, aims
        elif number == first:
            base, aimed = amounts, aims


def _aims(table: Zones, bag: int, aimed: Aims) -> Aims:
    """How far a zone's modulators and its base's move each of the watched generators."""
    total = dict(aimed)
    for generator, amount in table.aims(bag):
        if generator in _WATCHED:
            total[generator] = total.get(generator, 0) + amount
    return total


@lru_cache(maxsize=4096)  # the kits of a soundfont have the same keys
def _zone(keys: bytes, velocities: bytes) -> Zone:
    return Zone((keys[0], keys[1]), (velocities[0], velocities[1]))


def _checked_cents(amounts: Amounts, sample: SampleHeader, aims: Aims) -> int:
    """How far a sample is tuned; raises LessonError where FluidSynth would hang or read outside its memory."""
    if sample[5] not in _RATES_HZ:
        raise LessonError(f"damaged: its sample {_name(sample[0])!r} has a rate of {sample[5]} Hz; get the file again")
    cents = _cents(amounts, aims)
    _check_reach(cents)
    fine, coarse = _START
    if (aims or fine in amounts or coarse in amounts) and not _starts_well(amounts, sample, _PLACES.intersection(aims)):
        raise LessonError(f"damaged: its sample {_name(sample[0])!r} starts past its loop; get the file again")
    return cents


def _check_reach(cents: int) -> None:
    """Raise LessonError where a sample is tuned to what none can be played at."""
    if cents > _FARTHEST_CENTS:
        raise LessonError("damaged: one of its sounds is tuned out of all reach; get the file again")


def _cents(amounts: Amounts, aims: Aims) -> int:
    return _tuned(tuple(aims.items()), *map(amounts.get, _TUNING))


@lru_cache(maxsize=4096)  # most zones are tuned as some other
def _tuned(aims: tuple[tuple[int, int], ...], *steps: bytes | None) -> int:
    """How many cents a zone may be tuned away, up or down; too many where it is played as no key."""
    most = {generator: abs(_signed(step)) for generator, step in zip(_TUNING, steps, strict=True) if step}
    for generator, amount in aims:
        most[generator] = most.get(generator, 0) + amount
    if most.get(_PLAYED_KEY, 0) > 127 or most.get(_SCALE, 0) > 1200:
        return _FARTHEST_CENTS + 1
    return sum(worth * most.get(generator, 0) for generator, worth in _TUNING.items())


def _starts_well(amounts: Amounts, sample: SampleHeader, aimed: frozenset[int]) -> bool:
    """Say whether a sample starts at its first frame, or has no loop, or one that lies where it should."""
    start, unknown = _frames(amounts, _START), not aimed.isdisjoint(_START)
    if not (start > 0 or unknown) or not _signed(amounts.get(_MODE, b"")) & 1:
        return True
    first, last, *loop = sample[1:5]
    moves = _frames(amounts, _LOOP_START), _frames(amounts, _LOOP_END)
    if loop[0] == loop[1] and not any(moves):  # a way to say that there is none
        return True
    low, high = (place + move for place, move in zip(loop, moves, strict=True))
    lies = aimed.issubset(_START) and first <= loop[0] < loop[1] <= last and first <= low < high <= last
    return lies and (low > first or (not unknown and start < high - first - _MARGIN))


def _frames(amounts: Amounts, pair: tuple[int, int]) -> int:
    fine, coarse = (_signed(amounts.get(generator, b"")) for generator in pair)
    return fine + 32768 * coarse


def _signed(amount: bytes) -> int:
    return int.from_bytes(amount, "little", signed=True)


def _overlap(one: Zone, other: Zone) -> Zone | None:
    if one.keys == one.velocities == (0, 127):  # most zones of a preset
        return other
    keys, velocities = _both(one.keys, other.keys), _both(one.velocities, other.velocities)
    return Zone(keys, velocities) if keys[0] <= keys[1] and velocities[0] <= velocities[1] else None


def _both(one: Range, other: Range) -> Range:
    return max(one[0], other[0]), min(one[1], other[1])
