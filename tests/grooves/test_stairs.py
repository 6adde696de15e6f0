"""The stairs up to a bar: shortest by exhaustive search, and the most even of the shortest."""

from collections.abc import Iterator
from fractions import Fraction
from itertools import combinations, pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from grooves.counts import counts_text, parse_counts
from grooves.errors import LessonError
from grooves.rhythm import Bar, Meter, Symbol, parse_values, spell, values_text
from grooves.teaching.beats import on_the_beats, strokes_of
from grooves.teaching.complexity import reading_points
from grooves.teaching.stairs import alone, climb_to, said, stairs

COMMON = Meter(4, 4)
EIGHTH = Fraction(1, 2)
Places = frozenset[Fraction]


def bar(text: str, meter: Meter = COMMON) -> Bar:
    return parse_values(text, meter)[0]


def climbed(text: str, meter: Meter = COMMON, start: str | None = None) -> list[str]:
    series = stairs(bar(text, meter), meter, None if start is None else bar(start, meter))
    return [values_text([step]) for step in series]


def legato(strokes: Places, meter: Meter) -> Bar:
    """Strokes as a bar, every note lasting until the next."""
    onsets = sorted(strokes)
    first = [Symbol(Fraction(0), onsets[0], "rest")] if onsets[0] else []
    notes = [Symbol(onset, end - onset) for onset, end in pairwise([*onsets, meter.length])]
    return spell((*first, *notes), meter)


# --- an independent exhaustive search, by sets of places ----------------------------------------


def grid_of(meter: Meter, step: Fraction = EIGHTH) -> list[Fraction]:
    return [step * number for number in range(int(meter.length / step))]


def one_step(strokes: Places, grid: list[Fraction]) -> Iterator[Places]:
    for place in grid:
        if place in strokes:
            yield strokes - {place}
            for there in grid:
                low, high = sorted((place, there))
                passed = {between for between in strokes if low < between < high}
                if there not in strokes and high - low <= EIGHTH and not passed:
                    yield strokes - {place} | {there}
        else:
            yield strokes | {place}


def steps_from(start: Places, grid: list[Fraction]) -> dict[Places, int]:
    """Steps to every bar with notes, breadth first over all of them."""
    found, edge = {start: 0}, [start]
    for before in edge:
        for after in one_step(before, grid):
            if after and after not in found:
                found[after] = found[before] + 1
                edge.append(after)
    return found


def every_bar(grid: list[Fraction]) -> list[Places]:
    return [frozenset(chosen) for size in range(1, len(grid) + 1) for chosen in combinations(grid, size)]


@pytest.mark.parametrize("meter", [Meter(4, 4), Meter(3, 4), Meter(6, 8)])
def test_no_shorter_series_leads_from_the_beats_to_any_bar_of_eighths(meter: Meter) -> None:
    grid = grid_of(meter)
    needed = steps_from(frozenset(strokes_of(on_the_beats(meter))), grid)
    assert len(needed) == 2 ** len(grid) - 1
    for target in every_bar(grid):
        assert len(stairs(legato(target, meter), meter)) - 1 == needed[target]


def test_no_shorter_series_leads_from_any_bar_to_any_other_in_two_quarters() -> None:
    meter = Meter(2, 4)
    grid = grid_of(meter)
    for start in every_bar(grid):
        needed = steps_from(start, grid)
        for target in every_bar(grid):
            series = stairs(legato(target, meter), meter, legato(start, meter))
            assert len(series) - 1 == needed[target]


@pytest.mark.parametrize("text", ["16 16 16 16 4", "16r 8 16 16 8.", "8. [16 8.] 16"])
def test_no_shorter_series_leads_to_a_bar_of_sixteenths(text: str) -> None:
    meter = Meter(2, 4)
    target = bar(text, meter)
    needed = steps_from(frozenset({Fraction(0), Fraction(1)}), grid_of(meter, Fraction(1, 4)))
    assert len(stairs(target, meter)) - 1 == needed[frozenset(strokes_of(target))]


def test_every_step_of_the_stairs_is_one_step() -> None:
    grid = grid_of(COMMON)
    for target in every_bar(grid)[::5]:
        series = [frozenset(strokes_of(step)) for step in stairs(legato(target, COMMON), COMMON)]
        assert all(after in set(one_step(before, grid)) for before, after in pairwise(series))


def roughness(series: tuple[Bar, ...], meter: Meter) -> float:
    points = [reading_points(step, meter, step) for step in series]
    return sum((after - before) ** 2 for before, after in pairwise(points))


def all_shortest(start: Places, target: Places, grid: list[Fraction]) -> Iterator[list[Places]]:
    left = steps_from(target, grid)  # a step can be undone by a step
    if start == target:
        yield [start]
    for after in {after for after in one_step(start, grid) if left.get(after, 99) < left[start]}:
        for others in all_shortest(after, target, grid):
            yield [start, *others]


@pytest.mark.parametrize("text", ["8 8 8 8 8 8", "8r 8 8r 8 8r 8", "8r 4 4 8", "8 4 8 4r", "2. "])
def test_of_all_shortest_series_none_rises_more_evenly(text: str) -> None:
    meter = Meter(3, 4)
    target = legato(frozenset(strokes_of(bar(text, meter))), meter)
    beats = frozenset(strokes_of(on_the_beats(meter)))
    series = all_shortest(beats, frozenset(strokes_of(target)), grid_of(meter))
    written = [tuple(legato(strokes, meter) for strokes in one) for one in series]
    smallest = min(roughness(one, meter) for one in written)
    assert roughness(stairs(target, meter), meter) == pytest.approx(smallest)


# --- what the series look like ------------------------------------------------------------------


def test_stairs_begin_with_quarters_and_end_with_the_bar() -> None:
    assert climbed("8r 4 4 [8 8] 8") == [
        "4 4 4 4",
        "8r 8 4 4 4",
        "8r 8 4 4. 8",
        "8r 8 4. 4 8",
        "8r 4 4 [8 8] 8",
    ]


def test_stairs_may_begin_anywhere() -> None:
    assert climbed("8 8 8 8 4 4", start="8 8 8 8 8 8 4") == ["8 8 8 8 8 8 4", "8 8 8 8 4 4"]


def test_notes_that_are_too_many_are_tied_or_left_out_as_the_goal_has_them() -> None:
    assert climbed("2 2") == ["4 4 4 4", "4 4 2", "2 2"]
    assert climbed("4r 4 4r 4") == ["4 4 4 4", "4r 4 4 4", "4r 4 4r 4"]


def test_a_bar_struck_like_the_start_is_its_own_stairs() -> None:
    assert climbed("4 8 8r 4 4") == ["4 8 8r 4 4"]


def test_rests_of_the_goal_stand_in_every_bar_between() -> None:
    assert climbed("8 8r 8 8r 8 8 8 8") == ["4 4 4 4", "8 8r 8 8r 4 8 8", "8 8r 8 8r 8 8 8 8"]


def test_accents_of_the_goal_come_with_their_notes() -> None:
    assert climbed("4 8 8^ 8^ 8 4")[1] == "4 8 8^ 4^ 4"


def test_a_tie_into_the_bar_becomes_a_rest() -> None:
    tied_into = parse_values("2. [4 | 8] 8 4 2", COMMON)[1]
    assert values_text([alone(tied_into, COMMON)]) == "8r 8 4 2"
    assert stairs(tied_into, COMMON)[-1] == alone(tied_into, COMMON)
    all_held = parse_values("[1 | 1]", COMMON)[1]
    assert values_text([alone(all_held, COMMON)]) == "1r"


@pytest.mark.parametrize(
    ("text", "meter", "steps"),
    [
        ("12 12 12 12 12 12 12 12 12 12 12 12", Meter(4, 4), 8),
        ("16 16 16 16 16 16 16 16 4 4", Meter(4, 4), 6),
        ("8. 16 12r 12 12 4 8 8", Meter(4, 4), 4),
        ("4 8 8 4 4 8 8", Meter(5, 4), 2),
        ("8 8 8 4 8", Meter(6, 8), 3),
        ("4 8 4 8 4 8 8r 8 8", Meter(12, 8), 5),
    ],
)
def test_triplets_sixteenths_and_other_meters_have_stairs(text: str, meter: Meter, steps: int) -> None:
    assert len(climbed(text, meter)) - 1 == steps


def test_an_eighth_moves_to_a_triplet_in_one_step() -> None:
    assert climbed("12 6 4 2", start="8 8 4 2") == ["8 8 4 2", "12 6 4 2"]


def test_what_a_step_changes_is_said() -> None:
    series = stairs(bar("8 8r 8r 8 2"), COMMON)
    steps = {said(before, after, COMMON) for before, after in pairwise(series)}
    assert steps == {"move the note on 2 to 2&", "tie 4 to the note before it"}
    assert said(bar("4 4 4 4"), bar("4 8 8 4 4"), COMMON) == "add a note on 2&"
    assert said(bar("4 4 4 4"), bar("4 8r 8 4 4"), COMMON) == "move the note on 2 to 2&"
    assert said(bar("4 4 4 4"), bar("4 2 4"), COMMON) == "tie 3 to the note before it"
    assert said(bar("4 4 4 4"), bar("4 4 4r 4"), COMMON) == "leave out the note on 3"
    assert said(bar("4 4 4 4"), bar("4 4 4 8 8r"), COMMON) == "change nothing that is struck"


@settings(max_examples=60, deadline=None)
@given(
    st.lists(
        st.sampled_from(["4", "4r", "8 8", "8r 8", "8 8r", "12 12 12", "12r 6", "16 8 16", "8. 16"]),
        min_size=4,
        max_size=4,
    )
)
def test_every_bar_of_the_stairs_can_be_written_and_read_again(beats: list[str]) -> None:
    target = bar(" ".join(beats))
    if not strokes_of(target):
        return
    series = stairs(target, COMMON)
    assert parse_values(values_text(series), COMMON) == series
    assert series[-1] == target
    between = series[1:-1]
    if between:
        assert parse_counts(counts_text(between, COMMON), COMMON) == between


# --- what is not possible -----------------------------------------------------------------------


def test_a_bar_without_notes_has_no_stairs() -> None:
    with pytest.raises(LessonError, match="the bar to reach has no notes"):
        stairs(bar("1r"), COMMON)
    with pytest.raises(LessonError, match="the bar to start from has no notes"):
        stairs(bar("1"), COMMON, bar("1r"))


def test_a_bar_finer_than_sixteenths_has_no_stairs() -> None:
    with pytest.raises(LessonError, match=r"the bar to reach has a note on 1\+1/8, finer than a sixteenth"):
        stairs(bar("32 32 16 8 2."), COMMON)


def test_a_bar_of_another_meter_has_no_stairs() -> None:
    with pytest.raises(LessonError, match="the bar to start from does not fill a bar of 4/4"):
        stairs(bar("1"), COMMON, bar("2.", Meter(3, 4)))


@pytest.mark.parametrize(
    ("text", "meter", "start"),
    [
        (" ".join(["16"] * 24), Meter(12, 8), None),
        ("4r 12 12^ 12 12 12 12 16r 16 16 16", COMMON, "8 8 8r 8 16 16 16 16 4"),
    ],
)
def test_a_bar_too_far_away_is_climbed_to_by_the_best_that_is_found(text: str, meter: Meter, start: str | None) -> None:
    climb = climb_to(bar(text, meter), meter, None if start is None else bar(start, meter))
    assert climb.bars == climb_to(bar(text, meter), meter, None if start is None else bar(start, meter)).bars
    assert values_text([climb.bars[-1]]) == text
    for before, after in pairwise(set(strokes_of(step)) for step in climb.bars):
        assert len(before - after) <= 1 and len(after - before) <= 1


def test_a_near_bar_is_climbed_to_by_the_shortest_series() -> None:
    assert climb_to(bar("4 8 8 4 4"), COMMON).shortest
    assert not climb_to(bar(" ".join(["16"] * 24), Meter(12, 8)), Meter(12, 8)).shortest
