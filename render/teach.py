"""What a teacher looks up about a line: bar by bar who sounds together and how hard it is, and stairs up to a bar."""

import json
from dataclasses import dataclass
from itertools import pairwise

from grooves.coordination import Difficulty, hardest_first, who_sounds
from grooves.lesson import Lesson
from grooves.line import PlayedOn
from grooves.mistake import Mistake
from grooves.rhythm import Bar, value_name, values_text
from grooves.score import Score
from grooves.stairs import alone, said, stairs

TIMES_EACH_STEP = 4


@dataclass(frozen=True)
class PlaceView:
    """One place of a bar: its count, the limbs that sound, and the words for it."""

    count: str
    limbs: tuple[str, ...]
    parts: tuple[str, ...]
    words: str


@dataclass(frozen=True)
class BarView:
    """One bar as a teacher looks at it: places in order, difficulty with its parts, one sentence on why."""

    bar: int
    values: str
    places: tuple[PlaceView, ...]
    difficulty: float
    parts: dict[str, float]
    why: str


def describe_bars(lesson: Lesson) -> tuple[BarView, ...]:
    """Every bar of the line once, at its hardest, hardest first: `describe_bars(lesson)[0].why`."""
    return tuple(_view(lesson, found) for found in hardest_first(lesson.score))


def _view(lesson: Lesson, found: Difficulty) -> BarView:
    bar = lesson.score.bars[found.bar_index]
    places = who_sounds(lesson.score, found.bar_index)
    return BarView(
        bar.number,
        written(bar.line),
        tuple(PlaceView(place.count, place.limbs, place.parts, place.words) for place in places),
        round(found.total, 2),
        {one.name: round(one.points, 2) for one in found.ingredients},
        found.why,
    )


def written(bar: Bar) -> str:
    """One bar by itself as values, its first held note in brackets: "(8) 4 8 2"."""
    held = bar[0].kind == "held"
    tail = values_text([bar[1:]]) if len(bar) > 1 else ""
    return f"({value_name(bar[0].length)}) {tail}".strip() if held else values_text([bar])


def stairs_text(lesson: Lesson, number: int, start: int | None) -> tuple[str, list[str]]:
    """A lesson that climbs to a bar, each step four times, and what every step changes; raises Mistake.

    `stairs_text(lesson, 6, None)` begins at quarter notes; with a start, at that bar of the line.
    """
    lines = {bar.number: bar.line for bar in lesson.score.bars}
    for wanted in (number, *([start] if start is not None else [])):
        if wanted not in lines:
            known = f"it has bars {', '.join(map(str, lines))}" if len(lines) < 9 else f"the last bar is {max(lines)}"
            raise Mistake(f"there is no bar {wanted} in this line; {known}")
    meter = lesson.score.meter
    steps = stairs(lines[number], meter, None if start is None else alone(lines[start], meter))
    changes = [
        f"step {place}: {said(before, after, meter)}" for place, (before, after) in enumerate(pairwise(steps), 2)
    ]
    begin = f"step 1: {values_text(steps[:1])}"
    return _stairs_lesson(lesson, number, steps), [begin, *changes]


def _stairs_lesson(lesson: Lesson, number: int, steps: tuple[Bar, ...]) -> str:
    # Readers by chorus need as many choruses; the swing is said where the lesson says it.
    choruses = f"choruses = {lesson.score.readings}\n" if lesson.score.readings > 1 else ""
    leads = 'leads = "left"\n' if lesson.leads == "left" else ""
    feel = f"\n[feel]\nswing = {json.dumps(lesson.feel.swing)}\n" if lesson.own_swing else ""
    return f"""# Stairs up to bar {number}: each bar differs from the one before by a single note.
title = {_quoted(f"{lesson.title}: up to bar {number}")}
tempo = {lesson.score.tempo_bpm:g}
groove = {_quoted(lesson.groove)}
{choruses}{leads}
[line]
values = {_quoted(values_text(steps))}
played_on = {_readings_text(lesson.score)}
repeat_each = {TIMES_EACH_STEP}
{feel}"""


def _readings_text(score: Score) -> str:
    """Who reads, as a lesson says it; readers that take turns do so again, by chorus or by bar."""
    told = [_reading_text(reading) for reading in score.played_on]
    if len(told) == 1:
        return told[0]
    return f"{{ {'each_chorus' if score.readings > 1 else 'each_bar'} = [{', '.join(told)}] }}"


def _reading_text(reading: PlayedOn) -> str:
    if reading.alternate:
        return '{ hands = "alternate" }'
    if reading.gaps:
        return f'{{ notes = "{reading.long}", gaps = "{reading.gaps}" }}'
    if reading.long != reading.short:
        return f'{{ long = "{reading.long}", short = "{reading.short}" }}'
    return f'"{reading.long}"'


def _quoted(text: str) -> str:
    """A TOML basic string; JSON's escapes are TOML's too, and TOML alone escapes the delete character."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007F")
