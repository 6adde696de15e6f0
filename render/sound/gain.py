"""How loud a lesson's tracks are: one gain for all of them.

The full track is brought to -16 LUFS (ITU-R BS.1770) unless a true peak of any track would then pass -1 dBTP.
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass, field
from itertools import chain

import numpy as np

from grooves.errors import LessonError
from render.sound.balance import loudness_by_velocity
from render.sound.events import NoteEvent, SoundEvent, whole_frames
from render.sound.loudness import Powers, gated_loudness, k_weighted, power
from render.sound.peaks import highest_peak
from render.sound.tracks import Tracks
from render.soundfont.entries import POWERS, Table
from render.soundfont.notes import SampledNote
from render.soundfont.recording import LOUDEST, Sample, Sound, heard_frames
from render.soundfont.samples import DrumKit

TARGET_LUFS = -16.0  # ours, by ear
CEILING_DBTP = -1.0  # EBU R 128: maximum true peak
_MARGIN_DB = 0.05  # below the ceiling: dither, and meters that interpolate otherwise
_STEPS_PER_SECOND, _FINE = 100, 10  # powers are added in steps of 10 ms; ten make a step of the gate
_COLOUR_FRAMES = 12288  # with the filters' response a quick size to transform
_FLOOR_DB = -45.0  # what lies this far below a hit's peak adds nothing to loudness


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
    length = whole_frames(tracks.renditions[0].performance, kit.rate) * _STEPS_PER_SECOND // kit.rate
    powers = np.zeros(max(length, 1))
    known: dict[tuple[int, ...], Powers] = {}
    for event in _events_of(tracks):
        what = event[1:3] if isinstance(event, SoundEvent) else event[1:]
        if what not in known:
            known[what] = _powers(event, kit)
        at = max(event.frame, 0) * _STEPS_PER_SECOND // kit.rate
        piece = known[what][: max(length - at, 0)]
        powers[at : at + len(piece)] += piece
    steps = powers[: length // _FINE * _FINE].reshape(-1, _FINE).sum(axis=1)
    return gated_loudness(steps * (10 / kit.rate))


def _events_of(tracks: Tracks) -> Iterator[SoundEvent | NoteEvent]:
    """Everything that the first track plays, part by part."""
    return chain.from_iterable(tracks.stems[number].events for number in tracks.sums[0])


def _powers(event: SoundEvent | NoteEvent, kit: DrumKit) -> Powers:
    """K-weighted powers of a hit or a note, in steps of 10 ms."""
    if isinstance(event, NoteEvent):
        return _note_powers(kit.instrument(event.program).note(event.key, event.velocity, event.blocks), kit)
    table = kit.keep(POWERS, f"{event.key}", lambda: _sums(kit.hit(event.key, LOUDEST), kit.rate))[:, 0]
    levels = loudness_by_velocity(kit, event.key)  # those of the key's loudest stroke, as much softer as they are apart
    powers: Powers = table.astype(np.float64) * 10 ** (float(levels[event.velocity] - levels[LOUDEST]) / 10)
    return powers


def _note_powers(note: SampledNote, kit: DrumKit) -> Powers:
    """Those of the held note, dying from where its key goes up."""
    table = kit.keep(POWERS, note.sample.name, lambda: _note_sums(note.sample, kit.rate))[:, 0]
    held, step_db = (
        round(note.held_frames * _STEPS_PER_SECOND / kit.rate),
        note.release_db_per_second / _STEPS_PER_SECOND,
    )
    powers: Powers = table[: held + math.ceil(-_FLOOR_DB / step_db)].astype(np.float64) * note.gain**2
    powers[held:] *= 10 ** (-(np.arange(len(powers[held:])) + 0.5) * step_db / 10)
    return powers


def _note_sums(sample: Sample, rate: int) -> Table:
    """Squares over each 10 ms, times what the K-weighting is worth on the first moments: a note keeps its colour."""
    values = rate // _STEPS_PER_SECOND * sample.channels
    steps = sample.values[: len(sample.values) // values * values].reshape(-1, values)
    sides = float(np.square(sample.sides).sum()) if sample.channels == 1 else 1.0
    first = sample.beginning(_COLOUR_FRAMES)
    heard = power(k_weighted(first, rate)) / power(first) if first.any() else 1.0
    table: Table = (np.einsum("ij,ij->i", steps, steps) * (sides * heard))[:, None].astype(np.float32)
    return table


def _sums(sound: Sound, rate: int) -> Table:
    """Sums of a hit's K-weighted squares over each 10 ms, as far as they count, in one column."""
    frames = rate // _STEPS_PER_SECOND
    weighted = k_weighted(sound[: heard_frames(sound, _FLOOR_DB)], rate)
    padded = np.pad(weighted, ((0, -len(weighted) % frames), (0, 0))).reshape(-1, 2 * frames)
    sums: Table = np.einsum("ij,ij->i", padded, padded)[:, None]
    return sums
