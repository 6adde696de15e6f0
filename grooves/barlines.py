"""A line split at its bar signs, whether it is written in values or in counts."""

from collections.abc import Iterator

from grooves.errors import LessonError

LONGEST_LINE = 2_000  # bars, an hour and more of most lessons; ours
FULLEST_BAR = 512  # notes: 16/2 has 256 thirty-seconds


def numbered_bars(text: str) -> Iterator[tuple[int, list[str]]]:
    """Split a line at its bar signs: `[*numbered_bars("4 4 | 2")]` is `[(1, ["4", "4"]), (2, ["2"])]`.

    A bar of `%` alone is the bar before it once more, as on paper.
    """
    before: list[str] = []
    bars = text.strip().strip("|").split("|")
    if bars == [""]:
        raise LessonError("the line is empty; write at least one bar, such as 4 4 4 4")
    if len(bars) > LONGEST_LINE:
        raise LessonError(f"the line has {len(bars)} bars; write at most {LONGEST_LINE}, and repeat them by choruses")
    for number, bar in enumerate(bars, 1):
        signs = bar.split()
        if not signs:
            raise LessonError(f"bar {number} is empty; write its notes, or a rest such as 1r")
        if len(signs) > FULLEST_BAR:
            raise LessonError(f"bar {number} holds {len(signs)} notes; a barline, |, may be missing")
        before = _once_more(signs, before, number) if "%" in signs else signs
        yield number, before


def _once_more(signs: list[str], before: list[str], number: int) -> list[str]:
    """The signs of the bar before, for a bar of `%`; raises LessonError where that cannot be."""
    if signs != ["%"]:
        raise LessonError(f"bar {number}: % stands for a whole bar, the one before once more; write nothing beside it")
    if not before:
        raise LessonError("bar 1: % is the bar before once more, and there is none; write its notes")
    if any("[" in sign or "]" in sign for sign in before):
        raise LessonError(f"bar {number}: a bar with a tie cannot come once more by %; write its notes")
    return before
