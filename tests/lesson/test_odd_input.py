"""Lesson and groove files with values of the wrong kind, of absurd size, or of an editor's making: one message each."""

import pytest
from music import lesson_of, text_of

from grooves.errors import LessonError
from grooves.groove import parse_groove
from grooves.lesson_file import read_tables
from grooves.line import PlayedOn, fill_gaps
from grooves.rhythm import Meter, parse_values
from render.lesson.load import load_lesson
from render.lesson.loop import loop_track
from render.lesson.options import LoopOptions
from render.paper.notation import numbered

GROOVE = """
name = "mine"
title = "Mine"
meter = "4/4"
swing = "straight"
tempo = [60, 120]
[ride]
counts = "1 2 3 4"
"""
HUGE = "9" * 401


@pytest.mark.parametrize(
    ("rows", "message"),
    [
        ("counts = 5", r"ride: counts: 5 is not a text; write it between quotes: counts = \"1 2 & 3 4 &\""),
        ("values = []", "ride: values: .* is not a text; .*"),
        (
            'counts = "1"\naccents = 2',
            r"ride: accents: 2 is not a text; write it between quotes: accents = \"2 4\"",
        ),
        ('counts = "1"\nlight = true', "ride: light: true is not a text; .*"),
        (f'counts = "{HUGE}"', "ride: bar 1: '9+…9+' is not a count; .*"),
    ],
)
def test_a_pattern_that_is_no_text_is_told(rows, message):
    with pytest.raises(LessonError, match=f"^{message}"):
        parse_groove(GROOVE.replace('counts = "1 2 3 4"', rows))


def test_an_absurd_swing_of_a_groove_is_told():
    with pytest.raises(LessonError, match="swing: a number of 401 digits is out of range; .* 1.0 .* to 4.0"):
        parse_groove(GROOVE.replace('"straight"', HUGE))


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (text_of(tempo=HUGE), "tempo: a number of 401 digits is out of range; a tempo runs from 30 to 400"),
        (text_of(tempo="inf"), "tempo: inf is not a tempo; .*"),
        (text_of(tempo="nan"), "tempo: nan is not a tempo; .*"),
        (text_of(feel=f"seed = {HUGE}"), "feel.seed: a number of 401 digits is out of range; .*"),
        (text_of(feel=f"seed = {'9' * 5000}"), "a number has thousands of digits; write a shorter one"),
        (text_of(line="bars = true"), 'line.bars: true is not a choice of bars; .* "1-4, 7"'),
        (text_of(line="bars = 1.0"), "line.bars: 1.0 is not a choice of bars; .*"),
        (text_of(line="part = 1.5"), "line.part: 1.5 is neither a name nor a number; .*"),
        (text_of(tracks='[[track]]\nname = "x"\nline = "no"'), "track 1, line: 'no' is neither true nor false; .*"),
        (text_of(tracks='[[track]]\nname = "x"\nbars = true'), "track 1, bars: true is not a choice of bars; .*"),
    ],
)
def test_a_value_of_the_wrong_kind_or_of_absurd_size_is_told(text, message):
    with pytest.raises(LessonError, match=f"^{message}"):
        read_tables(text)


def test_a_bar_of_thousands_of_digits_is_past_the_end():
    with pytest.raises(LessonError, match=r"'9{20}' is past the end; the last bar is 1$"):
        lesson_of("4 4 4 4", line=f'bars = "{"9" * 5000}"')


def test_a_mark_that_some_editors_put_first_is_no_mistake(tmp_path):
    path = tmp_path / "lesson.toml"
    path.write_bytes(b"\xef\xbb\xbf" + text_of().encode())
    assert load_lesson(path).lesson.title == "Harbour Street, test page"


@pytest.mark.parametrize(("meter", "last"), [("9/8", 4), ("7/8", 3), ("3/8", 1)])
def test_gaps_are_filled_to_the_end_of_a_bar_of_odd_eighths(meter, last):
    count, unit = map(int, meter.split("/"))
    (bar,) = parse_values(" ".join(["8", *["8r"] * (count - 1)]), Meter(count, unit))
    filled = fill_gaps(bar, 0, PlayedOn("snare", "snare", gaps="bass drum"), Meter(count, unit), triplets=False)
    assert [one.note.onset * 2 for one in filled] == list(range(1, count))
    assert filled[-1].note.onset == last


def test_no_two_bars_go_by_one_name():
    names = numbered([1, 2] * 40)
    assert len(set(names)) == 80
    assert (names[0], names[2], names[51], names[-1]) == ("1", "1b", "2z", "2.40")


def test_a_track_of_the_groove_alone_may_leave_out_what_the_reader_silences():
    rows = '[[track]]\nname = "x"\nline = false\nwithout = ["cross-stick"]'
    (track,) = lesson_of("4 4 4 4", groove="bossa-nova", tracks=rows).tracks
    assert track.without == {"cross-stick"}


@pytest.mark.parametrize(
    ("rows", "hint"),
    [
        ("tempo = 92,5", "write 92.5, with a point"),
        ("[balance]\nbass drum = -14", 'a name of two words needs quotes: "bass drum"'),
        ('[[track]]\nname = "x"\nsofter = { bass drum = -6 }', 'a name of two words needs quotes: "bass drum"'),
        ('[[track]]\nname = "x"\nladder = { from = 60%, to = 100 }', 'write "60%", between quotes'),
        ("[[track]]\ntempo = 60%", 'write "60%", between quotes'),
        ("tempo =", "write a value after it"),
    ],
)
def test_what_is_not_toml_is_told_with_what_would_be(rows, hint):
    with pytest.raises(LessonError, match=f"^line [0-9]+: .*: {hint}$"):
        read_tables(rows)


@pytest.mark.parametrize(("tempo", "slow"), [(100, 60), (45, 30)])
def test_a_loop_without_a_tempo_is_slow_but_never_too_slow(tempo, slow):
    assert loop_track(lesson_of("4 4 4 4", tempo=tempo), LoopOptions("1")).tempo_bpm == slow
