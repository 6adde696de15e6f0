"""How loud a lesson's tracks are: one gain for all of them.

The full track is brought to -16 LUFS (ITU-R BS.1770) unless a true peak of any track would then pass -1 dBTP.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from grooves.mistake import Mistake
from render.hits import Kit, Sound
from render.loudness import Powers, gated_loudness, k_weighted
from render.peaks import highest_peak
from render.stems import Stem, kit_waves
from render.strikes import Take, strikes_by_part, whole_frames

TARGET_LUFS = -16.0  # ours, by ear
CEILING_DBTP = -1.0  # EBU R 128: maximum true peak
_MARGIN_DB = 0.05  # below the ceiling: dither, and meters that interpolate otherwise
_STEPS = 30  # of 100 ms, measured at once
_FLOOR_DB = -45.0  # what lies this far below a hit's peak adds nothing to loudness


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
    """Integrated loudness of a take before any gain, in LUFS: the sum of its K-weighted hits, gated."""
    strikes = tuple(sorted(strike for part in strikes_by_part(take, kit.rate).values() for strike in part))
    stem = Stem(strikes, kit_waves(kit, lambda sound: k_weighted(_loud_part(sound, _FLOOR_DB), kit.rate)), kit.rate)
    return gated_loudness(np.concatenate(list(_powers(stem, whole_frames(take.performance, kit.rate)))))


def _powers(stem: Stem, length: int) -> Iterator[Powers]:
    """Mean power of each whole 100 ms of a stem."""
    step = stem.rate // 10
    for start in range(0, length - step + 1, _STEPS * step):
        steps = min(_STEPS, (length - start) // step)
        rows = stem.block(start, steps * step)
        pieces = np.zeros((2, steps, 1), np.float32) if rows is None else rows.reshape(2, steps, step)
        yield np.einsum("ijk,ijk->j", pieces, pieces) / np.float64(step)


def _loud_part(sound: Sound, floor_db: float) -> Sound:
    strength = np.abs(sound).max(axis=1)
    return sound[: int(np.flatnonzero(strength > strength.max() * 10 ** (floor_db / 20))[-1]) + 1]
