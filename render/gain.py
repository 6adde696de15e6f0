"""How loud a lesson's tracks are: one gain for all of them.

The full track is brought to -16 LUFS (ITU-R BS.1770) unless a true peak of any track would then pass -1 dBTP.
Peaks are found without rendering everything: the sum of the hits' envelopes bounds the true peak of each 64 frames,
and only where that bound is highest is the sound itself looked at, four times oversampled.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from grooves.mistake import Mistake
from render.hits import Kit, Sound
from render.loudness import gated_loudness, k_weighted, oversampled, step_powers
from render.stems import Rows, Stem, Wave, kit_waves
from render.strikes import Strikes, Take, strikes_by_part, whole_frames

TARGET_LUFS = -16.0  # ours, by ear
CEILING_DBTP = -1.0  # EBU R 128: maximum true peak
_MARGIN_DB = 0.05  # below the ceiling: dither, and meters that interpolate otherwise
_WINDOW = 64  # frames
_CONTEXT = 48  # frames on either side that the interpolation looks at
_ATTACK_SECONDS = 0.25  # a hit's envelope is oversampled so far; its tail is taken at 1.5 times its samples
_ENVELOPE_DB, _WEIGHTED_DB = -70.0, -45.0  # what lies this far below a hit's peak does not count
_BATCH = 16  # windows looked at together
_PIECE_SECONDS, _PIECES = 4, 20  # loudness of longer tracks is measured on that many pieces, spread evenly

Bounds = npt.NDArray[np.float32]  # by window of 64 frames


@dataclass(frozen=True)
class Gain:
    """How much louder all tracks of a lesson are than the recorded hits, and what set it."""

    db: float
    loudness_lufs: float  # of the full track at this gain
    peak_dbtp: float  # the highest true peak of all tracks at this gain
    limited_by_peak: bool  # True: the peak forbids -16 LUFS


def gain_for(full: Take, kit: Kit, others: Sequence[Take] = (), wrap: bool = False) -> Gain:
    """The one gain of a lesson: `gain_for(full, kit, others)` brings the full track to -16 LUFS.

    No track, full or other, passes -1 dBTP: where one would, the gain is lower and says so. `wrap`: they are loops.
    Raises Mistake where the full track is silent.
    """
    loudness = loudness_of(full, kit)
    peak = highest_peak((full, *others), kit, wrap)
    if not math.isfinite(loudness) or peak == 0:
        raise Mistake("the full track is silent: no part plays in it")
    wanted, allowed = TARGET_LUFS - loudness, CEILING_DBTP - _MARGIN_DB - 20 * math.log10(peak)
    db = min(wanted, allowed)
    return Gain(db, loudness + db, 20 * math.log10(peak) + db, allowed < wanted)


def loudness_of(take: Take, kit: Kit) -> float:
    """Integrated loudness of a take before any gain, in LUFS: the sum of its K-weighted hits, gated.

    Up to 80 s the whole of it; of a longer one, 20 pieces of 4 s.
    """
    strikes = tuple(sorted(strike for part in strikes_by_part(take, kit.rate).values() for strike in part))
    stem = Stem(strikes, kit_waves(kit, lambda sound: k_weighted(_loud_part(sound, _WEIGHTED_DB), kit.rate)), kit.rate)
    length, piece = whole_frames(take.performance, kit.rate), _PIECE_SECONDS * kit.rate
    count = math.ceil(length / piece)
    chosen = range(count) if count <= _PIECES else [round(i * (count - 1) / (_PIECES - 1)) for i in range(_PIECES)]
    return gated_loudness(step_powers(_pieces(stem, [number * piece for number in chosen], piece, length), kit.rate))


def _pieces(stem: Stem, starts: Sequence[int], piece: int, length: int) -> Iterator[Sound]:
    for start in starts:
        frames = min(piece, length - start)
        rows = stem.block(start, frames)
        yield np.zeros((frames, 2), np.float32) if rows is None else rows.T


def _loud_part(sound: Sound, floor_db: float) -> Sound:
    strength = np.abs(sound).max(axis=1)
    return sound[: int(np.flatnonzero(strength > strength.max() * 10 ** (floor_db / 20))[-1]) + 1]


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
        best = max(best, _peak_above([stems[key] for key in keys], best))
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
        best = max(best, _true_peak(np.stack([_around([stem for stem, _ in stems], int(at)) for at in batch])))
    return best


def _around(stems: Sequence[Stem], window: int) -> Rows:
    """The sound of one window and its context, shape (2, frames)."""
    start, frames = window * _WINDOW - _CONTEXT, _WINDOW + 2 * _CONTEXT
    total = np.zeros((2, frames), np.float32)
    for stem in stems:
        rows = stem.block(start, frames)
        if rows is not None:
            total += rows
    return total


def _true_peak(windows: npt.NDArray[np.float32]) -> float:
    """The highest value between the samples of windows with their context, shape (n, 2, frames)."""
    return float(np.abs(windows @ _interpolation()).max())


@lru_cache(maxsize=1)
def _interpolation() -> npt.NDArray[np.float32]:
    """From a window with its context to the window at four times the rate: a Kaiser-windowed sinc."""
    times = np.arange(_WINDOW * 4) / 4 + _CONTEXT
    apart = times[None, :] - np.arange(_WINDOW + 2 * _CONTEXT)[:, None]
    window = np.i0(8.0 * np.sqrt(np.clip(1 - (apart / _CONTEXT) ** 2, 0, None))) / np.i0(8.0)
    kernel: npt.NDArray[np.float32] = (np.sinc(apart) * window * (np.abs(apart) < _CONTEXT)).astype(np.float32)
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
        piece = envelope[max(-first, 0) : len(bound) - first]
        bound[max(first, 0) : max(first, 0) + len(piece)] += voice.gain * piece
    return bound


def _envelope(wave: Wave, rate: int) -> Bounds:
    """A bound of a hit's true peak in each window, wherever in a window it starts."""
    attack = round(_ATTACK_SECONDS * rate) // _WINDOW * _WINDOW
    strength = np.abs(wave.rows).max(axis=0) * np.float32(1.5)
    fine = np.abs(oversampled(wave.rows[:, :attack].T)).max(axis=1)
    strength[:attack] = fine[: 4 * attack].reshape(-1, 4).max(axis=1)
    padded = np.concatenate([strength, np.zeros(-len(strength) % _WINDOW, np.float32)])
    peaks = padded.reshape(-1, _WINDOW).max(axis=1)
    peaks = peaks[: int(np.flatnonzero(peaks > peaks.max() * 10 ** (_ENVELOPE_DB / 20))[-1]) + 1]
    bound: Bounds = np.maximum(np.append(peaks, 0), np.insert(peaks, 0, 0))
    return bound
