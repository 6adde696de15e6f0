"""Samples: single drum hits recorded from a soundfont, once for each key and velocity that sounds different.

On most keys velocity is a pure gain: one recording at velocity 127 and a table of 127 gains say it all. Keys with
velocity layers, or with a filter that follows velocity, are recorded at each velocity asked for.

A hit is recorded after a throw-away hit at the same velocity: FluidSynth's voices fade in from the gain of the last
sound they played, so the first block of a fresh synthesizer would come out weaker.
"""

import math
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import numpy.typing as npt

from grooves.errors import LessonError
from grooves.kit import INSTRUMENTS
from render.soundfont.cache import Cache, cache_root, kit_cache, trim
from render.soundfont.entries import GAINS, SAMPLE, Kind, Table
from render.soundfont.sf2 import Preset, Range
from render.soundfont.synth import BLOCK, HIT_SECONDS, Synth

Sound = npt.NDArray[np.float32]  # (frames, 2)
Signal = npt.NDArray[np.float32]  # (values,): one channel, or left and right by turns

# A hit ends where it stays this far below its peak. The step of 16-bit audio lies at -90 dB of full scale; a mix that
# ends its hits there differs from FluidSynth's own rendering by -85 dB on the bundled soundfont, here by -102 dB.
TAIL_DB = -105.0
_LONGEST_SECONDS = 20.0  # a looped sample that never fades is cut here
LOUDEST = 127
_PURE_DB = -70.0  # two recordings closer than this are one sound at two gains
_SWEEP_FRAMES = 1024  # enough to measure a gain on, past the onset
_SLOWEST = 8  # times quicker than it sounds; FluidSynth plays a whole sample hundreds of times quicker
_LATEST_SECONDS = 0.5  # a hit that only comes later than this is not worth 127 measurements
_SILENT_PEAK = 1e-8  # -160 dB of full scale; the softest stroke on a soft sample stays above -130 dB
_CHUNK_BLOCKS = 64
_LONG_SECONDS = 1.0  # hits that ring for longer overlap, and are worth a look whether their channels are one signal
_SAME_SHAPE = 1e-6  # two channels that differ by less than this, against the peak, are one signal
_TRIM_EVERY = 256  # looking through the whole cache takes longer than recording a hit


@dataclass(frozen=True, eq=False)
class Sample:
    """A recording as the mixer wants it: left and right by turns, or one channel that is only panned."""

    name: str  # its key and the velocity it was recorded at: "51-127"
    values: Signal
    channels: int
    sides: tuple[float, float]  # what one channel is worth left and right; (1, 1) for two

    @property
    def frames(self) -> int:
        """Its length."""
        return len(self.values) // self.channels

    def sound(self) -> Sound:
        """Both channels, shape (frames, 2)."""
        frames = self.values.reshape(-1, self.channels)
        return frames if self.channels == 2 else frames * np.array(self.sides, np.float32)


def packed(sound: Sound, long_frames: int) -> Table:
    """A recording as an entry of the kind SAMPLE: `packed(hit, 44100).shape` is (frames, 2), or (frames + 2, 1).

    The second where both channels are one signal that is only panned and long enough to overlap: to mix that and pan
    the sum takes half the time.
    """
    if len(sound) < long_frames:
        return sound
    highest = int(np.abs(sound).argmax())
    louder = highest % 2
    one, other = sound[:, louder], sound[:, 1 - louder]
    ratio = float(other[highest // 2] / one[highest // 2])
    if np.abs(other - np.float32(ratio) * one).max() > _SAME_SHAPE * abs(float(one[highest // 2])):
        return sound
    return np.concatenate([(ratio, 1.0) if louder else (1.0, ratio), one], dtype=np.float32)[:, None]


def unpacked(name: str, kept: Table) -> Sample:
    """The reverse of `packed`: `unpacked("51-127", packed(hit, 44100)).sound()` is the hit."""
    values = kept.reshape(-1)
    if kept.shape[1] == 2:
        return Sample(name, values, 2, (1.0, 1.0))
    return Sample(name, values[2:], 1, (float(values[0]), float(values[1])))


@dataclass
class DrumKit:
    """A soundfont's drum kit: `open_kit(path).hit(51, 90)`; recordings are made when first asked for, then kept."""

    path: Path
    preset: Preset
    rate: int
    cache: Cache | None
    _synth: Synth | None = None
    _kept: dict[tuple[Kind, str], Table] = field(default_factory=dict)
    _stored: int = 0
    _ranges: dict[int, tuple[Range, ...]] = field(default_factory=dict)
    _samples: dict[tuple[int, int], Sample] = field(default_factory=dict)

    @classmethod
    def open(cls, path: Path, preset: Preset, rate: int, use_cache: bool) -> "DrumKit":
        """Open a kit without striking anything yet."""
        return cls(path, preset, rate, kit_cache(path, preset.program, rate) if use_cache else None)

    def hit(self, key: int, velocity: int) -> Sound:
        """One stroke from its onset to the end of its tail: `kit.hit(51, 90)`, shape (frames, 2), float32.

        Raises LessonError where the kit has no sound on that key or velocity.
        """
        sample, gain = self.sample(key, velocity)
        return sample.sound() if gain == 1.0 else sample.sound() * np.float32(gain)

    def sample(self, key: int, velocity: int) -> tuple[Sample, float]:
        """A recording for the mixer, and the gain that makes it the stroke of that velocity.

        Example: `kit.sample(51, 90)[0].name` is "51-127". Raises LessonError as `hit` does.
        """
        recorded, gain = self._stroke(key, velocity)
        return self._recorded(key, recorded), gain

    def _stroke(self, key: int, velocity: int) -> tuple[int, float]:
        """The velocity whose recording plays a stroke, and at what gain."""
        self._check(key, velocity)
        gains = self._gains(key)
        return (velocity, 1.0) if gains is None else (LOUDEST, float(gains[velocity]))

    def is_pure_gain(self, key: int) -> bool:
        """Say whether velocity changes only how loud a key sounds, not its colour."""
        self._check(key, LOUDEST)
        return self._gains(key) is not None

    def beginning(self, key: int, velocity: int, seconds: float) -> Sound:
        """The first moments of a stroke, recorded afresh: for measuring, where the whole tail is not needed."""
        self._check(key, velocity)
        blocks = round(seconds * self.rate / BLOCK)
        return _primed(self._running(), key, velocity, blocks, min(blocks, held_blocks(self.rate)))

    def close(self) -> None:
        """Stop the synthesizer, if one was needed, and see to it that what it played is kept."""
        if self.cache:
            self.cache.settle()
        if self._synth is not None:
            self._synth.close()
            self._synth = None

    def _check(self, key: int, velocity: int) -> None:
        if not 1 <= velocity <= 127:
            raise LessonError(f"velocity: {velocity} is out of range; a stroke has 1 to 127")
        if not any(low <= velocity <= high for low, high in self._layers(key)):
            where = f"velocity {velocity} of key" if self.preset.has(key) else "key"
            raise LessonError(
                f"{self.path}: its kit '{self.preset.name}' has no sound on {where} {key} ({_instrument(key)}); "
                "choose another soundfont"
            )

    def _layers(self, key: int) -> tuple[Range, ...]:
        if key not in self._ranges:
            self._ranges[key] = self.preset.layers(key)
        return self._ranges[key]

    def _recorded(self, key: int, velocity: int) -> Sample:
        if (key, velocity) not in self._samples:
            long_frames = round(_LONG_SECONDS * self.rate)
            kept = self.keep(SAMPLE, f"{key}-{velocity}", lambda: packed(self._record(key, velocity), long_frames))
            self._samples[key, velocity] = unpacked(f"{key}-{velocity}", kept)
        return self._samples[key, velocity]

    def _gains(self, key: int) -> npt.NDArray[np.float32] | None:
        """Gain against velocity 127 for each velocity from 0 to 127; None where velocity changes more than that."""
        (low, high), *more = self._layers(key)
        if more or low > 1 or high < LOUDEST:
            return None
        gains = self.keep(GAINS, f"{key}", lambda: self._sweep(key))[:, 0]
        return gains if len(gains) == LOUDEST + 1 else None

    def keep(self, kind: Kind, name: str, make: Callable[[], Table]) -> Table:
        """Memory first, then disk, then made: `kit.keep(RING, "51", measure)`."""
        if (kind, name) not in self._kept:
            found = self.cache.load(kind, name) if self.cache else None
            if found is None:
                found = make()
                if self.cache:
                    self.cache.store(kind, name, found)
                    self._stored += 1
                    if self._stored % _TRIM_EVERY == 1:
                        trim(cache_root())
            found.flags.writeable = False
            self._kept[kind, name] = found
        return self._kept[kind, name]

    def _running(self) -> Synth:
        if self._synth is None:
            self._synth = Synth(self.path, self.preset.program, self.rate)
        return self._synth

    def _record(self, key: int, velocity: int) -> Sound:
        synth, began = self._running(), time.thread_time()
        _prime(synth, key, velocity)
        chunks = [_strike(synth, key, velocity, held_blocks(self.rate))]
        peak = float(np.abs(chunks[0]).max())
        while synth.sounding() and len(chunks) * _CHUNK_BLOCKS * BLOCK < _LONGEST_SECONDS * self.rate:
            chunks.append(synth.render(_CHUNK_BLOCKS))
            loudest = float(np.abs(chunks[-1]).max())
            peak = max(peak, loudest)
            if loudest < peak * 10 ** (TAIL_DB / 20):
                break
            self._check_pace(key, began, len(chunks) * _CHUNK_BLOCKS)
        synth.hush()
        return self._without_silence(np.concatenate(chunks), key)

    def _check_pace(self, key: int, began: float, blocks: int) -> None:
        """Raise LessonError where FluidSynth crawls, as it does through a tiny loop at a pitch far too high."""
        if time.thread_time() - began > 1 + blocks * BLOCK / self.rate / _SLOWEST:
            raise self._bad(key, "takes FluidSynth too long to play")

    def _without_silence(self, sound: Sound, key: int) -> Sound:
        peak = float(strength(sound).max())
        if peak < _SILENT_PEAK or not np.isfinite(peak):
            raise self._bad(key, "is silent")
        return sound[: heard_frames(sound, TAIL_DB)]

    def _bad(self, key: int, what: str) -> LessonError:
        return LessonError(
            f"{self.path}: its sample for key {key} ({_instrument(key)}) {what}; choose another soundfont"
        )

    def _sweep(self, key: int) -> Table:
        """Measure the gain of every velocity on the first moments of the hit; one zero row where it is no pure gain."""
        loudest = self._recorded(key, LOUDEST).sound()
        if _difference_db(self._record(key, 32), loudest) > _PURE_DB:
            return np.zeros((1, 1), np.float32)
        loud = strength(loudest)
        onset = int(np.argmax(loud > loud.max() / 2))
        if onset > _LATEST_SECONDS * self.rate:
            return np.zeros((1, 1), np.float32)
        blocks = (onset + _SWEEP_FRAMES) // BLOCK + 2
        began = time.thread_time()
        strokes = np.stack([self._settled(key, velocity, blocks, began) for velocity in range(1, LOUDEST + 1)])
        rows = strokes.reshape(LOUDEST, -1).astype(np.float64)
        if _powers(rows).min() < _SILENT_PEAK**2:  # some velocity is silent
            return np.zeros((1, 1), np.float32)
        gains = rows @ rows[-1] / (rows[-1] @ rows[-1])
        rest = rows - gains[:, None] * rows[-1]
        if (_powers(rest) > 10 ** (_PURE_DB / 10) * _powers(rows)).any():
            return np.zeros((1, 1), np.float32)
        return np.append(0, gains).astype(np.float32)[:, None]

    def _settled(self, key: int, velocity: int, blocks: int, began: float) -> Sound:
        """A stroke past its first block, in which the synthesizer fades in from the gain of an earlier sound."""
        sound = _strike(self._running(), key, velocity, blocks)[BLOCK:]
        self._running().hush()
        self._check_pace(key, began, velocity * blocks)
        return sound


def held_blocks(rate: int) -> int:
    """Blocks of 64 frames from note-on to note-off: `held_blocks(44100)` is 69."""
    return round(HIT_SECONDS * rate / BLOCK)


def _instrument(key: int) -> str:
    return " or ".join(name for name, instrument in INSTRUMENTS.items() if instrument.key == key) or "not in our kit"


def _strike(synth: Synth, key: int, velocity: int, blocks: int) -> Sound:
    synth.on(key, velocity)
    sound = synth.render(blocks)
    synth.off(key)
    return sound


def _prime(synth: Synth, key: int, velocity: int) -> None:
    _strike(synth, key, velocity, 2)
    synth.hush()


def _primed(synth: Synth, key: int, velocity: int, blocks: int, held: int | None = None) -> Sound:
    _prime(synth, key, velocity)
    sound = _strike(synth, key, velocity, held or blocks)
    if held is not None and blocks > held:
        sound = np.concatenate([sound, synth.render(blocks - held)])
    synth.hush()
    return sound


def _projection(sound: Sound, reference: Sound) -> float:
    """The gain that brings the reference nearest to a sound, in the least-squares sense."""
    wide = reference.astype(np.float64)
    return float(np.einsum("ij,ij->", wide, sound) / np.einsum("ij,ij->", wide, wide))


def _difference_db(sound: Sound, reference: Sound) -> float:
    """What is left of a sound once the reference at the nearest gain is taken away, against the sound."""
    frames = min(len(sound), len(reference))
    sound, reference = sound[:frames], reference[:frames]
    if not (sound.any() and reference.any()):
        return 0.0
    rest = sound - np.float32(_projection(sound, reference)) * reference
    return 10 * math.log10(max(_power(rest) / _power(sound), 1e-20))


def _power(sound: Sound) -> float:
    return float(np.einsum("ij,ij->", sound, sound))


def _powers(rows: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    powers: npt.NDArray[np.float64] = np.einsum("ij,ij->i", rows, rows)
    return powers


def heard_frames(sound: Sound, floor_db: float) -> int:
    """Frames until a sound stays below a floor in dB against its peak: `heard_frames(hit, -60.0)`."""
    loud = strength(sound)
    return int(np.flatnonzero(loud > loud.max() * 10 ** (floor_db / 20))[-1]) + 1


def strength(sound: Sound) -> npt.NDArray[np.float32]:
    """The larger of both channels' magnitudes in each frame: `strength(hit).max()` is its peak."""
    magnitude: npt.NDArray[np.float32] = np.maximum(np.abs(sound[:, 0]), np.abs(sound[:, 1]))
    return magnitude
