"""A bar one step easier or harder, by the rule of the stairs: one stroke comes, goes or moves by an eighth."""

from collections.abc import Iterator

from grooves.errors import LessonError
from grooves.meter import EIGHTH, Meter
from grooves.rhythm import Bar
from grooves.teaching.complexity import reading_points
from grooves.teaching.stairs import alone, climb_to
from render.desk.places import Marks, bar_of, beats, marks_of, strike, tidy


def easier(bar: Bar, meter: Meter) -> Bar:
    """The last stair before a bar, on the way from a note on each beat: raises LessonError where there is none."""
    series = climb_to(bar, meter).bars
    if len(series) < 2 or reading_points(series[-2], meter, series[-2]) >= _points(bar, meter):
        raise LessonError("this bar is as easy as a stair makes it; take a lower level, or write another bar")
    return series[-2]


def harder(bar: Bar, meter: Meter) -> Bar:
    """The bar one stroke away that is the least harder: raises LessonError where there is none."""
    now = _points(bar, meter)
    found = [(points, one) for one in _one_stroke_away(bar, meter) if (points := _points(one, meter)) > now + 1e-6]
    if not found:
        raise LessonError("no bar one stroke away is harder; part a beat into more places first")
    return min(found, key=lambda pair: pair[0])[1]


def _points(bar: Bar, meter: Meter) -> float:
    bar = alone(bar, meter)
    return reading_points(bar, meter, bar)


def _one_stroke_away(bar: Bar, meter: Meter) -> Iterator[Bar]:
    """Every bar with one stroke more or less, or one moved by an eighth past no other."""
    marks = marks_of(alone(bar, meter))
    struck = [onset for onset, mark in marks.items() if mark.kind == "struck"]
    places = sorted({*struck, *(start + EIGHTH * n for start, end in beats(meter) for n in range(4))})
    for at in (place for place in places if place < meter.length):
        if at not in struck:
            yield from _written(strike(marks, at, meter), meter)
        elif len(struck) > 1 and at > 0:
            without = tidy({onset: mark for onset, mark in marks.items() if onset != at})
            yield from _written(without, meter)
            for moved in (at - EIGHTH, at + EIGHTH):
                if 0 <= moved < meter.length and not any(min(at, moved) < one < max(at, moved) for one in struck):
                    yield from _written(strike(without, moved, meter), meter) if moved not in struck else ()


def _written(marks: Marks, meter: Meter) -> Iterator[Bar]:
    """The bar, if note values can write it."""
    try:
        yield bar_of(marks, meter)
    except LessonError:
        return
