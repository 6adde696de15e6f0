"""Groove and line on paper: who plays what where."""

from fractions import Fraction as F

import pytest
from music import lesson_of, parse_text, text_of

from grooves.errors import LessonError


def strokes(lesson, bar=0, role=None):
    return [(s.onset, s.instrument, s.limb) for s in lesson.score.bars[bar].strokes if role in (None, s.role)]


def test_the_score_holds_straight_eighths_as_written():
    assert strokes(lesson_of("4 8 8 2"), role="line") == [
        (0, "snare", "left hand"),
        (1, "snare", "left hand"),
        (F(3, 2), "snare", "left hand"),
        (2, "snare", "left hand"),
    ]


def test_the_foot_that_reads_does_not_feather():
    lesson = lesson_of("1", line='played_on = "bass drum"')
    assert [s for s in strokes(lesson) if s[1] == "bass drum"] == [(0, "bass drum", "right foot")]


def test_the_cross_stick_gives_way_to_a_line_on_the_snare_but_not_to_one_on_the_bass_drum():
    on_snare = lesson_of("1 | 1", groove="bossa-nova")
    on_bass_drum = lesson_of("1 | 1", groove="bossa-nova", line='played_on = "bass drum"')
    assert "cross-stick" not in on_snare.score.parts
    assert "cross-stick" in on_bass_drum.score.parts


def test_the_groove_alone_keeps_every_limb_in_time():
    bar = lesson_of("1", line='played_on = "bass drum"').score.bars[0]
    assert [s.onset for s in bar.groove_alone if s.part == "bass drum"] == [0, 1, 2, 3]


def test_a_two_bar_pattern_goes_on_bar_by_bar():
    bars = lesson_of("1 | 1 | 1", groove="bossa-nova", line='played_on = "bass drum"').score.bars
    places = [[s.onset for s in bar.strokes if s.part == "cross-stick"] for bar in bars]
    assert places[0] == places[2] != places[1]


def test_long_and_short_notes_go_to_two_limbs():
    lesson = lesson_of("4 8 8 [8 8] 4", line='played_on = { long = "bass drum", short = "snare" }')
    assert [(o, i) for o, i, _ in strokes(lesson, role="line")] == [
        (0, "bass drum"), (1, "snare"), (F(3, 2), "snare"), (2, "bass drum"), (3, "bass drum"),
    ]  # fmt: skip


def test_the_gaps_of_a_line_are_filled_with_triplets_in_swing():
    lesson = lesson_of("4 8 8 2", line='played_on = { notes = "bass drum", gaps = "snare" }')
    filled = [o for o, i, _ in strokes(lesson, role="gaps")]
    assert filled == [F(1, 3), F(2, 3), F(4, 3), F(7, 3), F(8, 3), 3, F(10, 3), F(11, 3)]


def test_the_gaps_of_a_line_are_filled_with_eighths_in_a_straight_groove():
    lesson = lesson_of("4 8 8 2", groove="straight-eighths", line='played_on = { notes = "bass drum", gaps = "snare" }')
    assert [o for o, i, _ in strokes(lesson, role="gaps")] == [F(1, 2), F(5, 2), 3, F(7, 2)]


def test_the_gaps_follow_the_swing_of_the_lesson_not_of_its_groove():
    reading = 'played_on = { notes = "bass drum", gaps = "snare" }'
    straight = lesson_of("4 8 8 2", feel='swing = "straight"', line=reading)
    assert [o for o, i, _ in strokes(straight, role="gaps")] == [F(1, 2), F(5, 2), 3, F(7, 2)]
    even = lesson_of("4 4 2", groove="shuffle", feel="swing = 1.0", line=reading)
    assert [o for o, i, _ in strokes(even, role="gaps")][:2] == [F(1, 2), F(3, 2)]


def test_the_hands_take_turns_over_the_barline_and_the_ride_rests():
    lesson = lesson_of("4 4 2 | 4 4 2", line='played_on = { hands = "alternate" }')
    limbs = [limb for bar in (0, 1) for _, _, limb in strokes(lesson, bar, "line")]
    assert limbs == ["right hand", "left hand"] * 3
    assert "ride" not in lesson.score.parts


def test_the_foot_reads_on_the_hi_hat_and_its_two_and_four_give_way():
    lesson = lesson_of("4. 8 2", line='played_on = "hi-hat"')
    assert [(o, limb) for o, i, limb in strokes(lesson) if i == "hi-hat"] == [
        (0, "left foot"), (F(3, 2), "left foot"), (2, "left foot"),
    ]  # fmt: skip


def test_the_choruses_are_read_in_turn():
    lesson = lesson_of("1 | 2 2", line='played_on = { each_chorus = ["snare", "bass drum"] }', top="choruses = 3")
    assert [strokes(lesson, n, "line")[0][1] for n in range(4)] == ["snare", "snare", "bass drum", "bass drum"]
    assert lesson.score.chorus_length == 2


def test_the_bars_are_read_in_turn():
    lesson = lesson_of("1 | 1 | 1", line='played_on = { each_bar = ["snare", "bass drum"] }')
    assert [strokes(lesson, n, "line")[0][1] for n in range(3)] == ["snare", "bass drum", "snare"]


OPEN_HANDED = """
name = "open"
title = "Open-handed"
meter = "4/4"
tempo = [60, 200]
[ride]
limb = "left hand"
counts = "1 2 3 4"
["bass drum"]
counts = "1 2 3 4"
"""


def open_handed(folder, line="", top=""):
    (folder / "open.toml").write_text(OPEN_HANDED)
    return parse_text(text_of("4 4 8 8 4", groove="open.toml", line=line, top=top), folder)


def limbs_of(lesson):
    return {s.instrument: s.limb for s in lesson.score.bars[0].strokes}


@pytest.mark.parametrize(
    ("line", "top", "limbs"),
    [
        ("", "", {"snare": "right hand", "ride": "left hand"}),
        ("", 'kit = "left-handed"', {"snare": "left hand", "ride": "right hand"}),
        ('reads_with = "left hand"', "", {"snare": "left hand"}),
        ('played_on = "ride"', "", {"ride": "left hand"}),
        ('played_on = { notes = "snare", gaps = "bass drum" }', "", {"snare": "right hand", "ride": "left hand"}),
        ('played_on = { long = "bass drum", short = "snare" }', "", {"snare": "right hand", "ride": "left hand"}),
        ('played_on = { notes = "bass drum", gaps = "snare" }', "", {"snare": "right hand", "ride": "left hand"}),
        ('played_on = { notes = "ride", gaps = "snare" }', "", {"ride": "left hand", "snare": "right hand"}),
    ],
)
def test_over_an_open_handed_groove_the_free_hand_reads(line, top, limbs, tmp_path):
    found = limbs_of(open_handed(tmp_path, line, top))
    assert {name: limb for name, limb in found.items() if name != "bass drum"} == limbs


def test_the_hand_that_reads_may_be_chosen_and_the_ride_rests_where_it_is_the_ride_s():
    chosen = lesson_of("4 4 4 4", line='reads_with = "right hand"')
    assert limbs_of(chosen)["snare"] == "right hand"
    assert "ride" not in chosen.score.parts
    left = lesson_of("4 4 4 4", line='reads_with = "right hand"', top='kit = "left-handed"')
    assert (limbs_of(left)["snare"], limbs_of(left)["ride"]) == ("right hand", "left hand")


def test_one_limb_cannot_strike_two_instruments_at_once():
    text = """
title = "x"
tempo = 120
groove = "GROOVE"
[line]
values = "4 4 4 4"
played_on = "bass drum"
"""
    import tempfile
    from pathlib import Path

    groove = (
        'name="x"\ntitle="X"\nmeter="4/4"\ntempo=[60,200]\n'
        '[ride]\ncounts="1 2 3 4"\n[snare]\ncounts="1 (2) & 3"\n["cross-stick"]\nlimb="left hand"\ncounts="1r (2) & 3r"\n'
    )
    with tempfile.TemporaryDirectory() as folder:
        (Path(folder) / "two.toml").write_text(groove)
        message = "line: bar 1, beat 2&: the left hand would play cross-stick and snare at once"
        with pytest.raises(LessonError, match=message):
            parse_text(text.replace("GROOVE", "two.toml"), Path(folder))
