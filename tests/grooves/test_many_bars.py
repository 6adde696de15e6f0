"""How many bars a lesson may have, repeats and readers in turn counted as well."""

import pytest
from music import lesson_of

from grooves.errors import LessonError
from grooves.lesson import MOST_BARS


def test_a_lesson_of_more_bars_than_anyone_plays_is_refused_before_they_are_made():
    assert MOST_BARS == 10_000
    said = "line: 10,048 bars with their repeats; a lesson has at most 10,000: use times or choruses"
    with pytest.raises(LessonError, match=said):
        lesson_of(" | ".join(["1"] * 157), line="repeat_each = 64")
    with pytest.raises(LessonError, match="12,800 bars"):
        lesson_of(" | ".join(["1"] * 100), line='repeat_each = 64\neach_chorus = ["snare", "bass drum"]')


def test_a_lesson_of_as_many_bars_as_it_may_have_is_read():
    assert len(lesson_of(" | ".join(["1"] * 156), line="repeat_each = 64").score.bars) == 9_984
