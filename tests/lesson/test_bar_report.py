"""What a teacher looks up about a line."""

import pytest
from music import lesson_of

from grooves.groove import swings as sounds_swung
from grooves.teaching.coordination import difficulty
from render.lesson.bar_report import describe_bars, written

LINE = "4 4 4 4 | 8r 4 4 [8 8] 8 | 4 8 8 4 4 | 1r"


# --- bar by bar ---------------------------------------------------------------------------------


def test_bars_are_told_hardest_first_and_equal_ones_in_the_order_of_the_line() -> None:
    told = describe_bars(lesson_of(f"{LINE} | 4 8 8 4 4 | 1r"))
    assert [bar.bar for bar in told] == [2, 3, 5, 1, 4, 6]
    assert [bar.difficulty for bar in told] == sorted((bar.difficulty for bar in told), reverse=True)


def test_a_bar_is_told_with_its_values_places_parts_and_reason() -> None:
    (told,) = describe_bars(lesson_of("4 8 8 2"))
    assert (told.bar, told.values) == (1, "4 8 8 2")
    assert [(place.count, place.words) for place in told.places] == [
        ("1", "both hands and right foot together"),
        ("2", "all four limbs"),
        ("2&", "both hands"),
        ("3", "both hands and right foot together"),
        ("4", "right hand and both feet together"),
        ("4&", "ride alone"),
    ]
    assert told.places[2].limbs == ("right hand", "left hand")
    assert told.places[2].parts == ("ride", "snare")
    # By hand: four notes in two seconds, one of them half a beat from both its beats, not crossing the next.
    assert told.parts == {
        "syncopation": 0.0,
        "help": 0.0,
        "beat distance": 0.5,
        "ties": 0.0,
        "pace changes": 0.8,  # from quarter to eighth, from eighth to half
        "rests": 0.0,
        "changes": 0.25,
        "limbs": 1.0,
        "notes per second": 0.8,
        "effort squared": 0.89,  # eighths are four a second, a third of a hand's fastest
    }
    assert told.difficulty == pytest.approx(4.24)
    assert told.why == "All four limbs play, and all of them meet on 2."


def test_what_is_told_is_the_bars_difficulty_rounded_to_hundredths() -> None:
    lesson = lesson_of(LINE, tempo=137)
    for bar in describe_bars(lesson):
        found = difficulty(lesson.score, bar.bar - 1)
        assert bar.difficulty == round(found.total, 2)
        assert bar.why == found.why


def test_a_bar_that_is_repeated_or_read_in_other_choruses_is_told_once() -> None:
    assert sorted(bar.bar for bar in describe_bars(lesson_of(LINE, line="repeat_each = 3"))) == [1, 2, 3, 4]
    turns = 'played_on = { each_chorus = ["snare", "bass drum"] }'
    assert sorted(bar.bar for bar in describe_bars(lesson_of(LINE, line=turns))) == [1, 2, 3, 4]


def test_chosen_bars_keep_the_numbers_they_have_in_the_line() -> None:
    assert [bar.bar for bar in describe_bars(lesson_of(LINE, line='bars = "1, 3"'))] == [3, 1]


@pytest.mark.parametrize(
    ("groove", "meter_bar", "swing", "swings"),
    [
        ("swing", "1", "", True),
        ("swing", "1", 'swing = "straight"', False),
        ("swing", "1", "swing = 1.0", False),
        ("swing", "1", "swing = 2.0", True),
        ("straight-eighths", "1", "", False),
        ("six-eight", "2.", "", False),
        ("twelve-eight", "1.", "", False),
        ("jazz-waltz", "2.", "", True),
    ],
)
def test_eighths_swing_by_the_groove_unless_the_lesson_says_otherwise(
    groove: str, meter_bar: str, swing: str, swings: bool
) -> None:
    assert sounds_swung(lesson_of(meter_bar, groove=groove, feel=swing).score.groove) is swings


def test_a_straight_lesson_parts_the_triplet_from_the_skip_note() -> None:
    def words(swing: str) -> dict[str, str]:
        (told,) = describe_bars(lesson_of("4 12r 12 12 2r", feel=swing))
        return {place.count: place.words for place in told.places}

    assert words("")["2let"] == "both hands"
    assert (words('swing = "straight"')["2&"], words('swing = "straight"')["2let"]) == ("ride alone", "snare alone")


@pytest.mark.parametrize(
    ("line", "index", "text"),
    [
        ("4 8 8 2", 0, "4 8 8 2"),
        ("2. [4 | 8] 8 4 2", 1, "(8) 8 4 2"),
        ("[1 | 1]", 1, "(1)"),
        ("2. [4 | 4.] 8 2", 1, "(4.) 8 2"),
    ],
)
def test_a_bar_by_itself_has_what_is_tied_into_it_in_brackets(line: str, index: int, text: str) -> None:
    assert written(lesson_of(line).score.bars[index].line) == text
