"""The highest true peak of tracks, found without rendering them whole.

The sum of the hits' envelopes bounds the true peak of each 64 frames; only where that bound is highest is the sound
itself looked at, four times oversampled (ITU-R BS.1770 annex 2), until no bound left is above the highest peak found.
"""

from collections.abc import Sequence
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from render.hits import Kit
from render.loudness import oversampled
from render.stems import CHOKE_DB_PER_SECOND, Stem, Voice, Wave, kit_waves
from render.strikes import NEVER, Strikes, Take, strikes_by_part, whole_frames

_WINDOW = 64  # frames
_CONTEXT = 32  # frames on either side that the interpolation looks at
_LOOK = _WINDOW + 2 * _CONTEXT
_ATTACK_SECONDS = 0.25  # a hit's envelope is oversampled so far; its tail is taken at 1.5 times its samples
_FLOOR_DB = -70.0  # what lies this far below a hit's peak does not count
_BATCH = 64  # windows looked at together

Bounds = npt.NDArray[np.float32]  # by window of 64 frames


def highest_peak(takes: Sequence[Take], kit: Kit, wrap: bool = False) -> float:
    """The highest true peak of several takes before any gain, 1.0 at full scale: `highest_peak([take], kit)`."""
    waves = kit_waves(kit)
    stems: dict[tuple[str, Strikes, int | None], tuple[Stem, Bounds]] = {}
    best = 0.0
    for take in takes:
        loop = whole_frames(take.performance, kit.rate) if wrap else None
        keys = [(part, strikes, loop) for part, strikes in strikes_by_part(take, kit.rate, wrap).items()]
        for key in keys:
            if key not in stems:
                stem = Stem(key[1], waves, kit.rate, loop_frames=loop)
                stems[key] = stem, _bounds(stem)
        best = _peak_above([stems[key] for key in keys], best)
    return best


def _peak_above(stems: Sequence[tuple[Stem, Bounds]], best: float) -> float:
    """The highest true peak of a sum of stems, or `best` where none of it is higher; most promising places first."""
    bound = np.zeros(max((len(bounds) for _, bounds in stems), default=0), np.float32)
    for _, bounds in stems:
        bound[: len(bounds)] += bounds
    promising = np.flatnonzero(bound > best)
    order = promising[np.argsort(-bound[promising])]
    for first in range(0, len(order), _BATCH):
        batch = order[first : first + _BATCH]
        if bound[batch[0]] <= best:
            break
        sound = np.sum([_windows(stem, batch) for stem, _ in stems], axis=0)
        best = max(best, float(np.abs(sound @ _interpolation()).max()))
    return best


def _windows(stem: Stem, windows: npt.NDArray[np.int64]) -> npt.NDArray[np.float32]:
    """The sound of some windows with their context, shape (windows, 2, frames)."""
    total = np.zeros((len(windows), 2, _LOOK), np.float32)
    by_wave: dict[int, list[tuple[int, Voice]]] = {}
    for number, window in enumerate(windows.tolist()):
        start = window * _WINDOW - _CONTEXT
        for voice in stem.sounding(start, start + _LOOK):
            by_wave.setdefault(id(voice.wave), []).append((number, voice))
    for pairs in by_wave.values():
        places = np.array([number for number, _ in pairs])
        sound = _cut_out([voice for _, voice in pairs], windows[places] * _WINDOW - _CONTEXT, stem.rate)
        firsts = np.flatnonzero(np.diff(places, prepend=-1))
        total[places[firsts]] += np.add.reduceat(sound, firsts, axis=1).transpose(1, 0, 2)
    return total


def _cut_out(voices: Sequence[Voice], starts: npt.NDArray[np.int64], rate: int) -> npt.NDArray[np.float32]:
    """From each of some voices of one wave the frames from a place on, shape (2, voices, frames)."""
    wave = voices[0].wave
    inside = (starts - np.array([voice.start for voice in voices]))[:, None] + np.arange(_LOOK)
    gains = np.array([voice.gain for voice in voices], np.float32)[:, None]
    chokes = np.array([voice.end if voice.choke == NEVER else voice.choke for voice in voices])
    dying = inside - (chokes - np.array([voice.start for voice in voices]))[:, None]
    if (dying > 0).any():
        gains = gains * 10 ** (np.clip(dying, 0, None) * np.float32(-CHOKE_DB_PER_SECOND / 20 / rate))
    rows = np.pad(wave.rows, ((0, 0), (_LOOK, _LOOK)))[:, inside + _LOOK] * gains
    return rows * np.array(wave.sides, np.float32)[:, None, None]


@lru_cache(maxsize=1)
def _interpolation() -> npt.NDArray[np.float32]:
    """From a window with its context to the window at four times the rate: a Kaiser-windowed sinc."""
    times = np.arange(_WINDOW * 4) / 4 + _CONTEXT
    apart = times[None, :] - np.arange(_LOOK)[:, None]
    window = np.i0(8.0 * np.sqrt(np.clip(1 - (apart / _CONTEXT) ** 2, 0, None))) / np.i0(8.0)
    kernel: npt.NDArray[np.float32] = (np.sinc(apart) * window).astype(np.float32)
    return kernel


def _bounds(stem: Stem) -> Bounds:
    """For each window of 64 frames, a bound of the stem's true peak: the sum of the envelopes of its hits."""
    envelopes: dict[int, Bounds] = {}
    voices = [voice for voice in stem.voices if voice.end > 0]
    bound = np.zeros(max((voice.end for voice in voices), default=0) // _WINDOW + 2, np.float32)
    for voice in voices:
        if (envelope := envelopes.get(id(voice.wave))) is None:
            envelope = envelopes[id(voice.wave)] = _envelope(voice.wave, stem.rate)
        first = voice.start // _WINDOW
        piece = envelope[max(-first, 0) : max(len(bound) - first, 0)]
        bound[max(first, 0) : max(first, 0) + len(piece)] += voice.gain * piece
    return bound


def _envelope(wave: Wave, rate: int) -> Bounds:
    """A bound of a hit's true peak in each window, wherever in a window it starts."""
    attack = round(_ATTACK_SECONDS * rate) // _WINDOW * _WINDOW
    strength = np.abs(wave.rows).max(axis=0) * np.float32(1.5)
    fine = np.abs(oversampled(wave.rows[:, :attack].T)).max(axis=1)
    strength[:attack] = fine.reshape(-1, 4).max(axis=1)
    padded = np.pad(strength, (0, -len(strength) % _WINDOW))
    peaks = padded.reshape(-1, _WINDOW).max(axis=1)
    peaks = peaks[: int(np.flatnonzero(peaks > peaks.max() * 10 ** (_FLOOR_DB / 20))[-1]) + 1]
    bound: Bounds = np.maximum(np.append(peaks, 0), np.insert(peaks, 0, 0))
    return bound
