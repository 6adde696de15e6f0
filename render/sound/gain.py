"""How loud a lesson's tracks are: one gain for all of them.

The full track is brought to -16 LUFS (ITU-R BS.1770) unless a true peak of any track would then pass -1 dBTP.
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass, field
from itertools import chain

import numpy as np

from grooves.errors import LessonError
from render.sound.events import NoteEvent, SoundEvent, whole_frames
from render.sound.loudness import Powers, gated_loudness
from render.sound.peaks import highest_peak
from render.sound.recordings import STEPS_PER_SECOND, powers_of
from render.sound.tracks import Tracks

TARGET_LUFS = -16.0  # ours, by ear
CEILING_DBTP = -1.0  # EBU R 128: maximum true peak
_MARGIN_DB = 0.05  # below the ceiling: dither, and meters that interpolate otherwise
_FINE = 10  # steps of the powers that make a step of the gate


@dataclass(frozen=True)
class Gain:
    """How much louder all tracks of a lesson are than the samples, and what set it."""

    db: float
    loudness_lufs: float  # of the full track at this gain
    peak_dbtp: float  # the highest true peak of all tracks at this gain
    limited_by_peak: bool  # True: the peak forbids -16 LUFS
    made_for: Tracks | None = field(default=None, repr=False)

    def fits(self, tracks: Tracks) -> bool:
        """Say whether it was made for tracks of these very stems, so that no track and no stem can pass full scale."""
        return self.made_for is not None and self.made_for.stems is tracks.stems


def gain_for(tracks: Tracks, processes: int = 1) -> Gain:
    """The one gain of a lesson, whose full track comes first: `gain_for(side_by_side([full, *others], kit))`.

    It brings the full track to -16 LUFS. No track and no stem passes -1 dBTP: where one would, the gain is lower and
    says so. Raises LessonError where the full track is silent.
    """
    loudness = loudness_of(tracks)
    peak = highest_peak(tracks, processes)
    if not math.isfinite(loudness) or peak == 0:
        raise LessonError("the full track is silent: no part plays in it")
    wanted, allowed = TARGET_LUFS - loudness, CEILING_DBTP - _MARGIN_DB - 20 * math.log10(peak)
    db = min(wanted, allowed)
    return Gain(db, loudness + db, 20 * math.log10(peak) + db, allowed < wanted, tracks)


def loudness_of(tracks: Tracks) -> float:
    """Integrated loudness of the first track before any gain, in LUFS, gated: `loudness_of(side_by_side([full], kit))`.

    The powers of its K-weighted hits are added, as if no two hits were in phase: within 0.1 LU of the rendered track
    where strokes deviate in time, within 0.4 LU where they do not (measured on some twenty lessons, two soundfonts).
    """
    kit = tracks.kit
    length = whole_frames(tracks.renditions[0].performance, kit.rate) * STEPS_PER_SECOND // kit.rate
    powers = np.zeros(max(length, 1))
    known: dict[tuple[int, ...], Powers] = {}
    for event in _events_of(tracks):
        what = event[1:3] if isinstance(event, SoundEvent) else event[1:]
        if what not in known:
            known[what] = powers_of(event, kit)
        at = max(event.frame, 0) * STEPS_PER_SECOND // kit.rate
        piece = known[what][: max(length - at, 0)]
        powers[at : at + len(piece)] += piece
    steps = powers[: length // _FINE * _FINE].reshape(-1, _FINE).sum(axis=1)
    return gated_loudness(steps * (10 / kit.rate))


def _events_of(tracks: Tracks) -> Iterator[SoundEvent | NoteEvent]:
    """Everything that the first track plays, part by part."""
    return chain.from_iterable(tracks.stems[number].events for number in tracks.sums[0])
