"""Reading lines written by level: new rhythms for sight-reading, from quarters to mixed rhythms.

Every line is drawn at random, and the same seed always gives the same line. It is written from its
end: the last bar comes home (its last note falls on 1 or another strong beat and sounds to the
barline, two counts or more), and each bar before it fits the bar that follows. From level 3 up four
bars make a phrase that can be remembered, A A' B A: a motif, the motif with one beat changed, another
bar, the motif again (in the line's last bar with an ending). Level 4 repeats every bar as it is.
How hard a bar may be is the level's band of `grooves.teaching.complexity.reading_points`, at 120 quarters a minute.
What a level draws from and asks of a bar is in `grooves.teaching.levels`. Phrases and this way of drawing are ours.
"""

from collections.abc import Callable, Sequence
from dataclasses import replace
from fractions import Fraction
from functools import lru_cache, partial
from itertools import combinations, count, pairwise, starmap
from random import Random
from typing import NamedTuple

from grooves.rhythm import EIGHTH, Bar, Meter
from grooves.teaching.beats import bar_of, on_the_beats, untied, upbeat_bar
from grooves.teaching.complexity import reading_points, strong_beats
from grooves.teaching.levels import (
    ACROSS_BARLINES,
    LEVELS,
    METERS,
    PHRASE,
    TIMES_EACH,
    asked,
    band,
    check_line,
    comes_home,
)

StrokeSet = frozenset[Fraction]


def lines(level: int, bars: int, seed: int, meter: Meter = METERS[0]) -> tuple[Bar, ...]:
    """Write a reading line: `lines(3, 8, 1)` is eight bars of quarters and eighths in 4/4.

    Raises LessonError for a level, a number of bars or a meter that there is not.
    """
    check_line(level, bars, meter)
    if level == 4:
        return _four_times_each(bars // TIMES_EACH, Random(f"{seed} {level} {meter}"), meter)
    drawn: tuple[_Drawn, ...] = ()
    for start in reversed(range(0, bars, PHRASE)):
        rng = Random(f"{seed} {level} {meter} {start}")
        many = min(PHRASE, bars - start)
        if level < 3:
            for _ in range(many):
                drawn = (_single(level, rng, meter, drawn), *drawn)
        else:
            drawn = (*_phrase(level, rng, meter, many, drawn), *drawn)
    written = tuple(map(_bar, drawn))
    return _accented(written, Random(f"{seed} {level} {meter}")) if level == 1 else written


def difficulty_in_line(line: Sequence[Bar], number: int, meter: Meter) -> float:
    """How hard one bar of a line reads before its next one: the figure that a level's band is about.

    `number` counts from 0; after the last bar a stroke on 1 is expected.
    """
    following = line[number + 1] if number + 1 < len(line) else on_the_beats(meter)
    return reading_points(line[number], meter, following)


# --- drawing bars -------------------------------------------------------------------------------


class _Drawn(NamedTuple):
    """Beats drawn for a bar of a level; a note may be tied into the first."""

    level: int
    meter: Meter
    beats: tuple[str, ...]
    tied_in: bool = False


@lru_cache(maxsize=8192)  # the same few bars come up again and again
def _bar(drawn: _Drawn) -> Bar:
    return upbeat_bar(drawn.beats, drawn.meter) if drawn.level == 5 else bar_of(drawn.beats, drawn.meter, drawn.tied_in)


@lru_cache(maxsize=8192)
def _has_what_is_asked(drawn: _Drawn) -> bool:
    bar = _bar(drawn)
    # Below level 6 nothing is tied.
    return asked(bar, drawn.level, drawn.meter) and (drawn.level > 5 or all(s.kind != "held" for s in bar))


@lru_cache(maxsize=32768)
def _goes_before(drawn: _Drawn, following: _Drawn) -> bool:
    """Whether one bar may stand before another: not equal, in the band, and with a note to tie where one is tied."""
    bar, after = _bar(drawn), _bar(following)
    last, meter = bar[-1], drawn.meter
    tied_on = after[0].kind == "held"
    if bar == after or (tied_on and (last.kind == "rest" or last.onset % meter.pulse == 0)):
        return False
    low, high = band(drawn.level, meter)
    return _has_what_is_asked(drawn) and low <= reading_points(bar, meter, after) <= high


@lru_cache(maxsize=8192)
def _may_end(drawn: _Drawn) -> bool:
    bar, meter = _bar(drawn), drawn.meter
    tied = drawn.level < 6 and any(symbol.kind == "held" for symbol in bar)
    home = drawn.level == 1 or comes_home(bar, meter)
    return home and not tied and reading_points(bar, meter, on_the_beats(meter)) <= band(drawn.level, meter)[1]


def _single(level: int, rng: Random, meter: Meter, after: Sequence[_Drawn]) -> _Drawn:
    """A bar before those that follow, the last bar of a line with its ending."""
    while True:
        drawn = _draw(level, rng, meter)
        if not after:
            drawn = _ending(drawn, rng)
        # Level 1 tells its bars apart by their accents alone.
        if (level == 1) or (_goes_before(drawn, after[0]) if after else _may_end(drawn)):
            return drawn


def _phrase(level: int, rng: Random, meter: Meter, many: int, after: Sequence[_Drawn]) -> tuple[_Drawn, ...]:
    """The first bars of A A' B A before those that follow: drawn anew until each of them may stand before the next."""
    tied = level in ACROSS_BARLINES
    while True:
        motif = _asked(partial(_draw, level, rng, meter))
        varied = _asked(partial(_varied, motif, rng, tied))
        other = _asked(partial(_draw, level, rng, meter, tied and rng.random() < 0.5))
        phrase = [motif, varied, other, motif][:many]
        if not after:
            phrase[-1] = _ending(phrase[-1], rng)
        if all(starmap(_goes_before, pairwise([*phrase, *after[:1]]))) and (after or _may_end(phrase[-1])):
            return tuple(phrase)


def _asked(draw: Callable[[], _Drawn], tries: int = 200) -> _Drawn:
    """A drawn bar with what its level asks, as far as some tries go."""
    drawn = (draw() for _ in range(tries))
    return next((one for one in drawn if _has_what_is_asked(one)), draw())


def _draw(level: int, rng: Random, meter: Meter, tied_in: bool = False) -> _Drawn:
    """A bar's beats from the level's; one that a note is tied into begins with that note."""
    beats = _beats(level, meter)
    first = [beat for beat in beats if beat[0] == "-"] if tied_in else beats
    return _Drawn(level, meter, (rng.choice(first), *(rng.choice(beats) for _ in range(meter.pulses - 1))), tied_in)


def _beats(level: int, meter: Meter) -> list[str]:
    return (LEVELS[level].dotted if meter.compound else LEVELS[level].quarters).split()


def _varied(motif: _Drawn, rng: Random, tied_in: bool) -> _Drawn:
    """The motif with one beat changed: the first, where a note is to be tied into it."""
    place = 0 if tied_in else rng.randrange(len(motif.beats))
    ways = [beat for beat in _beats(motif.level, motif.meter) if beat != motif.beats[place]]
    fresh = rng.choice([beat for beat in ways if not tied_in or beat[0] == "-"])
    return motif._replace(beats=(*motif.beats[:place], fresh, *motif.beats[place + 1 :]), tied_in=tied_in)


def _ending(drawn: _Drawn, rng: Random) -> _Drawn:
    """The same beats with a closing note from a strong beat on; level 1 goes on in quarters to the end.

    Level 5, whose bars nearly all begin alike, ends in more ways than it goes on.
    """
    meter = drawn.meter
    closing = int(strong_beats(meter)[0] / meter.pulse)
    left = meter.pulses - closing - 1
    ways = ["..x", "x", ".xx", "x-x", "xxx"] if meter.compound else [".x", "x", "xx", "."]
    opening = (rng.choice(ways) if drawn.level == 5 else beat for beat in drawn.beats[:closing])
    return drawn._replace(beats=(*opening, "x", *(("x",) if drawn.level == 1 else ("-",)) * left))


def _accented(bars: Sequence[Bar], rng: Random) -> tuple[Bar, ...]:
    """One or two accents in each bar, in other places than in the bar before."""
    written: list[Bar] = []
    for bar in bars:
        ways = [
            tuple(replace(symbol, accent=number in chosen) for number, symbol in enumerate(bar))
            for many in (1, 1, 2)
            for chosen in combinations(range(len(bar)), min(many, len(bar)))
        ]
        written.append(rng.choice([way for way in ways if not written or way != written[-1]]))
    return tuple(written)


# --- level 4 ------------------------------------------------------------------------------------


def _four_times_each(rhythms: int, rng: Random, meter: Meter) -> tuple[Bar, ...]:
    """Rhythms that differ by one note from one to the next, written from the last, which comes home."""
    grid = [EIGHTH * number for number in range(int(meter.length / EIGHTH))]
    last = on_the_beats(meter)  # what is expected after the end
    low, high = band(4, meter)
    homes = (_home(rng, grid, meter) for _ in count())
    strokes = next(home for home in homes if max(_points(untied(sorted(home), meter), last, meter)) <= high)
    written = [untied(sorted(strokes), meter)]
    while len(written) < rhythms:
        ways = {way: untied(sorted(way), meter) for way in _one_note_away(strokes, grid)}
        points = {way: _points(bar, written[0], meter) for way, bar in ways.items() if bar not in written[:3]}
        new = [way for way, both in points.items() if max(both) <= high]
        # Near the end, which is easy, one note may not be enough to come into the band.
        strokes = rng.choice([way for way in new if min(points[way]) >= low] or new)
        written.insert(0, ways[strokes])
    return tuple(bar for bar in written for _ in range(TIMES_EACH))


def _home(rng: Random, grid: Sequence[Fraction], meter: Meter) -> StrokeSet:
    """Strokes of a rhythm that ends on a strong beat, with at least one before it."""
    home = strong_beats(meter)[0]
    before_home = [place for place in grid if place < home]
    return frozenset({home, *rng.sample(before_home, k=rng.randint(1, len(before_home)))})


def _one_note_away(strokes: StrokeSet, grid: Sequence[Fraction]) -> list[StrokeSet]:
    """Every set of strokes with one note more or less, or one moved by an eighth."""
    toggled = [strokes ^ {place} for place in grid]
    moved = [strokes ^ {a, b} for a, b in pairwise(grid) if (a in strokes) != (b in strokes)]
    return [found for found in (*toggled, *moved) if len(found) > 1]


def _points(bar: Bar, following: Bar, meter: Meter) -> tuple[float, float]:
    """How hard a rhythm is before itself, as it comes again, and before what follows."""
    return reading_points(bar, meter, bar), reading_points(bar, meter, following)
