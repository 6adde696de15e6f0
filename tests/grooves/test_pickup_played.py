"""Pickups: written in a lesson, at the end of the bar before bar 1 in every track. Common practice, no source."""

from fractions import Fraction

import pytest
from music import lesson_of, of_part, parse_text, played, text_of

from grooves.errors import LessonError
from grooves.notes import line_notes
from grooves.passages import Track, track_passages
from grooves.performance import perform
from grooves.pickup import parse_pickup
from grooves.rhythm import Meter
from grooves.takes.sheet import sheet_of
from render.lesson.size import track_size

FOUR = Meter(4, 4)
EIGHTHS = 'pickup = "8 8"'


def snare_places(lesson, track="full"):
    """Quarters from the first barline of bar 1 where the snare sounds."""
    performance = played(lesson, track)
    first = next(bar.onset_quarters for bar in performance.bars if bar.label == "bar 1")
    return [hit.onset_quarters - first for hit in of_part(performance, "snare")]


def straight(values="4 4 4 4", **parts):
    return lesson_of(values, groove="straight-eighths", **parts)


def test_a_pickup_ends_the_bar_before_bar_1():
    pickup, bars = parse_pickup("8 8", FOUR, "4 4 4 4 | 1")
    assert [(symbol.onset, symbol.length) for symbol in pickup] == [
        (3, Fraction(1, 2)),
        (Fraction(7, 2), Fraction(1, 2)),
    ]
    assert len(bars) == 2


def test_a_rest_in_front_of_a_pickup_is_left_out_and_a_triplet_begins_with_its_beat():
    assert parse_pickup("8r 8", FOUR)[0][0].onset == Fraction(7, 2)
    assert [symbol.onset for symbol in parse_pickup("12r 12 12", FOUR)[0]] == [Fraction(10, 3), Fraction(11, 3)]


@pytest.mark.parametrize(
    ("line", "message"),
    [
        ('pickup = "4 4 4 4"', r"line\.values: pickup: it holds 4 beats, and a bar of 4/4 4; a pickup is shorter"),
        ('pickup = "8 9"', "pickup: '9' is not a note; write values such as 8 8"),
        ('pickup = "8 | 8"', "pickup: it is shorter than a bar, so no bar sign stands in it"),
        ('pickup = "4r"', "pickup: it only rests; leave it out"),
        ('pickup = "8 12"', "pickup, beat 4.: a triplet must start with its beat|pickup, beat 4.*triplet"),
        ('pickup = ""', "pickup"),
        ("pickup = 8", "pickup"),
    ],
)
def test_a_pickup_that_cannot_be_is_named(line, message):
    with pytest.raises(LessonError, match=message.replace(r"line\.values: ", "")):
        lesson_of("4 4 4 4", line=line)


def test_a_mistake_in_the_line_behind_a_pickup_is_named_by_its_own_bar():
    with pytest.raises(LessonError, match="bar 2 holds 3 beats"):
        lesson_of("4 4 4 4 | 4 4 4", line=EIGHTHS)


def test_a_pickup_beside_a_file_is_refused():
    text = text_of("4 4 4 4", line=EIGHTHS).replace('values = "4 4 4 4"', 'file = "line.musicxml"')
    with pytest.raises(LessonError, match="pickup: it stands beside values or counts; a notation file has its own"):
        parse_text(text)


def test_a_pickup_stands_beside_counts_too():
    text = text_of("4 4 4 4", line=EIGHTHS).replace('values = "4 4 4 4"', 'counts = "1 2 3 4"')
    assert parse_text(text).score.pickup.start == 3


def test_the_pickup_sounds_in_the_last_bar_of_the_count_in():
    assert snare_places(straight(line=EIGHTHS)) == [-1, Fraction(-1, 2), 0, 1, 2, 3]
    performance = played(straight(line=EIGHTHS, top="count_in = 1"), "full")
    assert [bar.label for bar in performance.bars] == ["count-in", "bar 1"]


def test_without_a_count_in_a_bar_of_the_groove_comes_first():
    lesson = straight(line=EIGHTHS, top="count_in = 0")
    performance = played(lesson, "full")
    assert [bar.label for bar in performance.bars] == ["pickup", "bar 1"]
    assert [hit.onset_quarters for hit in of_part(performance, "snare")][-6:] == [3, Fraction(7, 2), 4, 5, 6, 7]
    assert [hit.onset_quarters for hit in of_part(performance, "ride")][:4] == [
        hit.onset_quarters - 4 for hit in of_part(performance, "ride") if hit.onset_quarters >= 4
    ][:4]


def test_a_pickup_swings_with_the_line():
    places = snare_places(lesson_of("4 4 4 4", line=EIGHTHS, feel="timing_ms = 0\nswing = 2.0"))
    assert places[:2] == [-1, Fraction(-1, 3)]


def test_a_track_without_the_line_or_without_its_first_bar_has_no_pickup():
    lesson = straight("4 4 4 4 | 2 2", line=EIGHTHS)
    assert snare_places(lesson, Track("w", without=frozenset({"line"}))) == []
    assert all(hit.onset_quarters >= 8 for hit in of_part(played(lesson, Track("t", groove_alone=True)), "ride"))
    second = played(lesson, Track("b", bars=(1,)))
    assert [hit.onset_quarters for hit in of_part(second, "snare")] == [8, 10]


def test_the_pickup_comes_again_before_each_chorus_that_leaves_room_for_it():
    roomy = straight("4 4 4 4 | 2 4 4r", line=EIGHTHS, top="choruses = 2")
    assert snare_places(roomy)[6:12] == [4, 6, 7, Fraction(15, 2), 8, 9]
    full = straight("4 4 4 4 | 2 4 4", line=EIGHTHS, top="choruses = 2")
    assert snare_places(full)[2:] == [0, 1, 2, 3, 4, 6, 7, 8, 9, 10, 11, 12, 14, 15]


def test_a_pickup_tied_into_bar_1_is_one_note():
    lesson = straight("2] 2", line='pickup = "[4"')
    assert snare_places(lesson) == [-1, 2]
    assert [stroke.length for stroke in lesson.score.pickup.strokes[0]] == [3]


def test_who_reads_the_chorus_reads_its_pickup():
    lesson = straight("4 4 4 4r", line='pickup = "4"\neach_chorus = ["snare", "bass drum"]', top="choruses = 2")
    assert [row[0].instrument for row in lesson.score.pickup.strokes] == ["snare", "bass drum"]
    performance = played(lesson, "full")
    assert Fraction(11) in [hit.onset_quarters for hit in of_part(performance, "bass drum")]


def test_a_left_handed_kit_mirrors_the_pickup():
    assert straight(line=EIGHTHS, top='kit = "left-handed"').score.pickup.strokes[0][0].limb == "right hand"


def test_a_pickup_changes_no_other_stroke():
    with_one = lesson_of("4 8 8 4 4 | 2 2", line=EIGHTHS, feel="timing_ms = 6")
    without = lesson_of("4 8 8 4 4 | 2 2", feel="timing_ms = 6")
    for part in ("ride", "bass drum", "hi-hat"):
        assert of_part(played(with_one), part) == of_part(played(without), part)
    longer = perform(with_one.score, track_passages(Track("full"), with_one.score, 1, 4), with_one.feel)
    shift = 2 * 4
    assert [hit.onset_quarters - shift for hit in of_part(longer, "snare")] == [
        hit.onset_quarters for hit in of_part(played(with_one), "snare")
    ]


def test_chosen_bars_keep_the_pickup_only_where_bar_1_comes_first():
    assert straight("4 4 4 4 | 2 2", line=f'{EIGHTHS}\nbars = "1"').score.pickup is not None
    assert straight("4 4 4 4 | 2 2", line=f'{EIGHTHS}\nbars = "2"').score.pickup is None


def test_the_line_itself_is_as_written():
    bars = [bar.line for bar in straight(line=EIGHTHS).score.bars]
    assert [note.onset for note in line_notes(bars)] == [0, 1, 2, 3]


def test_a_loop_without_a_seam_has_the_pickup_at_its_end_and_no_bar_before():
    lesson = straight("4 4 4r 4r", line='pickup = "8"')
    seamless = played(lesson, Track("loop", times=2, count_in=0, goes_round=True))
    assert [bar.label for bar in seamless.bars] == ["bar 1", "bar 1"]
    assert [hit.onset_quarters for hit in of_part(seamless, "snare")] == [0, 1, Fraction(7, 2), 4, 5, Fraction(15, 2)]


def test_a_groove_bar_before_bar_1_leaves_the_reading_limb_to_the_pickup():
    """The bass drum of the groove plays on every beat; where it reads the pickup, its own stroke on 4 is silent."""
    lesson = lesson_of("4 4 4 4r", line='played_on = "bass drum"\npickup = "8 8"', top="count_in = 0", groove="swing")
    before = [hit for hit in of_part(played(lesson), "bass drum") if hit.onset_quarters < 4]
    assert [hit.onset_quarters for hit in before] == [0, 1, 2, 3, Fraction(11, 3)]
    assert sheet_of(lesson, Track("full")).strokes
    size = track_size(Track("full"), lesson)
    assert size.seconds == 4
    assert size.strokes >= len(played(lesson).hits)
