"""What a teacher looks up about a line, and the lesson of stairs that is written from it."""

import tomllib
from pathlib import Path

import pytest
from music import lesson_of

from grooves.coordination import difficulty
from grooves.groove import swings as sounds_swung
from grooves.lesson import Lesson
from grooves.mistake import Mistake
from grooves.rhythm import parse_values, values_text
from render.load import load_lesson
from render.teach import describe_bars, stairs_text, written

LINE = "4 4 4 4 | 8r 4 4 [8 8] 8 | 4 8 8 4 4 | 1r"


def written_back(lesson: Lesson, folder: Path, number: int, start: int | None = None) -> Lesson:
    """The stairs up to a bar, saved and read again as a teacher would."""
    path = folder / "stairs.toml"
    path.write_text(stairs_text(lesson, number, start)[0], encoding="utf-8")
    return load_lesson(path).lesson


def line_of(lesson: Lesson) -> list[str]:
    return [values_text([bar.line]) for bar in lesson.score.bars[: lesson.score.chorus_length]]


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
        "beat distance": 0.5,
        "ties": 0.0,
        "changes": 0.25,
        "limbs": 1.0,
        "notes per second": 1.0,
    }
    assert told.difficulty == pytest.approx(2.75)
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


# --- stairs -------------------------------------------------------------------------------------


def test_stairs_are_a_lesson_that_plays_each_step_four_times(tmp_path: Path) -> None:
    lesson = lesson_of(LINE, tempo=96)
    found = written_back(lesson, tmp_path, 2)
    steps = ["4 4 4 4", "8r 8 4 4 4", "8r 8 4. 8 4", "8r 4 [8 8] 8 4", "8r 4 4 [8 8] 8"]
    assert line_of(found) == [step for step in steps for _ in range(4)]
    assert (found.title, found.groove, found.score.tempo_bpm) == (f"{lesson.title}: up to bar 2", "swing", 96.0)


def test_what_every_step_changes_is_said_beside_it() -> None:
    assert stairs_text(lesson_of(LINE), 2, None)[1] == [
        "step 1: 4 4 4 4",
        "step 2: move the note on 1 to 1&",
        "step 3: move the note on 3 to 3&",
        "step 4: move the note on 2 to 2&",
        "step 5: move the note on 4 to 4&",
    ]


def test_stairs_may_begin_at_another_bar_of_the_line(tmp_path: Path) -> None:
    steps = line_of(written_back(lesson_of(LINE), tmp_path, 2, start=3))[::4]
    assert (steps[0], steps[-1]) == ("4 8 8 4 4", "8r 4 4 [8 8] 8")


def test_a_tie_into_the_bar_is_a_rest_in_its_stairs(tmp_path: Path) -> None:
    tied = lesson_of("4 4 4 [4 | 8] 8 4 2 | [1 | 8] 8 2.")
    assert line_of(written_back(tied, tmp_path, 2))[-1] == "8r 8 4 2"
    assert line_of(written_back(tied, tmp_path, 2, start=4))[0] == "8r 8 2."


@pytest.mark.parametrize(
    "played_on",
    [
        '"snare"',
        '"bass drum"',
        '"hi-hat"',
        '"ride"',
        '"cross-stick"',
        '{ long = "bass drum", short = "snare" }',
        '{ notes = "bass drum", gaps = "snare" }',
        '{ hands = "alternate" }',
        '{ each_bar = ["snare", "bass drum"] }',
        '{ each_chorus = ["snare", { notes = "snare", gaps = "bass drum" }, { hands = "alternate" }] }',
    ],
)
def test_who_reads_the_line_climbs_its_stairs(played_on: str, tmp_path: Path) -> None:
    lesson = lesson_of(LINE, line=f"played_on = {played_on}")
    found = written_back(lesson, tmp_path, 2)
    assert tomllib.loads(stairs_text(lesson, 2, None)[0])["line"]["played_on"] == tomllib.loads(f"x = {played_on}")["x"]
    assert found.score.played_on == lesson.score.played_on
    assert found.score.readings == lesson.score.readings == found.choruses


@pytest.mark.parametrize("swing", ['swing = "straight"', "swing = 2.5", ""])
def test_stairs_swing_as_their_lesson_does(swing: str, tmp_path: Path) -> None:
    lesson = lesson_of(LINE, feel=swing)
    assert written_back(lesson, tmp_path, 2).feel.swing == lesson.feel.swing
    assert ("swing =" in stairs_text(lesson, 2, None)[0]) is bool(swing)


@pytest.mark.parametrize(("groove", "line"), [("jazz-waltz", "8r 4 4 8"), ("six-eight", "8 8 8 4 8")])
def test_stairs_keep_the_groove_and_its_meter(groove: str, line: str, tmp_path: Path) -> None:
    lesson = lesson_of(line, groove=groove)
    found = written_back(lesson, tmp_path, 1)
    assert (found.groove, found.score.meter) == (groove, lesson.score.meter)
    assert found.score.bars[-1].line == parse_values(line, lesson.score.meter)[0]


@pytest.mark.parametrize(
    "title", ['the "long" one', "back\\slash", "Größe – ♩", "two\nlines", "del\x7fete", "\U0001f941"]
)
def test_a_title_is_kept_letter_by_letter(title: str, tmp_path: Path) -> None:
    escaped = "".join(f"\\U{ord(letter):08X}" for letter in title)
    lesson = lesson_of(LINE)
    path = tmp_path / "lesson.toml"
    text = stairs_text(lesson, 2, None)[0].replace("Harbour Street, test page: up to bar 2", escaped)
    path.write_text(text, encoding="utf-8")
    named = load_lesson(path).lesson
    assert named.title == title
    assert written_back(named, tmp_path, 1).title == f"{title}: up to bar 1"


@pytest.mark.parametrize(
    ("number", "start", "message"),
    [
        (12, None, "there is no bar 12 in this line; it has bars 1, 2, 3, 4$"),
        (0, None, "there is no bar 0 in this line"),
        (2, 9, "there is no bar 9 in this line; it has bars 1, 2, 3, 4$"),
        (4, None, "the bar to reach has no notes"),
        (2, 4, "the bar to start from has no notes"),
    ],
)
def test_a_bar_without_stairs_is_refused_with_what_there_is(number: int, start: int | None, message: str) -> None:
    with pytest.raises(Mistake, match=message):
        stairs_text(lesson_of(LINE), number, start)


def test_a_long_line_names_its_last_bar_only() -> None:
    with pytest.raises(Mistake, match="there is no bar 13 in this line; the last bar is 12$"):
        stairs_text(lesson_of(" | ".join(["1"] * 12)), 13, None)


def test_a_left_handed_lesson_climbs_left_handed(tmp_path):
    lesson = lesson_of("4 4 4 4 | 8 4 4 4 8", top='leads = "left"')
    text, _ = stairs_text(lesson, 2, None)
    path = tmp_path / "up.toml"
    path.write_text(text)
    limbs = {stroke.part: stroke.limb for stroke in load_lesson(path).lesson.score.bars[0].strokes}
    assert (limbs["ride"], limbs["snare"]) == ("left hand", "right hand")
