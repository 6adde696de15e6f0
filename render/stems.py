"""Strikes added up to sound: a stem is what one part plays, rendered block by block.

Any stretch of a stem can be rendered on its own, and comes out the same to the bit whatever else sounds: blocks lie
on a fixed grid from the track's start, and the dither depends on part and place alone. However long a track is, only
the block in hand is in memory. Sound is kept as rows, one for each channel.
"""

import math
import threading
import zlib
from bisect import bisect_left
from collections.abc import Callable, Collection
from dataclasses import dataclass
from functools import cache, lru_cache
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from render.hits import TAIL_DB, Kit, Sound
from render.strikes import NEVER, Strike, Strikes

Pcm = npt.NDArray[np.int16]  # (frames, 2)
Rows = npt.NDArray[np.float32]  # (2, frames), or (1, frames) for one signal on both sides

BLOCK_FRAMES = 1 << 17
# How fast a choked hat dies: FluidSynth releases a voice of the same exclusive class at about this slope
# (measured; nearest of several slopes and of a hard cut, which clicks).
CHOKE_DB_PER_SECOND = 105.0
_ONE_ROW_SECONDS = 1.0
_SAME_SHAPE = 1e-6  # two channels that differ by less than this, against the peak, are one signal


@dataclass(frozen=True)
class Wave:
    """A recorded hit as the mixer wants it: one row of frames, or two where left and right differ in shape."""

    name: str  # its key and the velocity it was recorded at: "51-127"
    rows: Rows
    sides: tuple[float, float]  # what one row is worth left and right; (1, 1) for two rows

    @property
    def frames(self) -> int:
        """Its length."""
        return int(self.rows.shape[1])


Waves = Callable[[int, int], tuple[Wave, float]]  # key, velocity → recording and gain


def kit_waves(kit: Kit) -> Waves:
    """The hits of a kit for the mixer, each brought into rows once: `kit_waves(kit)(51, 90)[0].name` is "51-127"."""

    @cache
    def wave(key: int, velocity: int) -> Wave:
        return in_rows(f"{key}-{velocity}", kit.wave(key, velocity)[0], _ONE_ROW_SECONDS * kit.rate)

    @cache
    def find(key: int, velocity: int) -> tuple[Wave, float]:
        recorded = 127 if kit.is_pure_gain(key) else velocity
        return wave(key, recorded), kit.wave(key, velocity)[1]

    return find


def in_rows(name: str, sound: Sound, worth_it_frames: float = 0) -> Wave:
    """Turn frames of two channels into rows: one where the channels are one signal that is only panned.

    Mixing such a hit once and panning the sum takes half the time, where hits are long enough (`worth_it_frames`)
    to overlap. Example: `in_rows("51-127", hit).sides`.
    """
    rows = np.ascontiguousarray(sound.T)
    left, right = rows
    if len(sound) < worth_it_frames:
        return Wave(name, rows, (1.0, 1.0))
    powers = np.einsum("ij,kj->ik", rows.astype(np.float64), rows)
    louder, softer = (left, right) if powers[0, 0] >= powers[1, 1] else (right, left)
    ratio = float(powers[0, 1] / powers.max())
    if np.abs(softer - np.float32(ratio) * louder).max() > _SAME_SHAPE * np.abs(louder).max():
        return Wave(name, rows, (1.0, 1.0))
    return Wave(name, louder[None, :], (1.0, ratio) if louder is left else (ratio, 1.0))


class Voice(NamedTuple):
    """A strike with its sound, ready to be added up: frames `start` to `end`, choked from `choke` on."""

    start: int
    end: int
    choke: int  # NEVER where no hat closes on it
    gain: np.float32
    wave: Wave


class Stem:
    """Strikes as sound: `Stem(strikes, kit_waves(kit), 44100).block(0, 65536)`."""

    def __init__(
        self, strikes: Strikes, waves: Waves, rate: int, scale: float = 1.0, loop_frames: int | None = None
    ) -> None:
        """`scale` multiplies all of it; with `loop_frames` what rings past that length sounds at the start."""
        self.rate = rate
        self.loops = loop_frames is not None
        self._fade = _choke_fade(rate)
        voices = [self._voice(strike, waves, scale) for strike in strikes]
        if loop_frames is not None:
            voices = sorted((turn for voice in voices for turn in _turns(voice, loop_frames)), key=lambda v: v.start)
        self.voices = voices
        self._starts = [voice.start for voice in voices]
        self.end = max((voice.end for voice in voices), default=0)
        self._longest = max((voice.end - voice.start for voice in voices), default=0)

    def _voice(self, strike: Strike, waves: Waves, scale: float) -> Voice:
        wave, gain = waves(strike.key, strike.velocity)
        end, choke = strike.frame + wave.frames, NEVER
        if NEVER < strike.choked_after < wave.frames:
            choke = strike.frame + strike.choked_after
            end = min(end, choke + len(self._fade))
        return Voice(strike.frame, end, choke, np.float32(gain * scale), wave)

    def sounding(self, start: int, end: int) -> list[Voice]:
        """The voices that sound somewhere from one frame up to another."""
        first, last = bisect_left(self._starts, start - self._longest), bisect_left(self._starts, end)
        return [voice for voice in self.voices[first:last] if voice.end > start]

    def block(self, start: int, frames: int) -> Rows | None:
        """Frames from a place on, shape (2, frames); None where nothing sounds."""
        total = np.zeros((2, frames), np.float32)
        return total if self.add_to(total, start) else None

    def add_to(self, total: Rows, start: int) -> bool:
        """Add what sounds from a place on to rows of shape (2, frames); False where nothing sounds."""
        frames = total.shape[1]
        voices = self.sounding(start, start + frames)
        spare, single = room("spare", 2, frames), room("single", 1, frames)
        for voice in voices:
            if len(voice.wave.rows) == 2:
                self._add(voice, start, total, spare)
        for sides in dict.fromkeys(voice.wave.sides for voice in voices if len(voice.wave.rows) == 1):
            single.fill(0)
            for voice in voices:
                if len(voice.wave.rows) == 1 and voice.wave.sides == sides:
                    self._add(voice, start, single, spare)
            for side, worth in zip(total, sides, strict=True):
                side += np.multiply(single[0], np.float32(worth), out=spare[0])
        return bool(voices)

    def _add(self, voice: Voice, start: int, target: Rows, spare: Rows) -> None:
        """Add the part of a voice that falls into a block to it."""
        first, last = max(voice.start, start), min(voice.end, start + target.shape[1])
        piece = voice.wave.rows[:, first - voice.start : last - voice.start]
        louder = np.multiply(piece, voice.gain, out=spare[: len(piece), : last - first])
        if voice.choke != NEVER and last > voice.choke:
            dying = max(first, voice.choke)
            louder[:, dying - first :] *= self._fade[dying - voice.choke : last - voice.choke]
        target[:, first - start : last - start] += louder


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
def _choke_fade(rate: int) -> npt.NDArray[np.float32]:
    """The gains of a choked hit from the moment the hat closes, down to where a tail is cut."""
    frames = math.ceil(-TAIL_DB / CHOKE_DB_PER_SECOND * rate)
    fade: npt.NDArray[np.float32] = (10 ** (-CHOKE_DB_PER_SECOND / 20 / rate * np.arange(frames))).astype(np.float32)
    return fade


def quantized(stem: Stem, part: str, start: int, frames: int, into: Rows | None = None) -> Pcm | None:
    """Render a block of a stem in 16 bits with its own TPDF dither; None where nothing sounds.

    The dither depends on the part and the place only, never on who else plays: stems add up to the track exactly.
    A loop has none, so that it is the same each time through. `into`: memory for the result, else fresh.
    """
    if not stem.sounding(start, start + frames):
        return None
    rows = room("rows", 2, frames)
    rows[:] = 0 if stem.loops else _dither(part, start, frames)
    stem.add_to(rows, start)
    np.rint(rows, out=rows)
    np.clip(rows, -32768, 32767, out=rows)
    return interleaved(rows, into)


def interleaved(rows: Rows, into: Rows | None = None) -> Pcm:
    """Two rows of whole 16-bit values as frames: `interleaved(np.float32([[1, 2], [3, 4]]))` is [[1, 3], [2, 4]].

    Both halves of a 32-bit word at once, which is several times faster than writing every second value.
    """
    whole = room("whole", 2, rows.shape[1]).view(np.int32)
    np.copyto(whole, rows, casting="unsafe")
    low, high = whole if _LITTLE else whole[::-1]
    high <<= 16
    low &= 0xFFFF
    words = np.bitwise_or(low, high, out=None if into is None else into.view(np.int32).reshape(-1)[: len(low)])
    frames: Pcm = words.view(np.int16).reshape(-1, 2)
    return frames


_benches = threading.local()


def room(name: str, rows: int, frames: int) -> Rows:
    """Memory to work in, used again by the next block: fresh memory of this size costs more than the adding."""
    kept: Rows | None = getattr(_benches, name, None)
    if kept is None or kept.size < rows * frames:
        kept = np.empty(rows * frames, np.float32)
        setattr(_benches, name, kept)
    return kept[: rows * frames].reshape(rows, frames)


_LITTLE = np.dtype("=i2").newbyteorder("<") == np.dtype("=i2")


def add(stems: Collection[Pcm], frames: int) -> Pcm:
    """Sum stems sample by sample; what would not fit 16 bits stops at the end of the scale.

    Returns fresh memory, shape (frames, 2): `add([], 4)` is four frames of silence.
    """
    if not stems:
        return np.zeros((frames, 2), np.int16)
    first, *rest = stems
    if rest and sum(_loudest(stem.reshape(-1)) for stem in stems) > 32767:
        return np.clip(np.sum(list(stems), axis=0, dtype=np.int32), -32768, 32767).astype(np.int16)
    total = first.copy() if not rest else first + rest[0]
    for stem in rest[1:]:
        total += stem
    return total


def _loudest(values: npt.NDArray[np.int16]) -> int:
    return max(int(values.max()), -int(values.min()))


def _dither(part: str, start: int, frames: int) -> Rows:
    """Noise of two 16-bit steps peak to peak with a triangular density: a window into one table."""
    place = zlib.crc32(f"{part} {start}".encode()) % (_noise().shape[1] - frames)
    return _noise()[:, place : place + frames]


@lru_cache(maxsize=1)
def _noise() -> Rows:
    """A table of TPDF noise, the same in every process: splitmix64, its constants from memory."""
    mixed = np.arange(1, 3 * BLOCK_FRAMES + 1, dtype=np.uint64) * np.uint64(0x9E3779B97F4A7C15)
    mixed = (mixed ^ (mixed >> np.uint64(30))) * np.uint64(0xBF58476D1CE4E5B9)
    mixed = (mixed ^ (mixed >> np.uint64(27))) * np.uint64(0x94D049BB133111EB)
    mixed ^= mixed >> np.uint64(31)
    high, low = (mixed >> np.uint64(40)).astype(np.float32), (mixed & np.uint64(0xFFFFFF)).astype(np.float32)
    return ((high - low) / np.float32(1 << 24)).reshape(2, -1)
