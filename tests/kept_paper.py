"""The paper of a take as a lesson page would keep it, made from a sheet without a page."""

from math import lcm
from typing import Any

from grooves.kit import INSTRUMENTS
from grooves.lesson import Lesson
from grooves.takes.sheet import Sheet
from grooves.takes.take import Take
from render.page.practice_log import lesson_hash


def paper(lesson: Lesson, sheet: Sheet, take: Take) -> dict[str, Any]:
    """A take by cable, everyone's own to play."""
    divisions = lcm(*(one.place.denominator for one in sheet.strokes))
    voices = list(dict.fromkeys((one.limb, one.part, one.role) for one in sheet.strokes))
    return {
        "format": "fourlimb-take",
        "version": 1,
        "lesson": {"title": lesson.title, "hash": lesson_hash(lesson)},
        "kind": "cable",
        "tempo_bpm": lesson.score.tempo_bpm,
        "step": "Your turn",
        "delay_ms": None,
        "swing": sheet.swing,
        "divisions": divisions,
        "voices": voices,
        "bars": [(one.number, one.score_bar, one.onset_seconds, one.seconds, one.beat_seconds) for one in sheet.bars],
        "written": [
            (one.onset_seconds, voices.index((one.limb, one.part, one.role)), one.bar, int(one.place * divisions), 0)
            for one in sheet.strokes
        ],
        "played": [(one.onset_seconds, INSTRUMENTS[one.part].key, 90) for one in take.strokes],
    }
