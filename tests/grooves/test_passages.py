"""Tracks as lists of passages: loops, ladders, trading, fading, silence, clicks and the count-in."""

import itertools
from dataclasses import replace
from pathlib import PureWindowsPath

import pytest
from music import EXACT, lesson_of, of_part, played

from grooves.file_names import slug
from grooves.passages import (
    Alternation,
    Fade,
    Ladder,
    Passage,
    Track,
    climb,
    count_in_beats,
    fade,
    never_in_turn,
    never_reads,
    track_passages,
    trade,
)
from grooves.rhythm import Meter

LINE = "4 8 8 4 4 | 8 4 4 4 8 | 2 2 | 8 8 8 8 2"


def track(rows: str, *, groove: str = "swing", line: str = LINE, feel: str = EXACT, top: str = ""):
    lesson = lesson_of(line, groove=groove, feel=feel, top=top, tracks=f'[[track]]\nname = "x"\n{rows}')
    return played(lesson, "x")


def bars_with(performance, part: str) -> list[bool]:
    """For each bar after the count-in: does the part sound in it?"""
    marks = [mark for mark in performance.bars if mark.label != "count-in"]
    hits = of_part(performance, part)
    return [any(m.onset_quarters <= h.onset_quarters < m.onset_quarters + m.quarters for h in hits) for m in marks]


def labels(performance) -> list[str]:
    return [mark.label for mark in performance.bars]


def test_a_ladder_or_a_fade_lets_every_reader_of_the_choruses_read():
    score = lesson_of("4 4 4 4", line='played_on = { each_chorus = ["snare", "bass drum"] }').score
    ladder = track_passages(Track("x", ladder=Ladder(60, 70, 10, 2)), score, 1, 0)
    assert [(one.tempo_bpm, one.bars, one.times) for one in ladder] == [
        (60, (0,), 2), (60, (1,), 2), (70, (0,), 2), (70, (1,), 2)
    ]  # fmt: skip
    sunk = track_passages(Track("x", fade=Fade(2, -10)), score, 1, 0)
    assert [(one.bars, one.softer_lu["line"]) for one in sunk] == [((0,), 0), ((1,), 0), ((0,), -10), ((1,), -10)]


def test_what_is_softer_already_sinks_from_there():
    score = lesson_of("4 4 4 4").score
    track = Track("x", without=frozenset({"snare"}), softer_lu={"snare": -6.0, "ride": -3.0}, fade=Fade(3, -20))
    lowered = [one.softer_lu for one in track_passages(track, score, 1, 0)]
    assert lowered == [{"snare": -6.0 + sunk, "ride": -3.0} for sunk in (0, -10, -20)]


def test_a_track_in_which_a_reader_never_comes_to_read_is_told():
    score = lesson_of("4 4 4 4", line='played_on = { each_chorus = ["snare", "bass drum"] }').score
    told = "1 of 2 who read the choruses in turn come to it; write"
    assert never_reads(Track("x"), score, 1) == f"{told} choruses = 2"
    assert never_reads(Track("x", times=1), score, 2) == f"x: {told} times = 2"
    assert never_reads(Track("x"), score, 2) == never_reads(Track("x", groove_alone=True), score, 1) == ""
    assert never_reads(Track("x", ladder=Ladder(60, 70, 10, 1)), score, 1) == ""


@pytest.mark.parametrize(
    ("track", "advice"),
    [
        (Track("x", trade=Alternation(4, 4)), "write times = 8"),
        (Track("x", trade=Alternation(4, 4), ladder=Ladder(60, 70, 10, 1)), "write times = 4"),
    ],
)
def test_the_advice_to_a_trade_that_never_comes_is_enough_and_no_more(track, advice):
    score = lesson_of("4 4 4 4").score
    assert never_in_turn(track, score, 4 if not track.ladder else 9).endswith(advice)
    times = int(advice.split()[-1])
    assert never_in_turn(replace(track, times=times), score) == ""


def test_a_loop_is_one_bar_many_times_at_its_tempo():
    performance = track('bars = "2"\ntempo = "60%"\ntimes = 8\ncount_in = 0')
    assert labels(performance) == ["bar 2"] * 8
    assert performance.length_seconds == pytest.approx(8 * 4 * 60 / 72)


def test_several_bars_are_taken_in_the_order_given():
    assert labels(track('bars = "3, 1-2"\ntimes = 2\ncount_in = 0')) == ["bar 3", "bar 1", "bar 2"] * 2


def test_a_ladder_rises_to_its_top_exactly():
    tempos = [p.tempo_bpm for p in climb([Passage((0,), 120)], Ladder(60, 100, 15, 2))]
    assert tempos == [60, 75, 90, 100]
    assert [p.times for p in climb([Passage((0,), 120)], Ladder(60, 60, 15, 3))] == [3]


def test_a_ladder_counts_in_at_its_first_tempo():
    performance = track("ladder = { from = 60, to = 120, step = 60, times_each = 2 }")
    assert [m.quarters_per_minute for m in performance.bars] == [60] * 2 + [60] * 8 + [120] * 8


def test_trading_leaves_your_part_out_every_other_group_of_bars():
    performance = track("trade = { with = 2, without = 1 }\ntimes = 2")
    assert bars_with(performance, "snare") == [True, True, False] * 2 + [True, True]
    assert all(bars_with(performance, "ride"))


def test_the_part_to_trade_is_named_by_without():
    performance = track('trade = { with = 1, without = 1 }\nwithout = ["bass drum"]')
    assert bars_with(performance, "bass drum") == [True, False, True, False]
    assert all(bars_with(performance, "snare"))


def test_a_fading_part_sinks_by_equal_steps():
    performance = track("fade = { times = 4, to = -30 }\nbars = 3")
    levels = [hit.level_lu for hit in of_part(performance, "snare")]
    assert [a - levels[0] for a in levels[::2]] == [0, -10, -20, -30]
    assert len({hit.level_lu for hit in of_part(performance, "hi-hat")}) == 1


def test_in_a_gap_everything_falls_silent_and_comes_back_in_time():
    performance = track('silence = { play = 2, rest = 2 }\ntimes = 2\nclick = "every beat"')
    assert bars_with(performance, "ride") == [True, True, False, False, False, False, True, True]
    assert bars_with(performance, "click") == [True, True, False, False, False, False, True, True]
    plain = track('times = 2\nclick = "every beat"')
    assert set(performance.hits) < set(plain.hits)


@pytest.mark.parametrize(("click", "per_bar"), [("off", 0), ("every beat", 4), ("2 and 4", 2)])
def test_the_click_sounds_where_it_is_asked_for(click, per_bar):
    hits = of_part(track(f'click = "{click}"'), "click")
    assert len(hits) == per_bar * 4
    if click == "2 and 4":
        assert [float(h.onset_quarters) % 4 for h in hits] == [1, 3] * 4


def test_the_click_stays_exact_under_any_feel():
    hits = of_part(track('click = "every beat"', feel="timing_ms = 30"), "click")
    assert [h.onset_quarters for h in hits] == list(range(8, 24))


def test_the_count_in_is_a_bar_of_halves_then_a_bar_of_quarters():
    # common practice, no source
    hits = of_part(track("count_in = 2"), "count-in")
    assert [h.onset_quarters for h in hits] == [0, 2, 4, 5, 6, 7]
    assert count_in_beats(0, 1, Meter(4, 4)) == (0, 1, 2, 3)
    assert count_in_beats(0, 2, Meter(4, 4)) == (0, 2)
    assert count_in_beats(0, 2, Meter(3, 4)) == (0,)
    assert count_in_beats(1, 2, Meter(3, 4)) == (0, 1, 2)
    assert count_in_beats(0, 2, Meter(5, 4)) == (0,)
    assert count_in_beats(1, 2, Meter(6, 8)) == (0, 1)


def test_a_ladder_of_a_loop_with_the_snare_out():
    performance = track(
        'bars = "2"\nwithout = ["snare"]\nladder = { from = "50%", to = "100%", step = 30 }\ncount_in = 1'
    )
    assert labels(performance) == ["count-in"] + ["bar 2"] * 3
    assert "snare" not in performance.parts


def test_a_ladder_trades_on_every_rung():
    performance = track("trade = { with = 2, without = 2 }\nladder = { from = 60, to = 90, step = 30 }")
    assert bars_with(performance, "snare") == [True, True, False, False, False, False, True, True]


@pytest.mark.parametrize(("first", "second"), [(2, 2), (3, 1), (1, 3), (1, 1)])
def test_where_a_chorus_holds_whole_turns_every_bar_comes_to_you_and_to_the_track(first, second):
    rows = f"trade = {{ with = {first}, without = {second} }}\ntimes = 4\ncount_in = 0"
    heard = bars_with(track(rows), "snare")
    for bar in range(4):
        assert {heard[chorus * 4 + bar] for chorus in range(4)} == {True, False}


@pytest.mark.parametrize("shape", ["trade = { with = 2, without = 2", "silence = { play = 2, rest = 2"])
def test_without_a_swap_the_same_bars_are_yours_in_every_chorus(shape):
    heard = bars_with(track(f"{shape}, swap = false }}\ntimes = 3\ncount_in = 0"), "snare")
    assert heard == [True, True, False, False] * 3


def test_an_echo_plays_bars_first_and_then_gives_the_same_bars_to_you():
    performance = track("trade = { with = 2, without = 2, echo = true }\ncount_in = 0")
    assert labels(performance) == [f"bar {n}" for n in (1, 2, 1, 2, 3, 4, 3, 4)]
    assert bars_with(performance, "snare") == [True, True, False, False] * 2
    odd = track("trade = { with = 3, without = 3, echo = true }\ncount_in = 0")
    assert labels(odd) == [f"bar {n}" for n in (1, 2, 3, 1, 2, 3, 4, 4)]
    assert bars_with(odd, "snare") == [True, True, True, False, False, False, True, False]


def test_choruses_read_in_turn_keep_their_bars():
    performance = track('bars = "2"\ntimes = 4', line="1 | 2 2", top="")
    assert labels(performance)[2:] == ["bar 2"] * 4
    lesson = lesson_of(
        "1 | 2 2",
        line='played_on = { each_chorus = ["snare", "bass drum"] }',
        tracks='[[track]]\nname = "x"\nbars = 2\ntimes = 4',
    )
    turns = played(lesson, "x")
    assert bars_with(turns, "snare") == [True, False, True, False]


def test_the_time_goes_on_counting_through_repeats_so_no_two_times_are_alike():
    performance = track('bars = "1"\ntimes = 2\ncount_in = 0', feel="timing_ms = 6")
    first, second = (
        [h.onset_seconds - 2.0 * n for h in of_part(performance, "ride")[6 * n : 6 * n + 6]] for n in (0, 1)
    )
    assert first != pytest.approx(second, abs=1e-4)


SHAPES = {
    "plain": "",
    "loop": 'bars = "2"\ntempo = "60%"\ntimes = 4',
    "ladder": "ladder = { from = 60, to = 90, step = 10 }",
    "trade": "trade = { with = 1, without = 1 }",
    "fade": "fade = { times = 3, to = -20 }",
    "silence": "silence = { play = 1, rest = 1 }",
}
METERS = {"swing": "4 8 8 4 4 | 8 4 4 4 8", "jazz-waltz": "4 8 8 4 | 2 4", "five-four-swing": "4 4 4 2 | 2 2 4", "six-eight": "4 8 4. | 4. 4.", "twelve-eight": "4. 4. 4. 4 8 | 2. 2."}  # fmt: skip


@pytest.mark.parametrize(
    ("groove", "shape", "left_out"),
    list(itertools.product(METERS, SHAPES, ["snare", "right hand", "bass drum", "left foot"])),
)
def test_every_shape_with_every_limb_left_out_in_every_meter(groove, shape, left_out):
    rows = SHAPES[shape]
    without = track(f'{rows}\nwithout = ["{left_out}"]', groove=groove, line=METERS[groove])
    everyone = track(rows, groove=groove, line=METERS[groove])
    assert without.bars == everyone.bars
    assert sum(mark.seconds for mark in without.bars) == pytest.approx(without.length_seconds, abs=1e-9)
    if shape in ("trade", "fade"):
        return  # there `without` names the part that is traded or sinks
    gone = set(everyone.hits) - set(without.hits)
    assert set(without.hits) <= set(everyone.hits)
    assert {left_out} == {hit.part for hit in gone} or {left_out} == {hit.limb for hit in gone}


def test_small_shapes_are_functions_of_passages():
    one = Passage((0, 1, 2), 120, times=2)
    turns = [p.bars for p in trade([one], Alternation(2, 1, swap=False), frozenset({"snare"}))]
    assert turns == [(0, 1), (2,), (0, 1), (2,)]
    assert [p.softer_lu for p in fade([one], Fade(2, -8), frozenset({"ride"}))] == [{"ride": 0}, {"ride": -8}]


def test_a_track_s_name_becomes_a_file_name():
    assert slug("You play the snare!") == "you-play-the-snare"
    assert slug("Übung 2 / langsam") == "ubung-2-langsam"
    assert slug("🥁") == "track"


@pytest.mark.parametrize("name", ["Con", "aux", "NUL", "com1", "LPT9", "a:b?", "two.", "x" * 200, " - "])
def test_a_name_makes_a_file_name_on_every_system(name):
    """Source: Microsoft, "Naming Files, Paths, and Namespaces"; `PureWindowsPath.is_reserved` of Python knows the devices."""
    for suffix in ("", ".mid"):
        made = slug(name) + suffix
        assert not PureWindowsPath(made).is_reserved()
        assert not set(made) & set('<>:"/\\|?*') and not made.endswith((".", " ")) and len(made) < 100
    assert slug("Con") == "track-con"


@pytest.mark.parametrize(("rows", "choruses", "advice"), [
    ({"trade": Alternation(4, 4)}, 1, "x: its 4 bars end before trade leaves your part out; write times = 2"),
    ({"silence": Alternation(8, 4)}, 2, "x: its 8 bars end before silence begins; write times = 3"),
    ({"silence": Alternation(8, 4), "bars": (0,), "times": 3}, 1, "x: its 3 bars end before silence begins; write times = 12"),
    ({"trade": Alternation(4, 4)}, 2, ""),
    ({"silence": Alternation(3, 1)}, 1, ""),
    ({}, 1, ""),
])  # fmt: skip
def test_a_trade_that_never_comes_is_told(rows, choruses, advice):
    assert never_in_turn(Track("x", **rows), lesson_of(LINE).score, choruses) == advice
