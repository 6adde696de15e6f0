"""The levels of reading lines: what each is about, what it draws from, how hard its bars are, what it asks of a bar.

Levels and bands are ours. Drawing: a beat is a string, `x` a stroke, `-` the last note still sounding, `.` silence,
parted evenly: `xx` two eighths, `x-x` a triplet without its middle note. A string that stands twice in a level comes
up twice as often.
"""

from collections.abc import Callable, Mapping
from types import MappingProxyType
from typing import NamedTuple

from grooves.errors import LessonError
from grooves.notes import line_notes
from grooves.rhythm import EIGHTH, QUARTER, SIXTEENTH, Bar, Meter, is_triplet
from grooves.teaching.beats import strokes_of
from grooves.teaching.complexity import held_over, strong_beats

METERS = (Meter(4, 4), Meter(3, 4), Meter(5, 4), Meter(6, 8), Meter(12, 8))
LONGEST_LINE = 128  # bars
TIMES_EACH = 4  # level 4 plays each rhythm so many times
PHRASE = 4  # bars of a phrase, A A' B A


class Level(NamedTuple):
    """One level: `LEVELS[1].title` says what is read; in 4/4 a bar's difficulty lies from `low` to `high`."""

    title: str
    low: float
    high: float
    quarters: str  # the beats it draws from in 3/4, 4/4, 5/4
    dotted: str = ""  # and in 6/8, 12/8; empty: not written there


LEVELS: Mapping[int, Level] = MappingProxyType(
    {
        1: Level("quarters on every beat, with accents", 0, 2, "x", "x"),
        2: Level("quarters with rests", 1.05, 4.5, "x x .", "x x ."),
        3: Level("quarters and eighths", 2, 7, "x x xx xx -", "x xxx x-x xx- -"),
        4: Level("one-bar rhythms, four times each; the next differs by one note", 4.7, 9, "xx", "xxx"),
        5: Level("upbeat quarters; in 6/8 and 12/8 upbeat eighths", 4.5, 10, ".x .x .x x .", "..x ..x .xx x"),
        6: Level("ties across the middle of the bar", 7.5, 13, "x xx xx .x -x -x -", "x xxx ..x -xx --x x-x"),
        7: Level(
            "ties across the barline, and all of the above", 9.5, 16, "x xx .x .x -x -x - .", "x xxx ..x -xx --x x-x"
        ),
        8: Level("triplets", 9.5, 17, "x xxx x-x xx- .xx .xx -xx ..x -.x"),
        9: Level(
            "sixteenths",
            11,
            19,
            "x xx xxxx xx-x x-xx x--x .xxx -xxx .x-x .xx- ..xx",
            "x x-x-x- x-xxx- x-xxxx x--xx- xxx-x- ..x-xx ..xxx- x-.xxx .xxxxx",
        ),
        10: Level(
            "triplets, eighths and sixteenths, with ties across the barline",
            13,
            24,
            "x xx .x -x -xx -xx .xx xxx x-x xxxx x-xx x--x -xxx .xxx",
        ),
    }
)
ACROSS_BARLINES = (7, 10)


# How much a bar of each meter holds against one of 4/4; ours, so that levels rise in every meter.
_SHARES = MappingProxyType({"4/4": 1.0, "3/4": 0.85, "5/4": 1.0, "6/8": 0.78, "12/8": 1.0})


def band(level: int, meter: Meter) -> tuple[float, float]:
    """From where to where a bar's difficulty lies: `band(3, Meter(4, 4))` is (2, 7); an ending may be easier."""
    share = _SHARES[str(meter)]
    return LEVELS[level].low * share, LEVELS[level].high * max(share, 1.0)


def comes_home(bar: Bar, meter: Meter) -> bool:
    """Whether a bar can end a line: "8r 4 8 2" can in 4/4; its last note is on a strong beat, long, and not cut off."""
    last = max(line_notes([bar]), key=lambda note: note.onset, default=None)
    if last is None or last.onset + last.length != meter.length:
        return False
    return last.onset in (0, *strong_beats(meter)) and last.length >= 2 * meter.step


def check_line(level: int, bars: int, meter: Meter) -> None:
    """Raise LessonError for a level, a number of bars or a meter that there is not."""
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
    if level in ACROSS_BARLINES and bars < 2:
        raise LessonError(f"level {level} ties across the barline, so one bar is too short; ask for 2 or more")


# --- what a level asks of a bar -----------------------------------------------------------------


def _nothing(bar: Bar, _: Meter) -> bool:
    return bool(strokes_of(bar))


def _rests(bar: Bar, _: Meter) -> bool:
    return bool(strokes_of(bar)) and any(symbol.kind == "rest" for symbol in bar)


def _eighths(bar: Bar, meter: Meter) -> bool:
    """Eighths and nothing dotted but what a dotted beat is."""
    lengths = {symbol.length for symbol in bar}
    plain = meter.compound or all(length.numerator != 3 for length in lengths)
    return EIGHTH in lengths and max(lengths) <= 2 * meter.pulse and plain


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


def asked(bar: Bar, level: int, meter: Meter) -> bool:
    """Whether a bar has what its level is about: a triplet in level 8, a tie over the middle in level 6."""
    return _ASKS.get(level, _nothing)(bar, meter)
