"""Lessons for tests, made from a few words."""

from collections.abc import Sequence
from pathlib import Path
from typing import Any

from grooves.band.band import read_band
from grooves.lesson import Lesson, parse_lesson
from grooves.passages import Track, track_passages
from grooves.performance import Hit, Performance, perform
from render.lesson.groove_files import find_groove

EXACT = "timing_ms = 0\nlevel_lu = 0"


def text_of(
    values: str = "4 4 4 4",
    *,
    groove: str = "swing",
    tempo: float = 120,
    line: str = "",
    feel: str = EXACT,
    top: str = "",
    tracks: str = "",
    balance: str = "",
) -> str:
    """A lesson file from its parts, exact unless `feel` says otherwise."""
    return f"""
title = "Harbour Street, test page"
tempo = {tempo}
groove = "{groove}"
{top}
[line]
values = "{values}"
{line}
[feel]
{feel}
[balance]
{balance}
{tracks}
"""


def lesson_of(values: str = "4 4 4 4", **parts: Any) -> Lesson:
    """A lesson from its parts, as `text_of` writes them."""
    return parse_text(text_of(values, **parts))


def parse_text(text: str, folder: Path = Path()) -> Lesson:
    """A lesson from its text, grooves found as the command line finds them."""

    def no_file(*_: object) -> Sequence[tuple[object, ...]]:
        raise AssertionError("this test reads no notation file")

    return parse_lesson(text, lambda name: find_groove(name, folder), no_file, read_band)  # type: ignore[arg-type]


def played(lesson: Lesson, track: Track | str = "full") -> Performance:
    """A track of a lesson, performed."""
    if isinstance(track, str):
        track = next(one for one in lesson.tracks if one.name == track)
    passages = track_passages(track, lesson.score, lesson.choruses, lesson.count_in)
    return perform(lesson.score, passages, lesson.feel, lesson.balance_lu)


def of_part(performance: Performance, part: str) -> list[Hit]:
    """The hits of one part in order."""
    return [hit for hit in performance.hits if hit.part == part]


def ticks(performance: Performance, part: str, bars_in: int = 2) -> list[int]:
    """Ticks of one part at 960 a quarter, from the first bar after the count-in."""
    start = performance.bars[bars_in].onset_quarters
    return [round((hit.onset_quarters - start) * 960) for hit in of_part(performance, part)]
