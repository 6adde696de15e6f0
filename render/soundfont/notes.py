"""Notes: a pitched sound of a soundfont, recorded once for each key, velocity layer and class of length.

A recording is of a key that is held; where a note lets go of its key, the recording dies away as FluidSynth lets it
die, at a slope measured on every eighth key. So notes of any length share one recording, and end on FluidSynth's blocks
of 64 frames. Inside a layer velocity is a gain, 40·log10(v) (DLS Level 1 and SoundFont 2.04, section 8.4.1), from the
nearest velocity that is recorded, every sixteenth; a filter that follows velocity is off by at most half of that. Where
there is one layer and velocity is a pure gain, one recording serves all.
"""

import math
import time
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Protocol

import numpy as np

from grooves.errors import LessonError
from render.soundfont.entries import GAINS, RELEASE, SAMPLE, Kind, Table
from render.soundfont.recording import (
    LONGEST_SECONDS,
    LOUDEST,
    SILENT_PEAK,
    TAIL_DB,
    Sample,
    Sound,
    crawls,
    heard_frames,
    packed,
    peak_of,
    prime,
    strike,
    unpacked,
)
from render.soundfont.sf2 import Preset, Range
from render.soundfont.synth import BLOCK, Synth

RELEASED_DB = 70.0  # how far below a note its release is mixed; what lies below is lost under any other sound, by ear
_STEP = 16  # between the velocities that are recorded
_SOFT = 48  # against this one it is seen whether velocity is a pure gain
_PURE_DB = -70.0  # two recordings closer than this are one sound at two gains
_LAW_DB = 0.1  # how near to the law; FluidSynth looks it up in a table
_COMPARED_SECONDS = 0.1
_SHORTEST_CLASS_SECONDS = 1.5  # most notes of a lesson share it, and are recorded once
_MEASURED_EVERY = 8  # keys between those whose release is measured: it hardly differs from key to key
_SHORT_SECONDS, _WATCHED_SECONDS = 0.25, 0.3  # how long the key is held then, and how long its release is watched
_FROM_DB, _TO_DB = -3.0, -50.0  # the part of a release that its slope is read from
_SLOPES = (8.0, 20000.0)  # dB a second: the slowest release that is mixed whole, the fastest
_CHUNK_BLOCKS = 256
_SIDE_DECIMALS = 6  # keys that are panned alike are mixed together: as near as two channels that count as one signal


class Keep(Protocol):
    """Memory first, then disk, then made: a kit's `keep`."""

    def __call__(self, kind: Kind, name: str, make: Callable[[], Table]) -> Table:
        """Return what is kept under a name."""
        ...


@dataclass(frozen=True)
class SampledNote:
    """A recording for the mixer, the gain that makes it the note, and how it ends."""

    sample: Sample
    gain: float
    held_frames: int  # from its onset to where the key goes up, whole blocks of 64
    release_db_per_second: float


@dataclass
class Instrument:
    """A pitched sound of a soundfont: `kit.instrument(32).note(40, 90, 345).sample` is an E2 of the acoustic bass."""

    path: Path
    preset: Preset
    rate: int
    keep: Keep
    running: Callable[[], Synth]
    _samples: dict[str, Sample] = field(default_factory=dict)
    _ranges: dict[int, tuple[Range, ...]] = field(default_factory=dict)
    _recorded: dict[tuple[int, int], tuple[int, float]] = field(default_factory=dict)
    _slopes: dict[tuple[int, int], float] = field(default_factory=dict)

    def note(self, key: int, velocity: int, blocks: int) -> SampledNote:
        """One note whose key is held for so many blocks of 64 frames.

        Raises LessonError where there is no sound on that key or velocity.
        """
        recorded, gain = self.recorded(key, velocity)
        slope = self._release(key, recorded)
        sample = self._sample(key, recorded, blocks * BLOCK / self.rate + RELEASED_DB / slope)
        return SampledNote(sample, gain, blocks * BLOCK, slope)

    def held(self, key: int, velocity: int) -> tuple[Sample, float]:
        """The first 1.5 seconds of a note whose key stays down, and its gain: `instrument.held(40, 90)`.

        Raises LessonError as `note` does.
        """
        recorded, gain = self.recorded(key, velocity)
        return self._sample(key, recorded, 1.0), gain

    def recorded(self, key: int, velocity: int) -> tuple[int, float]:
        """The velocity whose recording plays a note, and at what gain: `instrument.recorded(40, 90)`."""
        if (key, velocity) not in self._recorded:
            self._recorded[key, velocity] = self._choose_recording(key, velocity)
        return self._recorded[key, velocity]

    def _choose_recording(self, key: int, velocity: int) -> tuple[int, float]:
        layer = next(((low, high) for low, high in self._layers(key) if low <= velocity <= high), None)
        if layer is None or not 1 <= velocity <= 127:
            where = f"velocity {velocity} of key" if self.preset.has(key) else "key"
            raise LessonError(
                f"{self.path}: its '{self.preset.name}' has no sound on {where} {key}; choose another soundfont"
            )
        if self._is_pure_gain(key):
            return LOUDEST, (velocity / LOUDEST) ** 2
        nearest, (low, high) = min(max(_STEP * round(velocity / _STEP), 1), LOUDEST), layer
        narrow = high - low < _STEP and self.preset.has(key, nearest)  # such layers share the nearest recording
        at = nearest if narrow else min(max(nearest, low), high)
        return at, (velocity / at) ** 2

    def _layers(self, key: int) -> tuple[Range, ...]:
        if key not in self._ranges:
            self._ranges[key] = self.preset.layers(key)
        return self._ranges[key]

    def _is_pure_gain(self, key: int) -> bool:
        """Say whether velocity changes only how loud a key sounds, and by the published law."""
        if len(self._layers(key)) > 1:
            return False
        near = _nearest_measured(key)
        there = near if self.preset.zones_of(near) == self.preset.zones_of(key) else key
        name = f"program{self.preset.program}-{there}"
        return len(self.keep(GAINS, name, lambda: self._measured_gains(there))) > 1

    def _measured_gains(self, key: int) -> Table:
        loud, soft = (self._record(key, velocity, _COMPARED_SECONDS) for velocity in (LOUDEST, _SOFT))
        frames, law = min(len(loud), len(soft)), (np.arange(LOUDEST + 1) / LOUDEST) ** 2
        loud, soft = loud[:frames].astype(np.float64), soft[:frames].astype(np.float64)
        gain = float(np.vdot(loud, soft) / np.vdot(loud, loud))
        rest = soft - gain * loud
        by_law = abs(20 * math.log10(max(gain, SILENT_PEAK) / law[_SOFT])) < _LAW_DB
        pure = by_law and float(np.vdot(rest, rest)) < 10 ** (_PURE_DB / 10) * float(np.vdot(soft, soft))
        return (law if pure else np.zeros(1)).astype(np.float32)[:, None]

    def _sample(self, key: int, velocity: int, seconds: float) -> Sample:
        """A recording of the class of length that holds so many seconds: one and a half, three, six and so on."""
        longer = max(math.ceil(math.log2(seconds / _SHORTEST_CLASS_SECONDS)), 0)
        length = min(_SHORTEST_CLASS_SECONDS * 2**longer, LONGEST_SECONDS)
        name = f"program{self.preset.program}-{key}-{velocity}-{length * 1000:.0f}"
        if name not in self._samples:
            kept = self.keep(SAMPLE, name, lambda: packed(self._record(key, velocity, length), self.rate // 2))
            one = unpacked(name, kept)
            left, right = (round(side, _SIDE_DECIMALS) for side in one.sides)
            self._samples[name] = replace(one, sides=(left, right))
        return self._samples[name]

    def _record(self, key: int, velocity: int, seconds: float) -> Sound:
        synth, began, blocks = self._chosen(), time.thread_time(), math.ceil(seconds * self.rate / BLOCK)
        prime(synth, key, velocity)
        synth.on(key, velocity)
        sound = np.empty((blocks * BLOCK, 2), np.float32)
        for first in range(0, blocks, _CHUNK_BLOCKS):
            synth.fill(sound[first * BLOCK : (first + _CHUNK_BLOCKS) * BLOCK])
            if crawls(began, first, self.rate):
                raise self._bad(key, "takes FluidSynth too long to play")
        synth.off(key)
        synth.hush()
        peak = float(peak_of(sound))
        if peak < SILENT_PEAK or not np.isfinite(peak):
            raise self._bad(key, "is silent")
        return sound[: heard_frames(sound, TAIL_DB)]

    def _bad(self, key: int, what: str) -> LessonError:
        return LessonError(f"{self.path}: the sample of '{self.preset.name}' for key {key} {what}; choose another")

    def _chosen(self) -> Synth:
        synth = self.running()
        synth.choose(self.preset.bank, self.preset.program)
        return synth

    def _release(self, key: int, velocity: int) -> float:
        """How fast a recording dies once its key is up, in dB a second: as the nearest eighth key, if that sounds."""
        if (key, velocity) not in self._slopes:
            near = _nearest_measured(key)
            there = near if any(low <= velocity <= high for low, high in self._layers(near)) else key
            name = f"program{self.preset.program}-{there}-{velocity}"
            kept = self.keep(RELEASE, name, lambda: self._measured_release(there, velocity))
            self._slopes[key, velocity] = float(kept[0, 0])
        return self._slopes[key, velocity]

    def _measured_release(self, key: int, velocity: int) -> Table:
        """The slope of a short note against a long one, after the short one's end."""
        held, watched = (round(seconds * self.rate / BLOCK) for seconds in (_SHORT_SECONDS, _WATCHED_SECONDS))
        whole = self._sample(key, velocity, 1.0)  # most notes are of its class
        long = _block_powers(whole.beginning((held + watched) * BLOCK)[held * BLOCK :])
        synth = self._chosen()
        prime(synth, key, velocity)
        strike(synth, key, velocity, held)
        short = _block_powers(synth.render(watched))
        synth.hush()
        slope = round(_slope(short[: len(long)], long, self.rate))  # so that many keys die at one
        return np.array([[slope]], np.float32)


def _nearest_measured(key: int) -> int:
    return _MEASURED_EVERY * round(key / _MEASURED_EVERY)


def _block_powers(sound: Sound) -> "np.ndarray[tuple[int], np.dtype[np.float64]]":
    blocks = sound[: len(sound) // BLOCK * BLOCK].reshape(-1, 2 * BLOCK).astype(np.float64)
    powers: np.ndarray[tuple[int], np.dtype[np.float64]] = np.einsum("ij,ij->i", blocks, blocks)
    return powers


def _slope(
    short: "np.ndarray[tuple[int], np.dtype[np.float64]]",
    long: "np.ndarray[tuple[int], np.dtype[np.float64]]",
    rate: int,
) -> float:
    """The slope through 0 that is nearest to the powers' ratios, block by block."""
    times = (np.arange(len(long)) + 0.5) * BLOCK / rate
    heard = (long > 0) & (short > 0)
    ratios_db = 10 * np.log10(short[heard] / long[heard])
    times = times[heard]
    used = (ratios_db < _FROM_DB) & (ratios_db > _TO_DB)
    if not used.any():
        return _SLOPES[1] if not len(ratios_db) or ratios_db[-1] <= _TO_DB else _SLOPES[0]
    slope = -float(ratios_db[used] @ times[used]) / float(times[used] @ times[used])
    return min(max(slope, _SLOPES[0]), _SLOPES[1])
