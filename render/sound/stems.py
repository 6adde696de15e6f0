"""SoundEvents added up to sound: a stem is what one part plays, rendered block by block.

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

from render.sound.events import NEVER, SoundEvent, SoundEvents
from render.soundfont.samples import TAIL_DB, DrumKit, Row, Sample, Sound

Pcm = npt.NDArray[np.int16]  # (frames, 2)
Pieces = list[tuple[int, Pcm]]  # of a block: from which frame on, what

BLOCK_FRAMES = 1 << 16  # a block, its scaled copy and the hit it is made of fit a processor's second cache
# How fast a choked hat dies: FluidSynth releases a voice of the same exclusive class at about this slope
# (measured; nearest of several slopes and of a hard cut, which clicks).
CHOKE_DB_PER_SECOND = 105.0


class Voice(NamedTuple):
    """A strike with its sound, ready to be added up: frames `start` to `end`, choked from `choke` on."""

    start: int
    end: int
    choke: int  # NEVER where no hat closes on it
    gain: float
    wave: Sample


class Stem:
    """One part's strikes as sound: `Stem("ride", strikes, kit).block(0, 65536)`."""

    def __init__(self, part: str, strikes: SoundEvents, kit: DrumKit, loop_frames: int | None = None) -> None:
        """With `loop_frames` it is a loop: what rings past that length sounds at the start."""
        self.part = part
        self.strikes = strikes
        self.loops = loop_frames is not None
        self._fade = _choke_fade(kit.rate)
        waves = {stroke: kit.wave(*stroke) for stroke in {(strike.key, strike.velocity) for strike in strikes}}
        voices = [self._voice(strike, *waves[strike.key, strike.velocity]) for strike in strikes]
        if loop_frames is not None:
            voices = sorted((turn for voice in voices for turn in _turns(voice, loop_frames)), key=lambda v: v.start)
        self.voices = voices
        self._starts = [voice.start for voice in voices]
        self.end = max((voice.end for voice in voices), default=0)
        self._longest = max((voice.end - voice.start for voice in voices), default=0)

    def _voice(self, strike: SoundEvent, wave: Sample, gain: float) -> Voice:
        start, end, choke = strike.frame, strike.frame + wave.frames, NEVER
        if NEVER < strike.choked_after < wave.frames:
            choke = start + strike.choked_after
            end = min(end, choke + len(self._fade) // 2)
        return Voice(start, end, choke, gain, wave)

    def sounding(self, start: int, end: int) -> list[Voice]:
        """The voices that sound somewhere from one frame up to another."""
        first, last = bisect_left(self._starts, start - self._longest), bisect_left(self._starts, end)
        return [voice for voice in self.voices[first:last] if voice.end > start]

    def block(self, start: int, frames: int) -> Sound | None:
        """Frames from a place on, shape (frames, 2); None where nothing sounds."""
        voices = self.sounding(start, start + frames)
        total = np.zeros(2 * frames, np.float32)
        self.add(voices, 1.0, start, total)
        return total.reshape(-1, 2) if voices else None

    def add(self, voices: Collection[Voice], scale: float, start: int, total: Row) -> None:
        """Add what sounds of some voices from a place on to left and right by turns."""
        frames = len(total) // 2
        spare = room("spare", 2 * frames)
        for voice in voices:
            if voice.wave.channels == 2:
                self._add(voice, scale, start, total, spare)
        for sides in dict.fromkeys(voice.wave.sides for voice in voices if voice.wave.channels == 1):
            single = room("single", frames)
            single.fill(0)
            for voice in voices:
                if voice.wave.sides == sides and voice.wave.channels == 1:
                    self._add(voice, scale, start, single, spare)
            both = room("both", 2 * frames).view(np.complex64)  # left as the real part, right as the imaginary
            np.multiply(single, np.complex64(complex(*sides)), out=both)
            np.add(total, both.view(np.float32), out=total)

    def _add(self, voice: Voice, scale: float, start: int, target: Row, spare: Row) -> None:
        """Add the part of a voice that falls into a block to it."""
        began, end, choke, gain, wave = voice
        channels = wave.channels
        first, last = max(began, start), min(end, start + len(target) // channels)
        piece = wave.values[channels * (first - began) : channels * (last - began)]
        louder = np.multiply(piece, gain * scale, out=spare[: len(piece)])
        if choke != NEVER and last > choke:
            dying = max(first, choke)
            fade = self._fade[:: 3 - channels]  # its values come in pairs
            louder[channels * (dying - first) :] *= fade[channels * (dying - choke) : channels * (last - choke)]
        place = target[channels * (first - start) : channels * (last - start)]
        np.add(place, louder, out=place)


def _turns(voice: Voice, loop_frames: int) -> list[Voice]:
    """A voice in each turn of the loop from which it reaches into this one."""
    shift = -(voice.start // loop_frames) * loop_frames
    turns = []
    while voice.end + shift > 0:
        choke = voice.choke if voice.choke == NEVER else voice.choke + shift
        turns.append(voice._replace(start=voice.start + shift, end=voice.end + shift, choke=choke))
        shift -= loop_frames
    return turns


@lru_cache(maxsize=4)
def _choke_fade(rate: int) -> Row:
    """The gains of a choked hit from the moment the hat closes, down to where a tail is cut; each one twice."""
    frames = math.ceil(-TAIL_DB / CHOKE_DB_PER_SECOND * rate)
    fade: Row = (10 ** (-CHOKE_DB_PER_SECOND / 20 / rate * np.arange(frames))).astype(np.float32).repeat(2)
    return fade


def quantized(stem: Stem, scale: float, start: int, fits: bool = False) -> Pieces:
    """Render a block of a stem in 16 bits with its own TPDF dither: only where it sounds, so that silence is silence.

    The dither depends on the part and the place only, never on who else plays: stems add up to the track exactly.
    A loop has none, so that it is the same each time through. `fits`: it is known to stay within the scale.
    """
    voices = stem.sounding(start, start + BLOCK_FRAMES)
    stretches = list(_stretches(voices, start))
    total = room("total", 2 * BLOCK_FRAMES)
    dither = _dither(stem.part, start)
    for first, last in stretches:
        total[2 * first : 2 * last] = 0 if stem.loops else dither[2 * first : 2 * last]
    stem.add(voices, scale, start, total)
    return [(first, _rounded(total[2 * first : 2 * last], fits)) for first, last in stretches]


def _stretches(voices: Sequence[Voice], start: int) -> Iterator[tuple[int, int]]:
    """Where in a block at least one voice sounds, from a frame up to another."""
    first = last = 0
    for voice in voices:  # in order of their starts
        began = max(voice.start - start, 0)
        if began > last:
            if last > first:
                yield first, last
            first = began
        last = max(last, min(voice.end - start, BLOCK_FRAMES))
    if last > first:
        yield first, last


def _rounded(values: Row, fits: bool) -> Pcm:
    np.rint(values, out=values)
    if not fits:
        np.clip(values, -32768, 32767, out=values)
    return values.astype(np.int16).reshape(-1, 2)


_benches = threading.local()


def room(name: str, values: int) -> Row:
    """Memory to work in, used again by the next block: fresh memory of this size costs more than the adding.

    It begins at a multiple of 64 bytes: a processor takes a sixth longer over rows that straddle its cache lines.
    """
    kept: Row | None = getattr(_benches, name, None)
    if kept is None or len(kept) < values:
        spare = np.zeros(values + 16, np.float32)  # what no voice reaches is added to all the same
        kept = spare[-spare.ctypes.data % 64 // 4 :]
        setattr(_benches, name, kept)
    return kept[:values]


def add(stems: Iterable[Pieces], frames: int, fits: bool = False) -> Pcm:
    """Sum stems sample by sample; what would not fit 16 bits stops at the end of the scale.

    Returns fresh memory, shape (frames, 2): `add([], 4)` is four frames of silence. `fits`: the sum is known to.
    """
    total = np.zeros((frames, 2), np.int16 if fits else np.int32)
    for place, piece in chain.from_iterable(stems):
        total[place : place + len(piece)] += piece
    return total if fits else np.clip(total, -32768, 32767).astype(np.int16)


def _dither(part: str, start: int) -> Row:
    """Noise of two 16-bit steps peak to peak with a triangular density: a window into one table."""
    values = 2 * BLOCK_FRAMES
    place = zlib.crc32(f"{part} {start}".encode()) % (len(_noise()) - values)
    return _noise()[place : place + values]


@lru_cache(maxsize=1)
def _noise() -> Row:
    """A table of TPDF noise, the same in every process: splitmix64, its constants from memory."""
    mixed = np.arange(1, 3 * BLOCK_FRAMES + 1, dtype=np.uint64) * np.uint64(0x9E3779B97F4A7C15)
    mixed = (mixed ^ (mixed >> np.uint64(30))) * np.uint64(0xBF58476D1CE4E5B9)
    mixed = (mixed ^ (mixed >> np.uint64(27))) * np.uint64(0x94D049BB133111EB)
    mixed ^= mixed >> np.uint64(31)
    high, low = (mixed >> np.uint64(40)).astype(np.float32), (mixed & np.uint64(0xFFFFFF)).astype(np.float32)
    noise: Row = (high - low) / np.float32(1 << 24)
    return noise
