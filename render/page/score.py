"""What the lesson page knows of a lesson: written strokes, levels, swing tables and the keys of the deviations.

Everything the page plays follows from this and from the same rules as `grooves.performance`; the tests compare the
two stroke by stroke. Places are whole `divisions` of a quarter, levels LU against the ride's plain stroke.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property, lru_cache
from itertools import chain
from math import lcm
from typing import Any

from grooves.deviations import BODY, CELLS_PER_QUARTER, CLIP, MEMORY, stream_key
from grooves.feel import (
    placement_seconds,
    sixteenth_beats,
    swing_ratio,
    swung,
    triplet_beats,
)
from grooves.groove import SWING_WORDS, Swing
from grooves.kit import INSTRUMENTS, LIMBS, PARTS
from grooves.lesson import FASTEST_BPM, SLOWEST_BPM, Lesson
from grooves.performance import CLICK_DOWNBEAT_LU, CLICK_LU, COUNT_IN_LU, written_levels
from grooves.rhythm import QUARTER
from grooves.score import Score, Stroke
from grooves.teaching.coordination import Place
from render.page.readers import staff_shift_mm, time_hand
from render.paper.grids import column_of, columns_of, places_of
from render.sound.stems import CHOKE_DB_PER_SECOND

SOFTER_LU = -9.0  # what "softer" lowers a limb by: a clear step down, still heard; ours, by ear
_TABLE_ERROR = 1e-6  # of a swing ratio read from its table

Voice = tuple[str, str, str, str]  # part, limb, instrument, role
Row = tuple[int, int, float, float, int, int]  # place, voice, level, spread, which swing (see _moved_by), column


def time_alone(score: Score) -> Score | None:
    """The same bars while nobody reads, or None where that adds no stroke: no limb that reads has a part in the groove.

    Example: `time_alone(score_read_by_the_bass_drum).bars[0].strokes` are the groove's.
    """
    if not any(set(bar.groove_alone) - set(bar.strokes) for bar in score.bars):
        return None
    return replace(score, bars=tuple(replace(bar, strokes=bar.groove_alone) for bar in score.bars))


# --- strokes -------------------------------------------------------------------------------------


BarRows = tuple[tuple[Row, ...], tuple[Row, ...]]  # with the line, and the groove alone


@dataclass(frozen=True)
class Sheet:
    """A lesson laid out for the page, with its line on one drum after the other: `Sheet((lesson,)).patterns`."""

    lessons: tuple[Lesson, ...]  # the lesson itself first

    @cached_property
    def strokes(self) -> tuple[Stroke, ...]:
        """Every stroke that can be heard."""
        bars = [bar for lesson in self.lessons for bar in lesson.score.bars]
        pickups = [row for lesson in self.lessons if lesson.score.pickup for row in lesson.score.pickup.strokes]
        return (*(stroke for bar in bars for stroke in (*bar.strokes, *bar.groove_alone)), *chain(*pickups))

    @cached_property
    def divisions(self) -> int:
        """The smallest step of a quarter on which every stroke falls."""
        return lcm(*(stroke.onset.denominator for stroke in self.strokes))

    @cached_property
    def voices(self) -> tuple[Voice, ...]:
        """Who can be heard, in order of first appearance."""
        return tuple(dict.fromkeys(voice_of(stroke) for stroke in self.strokes))

    @cached_property
    def lines(self) -> tuple[tuple[BarRows, ...], ...]:
        """For each lesson, every bar of its score as rows."""
        return tuple(self._bars(lesson) for lesson in self.lessons)

    @cached_property
    def patterns(self) -> tuple[tuple[Row, ...], ...]:
        """The different bars."""
        return tuple(dict.fromkeys(rows for bars in self.lines for pair in bars for rows in pair))

    def _bars(self, lesson: Lesson) -> tuple[BarRows, ...]:
        score = lesson.score
        alone = time_alone(score) or score
        return tuple(
            (
                self.rows(lesson, bar.strokes, places_of(score, number)),
                self.rows(lesson, bar.groove_alone, places_of(alone, number)),
            )
            for number, bar in enumerate(score.bars)
        )

    def rows(self, lesson: Lesson, strokes: Sequence[Stroke], places: Sequence[Place]) -> tuple[Row, ...]:
        """The strokes of one bar, which stand in the columns of some places."""
        score = lesson.score
        levels = written_levels(strokes, score, lesson.feel, lesson.balance_lu)
        onsets = [stroke.onset for stroke in strokes]
        straight, thirds = sixteenth_beats(onsets), triplet_beats(onsets)
        return tuple(
            (
                int(stroke.onset * self.divisions),
                self.voices.index(voice_of(stroke)),
                round(level_lu, 6),
                stroke.spread,
                _moved_by(stroke, straight, thirds, score),
                column_of(stroke, places),
            )
            for stroke, level_lu in zip(strokes, levels, strict=True)
        )


def voice_of(stroke: Stroke) -> Voice:
    """Who plays a stroke, and whether it keeps time or reads."""
    return stroke.part, stroke.limb, stroke.instrument, stroke.role


def _moved_by(stroke: Stroke, straight: frozenset[int], thirds: frozenset[int], score: Score) -> int:
    """Which swing moves a stroke: 0 none, 1 the time's, 2 the line's, 3 and 4 the same in a beat of triplets.

    The same rule as `grooves.feel.swung`.
    """
    if score.meter.unit >= 8 or swung(stroke.onset, 2.0, straight) == stroke.onset:
        return 0
    return (1 if stroke.role == "time" else 2) + (2 if int(stroke.onset // QUARTER) in thirds else 0)


# --- swing by tempo ------------------------------------------------------------------------------


def curve(swing: Swing, low: float, high: float) -> list[tuple[float, float]]:
    """Ratio by quarters a minute as a table for straight lines: `curve("by tempo", 30, 400)[0]` is (30, 2.0)."""

    def rows(left: float, right: float) -> list[tuple[float, float]]:
        if right - left < _TABLE_ERROR or all(_is_straight(swing, left, right, share) for share in (0.3, 0.5, 0.7)):
            return [(right, swing_ratio(swing, right))]
        middle = (left + right) / 2
        return rows(left, middle) + rows(middle, right)

    return [(low, swing_ratio(swing, low)), *rows(low, high)]


@lru_cache(maxsize=16)  # it hangs on the beat alone, and every page asks for it
def _rounded_curve(swing: Swing, beat: float) -> list[list[float]]:
    return [[round(x, 6), round(y, 9)] for x, y in curve(swing, SLOWEST_BPM * beat, FASTEST_BPM * beat)]


def _is_straight(swing: Swing, left: float, right: float, share: float) -> bool:
    line = swing_ratio(swing, left) * (1 - share) + swing_ratio(swing, right) * share
    return abs(line - swing_ratio(swing, left + (right - left) * share)) < _TABLE_ERROR


# --- all of it -----------------------------------------------------------------------------------


def score_data(lessons: Sequence[Lesson], printed: Sequence[int]) -> dict[str, Any]:
    """Everything but the sounds, ready for JSON: `score_data([lesson], [0, 1])["tempo"]` is 120.0.

    `lessons` are the lesson and the same with its line on other drums. `printed` says for each place of the chorus as
    which printed bar it stands on the page, from 0.
    """
    lesson, sheet = lessons[0], Sheet(tuple(lessons))
    score = lesson.score
    beat = float(score.groove.beat)
    return {
        "tempo": score.tempo_bpm,
        "slowest": SLOWEST_BPM,
        "fastest": FASTEST_BPM,
        "beat": beat,
        "meter": _meter_data(score),
        "countIn": lesson.count_in,
        "softer": SOFTER_LU,
        "divisions": sheet.divisions,
        "voices": [_voice_data(voice) for voice in sheet.voices],
        "patterns": sheet.patterns,
        **_lines_data(sheet, printed),
        "rows": row_limbs(lessons),
        "parts": PARTS,
        "helpers": _helpers(),
        "feel": _feel_data(lesson),
        "curves": {word: _rounded_curve(word, beat) for word in SWING_WORDS},
        "chokes": {one.key: one.choke for one in INSTRUMENTS.values() if one.choke},
        "chokeSlope": CHOKE_DB_PER_SECOND,
    }


def _meter_data(score: Score) -> dict[str, Any]:
    meter = score.meter
    return {
        "count": meter.count,
        "length": float(meter.length),
        "pulse": float(meter.pulse),
        "pulses": meter.pulses,
        "eighths": meter.unit >= 8,
    }


def _lines_data(sheet: Sheet, printed: Sequence[int]) -> dict[str, Any]:
    """The bars of each line, and the different columns of their grids."""
    number = {rows: at for at, rows in enumerate(sheet.patterns)}
    grids: list[list[list[Any]]] = []
    lines = []
    for lesson, bars in zip(sheet.lessons, sheet.lines, strict=True):
        score, found = lesson.score, []
        alone = time_alone(score) or score
        for at, (strokes, time) in enumerate(bars):
            columns = [_known(grids, column_data(one, at)) for one in (score, alone)]
            own = {"strokes": number[strokes], "alone": number[time], "grid": columns[0], "gridAlone": columns[1]}
            found.append({"card": printed[at % score.chorus_length], **own})
        lines.append({"readings": score.readings, "down": staff_shift_mm(score), "bars": found})
    return {"lines": lines, "grids": grids}


def column_data(score: Score, index: int) -> list[list[Any]]:
    """A bar's columns: share of the bar, what is said, and 2 on a felt beat, 1 on another that is counted, else 0."""
    return [
        [round(one.across, 5), one.says, 2 if one.felt else 1 if one.beat else 0] for one in columns_of(score, index)
    ]


def _known(grids: list[list[list[Any]]], one: list[list[Any]]) -> int:
    """The number of a grid's columns among the different ones so far."""
    if one not in grids:
        grids.append(one)
    return grids.index(one)


def row_limbs(lessons: Sequence[Lesson]) -> list[str]:
    """The limbs of the grid's rows: the hand that keeps time on top, then hands and feet."""
    bars = [bar for lesson in lessons for bar in lesson.score.bars]
    playing = {stroke.limb for bar in bars for stroke in (*bar.strokes, *bar.groove_alone)}
    first = time_hand(lessons[0])
    return [limb for limb in dict.fromkeys((first, *LIMBS)) if limb in playing]


def _voice_data(voice: Voice) -> dict[str, Any]:
    part, limb, instrument, role = voice
    drum = INSTRUMENTS[instrument]
    return {"part": part, "limb": limb, "role": role, "key": drum.key, "head": drum.head}


def _helpers() -> dict[str, Any]:
    return {
        "countIn": {
            "part": "count-in",
            "limb": "",
            "key": INSTRUMENTS["sticks"].key,
            "level": COUNT_IN_LU,
            "downbeat": 0,
        },
        "click": {
            "part": "click",
            "limb": "",
            "key": INSTRUMENTS["click"].key,
            "level": CLICK_LU,
            "downbeat": CLICK_DOWNBEAT_LU,
        },
    }


def _feel_data(lesson: Lesson) -> dict[str, Any]:
    feel = lesson.feel
    return {
        "swing": feel.swing,
        "lineSwing": feel.line_swing,
        "timing": feel.timing_ms / 1000,
        "level": feel.level_lu,
        "correlation": feel.correlation,
        "together": feel.together,
        "placement": {limb: placement_seconds(feel, limb) for limb in LIMBS},
        "keys": {
            limb: {what: stream_key(feel.seed, limb, what) for what in ("timing", "level")} for limb in (BODY, *LIMBS)
        },
        "memory": MEMORY,
        "clip": CLIP,
        "cellsPerQuarter": CELLS_PER_QUARTER,
    }
