"""A term planned: lines that grow harder evenly, bars that come back when they should, the same on any machine."""

import itertools
from random import Random

import pytest

from grooves.errors import LessonError
from grooves.rhythm import Meter, parse_values, values_text
from grooves.teaching.stairs import alone
from grooves.teaching.term import Group, OwnLesson, plan_group
from grooves.teaching.term_file import read_term

METERS = {"swing": Meter(4, 4), "two-feel": Meter(4, 4), "jazz-waltz": Meter(3, 4)}
TERM = """
title = "Harbour Street, autumn"
weeks = 6
[[group]]
name = "Monday, first year"
level = [1, 3]
groove = ["swing", "jazz-waltz"]
tempo = [80, 110]
bars = 4
lines = 2
played_on = ["snare", "bass drum", "hi-hat"]
review = 2
[[group.week]]
week = 5
lesson = "own/street-beat.toml"
note = "bring brushes"
"""


def plan(group: Group, weeks: int, seed: str = "autumn"):
    return plan_group(group, weeks, METERS.__getitem__, seed)


TERMS = 200


def random_term(number: int) -> tuple[Group, int]:
    """A group and how many weeks it has, the same for the same number: mostly short and easy, which is quick to draw."""
    draw = Random(number)
    top = 9 if number % 10 == 0 else 4
    first, last = sorted(draw.choices(range(1, top + 1), k=2))
    group = Group(
        "Tuesday",
        (first, last),
        draw.choice([("swing",), ("swing", "two-feel"), ("jazz-waltz",)]),
        draw.choice([(80, 110), (120.0, 120.0), (150, 90)]),
        4,
        draw.randint(1, 2),
        draw.choice([("snare",), ("snare", "bass drum")]),
        draw.randint(0, 2),
        {2: OwnLesson(2, "own.toml")} if number % 7 == 0 else {},
    )
    return group, draw.choice([1, 2, 2, 3, 6])


@pytest.fixture(scope="module")
def terms():
    """Two hundred random terms, planned."""
    found = []
    for number in range(TERMS):
        group, weeks = random_term(number)
        found.append((group, plan(group, weeks, f"autumn {number}")))
    return found


def test_in_200_random_terms_weeks_grow_no_easier_and_no_line_comes_twice(terms):
    for group, planned in terms:
        means = [week.difficulty for week in planned]
        assert means == sorted(means), group
        lines = [line.bars for week in planned for line in week.lines]
        assert len(lines) == len(set(lines)) == len(planned) * group.lines, group


def test_in_200_random_terms_bars_come_back_after_one_two_and_four_weeks_and_never_else(terms):
    for group, planned in terms:
        for week in planned:
            back = [after for after in (1, 2, 4) if after < week.number]
            read = [after for after in back if week.number - after not in group.weeks]
            assert [week.number - bar.week for bar in week.review] == [
                after
                for after in read
                for _ in range(min(group.review, len(rhythms(planned[week.number - after - 1]))))
            ]
            for bar in week.review:
                then = planned[bar.week - 1]
                assert bar.written == alone(then.lines[bar.line - 1].bars[bar.bar - 1], then.meter)
    assert sum(len(week.review) for _, planned in terms for week in planned) > 200


def rhythms(week) -> set:
    """The different bars of a week, each by itself."""
    return {alone(bar, week.meter) for line in week.lines for bar in line.bars}


def test_in_200_random_terms_every_line_reads_back_as_it_was_planned(terms):
    for _, planned in terms:
        for week in planned:
            for line in week.lines:
                assert parse_values(values_text(line.bars), week.meter) == line.bars


def test_the_aim_runs_straight_from_the_mean_of_one_level_to_that_of_the_other():
    aims = [week.aim for week in plan(Group("Monday", (1, 5), ("swing",), (80, 110), 4), 5)]
    steps = [later - sooner for sooner, later in itertools.pairwise(aims)]
    assert max(steps) - min(steps) < 1e-9 and steps[0] > 0


def test_lines_lie_near_their_aim():
    planned = plan(Group("Monday", (1, 3), ("swing",), (80, 110), 8, 2), 8)
    assert max(abs(week.difficulty - week.aim) for week in planned) < 0.4


def test_tempo_grooves_and_readers_go_on_from_week_to_week():
    group = Group("Monday", (1, 2), ("swing", "jazz-waltz"), (80, 110), 4, 2, ("snare", "bass drum", "hi-hat"))
    planned = plan(group, 4)
    assert [week.tempo_bpm for week in planned] == [80, 90, 100, 110]
    assert [week.groove for week in planned] == ["swing", "jazz-waltz"] * 2
    assert [week.readers for week in planned[:3]] == [
        ("snare", "bass drum"),
        ("hi-hat", "snare"),
        ("bass drum", "hi-hat"),
    ]


def test_the_same_words_plan_the_same_term_and_others_another():
    group = Group("Monday", (2, 3), ("swing",), (80, 110), 4)
    assert plan(group, 3) == plan(group, 3)
    assert plan(group, 3)[0].lines[0].bars != plan(group, 3, "spring")[0].lines[0].bars


def test_bars_come_back_only_in_their_own_meter():
    planned = plan(Group("Monday", (1, 2), ("swing", "jazz-waltz"), (80, 110), 4, 1, ("snare",), 1), 5)
    assert [[bar.week for bar in week.review] for week in planned] == [[], [], [1], [2], [3, 1]]


def test_a_terms_file_is_read():
    title, weeks, (group,) = read_term(TERM)
    assert (title, weeks) == ("Harbour Street, autumn", 6)
    assert (group.name, group.level, group.grooves, group.tempo_bpm) == (
        "Monday, first year", (1, 3), ("swing", "jazz-waltz"), (80, 110),
    )  # fmt: skip
    assert (group.bars, group.lines, group.played_on, group.review) == (4, 2, ("snare", "bass drum", "hi-hat"), 2)
    assert (group.weeks[5].lesson, group.weeks[5].note) == ("own/street-beat.toml", "bring brushes")


def test_what_may_be_left_out_has_its_usual_value():
    _, _, (group,) = read_term('title = "t"\nweeks = 2\n[[group]]\nname = "a"\nlevel = 2\ntempo = 90')
    assert group == Group("a", (2, 2), ("swing",), (90, 90), 8, 1, ("snare",), 0, {})


WRONG = [
    ("weeks = 6", "weeks = 99", "weeks: 99 is out of range; a number of weeks runs from 1 to 52"),
    ("weeks = 6", "week = 6", "week: no such key; did you mean 'weeks'?"),
    ("weeks = 6", "", "weeks: missing; write weeks = 12"),
    ("level = [1, 3]", "level = [1, 2, 3]", "level: [1, 2, 3] are not two; write first and last, such as [1, 3]"),
    ("level = [1, 3]", "level = [0, 3]", "group 1 (Monday, first year), level: 0 is out of range"),
    ("level = [1, 3]", "", "group 1, level: missing; write level = [1, 3]"),
    ("tempo = [80, 110]", 'tempo = ["slow", 110]', "tempo: 'slow' is not a tempo"),
    ("bars = 4", "bars = 0", "group 1, bars: 0 is out of range"),
    ("review", "reveiw", "group 1, reveiw: no such key; did you mean 'review'?"),
    ("week = 5", "week = 7", "group 1 (Monday, first year), week: there is no week 7; the last is 6"),
    ("[[group]]", "[group]", "group: write each under its own heading: [[group]]"),
    ('played_on = ["snare", "bass drum", "hi-hat"]', "played_on = []", "played_on: [] is no name and no list of names"),
    ('note = "bring brushes"', "note = 3", "note: 3 is not a text"),
]


@pytest.mark.parametrize(("old", "new", "message"), WRONG, ids=[new or f"no {old}" for old, new, _ in WRONG])
def test_a_wrong_term_says_what_is_wrong(old, new, message):
    with pytest.raises(LessonError) as said:
        read_term(TERM.replace(old, new, 1))
    assert message in str(said.value)


def test_two_groups_need_two_folders():
    second = '[[group]]\nname = "monday first year!"\nlevel = 1\ntempo = 80\n'
    with pytest.raises(LessonError, match="would have the same folder; choose another name"):
        read_term(TERM + second)


def test_a_meter_that_no_line_is_written_in_is_said():
    with pytest.raises(LessonError, match="lines are not written in 13/8"):
        plan_group(Group("Monday", (8, 8), ("six",), (60, 60), 4), 1, lambda _: Meter(13, 8), "autumn")
