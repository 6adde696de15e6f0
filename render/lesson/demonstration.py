"""How loud every part of a lesson comes out against the ride, and a track that shows what feathering adds.

Measured from rendered stems: the plain stroke of each part is struck four times, two seconds apart, mixed and
quantized as in any track, and its momentary loudness (ITU-R BS.1770, 400 ms) read from the samples.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from fractions import Fraction
from pathlib import Path

import numpy as np

from grooves.kit import INSTRUMENTS
from grooves.lesson import Lesson
from grooves.passages import Passage, Track, counted_in
from grooves.performance import BarMark, Hit, Note, Performance, level_of
from grooves.players import BAND_LU
from grooves.score import Stroke
from render.lesson.load import load_lesson
from render.lesson.options import MadeFile, RenderOptions
from render.lesson.plan import Plan, checked, lay_out, with_files
from render.lesson.session import (
    PerformedTrack,
    Session,
    open_session,
    perform_track,
    sounds_of,
    write_midi,
    write_sounds,
)
from render.sound.balance import RANGES, Balance, out_of_reach, velocities
from render.sound.events import Rendition
from render.sound.gain import Gain, gain_for
from render.sound.loudness import hit_loudness
from render.sound.mix import mix
from render.sound.tracks import side_by_side
from render.soundfont.samples import DrumKit

TOLERANCE_LU = 1.0
STRUCK = 4
APART_SECONDS = 2
NOTES_APART = 3  # semitones between the notes of the band that are measured
AS_IT_IS = Gain(0.0, 0.0, 0.0, limited_by_peak=False)
BARS_EACH = 4  # of the demonstration: loud, feathered, without, feathered again


@dataclass(frozen=True)
class MeasuredPart:
    """One part: the level it should have against the ride's plain stroke, and the one it has."""

    part: str
    role: str
    target_lu: float
    measured_lu: float
    difference_lu: float


@dataclass(frozen=True)
class BalanceReport:
    """The balance of a lesson: `good` where every part is within 1 LU and the ride the loudest."""

    title: str
    rows: tuple[MeasuredPart, ...]
    good: bool
    files: tuple[MadeFile, ...]
    notes: tuple[str, ...]


def balance_lesson(path: Path, options: RenderOptions) -> BalanceReport:
    """Measure a lesson's parts and render the demonstration: `balance_lesson(path, options).good`.

    Raises LessonError.
    """
    plan = plan_demonstration(path, options)
    with open_session(plan) as session:
        rows = measure_parts(plan.lesson, session.kit, session.balance)
        shown = perform_track(plan.lesson, plan.full, session.balance)
        files = write_midi(session, shown)
        if options.audio:
            files += _write_sounds(session, shown)
    good = all(abs(row.difference_lu) <= TOLERANCE_LU for row in rows)
    ride_on_top = all(row.measured_lu <= TOLERANCE_LU for row in rows)
    said = () if ride_on_top else ("the ride is not the loudest part",)
    notes = (*plan.notes, *out_of_reach(shown.performance, session.balance), *said)
    return BalanceReport(plan.lesson.title, rows, good and ride_on_top, tuple(files), notes)


def plan_demonstration(path: Path, options: RenderOptions) -> Plan:
    """Plan the one track of the demonstration; raises LessonError."""
    loaded = load_lesson(path)
    lesson = loaded.lesson
    shown = with_files(lay_out(Track("balance"), lesson, demonstration(lesson)), path, lesson, options)
    return checked(Plan(path, loaded, options, (shown,), shown))


def _write_sounds(session: Session, shown: PerformedTrack) -> list[MadeFile]:
    sounds = sounds_of([shown])
    tracks = side_by_side([shown.rendition(), *(one.rendition(file.part) for one, file in sounds)], session.kit)
    return write_sounds(session, sounds, tracks, gain_for(tracks, session.plan.options.processes))


def measure_parts(lesson: Lesson, kit: DrumKit, balance: Balance) -> tuple[MeasuredPart, ...]:
    """Level of every part's plain stroke from its stem, ride first, then the band's plain notes: rows in LU."""
    strokes = _plain_strokes(lesson)
    loudness = {}
    for stroke in strokes:
        performance = _struck(stroke, level_of(stroke, lesson.score, lesson.balance_lu), lesson)
        take = Rendition(performance, velocities(performance, balance))
        loudness[stroke] = _loudness(np.concatenate(list(mix(take, kit, AS_IT_IS))), kit.rate)
    ride = loudness[next(stroke for stroke in strokes if stroke.part == "ride" and stroke.role == "time")]
    drums = (
        _measured(stroke.part, stroke.role, level_of(stroke, lesson.score, lesson.balance_lu), loudness[stroke] - ride)
        for stroke in strokes
    )
    return (*drums, *_band(lesson, kit, balance, ride))


def _measured(part: str, role: str, target_lu: float, measured_lu: float) -> MeasuredPart:
    measured = round(measured_lu, 2)
    return MeasuredPart(part, role, target_lu, measured, round(measured - target_lu, 2))


def _band(lesson: Lesson, kit: DrumKit, balance: Balance, ride_lufs: float) -> Iterator[MeasuredPart]:
    """The same for notes of each part of the band, mean over its range: one key is louder than another."""
    band = lesson.score.band
    for part in band.parts if band else ():
        level_lu, (low, high) = lesson.balance_lu.get(part, BAND_LU[part]), RANGES[part]
        program = band.programs[part] if band else 0
        keys = range(low, high + 1, NOTES_APART)
        notes = tuple(
            Note(at, Fraction(at), 1.0, Fraction(1), part, program, key, level_lu)
            for at, key in zip(range(0, len(keys) * APART_SECONDS, APART_SECONDS), keys, strict=True)
        )
        plain = replace(_silence(len(keys), lesson), notes=notes)
        pcm = np.concatenate(list(mix(Rendition(plain, velocities(plain, balance)), kit, AS_IT_IS)))
        yield _measured(part, "band", level_lu, _loudness(pcm, kit.rate, len(keys)) - ride_lufs)


def _plain_strokes(lesson: Lesson) -> list[Stroke]:
    """One stroke of each part and role, the ride's first whoever reads."""
    found: dict[tuple[str, str], Stroke] = {}
    for bar in lesson.score.bars:
        for stroke in (*(s for s in bar.groove_alone if s.part == "ride"), *bar.strokes):
            found.setdefault((stroke.part, stroke.role), stroke)
    if not any(part == "ride" for part, _ in found):
        found[("ride", "time")] = Stroke(Fraction(0), Fraction(1), "ride", "right hand", "ride")
    return sorted(found.values(), key=lambda stroke: (stroke.part != "ride", stroke.role != "time"))


def _struck(stroke: Stroke, level_lu: float, lesson: Lesson) -> Performance:
    key = INSTRUMENTS[stroke.instrument].key
    hits = tuple(
        Hit(n * APART_SECONDS, Fraction(n * APART_SECONDS), stroke.part, stroke.limb, stroke.instrument, key, level_lu)
        for n in range(STRUCK)
    )
    return replace(_silence(STRUCK, lesson), hits=hits)


def _silence(sounds: int, lesson: Lesson) -> Performance:
    """Room for so many sounds, at 60 a minute."""
    mark = BarMark(0.0, Fraction(0), Fraction(sounds * APART_SECONDS), float(sounds * APART_SECONDS), 60.0, "bar 1")
    return Performance("plain sounds", lesson.score.meter, (), (mark,))


def _loudness(pcm: "np.ndarray[tuple[int, ...], np.dtype[np.int16]]", rate: int, sounds: int = STRUCK) -> float:
    """Mean momentary loudness of the strokes or notes in a stem, in LUFS."""
    frames = APART_SECONDS * rate
    pieces = [pcm[n * frames : n * frames + rate // 2].astype(np.float32) / np.float32(32768) for n in range(sounds)]
    return float(np.mean([hit_loudness(piece, rate) for piece in pieces]))


def demonstration(lesson: Lesson) -> tuple[Passage, ...]:
    """Four bars with the bass drum as loud as the ride, four feathered, four without it, four feathered again."""
    score = lesson.score
    bars = tuple(n % score.chorus_length for n in range(BARS_EACH))
    band = frozenset(score.band.parts) if score.band else frozenset[str]()
    feathered = Passage(bars, score.tempo_bpm, without=band, groove_alone=True)
    part = score.groove.part("bass drum")
    level = lesson.balance_lu.get("bass drum", part.level_lu if part else 0.0)
    loud = replace(feathered, softer_lu={"bass drum": -level})
    without = replace(feathered, without=band | {"bass drum"})
    return (*counted_in(1, score.tempo_bpm), loud, feathered, without, feathered)
