"""The hits of a track on the sample grid: which frame, which key, how hard, and where the hat closes on them."""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import NamedTuple

from grooves.kit import INSTRUMENTS
from grooves.performance import Note, Performance
from render.soundfont.synth import BLOCK

NEVER = -1
_CHOKES = {instrument.key: instrument.choke for instrument in INSTRUMENTS.values() if instrument.choke}


@dataclass(frozen=True)
class Rendition:
    """What one sound file plays: a performance at its velocities, or only some of its parts (a stem)."""

    performance: Performance
    velocities: tuple[int, ...]  # of its hits, then of its notes
    only: frozenset[str] | None = None  # parts that sound; None: all


class SoundEvent(NamedTuple):
    """One hit in frames; `choked_after` frames the hat closes on it, -1 never."""

    frame: int
    key: int
    velocity: int
    choked_after: int = NEVER


class NoteEvent(NamedTuple):
    """One note of the band in frames; its key is held for whole blocks of 64 frames."""

    frame: int
    program: int
    key: int
    velocity: int
    blocks: int


SoundEvents = tuple[SoundEvent, ...] | tuple[NoteEvent, ...]


def whole_frames(performance: Performance, rate: int) -> int:
    """Frames from the first downbeat to the last barline, the length of a loop: 88200 for 2 s at 44100 Hz."""
    return round(performance.length_seconds * rate)


def events_by_part(rendition: Rendition, rate: int, wrap: bool = False) -> dict[str, SoundEvents]:
    """The hits of each part in order of time, at the sample nearest to their onset (a half goes to the even one).

    A hat hit is choked by the next hit on any hat in the same performance, also of a part that `only` leaves out.
    In a loop (`wrap`) the last hits are choked by the first, and a hit before the first downbeat or past the last
    barline sounds at its place in the loop; else a hit before the start moves to it.
    """
    performance = rendition.performance
    velocities = rendition.velocities[: len(performance.hits)]
    frames = [round(hit.onset_seconds * rate) for hit in performance.hits]
    if not wrap:
        frames = [max(frame, 0) for frame in frames]
    chokes = _chokes(performance, frames, whole_frames(performance, rate) if wrap else None)
    parts: dict[str, list[SoundEvent]] = defaultdict(list)
    for number, (hit, frame, velocity) in enumerate(zip(performance.hits, frames, velocities, strict=True)):
        if rendition.only is None or hit.part in rendition.only:
            parts[hit.part].append(SoundEvent(frame, hit.key, velocity, chokes.get(number, NEVER)))
    drums: dict[str, SoundEvents] = {part: tuple(sorted(events)) for part, events in parts.items()}
    return drums | _notes_by_part(rendition, rate, wrap)


def _notes_by_part(rendition: Rendition, rate: int, wrap: bool) -> dict[str, SoundEvents]:
    parts: dict[str, list[NoteEvent]] = defaultdict(list)
    notes, velocities = rendition.performance.notes, rendition.velocities[len(rendition.performance.hits) :]
    for note, velocity in zip(notes, velocities, strict=True):
        if rendition.only is None or note.part in rendition.only:
            frame = round(note.onset_seconds * rate)
            frame = frame if wrap else max(frame, 0)
            parts[note.part].append(NoteEvent(frame, note.program, note.key, velocity, blocks_of(note, rate)))
    return {part: tuple(sorted(events)) for part, events in parts.items()}


def blocks_of(note: Note, rate: int) -> int:
    """For how many blocks of 64 frames a note's key is held: half a second is 345 at 44100 Hz."""
    return max(round(note.length_seconds * rate / BLOCK), 1)


def _chokes(performance: Performance, frames: Sequence[int], loop_frames: int | None) -> dict[int, int]:
    """After how many frames each choked hit is choked, by its number."""
    groups: dict[str, list[tuple[int, int]]] = defaultdict(list)
    for number, (hit, frame) in enumerate(zip(performance.hits, frames, strict=True)):
        if hit.key in _CHOKES:
            groups[_CHOKES[hit.key]].append((frame, number))
    chokes: dict[int, int] = {}
    for group in groups.values():
        if loop_frames is not None:
            group = [(frame % loop_frames, number) for frame, number in group]
        moments = sorted({frame for frame, _ in group})
        after = dict(pairwise(moments))
        if loop_frames is not None:
            after[moments[-1]] = moments[0] + loop_frames
        chokes |= {number: after[frame] - frame for frame, number in group if frame in after}
    return chokes
