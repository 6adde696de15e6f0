"""Samples added up to sound: a stem is what one part plays, rendered block by block.

Any stretch of a stem can be rendered on its own, and comes out the same to the bit whatever else sounds: blocks lie
on a fixed grid from the track's start, and the dither depends on part and place alone. However long a track is, only
the block in hand is in memory. Sound is kept as files keep it, left and right by turns.
"""

import math
import threading
import zlib
from bisect import bisect_left
from collections.abc import Collection, Iterable, Iterator, Sequence
from functools import lru_cache
from itertools import chain
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from render.sound.events import NEVER, NoteEvent, SoundEvent, SoundEvents
from render.soundfont.notes import RELEASED_DB
from render.soundfont.recording import TAIL_DB, Sample, Signal, Sound
from render.soundfont.samples import DrumKit

Pcm = npt.NDArray[np.int16]  # (frames, 2)
Pieces = list[tuple[int, Pcm]]  # of a block: from which frame on, what

BLOCK_FRAMES = 1 << 16  # a block, its scaled copy and the hit it is made of fit a processor's second cache
# How fast a choked hat dies. Source: FluidSynth 2.3, fluid_voice_kill_excl sets the release of a voice of the same
# exclusive class to -200 timecents, 0.89 s for its envelope's 96 dB: 107.8 dB/s in the limit. Measured on two
# soundfonts 105 fits best of several slopes and of a hard cut, which clicks.
CHOKE_DB_PER_SECOND = 105.0


class PlacedSample(NamedTuple):
    """A sample in its place, ready to be added up: frames `start` to `end`, dying from `choke` on."""

    start: int
    end: int
    choke: int  # where a hat closes on it or its key goes up; NEVER where neither
    gain: float
    sample: Sample
    dying_db: float  # a second, from there on


class Stem:
    """One part's events as sound: `Stem("ride", events, kit).block(0, 65536)`."""

    def __init__(self, part: str, events: SoundEvents, kit: DrumKit, loop_frames: int | None = None) -> None:
        """With `loop_frames` it is a loop: what rings past that length sounds at the start."""
        self.part = part
        self.events = events
        self.loops = loop_frames is not None
        self._rate = kit.rate
        placed = list(_placed_samples(events, kit))
        if loop_frames is not None:
            placed = sorted((turn for one in placed for turn in _turns(one, loop_frames)), key=lambda one: one.start)
        self.placed = placed
        self._starts = [one.start for one in placed]
        self.end = max((one.end for one in placed), default=0)
        self._longest = max((one.end - one.start for one in placed), default=0)

    def sounding(self, start: int, end: int) -> list[PlacedSample]:
        """The samples that sound somewhere from one frame up to another."""
        first, last = bisect_left(self._starts, start - self._longest), bisect_left(self._starts, end)
        return [one for one in self.placed[first:last] if one.end > start]

    def block(self, start: int, frames: int) -> Sound | None:
        """Frames from a place on, shape (frames, 2); None where nothing sounds."""
        placed = self.sounding(start, start + frames)
        total = np.zeros(2 * frames, np.float32)
        self.add(placed, 1.0, start, total)
        return total.reshape(-1, 2) if placed else None

    def add(self, placed: Collection[PlacedSample], scale: float, start: int, total: Signal) -> None:
        """Add what sounds of some samples from a place on to left and right by turns."""
        frames = len(total) // 2
        spare = scratch("spare", 2 * frames)
        for one in placed:
            if one.sample.channels == 2:
                self._add(one, scale, start, total, spare)
        for sides in dict.fromkeys(one.sample.sides for one in placed if one.sample.channels == 1):
            single = scratch("single", frames)
            single.fill(0)
            for one in placed:
                if one.sample.sides == sides and one.sample.channels == 1:
                    self._add(one, scale, start, single, spare)
            both = scratch("both", 2 * frames).view(np.complex64)  # left as the real part, right as the imaginary
            np.multiply(single, np.complex64(complex(*sides)), out=both)
            np.add(total, both.view(np.float32), out=total)

    def _add(self, one: PlacedSample, scale: float, start: int, target: Signal, spare: Signal) -> None:
        """Add the part of a sample that falls into a block to it."""
        began, end, choke, gain, sample, dying_db = one
        channels = sample.channels
        first, last = max(began, start), min(end, start + len(target) // channels)
        piece = sample.values[channels * (first - began) : channels * (last - began)]
        louder = np.multiply(piece, gain * scale, out=spare[: len(piece)])
        if choke != NEVER and last > choke:
            dying = max(first, choke)
            fade = _fade(dying_db, self._rate)[:: 3 - channels]  # its values come in pairs
            louder[channels * (dying - first) :] *= fade[channels * (dying - choke) : channels * (last - choke)]
        place = target[channels * (first - start) : channels * (last - start)]
        np.add(place, louder, out=place)


def _turns(one: PlacedSample, loop_frames: int) -> list[PlacedSample]:
    """A sample in each turn of the loop from which it reaches into this one."""
    shift = -(one.start // loop_frames) * loop_frames
    turns = []
    while one.end + shift > 0:
        choke = one.choke if one.choke == NEVER else one.choke + shift
        turns.append(one._replace(start=one.start + shift, end=one.end + shift, choke=choke))
        shift -= loop_frames
    return turns


def _placed_samples(events: SoundEvents, kit: DrumKit) -> Iterator[PlacedSample]:
    """The sample of each hit and note, from its onset to where it has died away."""
    known: dict[tuple[object, ...], _Struck] = {}
    for event in events:
        if (what := event[1:]) not in known:
            known[what] = _struck(event, kit)
        sample, gain, held, dying_db = known[what]
        start, end, choke = event.frame, event.frame + sample.frames, NEVER
        if NEVER < held < sample.frames:
            choke = start + held
            dead_db = RELEASED_DB if isinstance(event, NoteEvent) else -TAIL_DB
            end = min(end, choke + math.ceil(dead_db / dying_db * kit.rate))
        yield PlacedSample(start, end, choke, gain, sample, dying_db)


_Struck = tuple[Sample, float, int, float]  # a sample, its gain, the frame from which it dies, how fast


def _struck(event: SoundEvent | NoteEvent, kit: DrumKit) -> _Struck:
    if isinstance(event, SoundEvent):
        return *kit.sample(event.key, event.velocity), event.choked_after, CHOKE_DB_PER_SECOND
    note = kit.instrument(event.program).note(event.key, event.velocity, event.blocks)
    return note.sample, note.gain, note.held_frames, note.release_db_per_second


@lru_cache(maxsize=64)
def _fade(dying_db: float, rate: int) -> Signal:
    """The gains of a sample that dies, down to where a tail is cut; each one twice, for left and right."""
    frames = math.ceil(-TAIL_DB / dying_db * rate)
    fade: Signal = (10 ** (-dying_db / 20 / rate * np.arange(frames))).astype(np.float32).repeat(2)
    return fade


def quantized(stem: Stem, scale: float, start: int, fits: bool = False) -> Pieces:
    """Render a block of a stem in 16 bits with its own TPDF dither: only where it sounds, so that silence is silence.

    The dither depends on the part and the place only, never on who else plays: stems add up to the track exactly.
    A loop has none, so that it is the same each time through. `fits`: it is known to stay within the scale.
    """
    placed = stem.sounding(start, start + BLOCK_FRAMES)
    stretches = list(_stretches(placed, start))
    total = scratch("total", 2 * BLOCK_FRAMES)
    dither = _dither(stem.part, start)
    for first, last in stretches:
        total[2 * first : 2 * last] = 0 if stem.loops else dither[2 * first : 2 * last]
    stem.add(placed, scale, start, total)
    return [(first, _rounded(total[2 * first : 2 * last], fits)) for first, last in stretches]


def _stretches(placed: Sequence[PlacedSample], start: int) -> Iterator[tuple[int, int]]:
    """Where in a block at least one sample sounds, from a frame up to another."""
    first = last = 0
    for one in placed:  # in order of their starts
        began = max(one.start - start, 0)
        if began > last:
            if last > first:
                yield first, last
            first = began
        last = max(last, min(one.end - start, BLOCK_FRAMES))
    if last > first:
        yield first, last


def _rounded(values: Signal, fits: bool) -> Pcm:
    np.rint(values, out=values)
    if not fits:
        np.clip(values, -32768, 32767, out=values)
    return values.astype(np.int16).reshape(-1, 2)


_own = threading.local()


def scratch(name: str, values: int) -> Signal:
    """Memory to work in, used again by the next block: fresh memory of this size costs more than the adding.

    It begins at a multiple of 64 bytes: a processor takes a sixth longer over rows that straddle its cache lines.
    """
    kept: Signal | None = getattr(_own, name, None)
    if kept is None or len(kept) < values:
        spare = np.zeros(values + 16, np.float32)  # what no sample reaches is added to all the same
        kept = spare[-spare.ctypes.data % 64 // 4 :]
        setattr(_own, name, kept)
    return kept[:values]


def add(stems: Iterable[Pieces], frames: int, fits: bool = False) -> Pcm:
    """Sum stems sample by sample; what would not fit 16 bits stops at the end of the scale.

    Returns fresh memory, shape (frames, 2): `add([], 4)` is four frames of silence. `fits`: the sum is known to.
    """
    total = np.zeros((frames, 2), np.int16 if fits else np.int32)
    for place, piece in chain.from_iterable(stems):
        total[place : place + len(piece)] += piece
    return total if fits else np.clip(total, -32768, 32767).astype(np.int16)


def _dither(part: str, start: int) -> Signal:
    """Noise of two 16-bit steps peak to peak with a triangular density: a window into one table."""
    values = 2 * BLOCK_FRAMES
    place = zlib.crc32(f"{part} {start}".encode()) % (len(_noise()) - values)
    return _noise()[place : place + values]


@lru_cache(maxsize=1)
def _noise() -> Signal:
    """A table of TPDF noise, the same in every process: splitmix64, its constants from memory."""
    mixed = np.arange(1, 3 * BLOCK_FRAMES + 1, dtype=np.uint64) * np.uint64(0x9E3779B97F4A7C15)
    mixed = (mixed ^ (mixed >> np.uint64(30))) * np.uint64(0xBF58476D1CE4E5B9)
    mixed = (mixed ^ (mixed >> np.uint64(27))) * np.uint64(0x94D049BB133111EB)
    mixed ^= mixed >> np.uint64(31)
    high, low = (mixed >> np.uint64(40)).astype(np.float32), (mixed & np.uint64(0xFFFFFF)).astype(np.float32)
    noise: Signal = (high - low) / np.float32(1 << 24)
    return noise
