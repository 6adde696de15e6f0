"""Groove files, and the grooves that come along."""

import re
from fractions import Fraction as F
from pathlib import Path

import pytest

from grooves.errors import LessonError
from grooves.groove import parse_groove
from render.lesson.groove_files import find_groove, shipped_grooves

HEAD = 'name = "x"\ntitle = "X"\nmeter = "4/4"\nswing = 2.0\ntempo = [60, 200]\n'
RIDE = '[ride]\ncounts = "1 2 & 3 4 &"\naccents = "2 4"\naccent = 2\nlight = "(2) & (4) &"\nlighter = -2\n'


@pytest.mark.parametrize("name", shipped_grooves())
def test_every_shipped_groove_reads_and_says_what_it_rests_on(name):
    groove = find_groove(name, Path())
    assert groove.name == name
    assert "common practice, no source" in groove.source
    assert groove.part("ride").level_lu == 0


@pytest.mark.parametrize("name", shipped_grooves())
def test_the_ride_is_the_loudest_part_of_every_groove(name):
    # common practice, no source
    assert all(part.level_lu < 0 for part in find_groove(name, Path()).parts if part.name != "ride")


def onsets(name: str, part: str) -> list[list[F]]:
    return [[stroke.onset for stroke in bar] for bar in find_groove(name, Path()).part(part).bars]


def test_jazz_time_is_what_drummers_play():
    # common practice, no source
    assert onsets("swing", "ride") == [[0, 1, F(3, 2), 2, 3, F(7, 2)]]
    assert onsets("swing", "hi-hat") == [[1, 3]]
    assert onsets("swing", "bass drum") == [[0, 1, 2, 3]]
    strokes = find_groove("swing", Path()).part("ride").bars[0]
    assert [s.accent_lu for s in strokes] == [0, 2, -2, 0, 2, -2]
    assert onsets("jazz-waltz", "ride") == [[0, 1, F(3, 2), 2]]


def test_the_bossa_cross_stick_has_the_five_places_of_the_published_timeline():
    # Toussaint, The Geometry of Musical Rhythm, 2013: bossa-nova x..x..x...x..x.., 16 pulses; here two bars of eighths.
    timeline = "x..x..x...x..x.."
    first, second = onsets("bossa-nova", "cross-stick")
    assert [int(o * 2) for o in first] + [8 + int(o * 2) for o in second] == [
        n for n, s in enumerate(timeline) if s == "x"
    ]


def test_a_pattern_of_values_is_the_pattern_of_its_counts():
    counts = parse_groove(HEAD + '[ride]\ncounts = "1 2 & 3 4 &"\n')
    values = parse_groove(HEAD + '[ride]\nvalues = "4 8 8 4 8 8"\n')
    assert counts.part("ride").bars == values.part("ride").bars


def test_accents_and_lightness_fall_on_the_counts_that_are_named():
    (bar,) = parse_groove(HEAD + RIDE).part("ride").bars
    assert [(s.onset, s.accent_lu) for s in bar if s.accent_lu] == [(1, 2), (F(3, 2), -2), (3, 2), (F(7, 2), -2)]


def test_the_beat_of_a_compound_meter_is_the_dotted_quarter_unless_the_groove_says_otherwise():
    text = 'name="x"\ntitle="X"\nmeter="6/8"\ntempo=[60,100]\n[ride]\ncounts="1 4"\n'
    assert parse_groove(text).beat == F(3, 2)
    assert parse_groove(text.replace("[ride]", 'beat="8"\n[ride]')).beat == F(1, 2)


WRONG = [
    ("x =", "line 1: x =: write a value after it"),
    (HEAD, "the groove has no part; add a table such as [ride]"),
    (HEAD + "[rid]\n" + RIDE, "rid: not a key of a groove; did you mean 'ride'?"),
    (HEAD.replace('meter = "4/4"', ""), 'meter: missing; write meter = "4/4"'),
    (HEAD.replace("4/4", "4/3") + RIDE, "'4/3' is not a meter"),
    (HEAD.replace("[60, 200]", "120") + RIDE, "tempo: 120 is not a range; write [low, high] within 30 to 400"),
    (HEAD.replace("2.0", "9") + RIDE, "swing: 9 is out of range"),
    (HEAD + 'ride = "x"\n', "ride: a part is a table"),
    (HEAD + '[ride]\ncounts="1"\nvalues="1"\n', "ride: write its pattern either as counts or as values"),
    (HEAD + '[ride]\ncounts="1 2 5"\n', "ride: bar 1: count 5 is not in 4/4, which counts 1 to 4"),
    (
        HEAD + '[ride]\nlimb="right arm"\ncounts="1"\n',
        "ride.limb: 'right arm' is not a limb; did you mean 'right hand'?",
    ),
    (HEAD + '[ride]\ninstrument="gong"\ncounts="1"\n', "ride.instrument: 'gong' is not in the kit"),
    (HEAD + '[ride]\ncounts="1"\nlevel="loud"\n', "ride: level: 'loud' does not fit; write a number from -40 to 12"),
    (HEAD + '[ride]\ncounts="1"\nacents="1"\n', "ride.acents: not a key of a part; did you mean 'accents'?"),
    (HEAD + '[ride]\ncounts="1"\nspread=5\n', "ride: spread: 5 does not fit; write a number from 0 to 2"),
]


@pytest.mark.parametrize(("text", "message"), WRONG)
def test_a_wrong_groove_is_named_with_its_key(text, message):
    with pytest.raises(LessonError, match=f"^{re.escape(message)}"):
        parse_groove(text)


def test_swing_in_six_eight_is_refused_since_the_eighth_is_the_beat():
    with pytest.raises(
        LessonError, match='in 6/8 the eighths are the beat, so they stay straight; write swing = "straight"'
    ):
        parse_groove(HEAD.replace("4/4", "6/8") + '[ride]\ncounts="1 4"\n')
