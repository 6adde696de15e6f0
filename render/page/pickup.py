"""The pickup on the lesson page: what is read before bar 1, drawn as the bar that it ends, and played there.

It sounds at the end of the count-in, or of a bar of the groove where nothing is counted in, and again at the end of
every bar that bar 1 follows, if the line leaves room there; see `grooves.performance`.
"""

from dataclasses import dataclass, replace
from typing import Any

from grooves.lesson import Lesson
from grooves.score import Pickup, Score, ScoreBar
from render.page.score import Row, Sheet, column_data
from render.paper.grids import places_of


@dataclass
class _Patterns:
    """The different bars with a pickup."""

    sheet: Sheet
    known: dict[tuple[Row, ...], int]

    def number(self, lesson: Lesson, bar: ScoreBar | None, groove_alone: bool, reading: int, places: Any = ()) -> int:
        """Which pattern a bar with its pickup is; -1 where it has no room for it."""
        pickup = _pickup(lesson.score)
        strokes = pickup.before(bar, groove_alone, reading)
        if not set(pickup.strokes[reading]) <= set(strokes):
            return -1
        return self.known.setdefault(self.sheet.rows(lesson, strokes, places), len(self.known))


def pickup_data(sheet: Sheet) -> dict[str, Any]:
    """The pickup of a lesson, ready for JSON; empty without one: `pickup_data(sheet)["pickup"]["start"]` is 3.0.

    For each of the page's lines and each reading: by itself in a count-in, after a bar of the groove, and after each
    bar of the line.
    """
    lesson = sheet.lessons[0]
    if lesson.score.pickup is None:
        return {}
    patterns = _Patterns(sheet, {})
    lines = [_line(one, patterns) for one in sheet.lessons]
    return {
        "pickup": {
            "start": float(lesson.score.pickup.start),
            "lines": lines,
            "columns": column_data(count_in_score(lesson.score), 0),
            "patterns": list(patterns.known),
        }
    }


def _line(lesson: Lesson, patterns: _Patterns) -> dict[str, Any]:
    score = lesson.score
    readings, drawn = range(score.readings), places_of(count_in_score(score), 0)
    return {
        "countIn": [patterns.number(lesson, None, False, reading, drawn) for reading in readings],
        "leadIn": [patterns.number(lesson, score.bars[0], True, reading) for reading in readings],
        "bars": [[patterns.number(lesson, bar, False, reading) for reading in readings] for bar in score.bars],
    }


def count_in_score(score: Score) -> Score:
    """The pickup as a bar of its own, in which nothing else sounds: what is drawn before bar 1."""
    pickup = _pickup(score)
    bar = ScoreBar(0, pickup.line, pickup.strokes[0], ())
    return replace(score, bars=(bar,), readings=1, repeat_each=1, pickup=None)


def _pickup(score: Score) -> Pickup:
    if score.pickup is None:
        raise ValueError("the score has no pickup")
    return score.pickup
