"""How loud every part of a lesson comes out against the ride, and a track that shows what feathering adds.

Measured from rendered stems: the plain stroke of each part is struck four times, two seconds apart, mixed and
quantized as in any track, and its momentary loudness (ITU-R BS.1770, 400 ms) read from the samples.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

import numpy as np

from grooves.kit import INSTRUMENTS
from grooves.lesson import Lesson
from grooves.passages import Passage, Track, counted_in
from grooves.performance import BarMark, Hit, Performance, level_of, perform
from grooves.score import Stroke
from render.files.write import make_folder
from render.lesson.load import load_lesson
from render.lesson.options import MadeFile, RenderOptions
from render.lesson.pack import Sounding, sound_files, write_midi, write_sounds
from render.sound.balance import Balance, calibrate, out_of_reach, velocities
from render.sound.events import Rendition
from render.sound.gain import Gain, gain_for
from render.sound.loudness import hit_loudness
from render.sound.mix import mix
from render.sound.tracks import side_by_side
from render.soundfont.samples import DrumKit
from render.soundfont.soundfont import kit_for

TOLERANCE_LU = 1.0
STRUCK = 4
APART_SECONDS = 2
BARS_EACH = 4  # of the demonstration: loud, feathered, without, feathered again


@dataclass(frozen=True)
class Row:
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
    rows: tuple[Row, ...]
    good: bool
    files: tuple[MadeFile, ...]
    notes: tuple[str, ...]


def balance_lesson(path: Path, options: RenderOptions) -> BalanceReport:
    """Measure a lesson's parts and render the demonstration: `balance_lesson(path, options).good`."""
    lesson = load_lesson(path).lesson
    with kit_for(path, lesson, options.soundfont, options.rate, options.use_cache) as kit:
        balance = calibrate(kit)
        rows = measure_parts(lesson, kit, balance)
        shown = _demonstration(lesson, balance)
        tracks = side_by_side([Rendition(shown.performance, shown.velocities)], kit)
        files = [write_midi(make_folder(options.folder), path.stem, shown, lesson, kit.preset.program)]
        gain = gain_for(tracks, options.processes)
        files += write_sounds(sound_files(path.stem, [shown], lesson, options), tracks, gain, options)
    good = all(abs(row.difference_lu) <= TOLERANCE_LU for row in rows)
    ride_on_top = all(row.measured_lu <= TOLERANCE_LU for row in rows)
    notes = () if ride_on_top else ("the ride is not the loudest part",)
    return BalanceReport(
        lesson.title, rows, good and ride_on_top, tuple(files), (*out_of_reach(shown.performance, balance), *notes)
    )


def measure_parts(lesson: Lesson, kit: DrumKit, balance: Balance) -> tuple[Row, ...]:
    """Level of every part's plain stroke from its stem, ride first: rows with target and measured LU."""
    strokes = _plain_strokes(lesson)
    gain = Gain(0.0, 0.0, 0.0, limited_by_peak=False)
    loudness = {}
    for stroke in strokes:
        performance = _struck(stroke, level_of(stroke, lesson.score, lesson.balance_lu), lesson)
        take = Rendition(performance, velocities(performance, balance))
        loudness[stroke] = _loudness(np.concatenate(list(mix(take, kit, gain))), kit.rate)
    ride = loudness[next(stroke for stroke in strokes if stroke.part == "ride" and stroke.role == "time")]
    return tuple(
        _row(stroke, level_of(stroke, lesson.score, lesson.balance_lu), loudness[stroke] - ride) for stroke in strokes
    )


def _row(stroke: Stroke, target_lu: float, measured_lu: float) -> Row:
    measured = round(measured_lu, 2)
    return Row(stroke.part, stroke.role, target_lu, measured, round(measured - target_lu, 2))


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
    seconds = float(STRUCK * APART_SECONDS)
    mark = BarMark(0.0, Fraction(0), Fraction(STRUCK * APART_SECONDS), seconds, 60.0, "bar 1")
    return Performance("plain strokes", lesson.score.meter, hits, (mark,))


def _loudness(pcm: "np.ndarray[tuple[int, ...], np.dtype[np.int16]]", rate: int) -> float:
    """Mean momentary loudness of the strokes in a stem, in LUFS."""
    frames = APART_SECONDS * rate
    pieces = [pcm[n * frames : n * frames + rate // 2].astype(np.float32) / np.float32(32768) for n in range(STRUCK)]
    return float(np.mean([hit_loudness(piece, rate) for piece in pieces]))


def _demonstration(lesson: Lesson, balance: Balance) -> Sounding:
    """Four bars with the bass drum as loud as the ride, four feathered, four without it, four feathered again."""
    score = lesson.score
    bars = tuple(n % score.chorus_length for n in range(BARS_EACH))
    feathered = Passage(bars, score.tempo_bpm, groove_alone=True)
    part = score.groove.part("bass drum")
    level = lesson.balance_lu.get("bass drum", part.level_lu if part else 0.0)
    loud = Passage(bars, score.tempo_bpm, groove_alone=True, softer_lu={"bass drum": -level})
    without = Passage(bars, score.tempo_bpm, groove_alone=True, without=frozenset({"bass drum"}))
    passages: Sequence[Passage] = (*counted_in(1, score.tempo_bpm), loud, feathered, without, feathered)
    performance = perform(score, passages, lesson.feel, lesson.balance_lu)
    return Sounding(Track("balance"), performance, velocities(performance, balance))
