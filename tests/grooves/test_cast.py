"""Who is heard on a track, in words."""

import pytest
from music import lesson_of

from grooves.cast import cast
from grooves.passages import Alternation, Fade, Track

TIME = ("ride", "bass drum", "hi-hat")
TURNS = 'played_on = { each_bar = ["snare", "bass drum"] }'
HANDS = 'played_on = { hands = "alternate" }'
GAPS = 'played_on = { notes = "bass drum", gaps = "snare" }'
PARTED = 'played_on = { long = "bass drum", short = "snare" }'


def names(*chosen):
    return frozenset(chosen)


@pytest.mark.parametrize(
    ("line", "track", "plays", "left_out"),
    [
        ("", Track("x"), (*TIME, "line on snare"), ()),
        ("", Track("x", without=names("line")), TIME, ("line on snare",)),
        ("", Track("x", only=names("ride", "line")), ("ride", "line on snare"), ("bass drum", "hi-hat")),
        ("", Track("x", groove_alone=True), TIME, ("line on snare",)),
        # hands in turn: nobody keeps the ride, and a hand by itself is told as such
        (HANDS, Track("x"), ("bass drum", "hi-hat", "line on snare"), ()),
        (HANDS, Track("x", without=names("left hand")), ("bass drum", "hi-hat", "line on snare, right hand"), ("line on snare, left hand",)),
        (HANDS, Track("x", without=names("line")), ("bass drum", "hi-hat"), ("line on snare",)),
        # turns by bar: the bass drum keeps time in the bars that the snare reads
        (TURNS, Track("x"), (*TIME, "line on snare", "line on bass drum"), ()),
        (TURNS, Track("x", without=names("line")), TIME, ("line on snare", "line on bass drum")),
        (TURNS, Track("x", only=names("ride", "line")), ("ride", "line on snare", "line on bass drum"), ("bass drum", "hi-hat")),
        # gaps
        (GAPS, Track("x"), ("ride", "hi-hat", "line on bass drum", "gaps on snare"), ()),
        (GAPS, Track("x", without=names("snare")), ("ride", "hi-hat", "line on bass drum"), ("gaps on snare",)),
        (PARTED, Track("x", without=names("snare")), ("ride", "hi-hat", "line on bass drum"), ("line on snare",)),
        # in turn with you
        ("", Track("x", trade=Alternation(1, 1)), (*TIME, "line on snare (in turn)"), ()),
        ("", Track("x", silence=Alternation(1, 1)), (*TIME, "line on snare"), ()),
        ("", Track("x", fade=Fade(3, -30)), (*TIME, "line on snare"), ()),
    ],
)  # fmt: skip
def test_a_track_tells_who_plays_and_who_is_left_out(line, track, plays, left_out):
    found = cast(track, lesson_of("4 8 8 4 4 | 4 4 8 8 4", line=line).score)
    assert (found.plays, found.left_out) == (plays, left_out)
