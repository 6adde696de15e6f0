"""How loud the helpers are: heard through the ride, never above it, and the bar's first click told from the others.

The levels are ours, by ear; that a listener tells two levels apart from about 1 dB on is from memory.
"""

import pytest
from music import lesson_of, of_part, played

CLICKED = '[[track]]\nname = "clicked"\nclick = "{click}"'
METERS = {"swing": ("4 4 4 4", 4), "jazz-waltz": ("4 4 4", 3), "six-eight": ("4. 4.", 2)}


def clicks(groove, click="every beat"):
    values, beats = METERS[groove]
    lesson = lesson_of(f"{values} | {values}", groove=groove, tracks=CLICKED.format(click=click))
    performance = played(lesson, "clicked")
    return performance, [hit.level_lu for hit in of_part(performance, "click")], beats


@pytest.mark.parametrize("groove", METERS)
def test_the_first_click_of_a_bar_stands_out_and_the_others_are_alike(groove):
    _, levels, beats = clicks(groove)
    assert len(levels) == 2 * beats
    first, *others = levels[:beats]
    assert levels == [first, *others] * 2
    assert set(others) == {others[0]}
    assert 2 <= first - others[0] <= 4


def test_clicks_on_2_and_4_are_as_loud_as_the_other_clicks():
    _, levels, _ = clicks("swing", "2 and 4")
    assert set(levels) == set(clicks("swing")[1][1:4])


@pytest.mark.parametrize("groove", METERS)
def test_count_in_and_click_lie_under_the_ride_but_not_far(groove):
    performance, levels, _ = clicks(groove)
    assert all(-6 <= level < 0 for level in levels)
    counted = {hit.level_lu for hit in of_part(performance, "count-in")}
    assert len(counted) == 1
    assert all(-3 <= level <= 0 for level in counted)
    assert min(counted) > levels[1]  # nothing else says when to begin
