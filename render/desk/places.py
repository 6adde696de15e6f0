"""A bar as a row of places to be pencilled in, and what a pencil does to it.

A mark stands at a place and holds until the next one: struck, held (a tie from the bar before) or a rest. A struck
mark is a note that sounds until the next mark. Places are quarters from the start of the bar, as everywhere; the
browser counts them in `TICKS` of a quarter, which holds every note value there is.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import pairwise

from grooves.errors import LessonError
from grooves.meter import beat_groups
from grooves.rhythm import EIGHTH, QUARTER, Bar, Kind, Meter, Symbol, check_bar, spell

TICKS = 96  # of a quarter: 16.. is 42 of them, 32. is 18


@dataclass(frozen=True)
class Mark:
    """What begins at a place: `Mark("struck", accent=True)`."""

    kind: Kind
    accent: bool = False


Marks = Mapping[Fraction, Mark]


def marks_of(bar: Bar) -> dict[Fraction, Mark]:
    """Where notes and rests begin, ties joined: `marks_of(bar)[Fraction(0)].kind` is "struck"."""
    marks: dict[Fraction, Mark] = {}
    before: Kind | None = None
    for symbol in bar:
        goes_on = (symbol.kind == "held" and before in ("struck", "held")) or symbol.kind == before == "rest"
        if not goes_on:
            marks[symbol.onset] = Mark(symbol.kind, symbol.accent)
        before = symbol.kind
    return marks


def bar_of(marks: Marks, meter: Meter, number: int = 1) -> Bar:
    """Write marks as notes that show the beat: the inverse of `marks_of`, but for the spelling.

    Raises LessonError where no note values can write them.
    """
    onsets = sorted(marks)
    symbols = [
        Symbol(onset, end - onset, marks[onset].kind, marks[onset].accent)
        for onset, end in pairwise([*onsets, meter.length])
    ]
    bar = spell(tuple(symbols), meter)
    check_bar(bar, meter, number)
    return bar


def ends_sounding(bar: Bar) -> bool:
    """Whether a note still sounds at the end of a bar."""
    return bar[-1].kind != "rest"


def state_at(marks: Marks, at: Fraction) -> Mark:
    """What holds at a place: the last mark before it or on it."""
    return marks[max(onset for onset in marks if onset <= at)]


def beats(meter: Meter) -> tuple[tuple[Fraction, Fraction], ...]:
    """Where each beat of the row begins and ends: a quarter, in x/8 what is felt as one."""
    if meter.unit == 8:
        return beat_groups(meter)
    return tuple((QUARTER * beat, QUARTER * (beat + 1)) for beat in range(int(meter.length)))


def divisions(meter: Meter) -> tuple[tuple[int, ...], ...]:
    """Into how many places each beat may be parted: `divisions(Meter(3, 4))[0]` is (2, 3, 4)."""
    if meter.unit == 8:
        return tuple((int((end - start) / EIGHTH), int((end - start) / EIGHTH) * 2) for start, end in beats(meter))
    return ((2, 3, 4),) * len(beats(meter))


# --- the pencil -----------------------------------------------------------------------------------


def strike(marks: Marks, at: Fraction, meter: Meter) -> dict[Fraction, Mark]:
    """Put a note at a place: out of a rest it takes the rest of its beat, out of a note what that note had left."""
    changed = {**marks, at: Mark("struck")}
    after = next(end for start, end in beats(meter) if start <= at < end)
    silent = state_at(marks, at).kind == "rest"
    if silent and after < meter.length and not any(at < onset <= after for onset in marks):
        changed[after] = Mark("rest")
    return tidy(changed)


def rest(marks: Marks, at: Fraction) -> dict[Fraction, Mark]:
    """Let it be silent from a place to the next note: what was struck there is gone."""
    return tidy({**marks, at: Mark("rest")})


def tie(marks: Marks, at: Fraction, sounds_before: bool, step: Fraction, meter: Meter) -> dict[Fraction, Mark]:
    """Let what sounds before a place go on over it, a rest begin a step later; at a bar's start from the bar before."""
    changed = {onset: mark for onset, mark in marks.items() if onset != at}
    if not (sounds_before if at == 0 else state_at(changed, at).kind != "rest"):
        raise LessonError("nothing sounds before this place, so nothing can be tied to it; strike a place before it")
    if at == 0:
        changed[at] = Mark("held")
    if at in marks and marks[at].kind == "rest" and at + step < meter.length:
        changed.setdefault(at + step, Mark("rest"))
    return tidy(changed)


def hold(marks: Marks, start: Fraction, last: Fraction, step: Fraction, meter: Meter) -> dict[Fraction, Mark]:
    """Strike a place, or keep its stroke, and let it sound through a later one."""
    end = min(last + step, meter.length)
    after = state_at(marks, end) if end < meter.length else None
    begun = marks[start] if start in _struck(marks) else Mark("struck")
    changed = {onset: mark for onset, mark in marks.items() if onset < start or onset >= end}
    changed[start] = begun
    if after and end not in changed and after.kind == "rest":
        changed[end] = Mark("rest")
    return tidy(changed)


def accent(marks: Marks, at: Fraction) -> dict[Fraction, Mark]:
    """Give a note an accent, or take it away."""
    if at not in _struck(marks):
        raise LessonError("an accent stands on a note; strike this place first")
    return {**marks, at: replace(marks[at], accent=not marks[at].accent)}


def divide(marks: Marks, beat: int, parts: int, meter: Meter) -> dict[Fraction, Mark]:
    """Part a beat into so many places, with what stands in it moved to the nearest of them.

    What would fall on a place that is taken, or past the beat's end, is gone.
    """
    if not 0 <= beat < len(beats(meter)) or parts not in divisions(meter)[beat]:
        raise LessonError(f"this beat cannot be parted into {parts}")
    start, end = beats(meter)[beat]
    step = (end - start) / parts
    changed = {onset: mark for onset, mark in marks.items() if not start <= onset < end}
    for onset, mark in sorted(marks.items()):
        if start <= onset < end:
            place = start + _nearest((onset - start) / step) * step
            if place < end and place not in changed:
                changed[place] = mark
    return tidy(changed)


def _nearest(parts: Fraction) -> Fraction:
    """A whole number of parts, of two equally near the later: an upbeat becomes the last triplet."""
    return Fraction((parts + Fraction(1, 2)) // 1)


def tidy(marks: Marks) -> dict[Fraction, Mark]:
    """Without marks that say nothing new: a rest in a rest, a tie to nothing is a rest."""
    kept: dict[Fraction, Mark] = {}
    before: Kind | None = None
    for onset, mark in sorted(marks.items()):
        kind: Kind = "rest" if mark.kind == "held" and onset > 0 and before == "rest" else mark.kind
        if not ((kind == "rest" and before == "rest") or (kind == "held" and onset > 0)):
            kept[onset] = replace(mark, kind=kind)
            before = kind
    return kept


def _struck(marks: Marks) -> set[Fraction]:
    return {onset for onset, mark in marks.items() if mark.kind == "struck"}


# --- a line of bars -------------------------------------------------------------------------------


def mended(bars: Sequence[Bar], meter: Meter, sounds_first: bool = False) -> tuple[Bar, ...]:
    """Bars after a change: a tie over a barline to nothing becomes a rest."""
    whole: list[Bar] = []
    sounding = sounds_first
    for bar in bars:
        if bar[0].kind == "held" and not sounding:
            marks = marks_of(bar)
            bar = bar_of(tidy({**marks, Fraction(0): Mark("rest")}), meter, len(whole) + 1)
        whole.append(bar)
        sounding = ends_sounding(bar)
    return tuple(whole)


def silent_bar(meter: Meter) -> Bar:
    """A bar of rest."""
    return spell((Symbol(Fraction(0), meter.length, "rest"),), meter)


def ticks(bar: Bar) -> list[list[object]]:
    """A bar's marks for the browser: `[[0, "struck", False], [96, "rest", False]]`."""
    return [[int(onset * TICKS), mark.kind, mark.accent] for onset, mark in sorted(marks_of(bar).items())]


def place(tick: int, meter: Meter, number: int) -> Fraction:
    """The place that a browser names by its tick; raises LessonError for one outside of the bar."""
    at = Fraction(tick, TICKS)
    if not 0 <= at < meter.length:
        raise LessonError(f"bar {number} has no such place")
    return at
