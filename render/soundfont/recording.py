"""Recordings: what the synthesizer plays, cut where it is no longer heard, as the mixer and the cache want it."""

import time
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from render.soundfont.entries import Table
from render.soundfont.synth import BLOCK, Synth

Sound = npt.NDArray[np.float32]  # (frames, 2)
Signal = npt.NDArray[np.float32]  # (values,): one channel, or left and right by turns

# A sound ends where it stays this far below its peak. The step of 16-bit audio lies at -90 dB of full scale; a mix that
# ends its hits there differs from FluidSynth's own rendering by -85 dB on the bundled soundfont, here by -102 dB.
TAIL_DB = -105.0
LOUDEST = 127
LONGEST_SECONDS = 20.0  # a looped sample that never fades is cut here
SILENT_PEAK = 1e-8  # -160 dB of full scale; the softest stroke on a soft sample stays above -130 dB
_SLOWEST = 8  # times quicker than it sounds; FluidSynth plays a whole sample hundreds of times quicker
_SEARCHED_FRAMES = 4096  # at once, from its end, for where a sound is no longer heard
_SAME_SHAPE = 1e-6  # two channels that differ by less than this, against the peak, are one signal


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

    @property
    def power(self) -> float:
        """The power of both sides together against that of `unpanned`: 1.0 for two channels."""
        return float(np.square(self.sides).sum()) if self.channels == 1 else 1.0

    def unpanned(self, frames: int) -> Sound:
        """Its first frames as they are kept: `sample.unpanned(1000).shape` is (1000, 1) or (1000, 2)."""
        return self.values[: frames * self.channels].reshape(-1, self.channels)

    def sound(self) -> Sound:
        """Both channels, shape (frames, 2)."""
        return self.beginning(self.frames)

    def beginning(self, frames: int) -> Sound:
        """Both channels of its first frames: `sample.beginning(1000).shape` is (1000, 2)."""
        values = self.unpanned(frames)
        return values if self.channels == 2 else panned(values[:, 0], self.sides)


def panned(values: Signal, sides: tuple[float, float]) -> Sound:
    """One channel on two sides: `panned(np.ones(3, np.float32), (1.0, 0.5)).shape` is (3, 2)."""
    sound = np.empty((len(values), 2), np.float32)
    for side, worth in enumerate(sides):  # thirty times as fast as one product of a column and a row
        np.multiply(values, np.float32(worth), out=sound[:, side])
    return sound


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


def strike(synth: Synth, key: int, velocity: int, blocks: int) -> Sound:
    """Play a key for so many blocks of 64 frames and let it go: `strike(synth, 51, 90, 69)`, shape (frames, 2)."""
    synth.on(key, velocity)
    sound = synth.render(blocks)
    synth.off(key)
    return sound


def prime(synth: Synth, key: int, velocity: int) -> None:
    """Throw a first stroke away: FluidSynth's voices fade in from the gain of the last sound that they played."""
    strike(synth, key, velocity, 2)
    synth.hush()


def crawls(began: float, blocks: int, rate: int) -> bool:
    """Say whether FluidSynth takes too long, as it does through a tiny loop at a pitch far too high.

    `began` is this thread's processor time when it began to play so many blocks.
    """
    return time.thread_time() - began > 1 + blocks * BLOCK / rate / _SLOWEST


def heard_frames(sound: Sound, floor_db: float) -> int:
    """Frames until a sound stays below a floor in dB against its peak: `heard_frames(hit, -60.0)`."""
    floor = peak_of(sound) * np.float32(10 ** (floor_db / 20))
    for start in reversed(range(0, len(sound), _SEARCHED_FRAMES)):  # most of it is heard
        heard = np.flatnonzero(strength(sound[start : start + _SEARCHED_FRAMES]) > floor)
        if len(heard):
            return start + int(heard[-1]) + 1
    return 0


def peak_of(sound: Sound) -> np.float32:
    """The largest magnitude in a sound: `peak_of(hit)`."""
    return np.float32(max(sound.max(), -sound.min()))


def strength(sound: Sound) -> npt.NDArray[np.float32]:
    """The larger of the channels' magnitudes in each frame: `strength(hit).argmax()` is where its peak is."""
    magnitude: npt.NDArray[np.float32] = np.maximum(np.abs(sound[:, 0]), np.abs(sound[:, -1]))
    return magnitude
