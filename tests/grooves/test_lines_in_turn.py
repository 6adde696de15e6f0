"""Several lines in one lesson, played in turn, and the letters over bars: what is read, and every message.

Rehearsal letters in boxes, a double bar before each: common practice, no source.
"""

from pathlib import Path

import pytest
from music import parse_text, played

from grooves.bar_choice import bar_numbers
from grooves.errors import LessonError
from grooves.lesson import parse_lesson
from grooves.line import WrittenLine
from grooves.rhythm import Meter, parse_values, values_text
from grooves.score import RehearsalLetter
from render.lesson.groove_files import find_groove

TOP = 'title = "Harbour Street, two lines"\ntempo = 120\ngroove = "{groove}"\n'
EXACT = "[feel]\ntiming_ms = 0\nlevel_lu = 0\n"


def two(first: str, second: str, more: str = "", groove: str = "swing", top: str = ""):
    """A lesson of two lines."""
    return parse_text(f"{TOP.format(groove=groove)}{top}\n[[line]]\n{first}\n[[line]]\n{second}\n{EXACT}{more}")


def one(line: str, more: str = ""):
    """A lesson of one line."""
    return parse_text(f"{TOP.format(groove='swing')}\n[line]\n{line}\n{EXACT}{more}")


def said(lesson, *words) -> str:
    with pytest.raises(LessonError) as error:
        lesson(*words)
    return str(error.value)


A = 'values = "4 8 8 4 4 | 2 2"\nplayed_on = "snare"'
B = 'values = "4 4 2 | % | 1"\nplayed_on = "bass drum"'


# --- what is played -------------------------------------------------------------------------------


def test_bars_are_numbered_on_and_each_line_has_its_reader_and_its_letter():
    score = two(A, B).score
    assert [bar.number for bar in score.bars] == [1, 2, 3, 4, 5]
    assert [(one.letter, one.bar) for one in score.letters] == [("A", 1), ("B", 3)]
    readers = [{stroke.part for stroke in bar.strokes if stroke.role == "line"} for bar in score.bars]
    assert readers == [{"snare"}] * 2 + [{"bass drum"}] * 3
    assert [{way.long for way in one.readers} for one in score.letters] == [{"snare"}, {"bass drum"}]


def test_the_foot_that_reads_later_feathers_until_then():
    score = two(A, B).score
    feathered = [
        [stroke.onset for stroke in bar.strokes if stroke.part == "bass drum" and stroke.role == "time"]
        for bar in score.bars
    ]
    assert feathered == [[0, 1, 2, 3]] * 2 + [[]] * 3


def test_a_percent_sign_is_the_bar_before_it_within_its_own_line():
    score = two(A, B).score
    assert score.bars[3].line == score.bars[2].line != score.bars[1].line


def test_lines_in_turn_sound_as_the_same_bars_in_one_line():
    apart = two('values = "4 8 8 4 4 | 2 2"', 'values = "4. 8 2 | 1r"', top="choruses = 2")
    together = parse_text(
        f"{TOP.format(groove='swing')}choruses = 2\n[line]\n" + 'values = "4 8 8 4 4 | 2 2 | 4. 8 2 | 1r"\n' + EXACT
    )
    assert played(apart).hits == played(together).hits
    assert [bar.label for bar in played(apart).bars] == [bar.label for bar in played(together).bars]


def test_the_grooves_pattern_goes_on_over_the_second_line():
    """The bossa nova's cross-stick has two bars in turn: a second line after three bars begins with the other one."""
    lines = ('values = "1r | 1r | 1r"', 'values = "1r | 1r"')
    score = two(*(f'{line}\nplayed_on = "snare"' for line in lines), groove="bossa-nova").score
    bars = [tuple(stroke.onset for stroke in bar.groove_alone if stroke.part == "cross-stick") for bar in score.bars]
    assert bars == [bars[0], bars[1]] * 2 + [bars[0]] and bars[0] != bars[1]


def test_a_letter_of_ones_own_and_the_next_in_the_alphabet():
    letters = two(f'{A}\nletter = "Intro"', B).score.letters
    assert [one.letter for one in letters] == ["Intro", "B"]


def test_one_line_under_two_brackets_is_one_line():
    with_letter = parse_text(f"{TOP.format(groove='swing')}[[line]]\n{A}\n{EXACT}").score
    assert with_letter == one(A).score and with_letter.letters == ()


def test_each_line_may_choose_of_its_own_bars_and_numbers_stay_those_of_the_whole():
    score = two(f'{A}\nbars = "2"', f'{B}\nbars = "2-3"').score
    assert [bar.number for bar in score.bars] == [2, 4, 5]
    assert [(one.letter, one.bar) for one in score.letters] == [("A", 2), ("B", 4)]


def test_repeated_bars_and_readers_by_bar_go_with_several_lines():
    score = two(
        'values = "4 4 4 4"\nrepeat_each = 2\nplayed_on = { each_bar = ["snare", "bass drum"] }',
        'values = "2 2"\nrepeat_each = 2',
    ).score
    assert [bar.number for bar in score.bars] == [1, 1, 2, 2]
    read = [next(stroke.part for stroke in bar.strokes if stroke.role == "line") for bar in score.bars]
    assert read == ["snare", "bass drum", "snare", "snare"]


def test_a_pickup_leads_to_the_first_line():
    score = two(f'{A}\npickup = "8 8"', B).score
    assert score.pickup is not None and score.pickup.start == 3


def test_a_left_handed_kit_mirrors_every_line():
    score = two(A, 'values = "1"\nplayed_on = "hi-hat"', top='kit = "left-handed"').score
    read = [{s.limb for s in bar.strokes if s.role == "line"} for bar in score.bars]
    assert read == [{"right hand"}, {"right hand"}, {"right foot"}]


def test_the_hand_that_reads_is_asked_of_each_line():
    score = two(f'{A}\nreads_with = "right hand"', 'values = "1"').score
    read = [{s.limb for s in bar.strokes if s.role == "line"} for bar in score.bars]
    assert read == [{"right hand"}, {"right hand"}, {"left hand"}]


# --- letters over one line ------------------------------------------------------------------------

FOUR = 'values = "4 4 4 4 | 2 2 | 1 | 4 4 2"'


def test_sections_put_letters_over_bars_in_the_order_of_the_bars():
    score = one(f"{FOUR}\nsections = {{ B = 3, A = 1 }}").score
    assert score.letters == (RehearsalLetter("A", 1), RehearsalLetter("B", 3))
    assert [score.letter_over(number) for number in (1, 2, 3, 4)] == ["A", "", "B", ""]


def test_a_letter_alone_stands_over_bar_1():
    assert one(f'{FOUR}\nletter = "A"').score.letters == (RehearsalLetter("A", 1),)


def test_a_letter_chooses_its_bars_in_a_track_and_in_the_line():
    lesson = one(f"{FOUR}\nsections = {{ A = 1, B = 3 }}", '[[track]]\nname = "b"\nbars = "b, 1"\n')
    assert lesson.tracks[0].bars == (2, 3, 0)
    assert [bar.number for bar in one(f'{FOUR}\nsections = {{ A = 1, B = 3 }}\nbars = "B"').score.bars] == [3, 4]
    in_turn = two(A, B, '[[track]]\nname = "b"\nbars = "B"\n')
    assert in_turn.tracks[0].bars == (2, 3, 4)


def test_a_letter_stands_for_the_bars_to_the_next_or_to_the_end():
    letters = (RehearsalLetter("A", 1), RehearsalLetter("B", 5), RehearsalLetter("Coda", 8))
    assert bar_numbers("A", range(1, 10), letters) == (1, 2, 3, 4)
    assert bar_numbers("coda, A", range(1, 10), letters) == (8, 9, 1, 2, 3, 4)
    assert bar_numbers("B", [1, 6, 6, 7, 9], letters) == (6, 7)


def test_a_line_without_letters_plays_as_it_did_before():
    plain, lettered = one(FOUR), one(f"{FOUR}\nsections = {{ A = 1, B = 3 }}")
    assert played(plain).hits == played(lettered).hits
    assert [bar.letter for bar in played(plain).bars] == [""] * 6
    assert [bar.letter for bar in played(lettered).bars] == ["", "", "A", "", "B", ""]
    assert [bar.label for bar in played(lettered).bars] == [bar.label for bar in played(plain).bars]


# --- what is refused ------------------------------------------------------------------------------

WRONG_TWO = [
    (A, f'{B}\npickup = "8"', "line 2: pickup: only the first line begins with one; write its notes at the end of line 1"),
    (A, f"{B}\nrepeat_each = 2", "line 2: repeat_each: 2 here and 1 in line 1; several lines repeat their bars alike"),
    (A, f"{B}\nsections = {{ A = 1 }}", 'line 2: sections: each of several lines has one letter; write letter = "B" instead'),
    (A, 'values = "1"\neach_chorus = ["snare", "hi-hat"]', "line 2: readers do not change by chorus where several lines are played in turn; say played_on for each line, or { each_bar = […] }"),
    (A, f'{B}\nletter = "a"', "line 2, letter: line 1 has the letter a already; choose another"),
    (f'{A}\nletter = "B"', B, "line 2, letter: line 1 has the letter B already; choose another"),
    (A, f'{B}\nletter = "5"', "line 2, letter: '5' is not a rehearsal letter; write A, or a short word such as Intro, a letter first, up to 12 signs"),
    (A, 'values = "4 4 4"', "line 2: values: bar 1 holds 3 beats; 4/4 needs 4 (1 too few)"),
    (A, 'values = "%"', "line 2: values: bar 1: % is the bar before once more, and there is none; write its notes"),
    (A, 'values = "1"\ncounts = "1 2 3 4"', "line 2: values and counts stand here; write one of values, counts or file"),
    (A, 'played_on = "snare"', "line 2: there is no rhythm; write one of values, counts or file"),
    (A, f'{B}\nbars = "4"', "line 2: bars: there is no bar 4; it has bars 1, 2, 3"),
    (A, f'{B}\nbars = "A"', "line 2: bars: 'A' is not a bar; write numbers and ranges"),
    (A, 'values = "1"\nplayed_on = "snair"', "line 2: played_on: 'snair' cannot read the line; did you mean 'snare'?"),
    (A, 'values = "1"\nvalue = 3', "line 2, value: no such key; did you mean 'values'?"),
    (A, "values = 3", "line 2, values: 3 is not a line; write it between quotes"),
    (A, 'values = "1"\ntempo = 90', "line 2, tempo: this belongs above the first heading"),
    (A, 'values = "1"\nplayed_on = "bass drum"\nreads_with = "left hand"', "line 2: reads_with: the line is on the bass drum, which a foot plays; leave reads_with out"),
]  # fmt: skip


@pytest.mark.parametrize(("first", "second", "message"), WRONG_TWO, ids=[message[:60] for _, _, message in WRONG_TWO])
def test_two_lines_that_do_not_go_together_are_one_message(first, second, message):
    assert said(two, first, second).startswith(message)


WRONG_ONE = [
    ("sections = { A = 5 }", "line: sections: A = 5: there is no bar 5; the last bar is 4"),
    ("sections = { A = 0 }", "line.sections: A = 0: write the number of the bar that it stands over"),
    ('sections = { A = "1" }', "line.sections: A = '1': write the number of the bar that it stands over"),
    ("sections = { A = 2, a = 3 }", "line.sections: A and a are one letter; keep one"),
    ("sections = { A = 2, B = 2 }", "line.sections: A and B both stand over bar 2; keep one"),
    ("sections = { 1 = 2 }", "line.sections: '1' is not a rehearsal letter; write A, or a short word"),
    ('sections = { "A-B" = 2 }', "line.sections: 'A-B' is not a rehearsal letter"),
    ("sections = {}", "line.sections: no letter stands here; write letters with bars, such as { A = 1, B = 9 }"),
    ("sections = 3", "line.sections: 3 is not a table of letters"),
    ('sections = { A = 1 }\nletter = "A"', "line: letter and sections both stand here; write one of them"),
    ('letter = "Introduction 2"', "line.letter: 'Introduction 2' is not a rehearsal letter"),
    ("letter = 3", "line.letter: 3 is not a rehearsal letter"),
    ("section = { A = 1 }", "line.section: no such key; did you mean 'sections'?"),
    ('sections = { A = 1, B = 3 }\nbars = "C"', "line: bars: 'C' is not a bar; write numbers and ranges, such as \"1-4, 7\", or a letter: A, B"),
]  # fmt: skip


@pytest.mark.parametrize(("line", "message"), WRONG_ONE, ids=[line for line, _ in WRONG_ONE])
def test_letters_that_cannot_be_are_one_message(line, message):
    assert said(one, f"{FOUR}\n{line}").startswith(message)


def test_a_letter_whose_bars_were_not_chosen_is_said():
    track = '[[track]]\nname = "b"\nbars = "B"\n'
    message = said(one, f'{FOUR}\nsections = {{ A = 1, B = 3 }}\nbars = "1-2"', track)
    assert message == "track 1 (b): bars: B stands over bars that are not chosen; the last bar is 2"


def test_more_lines_than_letters_are_refused():
    text = TOP.format(groove="swing") + f"[[line]]\n{A}\n" * 27
    assert said(parse_text, text) == "line: 27 lines stand here; a lesson has at most 26, A to Z"
    letters = ", ".join(f"L{number} = {number}" for number in range(1, 101))
    long = 'values = "' + " | ".join(["1"] * 100) + '"'
    message = said(one, f"{long}\nsections = {{ {letters} }}")
    assert message == "line.sections: 100 letters stand here; a line has at most 99"


def test_no_line_at_all_and_what_is_no_table_are_said_as_ever():
    assert said(parse_text, TOP.format(groove="swing")).startswith("line: missing; write [line] and below it values =")
    assert said(parse_text, TOP.format(groove="swing") + "line = 3").startswith(
        "line: 3 is not a table; write its keys"
    )
    assert (
        said(parse_text, TOP.format(groove="swing") + "line = []")
        == "line: no line stands here; write [line] and below it values = …"
    )
    assert said(parse_text, TOP.format(groove="swing") + 'line = ["4"]').startswith("line 1: '4' is not a table")
    both = f"{TOP.format(groove='swing')}[line]\n{A}\n[[line]]\n{B}\n"
    assert "line 7: [[line]]" in said(parse_text, both)


def test_lines_that_are_too_many_bars_together_are_refused():
    long = 'values = "' + " | ".join(["1"] * 1000) + '"\nrepeat_each = 6'
    assert said(two, long, long).startswith("12,000 bars with their repeats; a lesson has at most 10,000")


def test_a_file_in_another_meter_or_with_a_pickup_is_refused_by_its_line():
    text = TOP.format(groove="swing") + f'[[line]]\n{A}\n[[line]]\nfile = "b.musicxml"\n'

    def refuse(*_):
        raise LessonError("it is in 3/4, and the groove in 4/4")

    def with_pickup(*_):
        return WrittenLine(parse_values("1", Meter(4, 4)), parse_values("2r 4 4", Meter(4, 4))[0][1:])

    for read, message in (
        (refuse, "line 2: file: it is in 3/4, and the groove in 4/4"),
        (with_pickup, "line 2: pickup: only the first line begins with one; write its notes at the end of line 1"),
    ):
        with pytest.raises(LessonError) as error:
            parse_lesson(text, lambda name: find_groove(name, Path()), read, lambda *_: None)
        assert str(error.value) == message


def test_values_of_both_lines_are_kept_as_written():
    score = two(A, B).score
    assert values_text([bar.line for bar in score.bars]) == "4 8 8 4 4 | 2 2 | 4 4 2 | 4 4 2 | 1"
