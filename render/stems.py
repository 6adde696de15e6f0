"""The hits of a track as sound: each at its nearest sample, choked where the hat closes, block by block.

A stem is what one part plays. Blocks lie on a fixed grid from the track's start, so a stem comes out the same to the
bit whatever else sounds, and however long the track is, only one block and the hits sounding in it are in memory.
"""

import zlib
from collections import defaultdict
from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from grooves.kit import INSTRUMENTS
from grooves.performance import Performance
from render.hits import TAIL_DB, Kit, Sound

Pcm = npt.NDArray[np.int16]  # (frames, 2)

BLOCK_FRAMES = 1 << 15
_RIDE = INSTRUMENTS["ride"].key
_CHOKES = {instrument.key: instrument.choke for instrument in INSTRUMENTS.values() if instrument.choke}
# How fast a choked hat dies: FluidSynth releases a voice of the same exclusive class at about this slope
# (measured; nearest of several slopes and of a hard cut, which clicks).
CHOKE_DB_PER_SECOND = 105.0
_NEVER = -1


@dataclass(frozen=True)
class Take:
    """What one sound file plays: a performance at its velocities, or only some of its parts (a stem)."""

    performance: Performance
    velocities: tuple[int, ...]
    only: frozenset[str] | None = None  # parts that sound; None: all


class Strike(NamedTuple):
    """One hit in frames; `choked_after` frames the hat closes on it, -1 never."""

    frame: int
    key: int
    velocity: int
    choked_after: int = _NEVER


Strikes = tuple[Strike, ...]
Wave = Callable[[int, int, int], tuple[Sound, float]]  # key, velocity, choked_after → recording and gain


def whole_frames(performance: Performance, rate: int) -> int:
    """Frames from the first downbeat to the last barline: the length of a loop."""
    return round(performance.length_seconds * rate)


def take_frames(take: Take, kit: Kit, wrap: bool) -> int:
    """Frames of a take's file: to the last barline, and as long again as the ride rings unless it is a loop.

    The ride's ring is added whoever plays, so tracks of one lesson have one length and can be subtracted.
    """
    whole = whole_frames(take.performance, kit.rate)
    return whole if wrap else whole + len(kit.wave(_RIDE, 127)[0])


def strikes_by_part(take: Take, rate: int, wrap: bool) -> dict[str, Strikes]:
    """The hits of each part in order of time, at the sample nearest to their onset (a half goes to the even one).

    A hat hit is choked by the next hit on any hat in the same performance, also of a part that `only` leaves out.
    In a loop (`wrap`) the last hits are choked by the first, and every hit sounds in each turn it reaches into.
    """
    performance, velocities = take.performance, take.velocities
    frames = [round(hit.onset_seconds * rate) for hit in performance.hits]
    if not wrap:
        frames = [max(frame, 0) for frame in frames]
    chokes = _chokes(performance, frames, whole_frames(performance, rate) if wrap else None)
    parts: dict[str, list[Strike]] = defaultdict(list)
    for number, (hit, frame, velocity) in enumerate(zip(performance.hits, frames, velocities, strict=True)):
        if take.only is None or hit.part in take.only:
            parts[hit.part].append(Strike(frame, hit.key, velocity, chokes.get(number, _NEVER)))
    return {part: tuple(sorted(strikes)) for part, strikes in parts.items()}


def _chokes(performance: Performance, frames: Sequence[int], loop_frames: int | None) -> dict[int, int]:
    """After how many frames each choked hit is choked, by its number."""
    groups: dict[str, list[tuple[int, int]]] = defaultdict(list)
    for number, (hit, frame) in enumerate(zip(performance.hits, frames, strict=True)):
        if hit.key in _CHOKES:
            groups[_CHOKES[hit.key]].append((frame, number))
    chokes: dict[int, int] = {}
    for group in groups.values():
        moments = sorted({frame for frame, _ in group})
        after = dict(pairwise(moments))
        if loop_frames is not None:
            after[moments[-1]] = moments[0] + loop_frames
        chokes |= {number: after[frame] - frame for frame, number in group if frame in after}
    return chokes


def kit_waves(kit: Kit) -> Wave:
    """Recordings of a kit, with the end of a choked hit faded: `kit_waves(kit)(46, 90, 22050)`."""

    @lru_cache(maxsize=4096)
    def wave(key: int, velocity: int, choked_after: int) -> tuple[Sound, float]:
        sound, gain = kit.wave(key, velocity)
        return (sound if choked_after == _NEVER else choked(sound, choked_after, kit.rate)), gain

    return wave


def choked(sound: Sound, after: int, rate: int) -> Sound:
    """A hit that the hat closes on after some frames: `choked(hit, 22050, 44100)`."""
    if after >= len(sound):
        return sound
    last = min(len(sound), after + round(-TAIL_DB / CHOKE_DB_PER_SECOND * rate))
    fade = 10 ** (-CHOKE_DB_PER_SECOND / 20 / rate * np.arange(last - after))
    cut = sound[:last].copy()
    cut[after:] *= fade.astype(np.float32)[:, None]
    return cut


class Stem:
    """Strikes as sound, one block after the other: `Stem(strikes, wave).block(0, 32768)`."""

    def __init__(self, strikes: Strikes, wave: Wave, scale: float = 1.0, loop_frames: int | None = None) -> None:
        """`scale` multiplies all of it; with `loop_frames` what rings past that length sounds at the start."""
        self._wave, self._scale = wave, scale
        self._waiting = list(reversed(_turns(strikes, wave, loop_frames) if loop_frames else strikes))
        self._sounding: list[tuple[int, Sound, np.float32]] = []

    def block(self, start: int, frames: int, ground: Sound | None = None) -> Sound | None:
        """The next frames from a place on, added to `ground` (silence where none is given); None when silent."""
        end = start + frames
        while self._waiting and self._waiting[-1].frame < end:
            strike = self._waiting.pop()
            sound, gain = self._wave(strike.key, strike.velocity, strike.choked_after)
            self._sounding.append((strike.frame, sound, np.float32(gain * self._scale)))
        self._sounding = [voice for voice in self._sounding if voice[0] + len(voice[1]) > start]
        if not self._sounding:
            return None
        total = np.zeros((frames, 2), np.float32) if ground is None else ground.copy()
        product = np.empty_like(total)
        for at, sound, loudness in self._sounding:
            first, last = max(at - start, 0), min(at + len(sound) - start, frames)
            piece = sound[first + start - at : last + start - at]
            total[first:last] += np.multiply(piece, loudness, out=product[: last - first])
        return total


def _turns(strikes: Strikes, wave: Wave, loop_frames: int) -> list[Strike]:
    """Every strike in each earlier and later turn of the loop from which it reaches into this one."""
    turns: list[Strike] = []
    for strike in strikes:
        ring = len(wave(strike.key, strike.velocity, strike.choked_after)[0])
        frame = strike.frame % loop_frames
        while frame + ring > 0:
            turns.append(Strike(frame, strike.key, strike.velocity, strike.choked_after))
            frame -= loop_frames
    return sorted(turns)


def quantized(stem: Stem, part: str, start: int, frames: int) -> Pcm | None:
    """The next block of a stem in 16 bits with its own TPDF dither; None when silent.

    The dither depends on the part and the place only, never on who else plays: stems add up to the track exactly.
    """
    sound = stem.block(start, frames, _dither(part, start)[:frames])
    if sound is None:
        return None
    np.rint(sound, out=sound)
    np.clip(sound, -32768, 32767, out=sound)
    return sound.astype(np.int16)


def _dither(part: str, start: int) -> Sound:
    """Noise of two 16-bit steps peak to peak with a triangular density: a window into one table."""
    place = zlib.crc32(f"{part} {start}".encode()) % (3 * BLOCK_FRAMES)
    return _noise()[place : place + BLOCK_FRAMES]


@lru_cache(maxsize=1)
def _noise() -> Sound:
    """A table of TPDF noise, the same in every process: splitmix64, its constants from memory."""
    mixed = np.arange(1, 4 * BLOCK_FRAMES * 2 + 1, dtype=np.uint64) * np.uint64(0x9E3779B97F4A7C15)
    mixed = (mixed ^ (mixed >> np.uint64(30))) * np.uint64(0xBF58476D1CE4E5B9)
    mixed = (mixed ^ (mixed >> np.uint64(27))) * np.uint64(0x94D049BB133111EB)
    mixed ^= mixed >> np.uint64(31)
    high, low = (mixed >> np.uint64(40)).astype(np.float32), (mixed & np.uint64(0xFFFFFF)).astype(np.float32)
    return ((high - low) / np.float32(1 << 24)).reshape(-1, 2)


def add(stems: Collection[Pcm], frames: int) -> Pcm:
    """Sum stems sample by sample; what would not fit 16 bits stops at the end of the scale."""
    if not stems:
        return np.zeros((frames, 2), np.int16)
    first, *rest = stems
    if not rest:
        return first
    if sum(max(int(stem.max()), -int(stem.min())) for stem in stems) > 32767:
        return np.clip(np.sum(list(stems), axis=0, dtype=np.int32), -32768, 32767).astype(np.int16)
    total = first + rest[0]
    for stem in rest[1:]:
        total += stem
    return total
