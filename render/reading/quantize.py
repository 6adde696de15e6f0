"""Played onsets back to written ones: to the tick where they lie on a grid, else by what is likeliest.

Beats are read one by one: eighths, even or swung by the file's own ratio (written as even eighths), triplets or
sixteenths; felt beats of 6/8 and its kin as eighths or sixteenths. `render.reading.exact` reads what lies on its grid
to the tick; `render.reading.likelihood` estimates swing, delay and spread together for what a hand played. A note that
is further than `FURTHEST` from its place is refused. The tolerances are ours, by trial.
"""

from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction
from typing import TYPE_CHECKING

from grooves.errors import LessonError
from grooves.rhythm import EIGHTH, SIXTEENTH, Meter, place_name
from render.reading.exact import Others, read_exactly
from render.reading.patterns import Pattern
from render.reading.played import BeatGrid, PlacedNote, PlayedNote, Quantized, beat_of, even_grid, swung_grid

if TYPE_CHECKING:
    from render.reading.likelihood import BeatReading

FURTHEST = 0.08  # quarters: under 1/12, where a sextuplet's second note would pass for a sixteenth,
FURTHEST_SECONDS = 0.025  # or this, at tempos where a hand's deviation is larger than that, or this many
FURTHEST_SPREADS = 3.5  # of the file's own deviation; never more than half a sixteenth
LEAST_DELAY_SECONDS = 0.010  # a smaller one is told as distance from the grid
FLAM = Fraction(1, 16)  # strokes closer than this are one; a 32nd is 1/8
THIRD = Fraction(1, 3)


def quantize(
    notes: Sequence[PlayedNote], meter: Meter, tick: Fraction = Fraction(1, 480), others: Others = ((), ())
) -> Quantized:
    """Find the written places: `quantize([PlayedNote(Fraction(5, 3))], Meter(4, 4)).placed[0].onset` is 3/2.

    `tick` is the file's, in quarters; `others` show how the other drums swing.
    Raises LessonError with bar and beat for a note that is on no grid.
    """
    strokes = _strokes(notes)
    if not strokes:
        return Quantized((), {}, None, exact=True)
    return read_exactly(strokes, beat_of(meter), tick, others) or _likeliest(strokes, meter)


def _strokes(notes: Sequence[PlayedNote]) -> list[PlayedNote]:
    """The notes in order of time; of a flam or a chord the loudest note, of equals the last."""
    groups: list[list[PlayedNote]] = []
    for note in sorted(notes, key=lambda note: note.onset):
        if not groups or note.onset - groups[-1][0].onset >= FLAM:
            groups.append([])
        groups[-1].append(note)
    return [max(reversed(group), key=lambda note: note.velocity) for group in groups]


def _likeliest(strokes: Sequence[PlayedNote], meter: Meter) -> Quantized:
    from render.reading.likelihood import as_arrays, read_beats  # numpy is needed here alone
    from render.reading.pace import estimate_with_pace, stretched

    beat = beat_of(meter)
    onsets, quarters = as_arrays([(float(stroke.onset), stroke.quarter_seconds) for stroke in strokes])
    found, pace = estimate_with_pace(onsets, quarters, beat)
    if pace != 1.0:
        onsets, quarters = stretched(onsets, pace), quarters / pace
        strokes = [_stretched(stroke, strokes[0].onset, pace) for stroke in strokes]
    upbeat = None if found.upbeat == 0.5 else Fraction(found.upbeat).limit_denominator(10_000)
    delay_seconds = found.delay_seconds if abs(found.delay_seconds) >= LEAST_DELAY_SECONDS else 0.0
    moved = [_earlier(stroke, delay_seconds) for stroke in strokes]
    furthest = max(FURTHEST_SECONDS, FURTHEST_SPREADS * found.spread_seconds)
    placed: list[PlacedNote] = []
    grids: dict[int, BeatGrid] = {}
    readings = _open_triplets(read_beats(onsets, quarters, beat, found), upbeat)
    for reading in readings:
        mine = [moved[index] for index in reading.strokes]
        grid = _grid("beats" if reading.pattern is None else reading.pattern.grid, upbeat, beat)
        places = () if reading.pattern is None else reading.pattern.places
        here = [_place(one, reading.beat * beat, place, grid) for one, place in zip(mine, places, strict=False)]
        _refuse_far(mine, here, furthest, meter)
        placed += here
        grids[reading.beat] = grid
    if placed and placed[0].onset < 0:  # it stood at the beginning, and all are played late
        raise LessonError(
            "the first note falls before bar 1; export the file with an empty bar before it, or quantized"
        )
    return Quantized(
        tuple(placed),
        grids,
        upbeat,
        delay_seconds=delay_seconds,
        spread_seconds=found.spread_seconds,
        sure={reading.beat: reading.sure for reading in readings},
        pace=pace,
    )


def _stretched(stroke: PlayedNote, first: Fraction, pace: float) -> PlayedNote:
    exact = Fraction(pace).limit_denominator(100_000)
    length = None if stroke.length is None else stroke.length * exact
    onset = first + (stroke.onset - first) * exact
    return replace(stroke, onset=onset, length=length, quarter_seconds=stroke.quarter_seconds / pace)


def _earlier(stroke: PlayedNote, seconds: float) -> PlayedNote:
    quarters = Fraction(seconds / stroke.quarter_seconds).limit_denominator(100_000)
    return replace(stroke, onset=stroke.onset - quarters)


def _grid(name: str, upbeat: Fraction | None, beat: Fraction) -> BeatGrid:
    if name in ("beats", "eighths"):
        return even_grid("eighths", beat) if upbeat is None else swung_grid(upbeat)
    return even_grid(name, beat)


def _place(stroke: PlayedNote, start: Fraction, place: Fraction, grid: BeatGrid) -> PlacedNote:
    played = grid.played[grid.written.index(place)]
    return PlacedNote(stroke, start + place, stroke.onset - start - played)


def _refuse_far(
    strokes: Sequence[PlayedNote], placed: Sequence[PlacedNote], furthest_seconds: float, meter: Meter
) -> None:
    """Raise LessonError where a beat's strokes fit no pattern."""
    limit = max(FURTHEST, min(furthest_seconds / max(strokes[0].quarter_seconds, 0.001), 0.12))
    far = max(placed, key=lambda one: abs(one.off), default=None)
    if far is not None and abs(far.off) <= limit:
        return
    lost = strokes[-1] if far is None else far.note
    bar, within = divmod(max(lost.onset, Fraction(0)), meter.length)
    place = place_name(within // SIXTEENTH * SIXTEENTH, meter)
    many = f"{len(strokes)} notes in that beat" if len(strokes) > 1 else "the note there"
    raise LessonError(
        f"bar {bar + 1}, near beat {place}: {many} cannot be read as eighths, triplets or sixteenths; "
        "quantize it where it was recorded"
    )


def _open_triplets(readings: Sequence["BeatReading"], upbeat: Fraction | None) -> list["BeatReading"]:
    """Read a beat as the first half of a quarter-note triplet where the second half follows it.

    The triplet's second note falls like a swung upbeat, a little before it or after.
    """
    if upbeat is None:
        return list(readings)
    after = {reading.beat: reading.pattern for reading in readings}
    return [
        replace(one, pattern=Pattern("triplets", (Fraction(0), 2 * THIRD), 0.0))
        if _is_eighths(one.pattern) and (next_one := after.get(one.beat + 1)) and next_one.places == (THIRD,)
        else one
        for one in readings
    ]


def _is_eighths(pattern: Pattern | None) -> bool:
    return pattern is not None and pattern.places == (Fraction(0), EIGHTH)
