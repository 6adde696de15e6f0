"""What is measured once on each recording: its powers for the loudness of a track, its envelope for the highest peak.

Recording and measuring may be shared out among processes: all that some renditions need, before it is needed.
"""

import math
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import replace
from functools import lru_cache, partial
from typing import TypeVar

import numpy as np
import numpy.typing as npt
from numpy.lib.stride_tricks import sliding_window_view

from grooves.performance import Hit, Note, Performance
from render.sound.balance import calibrate, is_measured, loudness_by_velocity, velocities
from render.sound.events import NoteEvent, SoundEvent, blocks_of
from render.sound.loudness import Powers, k_weighted, power
from render.soundfont.entries import PEAKS, POWERS, Table
from render.soundfont.notes import SampledNote
from render.soundfont.recording import LOUDEST, Sample, Sound, heard_frames
from render.soundfont.samples import DrumKit

STEPS_PER_SECOND = 100  # powers are added in steps of 10 ms
WINDOW = 16  # frames that an envelope has one bound for
CONTEXT = 16  # frames on either side that the interpolation looks at
LOOK = WINDOW + 2 * CONTEXT
_COLOUR_FRAMES = 12288  # with the filters' response a quick size to transform
_FLOOR_DB = -45.0  # what lies this far below a hit's peak adds nothing to loudness
_PEAKS_FLOOR_DB = -60.0  # what lies this far below a hit's peak adds nothing to a peak

Heard = TypeVar("Heard", int, tuple[str, int])  # a drum's key; a part of the band and its program
Bounds = npt.NDArray[np.float32]  # (4, places): left up, left down, right up, right down


def record(performances: Sequence[Performance], kit: DrumKit) -> None:
    """Record and measure what performances play on a kit, by several processes at once: `record([full], kit)`.

    Who was heard on it before is left out: what is missing of theirs is made where it is first asked for, as all of it
    would be without this. Raises LessonError where there is no sound on a key.
    """
    notes: dict[tuple[str, int], list[Note]] = defaultdict(list)
    hits: dict[int, list[Hit]] = defaultdict(list)
    for one in performances:
        for note in one.notes:
            notes[note.part, note.program].append(note)
        for hit in one.hits:
            hits[hit.key].append(hit)
    players = [replace(performances[0], hits=(), notes=tuple(notes[who])) for who in _new(notes, kit)]
    drums = [replace(performances[0], hits=tuple(hits[key]), notes=()) for key in _new(hits, kit)]
    if players or drums:
        calibrate(kit, ())  # the ride, which all others are measured against
        kit.share_out([partial(_measure, one, kit) for one in (*players, *drums)])


def _new(heard: Iterable[Heard], kit: DrumKit) -> list[Heard]:
    """Who has not been heard on a kit before."""
    return [who for who in sorted(heard) if not is_measured(kit, who)]


def _measure(performance: Performance, kit: DrumKit) -> None:
    """Record and measure all that a performance plays."""
    struck = velocities(performance, calibrate(kit, {hit.key for hit in performance.hits}))
    count = len(performance.hits)
    for key, velocity in {(hit.key, at) for hit, at in zip(performance.hits, struck[:count], strict=True)}:
        _hit_table(key, kit)
        peaks_of(kit.sample(key, velocity)[0], kit)
    notes = zip(performance.notes, struck[count:], strict=True)
    for program, *held in {(note.program, note.key, at, blocks_of(note, kit.rate)) for note, at in notes}:
        sample = kit.instrument(program).note(*held).sample
        _note_table(sample, kit)
        peaks_of(sample, kit)


def powers_of(event: SoundEvent | NoteEvent, kit: DrumKit) -> Powers:
    """K-weighted powers of a hit or a note, in steps of 10 ms."""
    if isinstance(event, NoteEvent):
        return _note_powers(kit.instrument(event.program).note(event.key, event.velocity, event.blocks), kit)
    table = _hit_table(event.key, kit)[:, 0]
    levels = loudness_by_velocity(kit, event.key)  # those of the key's loudest stroke, as much softer as they are apart
    powers: Powers = table.astype(np.float64) * 10 ** (float(levels[event.velocity] - levels[LOUDEST]) / 10)
    return powers


def _hit_table(key: int, kit: DrumKit) -> Table:
    return kit.keep(POWERS, f"{key}", lambda: _sums(kit.hit(key, LOUDEST), kit.rate))


def _note_table(sample: Sample, kit: DrumKit) -> Table:
    return kit.keep(POWERS, sample.name, lambda: _note_sums(sample, kit.rate))


def _note_powers(note: SampledNote, kit: DrumKit) -> Powers:
    """Those of the held note, dying from where its key goes up."""
    table = _note_table(note.sample, kit)[:, 0]
    held, step_db = (
        round(note.held_frames * STEPS_PER_SECOND / kit.rate),
        note.release_db_per_second / STEPS_PER_SECOND,
    )
    powers: Powers = table[: held + math.ceil(-_FLOOR_DB / step_db)].astype(np.float64) * note.gain**2
    powers[held:] *= 10 ** (-(np.arange(len(powers[held:])) + 0.5) * step_db / 10)
    return powers


def _note_sums(sample: Sample, rate: int) -> Table:
    """Squares over each 10 ms, times what the K-weighting is worth on the first moments: a note keeps its colour."""
    values = rate // STEPS_PER_SECOND * sample.channels
    steps = sample.values[: len(sample.values) // values * values].reshape(-1, values)
    first = sample.unpanned(_COLOUR_FRAMES)
    heard = power(k_weighted(first, rate)) / power(first) if first.any() else 1.0
    table: Table = (np.einsum("ij,ij->i", steps, steps) * (sample.power * heard))[:, None].astype(np.float32)
    return table


def _sums(sound: Sound, rate: int) -> Table:
    """Sums of a hit's K-weighted squares over each 10 ms, as far as they count, in one column."""
    frames = rate // STEPS_PER_SECOND
    weighted = k_weighted(sound[: heard_frames(sound, _FLOOR_DB)], rate)
    padded = np.pad(weighted, ((0, -len(weighted) % frames), (0, 0))).reshape(-1, 2 * frames)
    sums: Table = np.einsum("ij,ij->i", padded, padded)[:, None]
    return sums


@lru_cache(maxsize=1)
def interpolation() -> npt.NDArray[np.float32]:
    """From a window with its context to the window at four times the rate: a Kaiser-windowed sinc."""
    times = np.arange(WINDOW * 4) / 4 + CONTEXT
    apart = times[None, :] - np.arange(LOOK)[:, None]
    window = np.i0(8.0 * np.sqrt(np.clip(1 - (apart / CONTEXT) ** 2, 0, None))) / np.i0(8.0)
    kernel: npt.NDArray[np.float32] = (np.sinc(apart) * window).astype(np.float32)
    return kernel


def peaks_of(sample: Sample, kit: DrumKit) -> Bounds:
    """The envelope of a recording: its true peak each way in each window from its start on, as far as it counts."""
    return kit.keep(PEAKS, sample.name, lambda: _peaks(sample))


def _peaks(sample: Sample) -> Bounds:
    """A hit's true peak each way in each window from its start on, as far as it counts."""
    sound = sample.unpanned(sample.frames)
    fine = oversampled(sound[: heard_frames(sound, _PEAKS_FLOOR_DB)])
    up, down = np.maximum(fine.max(axis=1), 0), np.maximum(-fine.min(axis=1), 0)
    if sample.channels == 1:  # one signal, panned
        ways = [abs(side) * way[0] for side in sample.sides for way in ((up, down) if side >= 0 else (down, up))]
        return np.stack(ways).astype(np.float32)
    return np.stack([up[0], down[0], up[1], down[1]])


def oversampled(sound: Sound) -> npt.NDArray[np.float32]:
    """A sound at four times its rate, a column for each window: shape (channels, 64, windows)."""
    padded = np.pad(sound.T, ((0, 0), (CONTEXT, CONTEXT + WINDOW)))
    windows = np.ascontiguousarray(sliding_window_view(padded, LOOK, axis=1)[:, ::WINDOW])
    fine: npt.NDArray[np.float32] = interpolation().T @ windows.transpose(0, 2, 1)
    return fine
