"""Graded reading lines: what each level promises, for every seed and meter."""

import os
import subprocess
import sys
from collections import Counter
from fractions import Fraction
from itertools import pairwise, takewhile
from pathlib import Path
from statistics import mean

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from written import score

from grooves.counts import counts_text, parse_counts
from grooves.errors import LessonError
from grooves.notes import line_notes
from grooves.rhythm import Bar, Meter, is_triplet, parse_values, values_text
from grooves.teaching.beats import strokes_of
from grooves.teaching.complexity import held_over, strong_beats
from grooves.teaching.coordination import difficulty
from grooves.teaching.graded import difficulty_in_line, lines
from grooves.teaching.levels import LEVELS, METERS, band, comes_home

COMMON = Meter(4, 4)
SIMPLE = [meter for meter in METERS if not meter.compound]
WRITTEN = [(level, meter) for level in LEVELS for meter in METERS if LEVELS[level].dotted or not meter.compound]
seeds = st.integers(0, 2**32)


def pages(*levels: int) -> st.SearchStrategy[tuple[int, Meter]]:
    return st.sampled_from([page for page in WRITTEN if page[0] in levels or not levels])


def tied_over(line: tuple[Bar, ...]) -> list[bool]:
    """For each barline inside the line, whether a tie crosses it."""
    return [bar[0].kind == "held" for bar in line[1:]]


# --- every level --------------------------------------------------------------------------------


@settings(max_examples=60, deadline=None)
@example((4, Meter(5, 4)), 19861, 1)  # once ended on a bar easier than its level
@given(pages(), seeds, st.integers(1, 4))
def test_every_bar_of_every_line_lies_in_its_levels_band(page: tuple[int, Meter], seed: int, fours: int) -> None:
    level, meter = page
    line = lines(level, 4 * fours, seed, meter)
    assert len(line) == 4 * fours
    found = [difficulty_in_line(line, number, meter) for number in range(len(line))]
    low, high = band(level, meter)
    assert max(found) <= high
    if level != 4:  # whose bars near the end may be easier, as they change by one note from it
        assert min(found[:-1]) >= low


@settings(max_examples=60, deadline=None)
@given(pages(), seeds)
def test_every_line_can_be_written_as_values_and_as_counts_and_read_again(page: tuple[int, Meter], seed: int) -> None:
    level, meter = page
    line = lines(level, 8, seed, meter)
    assert parse_values(values_text(line), meter) == line
    assert parse_counts(counts_text(line, meter), meter) == line


@settings(max_examples=60, deadline=None)
@given(pages(), seeds)
def test_no_two_bars_in_a_row_are_equal_unless_the_level_asks(page: tuple[int, Meter], seed: int) -> None:
    level, meter = page
    line = lines(level, 16, seed, meter)
    repeats = [before == after for before, after in pairwise(line)]
    assert repeats == ([True, True, True, False] * 4)[:15] if level == 4 else not any(repeats)


@settings(max_examples=50, deadline=None)
@given(pages(), seeds)
def test_every_line_comes_home(page: tuple[int, Meter], seed: int) -> None:
    level, meter = page
    line = lines(level, 8, seed, meter)
    last = line_notes(line)[-1]
    if level == 1:  # quarters to the end
        assert [symbol.length for symbol in line[-1]] == [meter.pulse] * meter.pulses
        return
    assert (last.bar, last.onset + last.length) == (7, meter.length)
    assert last.onset in (0, *strong_beats(meter))
    assert last.length >= 2 * meter.step


@pytest.mark.parametrize(
    ("text", "home"),
    [
        ("8r 4 8 2", True),
        ("1", True),
        ("4 2.", False),  # begins on 2, a weak beat
        ("2 4 4", False),
        ("2 4 4r", False),  # cut off
        ("1r", False),
    ],
)
def test_a_line_comes_home_on_a_long_note_from_a_strong_beat(text: str, home: bool) -> None:
    assert comes_home(parse_values(text, COMMON)[0], COMMON) is home


def test_in_three_four_a_line_comes_home_on_2_held_to_the_end_but_not_on_3() -> None:
    meter = Meter(3, 4)
    assert [comes_home(parse_values(text, meter)[0], meter) for text in ("4 2", "2 4", "2.")] == [True, False, True]


def test_the_same_seed_writes_the_same_line_and_another_seed_another() -> None:
    assert lines(7, 8, 5) == lines(7, 8, 5)
    assert len({lines(level, 8, seed) for level in LEVELS for seed in range(5)}) == 5 * len(LEVELS)


def test_lines_do_not_depend_on_pythons_hash_seed() -> None:
    program = (
        "from grooves.teaching.graded import LEVELS, lines; from grooves.rhythm import values_text;"
        "print([values_text(lines(level, 8, 3)) for level in LEVELS])"
    )
    printed = [
        subprocess.run(
            [sys.executable, "-c", program],
            env={**os.environ, "PYTHONHASHSEED": seed},
            capture_output=True,
            text=True,
            check=True,
        ).stdout
        for seed in ("0", "1", "271")
    ]
    assert printed[0] == printed[1] == printed[2]


@pytest.mark.parametrize("meter", METERS, ids=str)
def test_lines_are_harder_to_read_from_level_to_level(meter: Meter) -> None:
    typical = [
        mean(difficulty_in_line(line, number, meter) for line in written for number in range(8))
        for level in LEVELS
        if LEVELS[level].dotted or not meter.compound
        for written in [[lines(level, 8, seed, meter) for seed in range(8)]]
    ]
    assert all(easier < harder for easier, harder in pairwise(typical)), typical


def test_lines_are_harder_to_play_over_swing_from_level_to_level() -> None:
    def typical(level: int) -> float:
        written = (score(values_text(lines(level, 8, seed))) for seed in range(8))
        return mean(difficulty(one, number).total for one in written for number in range(8))

    totals = [typical(level) for level in LEVELS]
    assert all(easier < harder for easier, harder in pairwise(totals)), totals


@settings(max_examples=60, deadline=None)
@given(pages(3, 5, 6, 7, 8, 9, 10), seeds)
def test_four_bars_are_a_motif_its_variation_another_bar_and_the_motif(page: tuple[int, Meter], seed: int) -> None:
    level, meter = page
    line = lines(level, 9, seed, meter)
    for start in (0, 4):
        motif, varied, other, again = line[start : start + 4]
        assert again == motif
        assert varied != motif and other != varied
        if level != 5:  # where a note that cannot be written without a tie gives way to a rest
            changed = set(strokes_of(motif)) ^ set(strokes_of(varied))
            assert len({onset // meter.pulse for onset in changed}) <= 1


def test_a_fifth_level_line_ends_in_many_ways() -> None:
    ends = Counter(values_text(lines(5, 8, seed)[-1:]) for seed in range(20))
    assert max(ends.values()) < 10


def test_level_4_begins_with_more_than_two_halves() -> None:
    assert all(len(strokes_of(lines(4, 16, seed)[0])) > 2 for seed in range(20))


def test_level_3_has_no_dots_in_quarters() -> None:
    assert all("." not in values_text(lines(3, 8, seed, meter)) for seed in range(20) for meter in SIMPLE)


def test_the_next_bar_counts_in_a_bars_difficulty_and_the_last_expects_a_downbeat() -> None:
    line = parse_values("2 4 8r 8 | 4r 4 2", COMMON)
    alone = parse_values("2 4 8r 8", COMMON)
    # The & of 4 waits three levels for the silent 1; the strokes come a little further apart.
    assert 2 < difficulty_in_line(line, 0, COMMON) - difficulty_in_line(alone, 0, COMMON) < 3.5


# --- one level after another --------------------------------------------------------------------


@settings(max_examples=40, deadline=None)
@given(st.sampled_from(METERS), seeds)
def test_level_1_strikes_every_beat_and_moves_an_accent(meter: Meter, seed: int) -> None:
    line = lines(1, 8, seed, meter)
    for bar in line[:-1]:
        assert [symbol.length for symbol in bar] == [meter.pulse] * meter.pulses
        assert all(symbol.kind == "struck" for symbol in bar)
    assert all(1 <= sum(symbol.accent for symbol in bar) <= 2 for bar in line)


@settings(max_examples=40, deadline=None)
@given(st.sampled_from(METERS), seeds)
def test_level_2_stays_on_the_beats_and_rests_in_every_bar(meter: Meter, seed: int) -> None:
    for bar in lines(2, 8, seed, meter)[:-1]:
        assert all(symbol.onset % meter.pulse == 0 for symbol in bar)
        assert {symbol.kind for symbol in bar} == {"struck", "rest"}


@settings(max_examples=40, deadline=None)
@given(st.sampled_from(METERS), seeds)
def test_level_3_has_eighths_in_every_bar_and_nothing_shorter(meter: Meter, seed: int) -> None:
    for bar in lines(3, 8, seed, meter)[:-1]:
        assert min(symbol.length for symbol in bar) == Fraction(1, 2)
        assert max(symbol.length for symbol in bar) <= 2 * meter.pulse


@settings(max_examples=20, deadline=None)
@given(st.sampled_from(METERS), seeds)
def test_level_4_changes_one_note_from_rhythm_to_rhythm(meter: Meter, seed: int) -> None:
    rhythms = lines(4, 20, seed, meter)[::4]
    for before, after in pairwise(set(strokes_of(rhythm)) for rhythm in rhythms):
        gone, come = before - after, after - before
        assert len(gone) + len(come) == 1 or (
            len(gone) == len(come) == 1 and abs(min(gone) - min(come)) == Fraction(1, 2)
        )
    assert all(rhythm not in rhythms[number + 1 : number + 4] for number, rhythm in enumerate(rhythms))


@settings(max_examples=60, deadline=None)
@given(st.sampled_from(METERS), seeds)
def test_level_5_has_an_upbeat_note_in_every_bar_and_no_ties(meter: Meter, seed: int) -> None:
    long = Fraction(1, 2) if meter.compound else 1
    line = lines(5, 8, seed, meter)
    for bar in line[:-1]:
        upbeats = [symbol for symbol in bar if symbol.kind == "struck" and symbol.onset % meter.pulse]
        assert any(symbol.length == long for symbol in upbeats)
        assert 2 * len(upbeats) >= len(strokes_of(bar))
    assert not any(symbol.kind == "held" for bar in line for symbol in bar)


@settings(max_examples=60, deadline=None)
@given(st.sampled_from(METERS), seeds)
def test_level_6_holds_an_upbeat_over_a_strong_beat_in_every_bar_but_the_last(meter: Meter, seed: int) -> None:
    line = lines(6, 8, seed, meter)
    for bar in line[:-1]:
        spans = [(note.onset, note.onset + note.length) for note in line_notes([bar])]
        assert any(note % meter.pulse and beat < meter.length for note, beat in held_over(spans, meter))
    assert not any(tied_over(line))


@settings(max_examples=60, deadline=None)
@given(pages(7, 10), seeds, st.integers(2, 16))
def test_levels_7_and_10_tie_into_the_second_bar_of_every_phrase(page: tuple[int, Meter], seed: int, bars: int) -> None:
    level, meter = page
    line = lines(level, bars, seed, meter)
    assert all(tied_over(line)[::4])
    assert line[0][0].kind != "held"


@pytest.mark.parametrize("level", [7, 10])
def test_levels_7_and_10_tie_into_the_third_bar_now_and_then(level: int) -> None:
    # Were it always or never, a reader would learn the pattern in place of the tie.
    others = [tied for seed in range(40) for tied in tied_over(lines(level, 8, seed, COMMON))[1::4]]
    assert 0.1 < mean(others) < 0.8


@settings(max_examples=40, deadline=None)
@given(st.sampled_from(SIMPLE), seeds)
def test_level_8_has_triplets_in_every_bar(meter: Meter, seed: int) -> None:
    for bar in lines(8, 8, seed, meter)[:-1]:
        assert any(is_triplet(symbol.length) for symbol in bar)


@settings(max_examples=40, deadline=None)
@given(st.sampled_from(METERS), seeds)
def test_level_9_has_sixteenths_in_every_bar(meter: Meter, seed: int) -> None:
    for bar in lines(9, 8, seed, meter)[:-1]:
        assert min(symbol.length for symbol in bar) == Fraction(1, 4)


# --- what there is not --------------------------------------------------------------------------


def test_an_unknown_level_names_those_there_are() -> None:
    with pytest.raises(LessonError, match="level 11 does not exist; choose from: 1 quarters on every beat"):
        lines(11, 8, 1)


@pytest.mark.parametrize("bars", [0, -4, 129])
def test_a_number_of_bars_that_cannot_be_names_the_range(bars: int) -> None:
    with pytest.raises(LessonError, match=f"a line of {bars} bars cannot be written; ask for 1 to 128"):
        lines(3, bars, 1)


@pytest.mark.parametrize(("bars", "near"), [(6, "4 or 8"), (3, "4")])
def test_level_4_comes_in_fours(bars: int, near: str) -> None:
    with pytest.raises(LessonError, match=f"so {bars} bars do not work out; ask for {near}$"):
        lines(4, bars, 1)


@pytest.mark.parametrize("level", [7, 10])
def test_ties_across_the_barline_need_two_bars(level: int) -> None:
    with pytest.raises(LessonError, match="one bar is too short; ask for 2 or more"):
        lines(level, 1, 1)


def test_a_meter_without_lines_names_those_with() -> None:
    with pytest.raises(LessonError, match="not written in 7/8; choose from 4/4, 3/4, 5/4, 6/8, 12/8"):
        lines(3, 8, 1, Meter(7, 8))


@pytest.mark.parametrize("level", [8, 10])
def test_triplets_are_not_written_where_every_beat_is_in_three(level: int) -> None:
    with pytest.raises(LessonError, match=f"level {level} is not written in 6/8, where every beat is in three"):
        lines(level, 8, 1, Meter(6, 8))


# --- what the documents say -----------------------------------------------------------------------


def test_the_teacher_s_document_lists_every_level_by_its_title() -> None:
    text = (Path(__file__).parents[2] / "docs" / "teaching.md").read_text(encoding="utf-8")
    _, _, table = text.partition("| level | what is read |\n|---|---|\n")
    rows = [row.strip("| ").split(" | ") for row in takewhile(str.strip, table.splitlines())]
    assert rows == [[str(number), level.title] for number, level in LEVELS.items()]
