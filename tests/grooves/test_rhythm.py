"""Note values and spoken counts against the Humdrum table and another reader of the same rhythm."""

from fractions import Fraction as F

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from grooves.counts import counts_text, parse_counts, parse_places
from grooves.errors import LessonError
from grooves.notes import line_notes
from grooves.rhythm import Meter, parse_meter, parse_values, place_name, spell, syllable, value_length, values_text

FOUR = Meter(4, 4)

# D. Huron, The Humdrum Toolkit Reference, **recip: the number divides the whole note, a dot adds half.
RECIP = {
    "1": F(4), "2": F(2), "4": F(1), "8": F(1, 2), "16": F(1, 4), "32": F(1, 8),
    "2.": F(3), "4.": F(3, 2), "8.": F(3, 4), "8..": F(7, 8), "16.": F(3, 8),
    "3": F(4, 3), "6": F(2, 3), "12": F(1, 3), "24": F(1, 6),
}  # fmt: skip


@pytest.mark.parametrize(("value", "quarters"), RECIP.items())
def test_a_value_has_the_length_of_the_humdrum_table(value, quarters):
    assert value_length(value) == quarters


def test_the_table_s_own_example_sums_to_five_quarters():
    # Humdrum **recip page: 12 12 12 4 4 8 8 4 fills a bar of *M5/4.
    (bar,) = parse_values("12 12 12 4 4 8 8 4", Meter(5, 4))
    assert bar[-1].end == 5


LINES = [
    "4 8 8 4 4 | 8 4 4 4 8",
    "4. 8 2 | 8. 16 8 8 4r 4",
    "12 12 12 6 6 6 4 | 16 16 16 16 8 16 16 16 8 16 4",
    "2 [4 4] | 8 8 [4 4_ 8] 8",
    "4 4 [2 | 4] 4 8r 4. | 1r",
]


@pytest.mark.parametrize("line", LINES)
def test_music21_reads_the_same_places_and_lengths_from_the_same_values(line):
    from music21 import converter

    spine = ["**kern", "*M4/4"]
    for number, bar in enumerate(line.split("|"), 1):
        spine.append(f"={number}")
        spine += [_kern(token) for token in bar.split()]
    stream = converter.parse("\n".join([*spine, "*-"]), format="humdrum")
    theirs = [
        (F(note.offset).limit_denominator(96), F(note.quarterLength).limit_denominator(96), note.isRest)
        for measure in stream.parts[0].getElementsByClass("Measure")
        for note in measure.notesAndRests
    ]
    ours = [(s.onset, s.length, s.kind == "rest") for bar in parse_values(line, FOUR) for s in bar]
    assert ours == theirs


def _kern(token: str) -> str:
    """The same token with a pitch, as **kern wants one: `[4` → `[4c`, `8]` → `8c]`."""
    if "r" in token:
        return token
    digits = "".join(sign for sign in token if sign.isdigit() or sign == ".")
    return ("[" if "[" in token else "") + digits + "c" + ("]" if "]" in token else "_" if "_" in token else "")


# Values and counts of the same bars, written by hand.
SAME = [
    ("4 8 8 4 4", "1 2 & 3 4"),
    ("8 4 4 4 8", "1 & (2) & (3) & (4) &"),
    ("12 12 12 4 4r 4", "1 trip let 2 3r 4"),
    ("16 16 16 16 8. 16 2", "1 e & a 2 a 3 (4)"),
    ("2 4r [4 | 4] 8r 8 2", "1 3r 4 | (1) 2r & 3 (4)"),
    ("8 4 8 4 [4 | 8] 8 4 4r 8 8", "1 & (2) & 3 4 | (1) & 2 3r 4 &"),
    ("6 6 6 2^", "1 let (2) trip 3^ (4)"),
    ("1r | 4 4 4 4", "1r | 1 2 3 4"),
]


@pytest.mark.parametrize(("values", "counts"), SAME)
def test_values_and_counts_give_the_same_bars(values, counts):
    one, other = parse_values(values, FOUR), parse_counts(counts, FOUR)
    assert line_notes(one) == line_notes(other)
    assert [_silence(bar) for bar in one] == [_silence(bar) for bar in other]


def _silence(bar):
    return {F(n, 12) for n in range(48) for s in bar if s.kind == "rest" and s.onset <= F(n, 12) < s.end}


@pytest.mark.parametrize(("values", "counts"), SAME)
def test_bars_are_written_back_as_they_were_read(values, counts):
    bars = parse_values(values, FOUR)
    assert values_text(bars) == values
    assert line_notes(parse_counts(counts_text(bars, FOUR), FOUR)) == line_notes(bars)


def test_counts_are_spelled_so_that_the_middle_of_the_bar_shows():
    # Common practice, no source.
    assert values_text(parse_counts("1 & (2) & (3) & (4) &", FOUR)) == "8 4 [8 8] 4 8"


def test_a_note_keeps_sounding_through_a_count_that_is_said_but_not_struck():
    (bar,) = parse_counts("1 (2) (3) & 4", FOUR)
    assert values_text([bar]) == "[2 8] 8 4"


@pytest.mark.parametrize(
    ("meter", "counts", "values"),
    [
        ("3/4", "1 & (2) 3 &", "8 4. 8 8"),
        ("5/4", "1 3 4 5", "2 4 4 4"),
        ("6/8", "1 3 4 5 6", "4 8 8 8 8"),
        ("12/8", "1 4 6 7 10", "4. 4 8 4. 4."),
        ("6/8", "1 (4)", "2."),
        ("2/2", "1 & 2", "4 4 2"),
    ],
)
def test_counts_follow_the_meter(meter, counts, values):
    assert values_text(parse_counts(counts, parse_meter(meter))) == values


places = st.sets(st.integers(0, 15), min_size=1).map(sorted)


@settings(deadline=None)
@given(places)
def test_any_bar_of_sixteenths_survives_both_notations(numbers):
    said = " ".join(_said(number, numbers) for number in range(16) if number % 4 == 0 or number in numbers)
    text = said if 0 in numbers else said.replace("(1)", "1r", 1)
    (bar,) = parse_counts(text, FOUR)
    assert [s.onset for s in bar if s.kind == "struck"] == [F(number, 4) for number in numbers]
    assert parse_values(values_text([bar]), FOUR) == (bar,)
    assert spell(bar, FOUR) == bar


def _said(number: int, struck: list[int]) -> str:
    word = (str(number // 4 + 1), "e", "&", "a")[number % 4]
    return word if number in struck else f"({word})"


def test_places_have_the_names_a_drummer_says():
    assert [syllable(F(n, 4), FOUR) for n in range(4, 8)] == ["2", "e", "&", "a"]
    assert [place_name(F(n, 3), FOUR) for n in range(3)] == ["1", "1trip", "1let"]
    assert parse_places("2 & (3) 4", FOUR) == (1, F(3, 2), 3)


def test_a_compound_meter_is_felt_in_dotted_quarters():
    assert (Meter(6, 8).pulse, Meter(6, 8).pulses) == (F(3, 2), 2)
    assert (Meter(12, 8).pulse, Meter(12, 8).pulses) == (F(3, 2), 4)
    assert (Meter(3, 4).pulse, Meter(3, 4).pulses) == (1, 3)


WRONG_VALUES = [
    ("4 4 4", r"bar 1 holds 3 beats; 4/4 needs 4 \(1 too few\)"),
    ("4 4 4 4 | 4 4 4 4 8", r"bar 2 holds 4 1/2 beats; 4/4 needs 4 \(1/2 too many\)"),
    ("8", r"bar 1 holds 1/2 beats; 4/4 needs 4 \(3 1/2 too few\)"),
    ("", "the line is empty; write at least one bar"),
    ("4 4 4 4 | | 1", "bar 2 is empty; write its notes, or a rest such as 1r"),
    ("4 4 4 x", "bar 1: 'x' is not a note; write a value such as 8"),
    ("4 4 4 4R", r"bar 1: '4R' is not a note; did you mean 4r\?"),
    ("4 4 4 r4", r"bar 1: 'r4' is not a note; did you mean 4r\?"),
    ("2 4r. 8", r"bar 1: '4r\.' is not a note; did you mean 4\.r\?"),
    ("4 " * 600, r"bar 1 holds 600 notes; a barline, \|, may be missing"),
    ("1 | " * 2001 + "1", "the line has 2002 bars; write at most 2000, and repeat them by choruses"),
    ("5 5 5 5 5", "bar 1: '5' is not a note value; write 1, 2, 4, 8"),
    ("4 4 4 [4", r"bar 1: a tie is opened with '\[' and goes nowhere"),
    ("4 4 4 4]", r"bar 1: '4\]' is tied to nothing; open the tie with '\['"),
    ("4_ 4 4 4", "bar 1: '4_' is tied to nothing"),
    ("[4 4 4] 4", "bar 1: '4' stands inside a tie; write 4] if the tie ends on it, 4_"),
    ("[4 [4 4] 4", r"bar 1: '\[4' opens a tie inside another; inside a tie write 4_"),
    ("[4r 4] 2", r"bar 1: '\[4r': a rest takes neither tie nor accent"),
    ("4^r 4 2", r"bar 1: '4\^r': a rest takes neither tie nor accent"),
    ("[4 4^] 2", r"bar 1: '4\^\]': a tied note is not struck again, so it takes no accent"),
    ("[4] 4 2", r"bar 1: '\[4\]' has signs that do not go together"),
    ("12 8 12 12 8 4 4", "bar 1, beat 1trip: the triplet before it is not complete"),
    ("8 12 12 12 8 4 4", "bar 1, beat 1&: a triplet must start with its beat"),
]


@pytest.mark.parametrize(("line", "message"), WRONG_VALUES)
def test_wrong_values_are_named_with_their_bar(line, message):
    with pytest.raises(LessonError, match=f"^{message}"):
        parse_values(line, FOUR)


WRONG_COUNTS = [
    ("1 2 5", "bar 1: count 5 is not in 4/4, which counts 1 to 4"),
    ("1 & & 3", r"bar 1: '&' comes after 1&; say the beat between, such as \(2\)"),
    ("2 3 4", r"bar 1 does not say what happens on 1; write 1, \(1\) for the last note held on, or 1r"),
    ("(1) 2 3 4", r"bar 1: \(1\) holds a note on, but none sounds before it; write 1r for a rest"),
    ("1r | (1) 2", r"bar 2: \(1\) holds a note on, but none sounds before it"),
    ("1 and 2", "bar 1: 'and' is not a count; write 1, &, e, a, trip, let"),
    ("1 (2", r"bar 1: '\(2' is not a count"),
    ("1 (2r)", r"bar 1: '\(2r\)' is not struck, so it takes neither r nor \^"),
    ("1 2 3", r"bar 1 stops at 3; 4/4 is counted to 4: write \(4\) to hold the note, 4r for a rest"),
    ("1 2 3 4 | 1 (2)", "bar 2 stops at 2; 4/4 is counted to 4"),
    ("1 & let 2 3 4", "bar 1: 'let' after 1& mixes halves and thirds of a beat"),
    ("1 trip & 2 3 4", "bar 1: '&' after 1trip mixes halves and thirds of a beat"),
    ("1 2 3 4R", "bar 1: '4R' is not a count; did you mean 4r?"),
    ("1 2r^ 3", r"bar 1: '2r\^' is a rest, so it takes no \^"),
    ("1 r2 3", "bar 1: 'r2' is now called 2r"),
    ("1 r& 3", "bar 1: 'r&' is now called &r"),
    ("1 3 2", "bar 1: '2' comes after 3"),
    ("1 e trip 2 3 4", "bar 1: 'trip' after 1e mixes halves and thirds of a beat"),
]


@pytest.mark.parametrize(("line", "message"), WRONG_COUNTS)
def test_wrong_counts_are_named_with_their_bar(line, message):
    with pytest.raises(LessonError, match=f"^{message}"):
        parse_counts(line, FOUR)


@pytest.mark.parametrize("text", ["4", "4/5", "0/4", "44/4", "four", "4/16"])
def test_a_meter_that_cannot_be_counted_is_refused(text):
    with pytest.raises(LessonError, match="is not a meter; write 4/4, 3/4"):
        parse_meter(text)


def test_a_bar_of_percent_is_the_bar_before_once_more_in_values_and_in_counts():
    assert parse_values("4 8 8 2 | % | 1r | %", FOUR) == parse_values("4 8 8 2 | 4 8 8 2 | 1r | 1r", FOUR)
    assert parse_counts("1 2 & 3 (4) | %", FOUR) == parse_counts("1 2 & 3 (4) | 1 2 & 3 (4)", FOUR)


@pytest.mark.parametrize(
    ("line", "message"),
    [
        ("% | 4 4 4 4", "bar 1: % is the bar before once more, and there is none; write its notes"),
        ("4 4 4 4 | 2 %", "bar 2: % stands for a whole bar, the one before once more; write nothing beside it"),
        ("4 4 [4 4] | %", "bar 2: a bar with a tie cannot come once more by %; write its notes"),
    ],
)
def test_a_percent_that_cannot_be_is_said(line, message):
    with pytest.raises(LessonError, match=message):
        parse_values(line, FOUR)
