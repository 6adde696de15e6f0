"""Reading lines written by level: new rhythms for sight-reading, from quarters to mixed rhythms.

Every line is drawn at random, and the same seed always gives the same line. It is written from its
end: the last bar comes home (its last note falls on 1 or another strong beat and sounds to the
barline, two counts or more), and each bar before it fits the bar that follows. How hard a bar may be
is the level's band of `grooves.complexity.reading_points`, at 120 quarters a minute.

Drawing: a beat is a string, `x` a stroke, `-` the last note still sounding, `.` silence, parted
evenly: `xx` two eighths, `x-x` a triplet without its middle note. A string that stands twice in a
level comes up twice as often. Levels, bands and this way of drawing are ours.
"""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import count, pairwise
from random import Random
from types import MappingProxyType

from grooves.errors import LessonError
from grooves.line import line_notes
from grooves.rhythm import EIGHTH, QUARTER, SIXTEENTH, Bar, Kind, Meter, Symbol, is_triplet, spell
from grooves.teaching.complexity import held_over, reading_points, strong_beats
from grooves.teaching.stairs import on_the_beats, strokes_of

METERS = (Meter(4, 4), Meter(3, 4), Meter(5, 4), Meter(6, 8), Meter(12, 8))
LONGEST_LINE = 128  # bars
StrokeSet = frozenset[Fraction]

TIMES_EACH = 4  # level 4 plays each rhythm so many times


@dataclass(frozen=True)
class Level:
    """One level: `LEVELS[1].title` says what is read; every bar's difficulty lies from `low` to `high`."""

    title: str
    low: float
    high: float
    quarters: str  # the beats it draws from in 3/4, 4/4, 5/4
    dotted: str = ""  # and in 6/8, 12/8; empty: not written there


LEVELS: Mapping[int, Level] = MappingProxyType(
    {
        1: Level("quarters on every beat, with accents", 0, 2, "x", "x"),
        2: Level("quarters with rests", 0, 4, "x x .", "x x ."),
        3: Level("quarters and eighths", 1, 6, "x x xx xx -", "x xxx x-x xx-"),
        4: Level("one-bar rhythms, four times each; the next differs by one note", 0.5, 7, "xx", "xxx"),
        5: Level("upbeat quarters; in 6/8 and 12/8 upbeat eighths", 1.5, 12, ".x .x .x x .", "..x ..x .xx x"),
        6: Level("ties across the middle of the bar", 1.5, 14, "x xx xx .x -x -x -", "x xxx ..x -xx --x x-x"),
        7: Level(
            "ties across the barline, and all of the above", 1.5, 16, "x xx .x -x -x - .", "x xxx ..x -xx --x x-x"
        ),
        8: Level("triplets", 1.5, 9, "x x xxx xxx x-x xx- .xx"),
        9: Level("sixteenths", 2, 8, "x xx xxxx xx-x x-xx x--x xxx-", "x x-x x-x-x- x-xxx- x-xxxx x--xx- xxx-x-"),
        10: Level(
            "triplets, eighths and sixteenths, with ties across the barline",
            2,
            17,
            "x xx .x -x -xx -xx xxx x-x xxxx x-xx x--x -xxx",
        ),
    }
)
_ACROSS_BARLINES = (7, 10)


def lines(level: int, bars: int, seed: int, meter: Meter = METERS[0]) -> tuple[Bar, ...]:
    """Write a reading line: `lines(3, 8, 1)` is eight bars of quarters and eighths in 4/4.

    Raises LessonError for a level, a number of bars or a meter that there is not.
    """
    _check(level, bars, meter)
    if level == 4:
        return _four_times_each(bars // TIMES_EACH, Random(f"{seed} {level} {meter}"), meter)
    written: list[Bar] = []
    for number in reversed(range(bars)):
        rng = Random(f"{seed} {level} {meter} {number}")
        # Every second barline is tied over, others now and then.
        tied_in = level in _ACROSS_BARLINES and number > 0 and (number % 2 == 1 or rng.random() < 0.25)
        following = written[0] if written else None
        draws = _draws(level, rng, meter, tied_in, following)
        written.insert(0, next(bar for bar in draws if _fits(bar, level, meter, following)))
    return tuple(written)


def difficulty_in_line(line: Sequence[Bar], number: int, meter: Meter) -> float:
    """How hard one bar of a line reads before its next one: the figure that a level's band is about.

    `number` counts from 0; after the last bar a stroke on 1 is expected.
    """
    following = line[number + 1] if number + 1 < len(line) else on_the_beats(meter)
    return reading_points(line[number], meter, following)


def comes_home(bar: Bar, meter: Meter) -> bool:
    """Whether a bar can end a line: "8r 4 8 2" can in 4/4; its last note is on a strong beat, long, and not cut off."""
    last = max(line_notes([bar]), key=lambda note: note.onset, default=None)
    if last is None or last.onset + last.length != meter.length:
        return False
    return last.onset in (0, *strong_beats(meter)) and last.length >= 2 * meter.step


def _check(level: int, bars: int, meter: Meter) -> None:
    if level not in LEVELS:
        known = "; ".join(f"{number} {found.title}" for number, found in LEVELS.items())
        raise LessonError(f"level {level} does not exist; choose from: {known}")
    if meter not in METERS:
        raise LessonError(f"lines are not written in {meter}; choose from {', '.join(map(str, METERS))}")
    if meter.compound and not LEVELS[level].dotted:
        raise LessonError(f"level {level} is not written in {meter}, where every beat is in three; choose level 7 or 9")
    if not 1 <= bars <= LONGEST_LINE:
        raise LessonError(f"a line of {bars} bars cannot be written; ask for 1 to {LONGEST_LINE}")
    if level == 4 and bars % TIMES_EACH:
        below = bars // TIMES_EACH * TIMES_EACH
        near = f"{below} or {below + TIMES_EACH}" if below else f"{TIMES_EACH}"
        raise LessonError(f"level 4 plays each rhythm four times, so {bars} bars do not work out; ask for {near}")
    if level in _ACROSS_BARLINES and bars < 2:
        raise LessonError(f"level {level} ties across the barline, so one bar is too short; ask for 2 or more")


# --- drawing bars -------------------------------------------------------------------------------


def _draws(level: int, rng: Random, meter: Meter, tied_in: bool, following: Bar | None) -> Iterator[Bar]:
    """Bars from the level's beats without end, the last bar of a line with its closing note."""
    beats = (LEVELS[level].dotted if meter.compound else LEVELS[level].quarters).split()
    closing = int(strong_beats(meter)[0] / meter.pulse)
    while True:
        cells = [rng.choice(beats) for _ in range(meter.pulses)]
        if tied_in:
            cells[0] = rng.choice([beat for beat in beats if beat[0] == "-"])
        if following is None:
            cells[closing:] = ["x", *["-"] * (meter.pulses - closing - 1)]
        bar = _upbeat_bar(cells, meter) if level == 5 else _bar(cells, meter, tied_in)
        yield _accented(bar, rng) if level == 1 else bar


def _bar(cells: Sequence[str], meter: Meter, tied_in: bool = False) -> Bar:
    """Join beats into a bar: `_bar(["x", "-x", "xx", "."], Meter(4, 4))` is "4. 8 8 8 4r"."""
    events: list[Symbol] = []
    sounding = tied_in
    for number, cell in enumerate(cells):
        length = meter.pulse / len(cell)
        for part, mark in enumerate(cell):
            sounding = mark == "x" or (mark == "-" and sounding)
            kind: Kind = "struck" if mark == "x" else "held" if sounding else "rest"
            if events and (kind == "held" or kind == events[-1].kind == "rest"):
                events[-1] = replace(events[-1], length=events[-1].length + length)
            else:
                events.append(Symbol(meter.pulse * number + length * part, length, kind))
    return spell(tuple(events), meter)


def _upbeat_bar(cells: Sequence[str], meter: Meter) -> Bar:
    onsets = [
        meter.pulse * number + meter.pulse * part / len(cell)
        for number, cell in enumerate(cells)
        for part, mark in enumerate(cell)
        if mark == "x"
    ]
    return _untied(onsets, meter)


def _untied(onsets: Sequence[Fraction], meter: Meter) -> Bar:
    """Strokes as a bar without ties: a note that one sign cannot write ends with its beat, and a rest follows."""
    silent = min(onsets, default=meter.length)
    symbols = [Symbol(Fraction(0), silent, "rest")] if silent else []
    for onset, following in pairwise([*onsets, meter.length]):
        note = Symbol(onset, following - onset)
        if len(spell((note,), meter)) > 1:
            note = replace(note, length=min(following, (onset // meter.pulse + 1) * meter.pulse) - onset)
        symbols += [note, Symbol(note.end, following - note.end, "rest")][: 1 + (note.end < following)]
    return spell(tuple(symbols), meter)


def _accented(bar: Bar, rng: Random) -> Bar:
    """One or two accents on the bar's notes."""
    chosen = rng.sample(range(len(bar)), k=min(len(bar), rng.choice((1, 1, 2))))
    return tuple(replace(symbol, accent=number in chosen) for number, symbol in enumerate(bar))


# --- what a level asks of a bar -----------------------------------------------------------------


def _fits(bar: Bar, level: int, meter: Meter, following: Bar | None) -> bool:
    last = bar[-1]
    tied_on = following is not None and following[0].kind == "held"
    if bar == following or (tied_on and (last.kind == "rest" or last.onset % meter.pulse == 0)):
        return False
    if following is None and not comes_home(bar, meter):
        return False
    if level < 6 and any(symbol.kind == "held" for symbol in bar):
        return False
    if following is not None and not _ASKS.get(level, _nothing)(bar, meter):
        return False
    points = reading_points(bar, meter, on_the_beats(meter) if following is None else following)
    return LEVELS[level].low <= points <= LEVELS[level].high


def _nothing(bar: Bar, _: Meter) -> bool:
    return bool(strokes_of(bar))


def _rests(bar: Bar, _: Meter) -> bool:
    return bool(strokes_of(bar)) and any(symbol.kind == "rest" for symbol in bar)


def _eighths(bar: Bar, meter: Meter) -> bool:
    lengths = {symbol.length for symbol in bar}
    return EIGHTH in lengths and max(lengths) <= 2 * meter.pulse


def _upbeats(bar: Bar, meter: Meter) -> bool:
    """An upbeat note of a quarter (an eighth where the beat is dotted), and at least as many upbeats as beats."""
    upbeats = [symbol for symbol in bar if symbol.kind == "struck" and symbol.onset % meter.pulse]
    wanted = EIGHTH if meter.compound else QUARTER
    return 2 * len(upbeats) >= len(strokes_of(bar)) and any(symbol.length == wanted for symbol in upbeats)


def _over_the_middle(bar: Bar, meter: Meter) -> bool:
    spans = [(note.onset, note.onset + note.length) for note in line_notes([bar])]
    return any(beat < meter.length and note % meter.pulse for note, beat in held_over(spans, meter))


def _triplets(bar: Bar, _: Meter) -> bool:
    return any(is_triplet(symbol.length) for symbol in bar)


def _sixteenths(bar: Bar, _: Meter) -> bool:
    return any(symbol.length == SIXTEENTH for symbol in bar)


def _either(bar: Bar, meter: Meter) -> bool:
    return _triplets(bar, meter) or _sixteenths(bar, meter)


_ASKS: Mapping[int, Callable[[Bar, Meter], bool]] = MappingProxyType(
    {2: _rests, 3: _eighths, 5: _upbeats, 6: _over_the_middle, 8: _triplets, 9: _sixteenths, 10: _either}
)


# --- level 4 ------------------------------------------------------------------------------------


def _four_times_each(rhythms: int, rng: Random, meter: Meter) -> tuple[Bar, ...]:
    """Rhythms that differ by one note from one to the next, written from the last, which comes home."""
    grid = [EIGHTH * number for number in range(int(meter.length / EIGHTH))]
    last = on_the_beats(meter)  # what is expected after the end
    homes = (_home(rng, grid, meter) for _ in count())
    strokes = next(home for home in homes if _in_band(_untied(sorted(home), meter), last, meter))
    written = [_untied(sorted(strokes), meter)]
    while len(written) < rhythms:
        ways = {way: _untied(sorted(way), meter) for way in _one_note_away(strokes, grid)}
        strokes = rng.choice([way for way, bar in ways.items() if _may_precede(bar, written, meter)])
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


def _may_precede(bar: Bar, written: Sequence[Bar], meter: Meter) -> bool:
    """Whether a rhythm is new within the last three and in the band, both again and before the next one."""
    return bar not in written[:3] and _in_band(bar, written[0], meter)


def _in_band(bar: Bar, following: Bar, meter: Meter) -> bool:
    """Whether a rhythm lies in level 4's band before itself and before what follows."""
    points = [reading_points(bar, meter, after) for after in (bar, following)]
    return all(LEVELS[4].low <= found <= LEVELS[4].high for found in points)
