"""A choice of bars in words: numbers, ranges, and the letters that stand over a line."""

from collections.abc import Sequence

from grooves.errors import LessonError
from grooves.score import RehearsalLetter, Score

MOST_CHOSEN = 20_000  # bars in one choice, repeats among them: more than ten hours of most lessons; ours


def bar_numbers(text: str | int, there: Sequence[int], letters: Sequence[RehearsalLetter] = ()) -> tuple[int, ...]:
    """Read a choice of bars: `bar_numbers("1-3, 7", range(1, 9))` is (1, 2, 3, 7); raises LessonError.

    A letter chooses the bars from where it stands to before the next: with B over bar 5, "B" is 5 to 8.
    """
    numbers, known = list[int](), {*there}
    for piece in (one.strip() for one in str(text).split(",")):
        for number in _under(piece, there, letters) or _range(piece, max(there), letters):
            if number not in known:
                bars = f"it has bars {', '.join(map(str, sorted(known)))}" if len(known) < 9 else _last(max(there))
                raise LessonError(f"there is no bar {number}; {bars}")
            if len(numbers) == MOST_CHOSEN:
                raise LessonError(f"more than {MOST_CHOSEN:,} bars are chosen; choose fewer, and repeat them by times")
            numbers.append(number)
    return tuple(numbers)


def _under(piece: str, there: Sequence[int], letters: Sequence[RehearsalLetter]) -> Sequence[int]:
    """The bars under a letter, none where the piece names no letter."""
    for at, one in enumerate(letters):
        if one.letter.casefold() == piece.casefold():
            end = letters[at + 1].bar if at + 1 < len(letters) else max(there) + 1
            found = sorted({number for number in there if one.bar <= number < end})
            if not found:
                raise LessonError(f"{one.letter} stands over bars that are not chosen; {_last(max(there))}")
            return found
    return ()


def _range(piece: str, last_bar: int, letters: Sequence[RehearsalLetter]) -> range:
    first, dash, last = (word.strip() for word in piece.partition("-"))
    if not first.isdecimal() or (dash and not last.isdecimal()):
        or_letter = f", or a letter: {', '.join(one.letter for one in letters)}" if letters else ""
        raise LessonError(f"'{piece}' is not a bar; write numbers and ranges, such as \"1-4, 7\"{or_letter}")
    if max(len(first), len(last)) > 5:
        raise LessonError(f"'{piece[:20]}' is past the end; {_last(last_bar)}")
    if dash and int(last) < int(first):
        raise LessonError(f"'{piece}' runs backwards; write {last}-{first}")
    return range(int(first), int(last or first) + 1)


def _last(bar: int) -> str:
    return f"the last bar is {bar}"


def bar_indexes(text: str | int, score: Score) -> tuple[int, ...]:
    """Find chosen bars in a score: with `repeat_each = 2`, bar 3 is `score.bars[4]`; raises LessonError."""
    there = [bar.number for bar in score.bars[: score.chorus_length]]
    first = {number: place for place, number in reversed([*enumerate(there)])}
    return tuple(first[number] for number in bar_numbers(text, there, score.letters))
