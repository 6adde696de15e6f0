"""A bar as a row of places: what a pencil does to it."""

from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from grooves.counts import counts_text, parse_counts
from grooves.errors import LessonError
from grooves.rhythm import Meter, parse_values, values_text
from render.desk.places import (
    Mark,
    accent,
    bar_of,
    beats,
    divide,
    divisions,
    hold,
    marks_of,
    mended,
    rest,
    silent_bar,
    strike,
    ticks,
    tidy,
    tie,
)

FOUR, THREE, SIX, SEVEN = Meter(4, 4), Meter(3, 4), Meter(6, 8), Meter(7, 8)
HALF, THIRD = Fraction(1, 2), Fraction(1, 3)


def marks(values, meter=FOUR):
    return marks_of(parse_values(values, meter)[0])


def values(drawn, meter=FOUR):
    return values_text([bar_of(drawn, meter)])


def test_a_note_in_a_rest_takes_what_its_beat_has_left():
    assert values(strike(marks("1r"), Fraction(0), FOUR)) == "4 4r 2r"
    assert values(strike(marks("1r"), 3 * HALF, FOUR)) == "4r 8r 8 2r"


def test_a_note_in_a_note_takes_what_that_had_left():
    assert values(strike(marks("1"), Fraction(2), FOUR)) == "2 2"
    assert values(strike(marks("4 4 4 4"), HALF, FOUR)) == "8 8 4 4 4"


def test_four_touches_on_the_beats_of_an_empty_bar_are_four_quarters():
    drawn = marks("1r")
    for beat in range(4):
        drawn = strike(drawn, Fraction(beat), FOUR)
    assert values(drawn) == "4 4 4 4"


def test_a_rest_lasts_to_the_next_note():
    assert values(rest(marks("4 4 4 4"), Fraction(1))) == "4 4r 4 4"
    assert values(rest(marks("1"), Fraction(2))) == "2 2r"


def test_a_tie_lets_the_note_before_go_on():
    assert values(tie(marks("4 4 4 4"), Fraction(1), False, HALF, FOUR)) == "2 4 4"


def test_a_tie_over_a_rest_moves_its_beginning_by_one_place():
    assert values(tie(marks("4 4r 2r"), Fraction(1), False, HALF, FOUR)) == "4. 8r 2r"


def test_a_tie_at_the_start_of_a_bar_needs_a_sounding_bar_before_it():
    with pytest.raises(LessonError, match="nothing sounds before this place"):
        tie(marks("4 4 4 4"), Fraction(0), False, HALF, FOUR)
    assert tie(marks("4 4 4 4"), Fraction(0), True, HALF, FOUR)[Fraction(0)] == Mark("held")


def test_a_tie_to_a_rest_is_refused():
    with pytest.raises(LessonError, match="nothing sounds before this place"):
        tie(marks("4 4r 4 4"), Fraction(2), False, HALF, FOUR)


def test_a_note_is_drawn_on_over_places_and_the_rest_after_it_stays():
    assert values(hold(marks("4 4r 2r"), Fraction(0), 3 * HALF, HALF, FOUR)) == "2 2r"
    assert values(hold(marks("4 4 4 4"), Fraction(0), 5 * HALF, HALF, FOUR)) == "2. 4"


def test_an_accent_stands_on_a_note_and_goes_again():
    assert values(accent(marks("4 4 4 4"), Fraction(1))) == "4 4^ 4 4"
    assert values(accent(marks("4 4^ 4 4"), Fraction(1))) == "4 4 4 4"
    with pytest.raises(LessonError, match="an accent stands on a note"):
        accent(marks("4 4r 4 4"), Fraction(1))


def test_a_beat_parted_into_triplets_has_its_upbeat_on_the_last_of_them():
    assert values(divide(marks("8 8 4 4 4"), 0, 3, FOUR)) == "6 12 4 4 4"
    assert values(divide(marks("12 12 12 4 4 4"), 0, 2, FOUR)) == "8 8 4 4 4"


@pytest.mark.parametrize(("beat", "parts"), [(0, 5), (4, 3), (-1, 2)])
def test_a_beat_is_parted_only_into_what_there_is(beat, parts):
    with pytest.raises(LessonError, match=f"cannot be parted into {parts}"):
        divide(marks("4 4 4 4"), beat, parts, FOUR)


def test_beats_and_their_parts_follow_the_meter():
    assert [end - start for start, end in beats(SIX)] == [Fraction(3, 2)] * 2
    assert divisions(SIX) == ((3, 6), (3, 6))
    assert [end - start for start, end in beats(SEVEN)] == [Fraction(1), Fraction(1), Fraction(3, 2)]
    assert divisions(THREE) == ((2, 3, 4),) * 3


def test_a_tie_over_a_barline_to_nothing_becomes_a_rest():
    first, second = parse_values("2 [2 | 4] 4 2", FOUR)
    silent = bar_of(rest(marks_of(first), Fraction(2)), FOUR)
    assert values_text(mended([silent, second], FOUR)) == "2 2r | 4r 4 2"
    assert values_text(mended([first, second], FOUR)) == "2 [2 | 4] 4 2"


def test_marks_are_told_in_ticks_of_a_quarter():
    assert ticks(parse_values("4 8^ 8 2r", FOUR)[0]) == [
        [0, "struck", False],
        [96, "struck", True],
        [144, "struck", False],
        [192, "rest", False],
    ]


def test_an_empty_bar_is_one_rest():
    assert values_text([silent_bar(FOUR)]) == "1r"


def test_a_rest_from_a_third_over_a_quarter_to_a_sixteenth_can_be_written():
    found = {
        Fraction(0): Mark("struck"),
        THIRD: Mark("rest"),
        Fraction(7, 4): Mark("struck"),
        Fraction(2): Mark("rest"),
    }
    assert values(found, Meter(2, 2)) == "12 12r 12r 8r 16r 16 2r"


# --- whatever is pencilled in ---------------------------------------------------------------------

METERS = st.sampled_from([FOUR, THREE, Meter(5, 4), SIX, SEVEN, Meter(12, 8), Meter(2, 2)])
KINDS = st.sampled_from(["struck", "struck", "rest", "on"])


@st.composite
def drawn_bars(draw):
    """A meter, and marks on places that one beat after another has."""
    meter = draw(METERS)
    found = {}
    for (start, end), parts in zip(beats(meter), divisions(meter), strict=True):
        number = draw(st.sampled_from(parts))
        for at in range(number):
            kind = draw(KINDS)
            if kind != "on":
                found[start + (end - start) * at / number] = Mark(kind, kind == "struck" and draw(st.booleans()))
    found.setdefault(Fraction(0), Mark("rest"))
    return meter, tidy(found)


@settings(max_examples=120, deadline=None)
@given(drawn_bars())
def test_places_values_and_counts_say_the_same_whatever_is_pencilled_in(drawn):
    meter, pencilled = drawn
    bar = bar_of(pencilled, meter)
    assert marks_of(bar) == pencilled
    assert marks_of(parse_values(values_text([bar]), meter)[0]) == pencilled
    if meter.unit != 2 or all(number < 3 for number in said_in(pencilled)):  # thirds of half a beat have no counts
        assert marks_of(parse_counts(counts_text([bar], meter), meter)[0]) == pencilled


def said_in(pencilled):
    return [onset.denominator for onset in pencilled]
