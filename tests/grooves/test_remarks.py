"""What is said about a lesson that is in order: tempo, speed, a line of rests."""

import pytest
from music import lesson_of

from grooves.remarks import remarks


def test_an_ordinary_lesson_has_no_remarks():
    assert remarks(lesson_of("4 8 8 4 4")) == ()


@pytest.mark.parametrize(("tempo", "said"), [(59, True), (60, False), (300, False), (301, True)])
def test_a_tempo_outside_the_groove_s_range_is_told_once(tempo, said):
    found = remarks(lesson_of("4 4 4 4 | 4 4 4 4", tempo=tempo))
    assert found == (f"tempo {tempo} lies outside 60 to 300, where swing is at home",) * said


# Strokes a second are ours; 16 at a tempo are 4 · tempo / 60 a second.
@pytest.mark.parametrize(
    ("line", "tempo", "said"),
    [
        ('played_on = "bass drum"', 120, ()),
        ('played_on = "bass drum"', 132, ("bar 2: at 132 the right foot strikes 8.8 times a second; about 8 is much for a foot",)),
        ("", 180, ()),
        ("", 186, ("bar 2: at 186 the left hand strikes 12.4 times a second; about 12 is much for a hand",)),
    ],
)  # fmt: skip
def test_a_limb_faster_than_most_is_told_with_its_bar(line, tempo, said):
    assert remarks(lesson_of("4 4 4 4 | 4 16 16 16 16 2", tempo=tempo, line=line, groove="swing")) == said


def test_a_single_quick_double_is_no_speed():
    assert remarks(lesson_of("4 8. 16 4 4", tempo=240)) == ()


def test_the_fastest_track_counts():
    climbing = '[[track]]\nname = "up"\nladder = { from = 100, to = 200, step = 20 }'
    assert "at 200 the left hand strikes 13.3" in remarks(lesson_of("16 16 16 16 2.", tempo=100, tracks=climbing))[0]


def test_the_tempo_counts_the_grooves_beat():
    # Sixteenths in 6/8 at dotted quarter = 90: six a beat, nine a second.
    (said,) = remarks(lesson_of("16 16 16 16 16 16 4.", groove="six-eight", tempo=90, line='played_on = "bass drum"'))
    assert "9.0 times a second" in said


def test_a_line_of_rests_is_told():
    assert remarks(lesson_of("1r | 1r")) == ("the line has rests only: nobody reads",)
