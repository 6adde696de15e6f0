"""Takes made for tests, each with its own seed: what is written, played with the faults that a test asks for."""

from dataclasses import dataclass, field

import numpy as np
from music import lesson_of

from grooves.takes.check import student_track
from grooves.takes.sheet import Sheet, Written, sheet_of
from grooves.takes.take import Played, Take

LINE = "4 8 8 4 4 | 8 4 4 4 8 | 8 8 4 4r 4 | 4. 8 4 8 8"  # ours


def sheet(values=LINE, tempo=120, choruses=4, track=None, **parts) -> Sheet:
    """The sheet of a short lesson over swing, at the track that a student plays to."""
    lesson = lesson_of(values, tempo=tempo, top=f"choruses = {choruses}", **parts)
    named = {one.name: one for one in lesson.tracks}
    return sheet_of(lesson, named[track] if track else student_track(lesson.tracks))


@dataclass
class Student:
    """How somebody plays: offsets in milliseconds, shares of strokes left out and put in."""

    seed: int
    spread_ms: float = 8.0
    limb_ms: dict[str, float] = field(default_factory=dict)
    missing: float = 0.0
    extra: float = 0.0
    offset_ms: float = 180.0
    drift: float = 0.0
    wander_ms: float = 0.0
    silent: tuple[str, ...] = ()
    lag: dict[int, int] = field(default_factory=dict)  # bar of the sheet: beats late


@dataclass
class Made:
    """A take with the truth: for each written stroke the index of the played one, or -1."""

    take: Take
    truth: list[int]


def played(written: Sheet, how: Student) -> Made:
    """A take of somebody playing a sheet."""
    draw = np.random.default_rng(how.seed)
    phase = draw.uniform(0, 2 * np.pi)
    rows: list[tuple[float, str, int]] = []
    for place, one in enumerate(written.strokes):
        if one.part in how.silent or draw.random() < how.missing:
            continue
        rows.append((_moment(one, written, how, draw, phase), one.part, place))
    for part in written.parts:
        count = sum(one.part == part for one in written.strokes)
        moments = draw.uniform(0, written.end_seconds, draw.binomial(count, how.extra))
        rows += [(_laid(moment, how, phase), part, -1) for moment in moments if part not in how.silent]
    rows.sort()
    truth = [-1] * len(written.strokes)
    for number, (_, _, place) in enumerate(rows):
        if place >= 0:
            truth[place] = number
    strokes = tuple(Played(moment, part, -8.0) for moment, part, _ in rows)
    return Made(Take(strokes, max((moment for moment, _, _ in rows), default=0.0) + 0.5), truth)


def _moment(one: Written, written: Sheet, how: Student, draw, phase: float) -> float:
    bar = written.bars[one.bar]
    meant = one.onset_seconds + how.lag.get(one.bar, 0) * bar.beat_seconds
    own = how.limb_ms.get(one.limb, 0.0) + draw.normal(0, how.spread_ms)
    return _laid(meant, how, phase) + own / 1000


def _laid(moment: float, how: Student, phase: float) -> float:
    wander = how.wander_ms / 1000 * np.sin(2 * np.pi * moment / 23 + phase)
    return float(how.offset_ms / 1000 + moment * (1 + how.drift) + wander)


def put_right(found, truth) -> float:
    """The share of written strokes that were put to the stroke that was meant, or rightly to none."""
    return float(np.mean([one == other for one, other in zip(found, truth, strict=True)]))
