"""The lines of a lesson, one or several in turn: from their tables to one score with its rehearsal letters."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Literal

from grooves.bar_choice import bar_numbers
from grooves.counts import parse_counts
from grooves.errors import LessonError, at
from grooves.groove import Groove
from grooves.lesson_readers import reading_hand, who_reads
from grooves.lesson_tables import LessonFile, LineTable
from grooves.line import PlayedOn, RehearsalLetter, WrittenLine
from grooves.pickup import parse_pickup
from grooves.rhythm import Meter, parse_values
from grooves.score import Score, in_turn, write_score

MOST_BARS = 10_000  # of a lesson, with those that come again: five hours at 120, 5 s to say how hard each is; ours
ALPHABET = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"

ReadLine = Callable[[str, Meter, str | int | None], WrittenLine]


@dataclass(frozen=True)
class _Line:
    """One line of a lesson as it is to be played."""

    table: LineTable
    written: WrittenLine
    played_on: list[PlayedOn]
    turns: Literal["chorus", "bar"]
    chosen: tuple[int, ...]
    letters: tuple[RehearsalLetter, ...]  # by the line's own bars

    @property
    def length(self) -> int:
        """Bars that are played of it, with their repeats."""
        ways = len(self.played_on) if self.turns == "chorus" else 1
        return len(self.chosen or self.written.bars) * self.table.repeat_each * ways


def read_lines(file: LessonFile, groove: Groove, read_line: ReadLine) -> Score:
    """The score of a lesson's line, or of several one after another: `read_lines(file, groove, read_line).letters`.

    Raises LessonError naming the line, the key, what stands there and what would be right.
    """
    tables = file.lines
    if not tables:
        raise LessonError("line: no line stands here; write [line] and below it values = …")
    if len(tables) == 1:
        with at("line"):
            (line,) = lines = [_read(tables[0], groove, read_line)]
            _check_length(lines)
            first = min(line.chosen, default=1)
            letters = [replace(one, bar=first) if line.table.letter else one for one in line.letters]
            return replace(_score(file, groove, line, 0), letters=tuple(letters))
    _check_letters(tables)
    lines = []
    for number, table in enumerate(tables, 1):
        with at(f"line {number}"):
            line = _read(table, groove, read_line)
            _check_beside(line, tables[0], number)
            lines.append(line)
    _check_length(lines)
    return _in_turn(file, groove, lines)


def _read(table: LineTable, groove: Groove, read_line: ReadLine) -> _Line:
    written = written_line(table, groove.meter, read_line)
    played_on, turns = who_reads(table)
    bars = range(1, len(written.bars) + 1)
    letters = _letters(table, bars) or written.letters
    with at("bars"):
        chosen = () if table.bars is None else bar_numbers(table.bars, bars, letters)
    return _Line(table, written, played_on, turns, chosen, letters)


def written_line(table: LineTable, meter: Meter, read_line: ReadLine) -> WrittenLine:
    """The bars of a line as they are written, before any are chosen or repeated; raises LessonError."""
    given = [name for name in ("values", "counts", "file") if getattr(table, name)]
    if len(given) != 1:
        said = f"{' and '.join(given)} stand here" if given else "there is no rhythm"
        raise LessonError(f"{said}; write one of values, counts or file")
    if table.part is not None and not table.file:
        raise LessonError("part: it names a part of a notation file; write it beside file only")
    if table.pickup and table.file:
        raise LessonError("pickup: it stands beside values or counts; a notation file has its own")
    with at(given[0]):
        if table.file:
            return read_line(table.file, meter, table.part)
        bars = parse_counts(table.counts, meter) if table.counts else ()
        if table.pickup:
            pickup, after = parse_pickup(table.pickup, meter, table.values)
            return WrittenLine(bars or after, pickup)
        return WrittenLine(bars or parse_values(table.values, meter))


def _check_length(lines: Sequence[_Line]) -> None:
    whole = sum(line.length for line in lines)
    if whole > MOST_BARS:
        raise LessonError(
            f"{whole:,} bars with their repeats; a lesson has at most {MOST_BARS:,}: use times or choruses"
        )


def _score(file: LessonFile, groove: Groove, line: _Line, start: int) -> Score:
    return write_score(
        file.title,
        groove,
        file.tempo,
        line.written.bars,
        line.played_on,
        line.chosen,
        line.table.repeat_each,
        line.turns,
        file.kit,
        reading_hand(line.table, line.played_on),
        line.written.pickup,
        start,
    )


# --- letters ------------------------------------------------------------------------------------


def _letters(table: LineTable, bars: range) -> tuple[RehearsalLetter, ...]:
    """The letters that a table puts over its bars."""
    if table.letter and table.sections:
        raise LessonError("letter and sections both stand here; write one of them")
    if table.letter:
        return (RehearsalLetter(table.letter, 1),)
    with at("sections"):
        for letter, bar in table.sections.items():
            if bar not in bars:
                raise LessonError(f"{letter} = {bar}: there is no bar {bar}; the last bar is {bars[-1]}")
    in_order = sorted(table.sections.items(), key=lambda one: one[1])
    return tuple(RehearsalLetter(letter, bar) for letter, bar in in_order)


def _check_letters(tables: Sequence[LineTable]) -> None:
    if len(tables) > len(ALPHABET):
        raise LessonError(f"line: {len(tables)} lines stand here; a lesson has at most {len(ALPHABET)}, A to Z")
    over: dict[str, int] = {}
    for number, letter in enumerate(letters_of(tables), 1):
        first = over.setdefault(letter.casefold(), number)
        if first != number:
            raise LessonError(f"line {number}, letter: line {first} has the letter {letter} already; choose another")


def letters_of(tables: Sequence[LineTable]) -> list[str]:
    """The letters of several lines: `letters_of(tables)` is ["A", "B"] where they name none."""
    return [table.letter or letter for table, letter in zip(tables, ALPHABET, strict=False)]


# --- several lines --------------------------------------------------------------------------------


def _check_beside(line: _Line, first: LineTable, number: int) -> None:
    """Raise LessonError for what one line may say and several may not."""
    if line.table.sections:
        raise LessonError('sections: each of several lines has one letter; write letter = "B" instead')
    if line.turns == "chorus" and len(line.played_on) > 1:
        raise LessonError(
            "readers do not change by chorus where several lines are played in turn; "
            "say played_on for each line, or { each_bar = […] }"
        )
    if line.written.pickup and number > 1:
        raise LessonError(
            f"pickup: only the first line begins with one; write its notes at the end of line {number - 1}"
        )
    if line.table.repeat_each != first.repeat_each:
        raise LessonError(
            f"repeat_each: {line.table.repeat_each} here and {first.repeat_each} in line 1; "
            "several lines repeat their bars alike"
        )


def _in_turn(file: LessonFile, groove: Groove, lines: Sequence[_Line]) -> Score:
    """Line after line, the bars numbered on, the groove going on, a letter over the first bar of each."""
    scores: list[Score] = []
    before = [0]  # bars as written in the lines before each
    for number, line in enumerate(lines, 1):
        with at(f"line {number}"):
            scores.append(_score(file, groove, line, sum(len(score.bars) for score in scores)))
        before.append(before[-1] + len(line.written.bars))
    readers = [score.played_on for score in scores]
    differ = len(set(readers)) > 1
    letters = tuple(
        RehearsalLetter(letter, min(bar.number for bar in score.bars) + offset, score.played_on if differ else ())
        for letter, offset, score in zip(letters_of(file.lines), before, scores, strict=False)
    )
    return replace(in_turn(scores, before[:-1]), letters=letters)
