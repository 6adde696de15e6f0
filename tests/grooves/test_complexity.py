"""Published measures of rhythm against the tables of the papers they come from."""

from fractions import Fraction
from itertools import accumulate

import pytest

from grooves.rhythm import Bar, Meter, parse_values
from grooves.teaching.complexity import (
    beat_distance,
    effort,
    held_over,
    pace_changes,
    places,
    read,
    reading_points,
    rests_of,
    strong_beats,
    syncopations,
    tree_weights,
    weight,
)

COMMON = Meter(4, 4)

TIMELINES = {
    "shiko": "x...x.x...x.x...",
    "son": "x..x..x...x.x...",
    "rumba": "x..x...x..x.x...",
    "soukous": "x..x..x...xx....",
    "gahu": "x..x..x...x...x.",
    "bossa": "x..x..x...x..x..",
}


def onsets_of(timeline: str) -> list[Fraction]:
    return [Fraction(step) for step, mark in enumerate(timeline) if mark == "x"]


def strengths(onsets: list[Fraction], steps: int) -> list[int]:
    weights = {Fraction(step): found for step, found in enumerate(tree_weights(steps))}
    return [found.strength for found in syncopations(onsets, weights, Fraction(steps))]


def bars(text: str, meter: Meter = COMMON) -> tuple[Bar, ...]:
    return parse_values(text, meter)


def bar(text: str, meter: Meter = COMMON) -> Bar:
    return parse_values(text, meter)[0]


@pytest.mark.parametrize(
    ("iois", "steps", "published"),
    [
        ((1, 3), 4, [1]),
        ((2, 1, 3, 2), 8, [2]),
        ((3, 1), 4, []),
        ((2, 1), 3, []),
        ((1, 2), 3, [0]),
        # The same measure, strength + 1, from Honing's program that goes with the paper:
        ((1, 2, 1, 1, 3), 8, [1, 1]),
        ((1, 4, 3), 8, [2, 1]),
        ((1, 2, 2, 2, 1), 8, [1, 2, 1]),
    ],
)
def test_syncopation_is_that_of_the_papers_worked_examples(
    iois: tuple[int, ...], steps: int, published: list[int]
) -> None:
    # Longuet-Higgins & Lee 1984, Music Perception 1(4):424-441, Fig. 9, as transcribed by Honing.
    onsets = [Fraction(place) for place in (0, *accumulate(iois))][:-1]
    assert strengths(onsets, steps) == published


def test_the_tree_of_sixteen_steps_is_the_papers() -> None:
    # Longuet-Higgins & Lee 1984: salience of sixteen places in 4/4.
    assert tree_weights(16) == (0, -4, -3, -4, -2, -4, -3, -4, -1, -4, -3, -4, -2, -4, -3, -4)


@pytest.mark.parametrize(
    ("name", "total"), [("shiko", 2), ("son", 4), ("rumba", 5), ("soukous", 6), ("gahu", 5), ("bossa", 6)]
)
def test_syncopation_of_the_six_timelines_sums_as_computed_from_the_papers_rule(name: str, total: int) -> None:
    # No published sum seen; computed by the rule of Longuet-Higgins & Lee 1984.
    assert sum(strengths(onsets_of(TIMELINES[name]), 16)) == total


@pytest.mark.parametrize(
    ("name", "published"),
    [("shiko", "6/5"), ("son", "14/5"), ("rumba", "18/5"), ("soukous", "18/5"), ("gahu", "18/5"), ("bossa", "4")],
)
def test_beat_distance_of_the_six_timelines_is_as_published(name: str, published: str) -> None:
    # Gómez, Melvin, Rappaport & Toussaint 2005, Mathematical Measures of Syncopation, BRIDGES, Fig. 8.
    assert beat_distance(onsets_of(TIMELINES[name]), Fraction(16), Fraction(4)) == Fraction(published)


@pytest.mark.parametrize(
    ("timeline", "published"), [("x.x.xx.x.x.x", "3"), ("x.x.xx.x.xx.", "3"), ("x.x.x.x.xx.x", "15/7")]
)
def test_beat_distance_of_twelve_step_timelines_is_as_published(timeline: str, published: str) -> None:
    # Gómez et al. 2005, Fig. 11: bembé, yoruba, soli.
    assert beat_distance(onsets_of(timeline), Fraction(12), Fraction(3)) == Fraction(published)


def test_no_notes_have_no_distance() -> None:
    assert beat_distance([], Fraction(4), Fraction(1)) == 0


@pytest.mark.parametrize(
    ("meter", "beats"),
    [
        (Meter(4, 4), (0, -2, -1, -2)),
        (Meter(3, 4), (0, -1, -1)),
        (Meter(5, 4), (0, -2, -2, -1, -2)),
        (Meter(6, 8), (0, -1)),
        (Meter(12, 8), (0, -2, -1, -2)),
    ],
)
def test_each_meter_has_its_own_strong_beats(meter: Meter, beats: tuple[int, ...]) -> None:
    assert tuple(weight(meter.pulse * number, meter) for number in range(meter.pulses)) == beats


def test_places_between_the_beats_are_weaker_the_finer_they_divide() -> None:
    fine = [weight(Fraction(place), COMMON) for place in ("1/2", "1/4", "1/3", "1/6", "1/8")]
    assert fine == [-3, -4, -3, -4, -5]
    assert [weight(Fraction(place), Meter(6, 8)) for place in ("1/2", "1", "1/4")] == [-2, -2, -3]


def test_strong_beats_inside_the_bar_follow_the_meter() -> None:
    assert [strong_beats(meter) for meter in (COMMON, Meter(3, 4), Meter(5, 4), Meter(6, 8), Meter(12, 8))] == [
        (2,),
        (1, 2),
        (3,),
        (Fraction(3, 2),),
        (3,),
    ]


@pytest.mark.parametrize(
    ("text", "held"),
    [
        ("4 2 4", [("1", "2")]),
        ("8r 4 [8 8] 8 8r 8", [("3/2", "2")]),
        ("4 4 4 [4 | 1]", [("3", "4")]),
        ("1", []),
        ("[1 | 1]", []),
        ("2 2", []),
        ("4 8 8r 4 4", []),
    ],
)
def test_only_a_note_from_a_weaker_place_is_held_over_a_strong_beat(text: str, held: list[tuple[str, str]]) -> None:
    from grooves.notes import line_notes

    spans = [(note.onset, note.onset + note.length) for note in line_notes(bars(text)) if note.bar == 0]
    assert held_over(spans, COMMON) == tuple((Fraction(note), Fraction(beat)) for note, beat in held)


def test_a_beat_is_divided_as_its_own_notes_need() -> None:
    onsets = [Fraction(place) for place in ("0", "1/2", "1", "4/3", "3")]
    assert [str(place) for place in places(onsets, COMMON)] == ["0", "1/2", "1", "4/3", "5/3", "2", "3"]


def test_the_parts_of_a_bar_of_upbeats_are_as_counted_by_hand() -> None:
    upbeats = [(Fraction(place), Fraction(place) + Fraction(1, 2)) for place in ("1/2", "3/2", "5/2", "7/2")]
    found = read(upbeats, Fraction(9, 2), COMMON)
    assert [(str(one.note), str(one.over), one.strength) for one in found.syncopations] == [
        ("1/2", "1", 1),
        ("3/2", "2", 2),
        ("5/2", "3", 1),
        ("7/2", "4", 3),
    ]
    assert (found.syncopation, found.distance, found.held, found.notes) == (7, 4, (), 4)


def test_points_are_the_stated_sum() -> None:
    notes = [(Fraction(1, 2), Fraction(1)), (Fraction(3, 2), Fraction(5, 2))]  # distance 4 and 2, syncopation 1 and 2
    found = read(notes, Fraction(4), COMMON)
    assert (found.syncopation, found.distance, len(found.held)) == (3, 3, 1)
    assert (found.helped, found.pace_changes) == (0, 2)  # from 1 to 3/2 of a beat, neither a multiple of the other
    assert found.points(2.0, 0.5) == pytest.approx(1.0 * 3 + 1.0 * 3 + 1.5 * 1 + 0.4 * 2 + 0.4 * 2.0 + 8.0 * 0.25)


@pytest.mark.parametrize(
    ("places", "changes"),
    [("0 1 2 3 4", 0), ("0 1 3/2 2 3", 2), ("0 1/3 2/3 1", 0), ("0 1/3 2/3 1 5/4 3/2", 2), ("0 3/2 2 3", 2), ("0", 0)],
)
def test_a_change_of_pace_counts_twice_where_neither_distance_holds_the_other(places: str, changes: int) -> None:
    assert pace_changes([Fraction(place) for place in places.split()]) == changes


@pytest.mark.parametrize(
    ("text", "rests"), [("4 4r 8r 8 4r", 2), ("4 4 4 4", 0), ("2r 2", 1), ("1r", 0), ("4r 4 4r 4", 2)]
)
def test_rests_side_by_side_are_one_silence(text: str, rests: int) -> None:
    assert rests_of(bar(text)) == rests


def test_effort_is_the_quickest_three_strokes_against_a_limbs_fastest() -> None:
    sixteenths = [Fraction(number, 4) for number in range(4)]
    assert effort(sixteenths, 120, 8.0) == 1.0  # eight a second
    assert effort(sixteenths, 120, 12.0) == pytest.approx(2 / 3)
    assert effort([Fraction(0), Fraction(1, 4)], 120, 8.0) == 0  # two alone are thrown as one


def test_syncopation_that_another_limb_carries_is_told_apart() -> None:
    notes = [(Fraction(1, 2), Fraction(1)), (Fraction(3, 2), Fraction(5, 2))]
    assert read(notes, Fraction(4), COMMON, [Fraction(3, 2)]).helped == 2
    assert read([(Fraction(1), Fraction(2))], Fraction(4), COMMON).helped == 1  # a felt beat is always carried


def test_a_bar_is_harder_before_a_silent_downbeat() -> None:
    played, silent, own = bar("4 4 4 4"), bar("4r 4 4 4"), bar("4 4 8 8 8 8")
    # The last & now waits three levels for 2, exactly the second beat, so its distance stays that of 1.
    # And the pace changes once more, from an eighth to three of them.
    assert reading_points(own, COMMON, silent) - reading_points(own, COMMON, played) == pytest.approx(3 + 0.4)


def test_a_tie_into_the_next_bar_counts_where_it_begins() -> None:
    own, following = bars("4 4 4 [4 | 4] 4 4 4")
    assert reading_points(own, COMMON, following) - reading_points(own, COMMON, bar("4r 4 4 4")) == 1.5


def test_the_meter_decides_what_is_strong() -> None:
    in_six, in_three = bar("4. 4.", Meter(6, 8)), bar("4. 4.", Meter(3, 4))
    assert reading_points(in_six, Meter(6, 8), in_six) < reading_points(in_three, Meter(3, 4), in_three)
