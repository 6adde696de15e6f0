"""The swing that a score says for playback, in small whole numbers (MusicXML 4.0, element swing)."""

import pytest
from lxml import etree
from written import score

from grooves.feel import swing_ratio
from render.paper.notation import musicxml


def written(swing, tempo_bpm=120):
    """The ratio of the long eighth to the short one that the document says, and its whole numbers."""
    root = etree.fromstring(musicxml(score("8 8 8 8 2", swing=swing, tempo_bpm=tempo_bpm)))
    if root.xpath("//sound/swing/straight"):
        return 1.0, ()
    first, second = (int(root.xpath(f"string(//sound/swing/{name})")) for name in ("first", "second"))
    return first / second, (first, second)


def upbeat(ratio):
    """Where in its beat the upbeat falls."""
    return ratio / (ratio + 1)


@pytest.mark.parametrize("swing", [1.0, 1.1, 1.25, 1.38, 1.57, 1.62, 1.71, 2.0, 2.37, 2.5, 3.0])
def test_the_upbeat_is_said_within_a_two_hundredth_of_a_beat_and_in_small_numbers(swing):
    # A two-hundredth of a beat is 2.5 ms at 120 a minute, less than a player's own deviation.
    ratio, numbers = written(swing)
    assert upbeat(ratio) == pytest.approx(upbeat(swing), abs=0.005)
    assert all(number <= 36 for number in numbers)


@pytest.mark.parametrize("tempo_bpm", range(100, 280, 20))
def test_a_swing_that_follows_the_tempo_is_said_as_it_is_played(tempo_bpm):
    said, played = written("by tempo", tempo_bpm)[0], swing_ratio("by tempo", tempo_bpm)
    assert upbeat(said) == pytest.approx(upbeat(played), abs=0.005)
