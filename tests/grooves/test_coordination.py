"""Who sounds together in a bar, and how hard it is."""

from dataclasses import replace
from fractions import Fraction

import pytest
from music import lesson_of

from grooves.groove import Groove, parse_groove, swings
from grooves.line import PlayedOn
from grooves.rhythm import Meter, parse_values
from grooves.score import Score, write_score
from grooves.teaching.coordination import difficulty, grid, hardest_first, spoken, who_sounds

SWING = """
name = "swing"
title = "Swing"
meter = "4/4"
swing = "by tempo"
tempo = [60, 300]
[ride]
counts = "1 2 & 3 4 &"
[hi-hat]
counts = "1r 2 3r 4"
["bass drum"]
counts = "1 2 3 4"
"""
SNARE = PlayedOn("snare", "snare")


def groove(meter: str = "4/4", swing: str = '"by tempo"', ride: str = "1 2 & 3 4 &") -> Groove:
    text = SWING.replace('"4/4"', f'"{meter}"').replace('"by tempo"', swing).replace("1 2 & 3 4 &", ride)
    if meter != "4/4":
        text = text[: text.index("[hi-hat]")]
    return parse_groove(text)


def score(
    values: str, kept: Groove | None = None, played_on: PlayedOn = SNARE, tempo_bpm: float = 120, **more: int
) -> Score:
    kept = kept or groove()
    line = parse_values(values, kept.meter)
    return write_score("Harbour Street", kept, tempo_bpm, line, [played_on], **more)


def told(found: Score, bar_index: int = 0) -> list[tuple[str, str]]:
    return [(place.count, place.words) for place in who_sounds(found, bar_index)]


def counts(found: Score, bar_index: int | None = None) -> list[str]:
    return [place.says for place in grid(found, bar_index)]


# --- who sounds ---------------------------------------------------------------------------------


def test_each_place_of_a_swing_bar_names_its_players_as_a_teacher_does() -> None:
    assert told(score("8r 8 4 8 8 4r")) == [
        ("1", "right hand and right foot together"),
        ("1&", "snare alone"),
        ("2", "all four limbs"),
        ("2&", "ride alone"),
        ("3", "both hands and right foot together"),
        ("3&", "snare alone"),
        ("4", "right hand and both feet together"),
        ("4&", "ride alone"),
    ]


def test_hands_and_feet_without_the_others_are_pairs() -> None:
    assert told(score("4r 8r 8 2r"))[2] == ("2&", "both hands")
    feet = groove(ride="1r 2 & 3 4 &")
    assert told(score("1r", feet, PlayedOn("bass drum", "bass drum")))[0] == ("2", "right hand and left foot together")
    no_ride = parse_groove(SWING.replace("1 2 & 3 4 &", "1r 2r 3r 4r"))
    assert told(score("1r", no_ride)) == [
        ("1", "bass drum alone"),
        ("2", "both feet"),
        ("3", "bass drum alone"),
        ("4", "both feet"),
    ]


def test_limbs_and_parts_come_in_the_order_of_kit_and_staff() -> None:
    on_two = who_sounds(score("4r 4 2r"), 0)[1]
    assert on_two.limbs == ("right hand", "left hand", "right foot", "left foot")
    assert on_two.parts == ("ride", "snare", "bass drum", "hi-hat")


def test_a_written_upbeat_and_the_skip_note_are_one_place_where_the_groove_swings() -> None:
    both = who_sounds(score("4 8 8 2"), 0)[2]
    assert (both.onset, both.count, both.says, both.words) == (Fraction(5, 3), "2&", "let", "both hands")


def test_a_written_triplet_meets_the_skip_note_and_is_counted_as_on_the_grid() -> None:
    assert told(score("4 12r 12 12 2r"))[3:5] == [("2let", "both hands"), ("3", "right hand and right foot together")]


def test_an_upbeat_among_sixteenths_stays_straight() -> None:
    assert told(score("4 16 16 16 16 2r"))[1:5] == [
        ("2", "all four limbs"),
        ("2e", "snare alone"),
        ("2&", "both hands"),
        ("2a", "snare alone"),
    ]


def test_in_a_straight_groove_upbeats_and_triplets_are_apart() -> None:
    straight = groove(swing='"straight"')
    assert told(score("4 12r 12 12 2r", straight))[2:5] == [
        ("2trip", "snare alone"),
        ("2&", "ride alone"),
        ("2let", "snare alone"),
    ]


def test_the_lesson_may_overrule_whether_the_groove_swings() -> None:
    def lesson(values: str, feel: str = "") -> Score:
        return lesson_of(values, feel=feel).score

    swung, straight = lesson("4 8 8 2"), lesson("4 8 8 2", 'swing = "straight"')
    assert [str(place.onset) for place in who_sounds(swung, 0)][2] == "5/3"
    assert [str(place.onset) for place in who_sounds(straight, 0)][2] == "3/2"
    assert len(grid(swung, 0)) == 12
    assert len(grid(straight, 0)) == 8
    # On a triplet & and a let are one place only if the & swings: one change of together and alone more.
    triplet = "4 12r 12r 12 2r"
    changes = [difficulty(lesson(triplet, feel), 0).value("changes") for feel in ("", 'swing = "straight"')]
    assert changes[0] != changes[1]


@pytest.mark.parametrize(("swing", "meter", "answer"), [("2.0", "4/4", True), ("1.0", "4/4", False)])
def test_a_ratio_of_one_does_not_swing(swing: str, meter: str, answer: bool) -> None:
    assert swings(groove(meter, swing)) is answer


# --- the grid -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("values", "swing", "said"),
    [
        ("4 4 4 4", '"by tempo"', "1 trip let 2 trip let 3 trip let 4 trip let"),
        ("4 4 4 4", '"straight"', "1 & 2 & 3 & 4 &"),
        ("4 16 8 16 4 4", '"by tempo"', "1 trip let 2 e & a 3 trip let 4 trip let"),
        ("4 16 8 16 4 4", '"straight"', "1 & 2 e & a 3 & 4 &"),
        ("12 12 12 4 4 4", '"straight"', "1 trip & let 2 & 3 & 4 &"),
    ],
)
def test_a_beat_of_the_grid_has_the_places_its_notes_need(values: str, swing: str, said: str) -> None:
    assert " ".join(counts(score(values, groove(swing=swing)), 0)) == said


def test_the_grid_of_a_bar_shows_who_sounds_and_where_nobody_does() -> None:
    first = grid(score("4 4 4 4"), 0)[:3]
    assert [(place.count, place.words) for place in first] == [
        ("1", "both hands and right foot together"),
        ("1trip", ""),
        ("1let", ""),
    ]


def test_the_grid_of_a_score_holds_all_its_bars_and_nobody() -> None:
    columns = grid(score("4 4 4 4 | 4 4 16 16 16 16 4"))
    assert " ".join(place.says for place in columns) == "1 trip let 2 trip let 3 e trip & let a 4 trip let"
    assert not any(place.limbs for place in columns)


@pytest.mark.parametrize(
    ("meter", "ride", "values", "said"),
    [
        ("3/4", "1 2 & 3", "2.", "1 & 2 & 3 &"),
        ("5/4", "1 2 3 4 5", "1 4", "1 & 2 & 3 & 4 & 5 &"),
        ("6/8", "1 4", "4. 8 16 16 8", "1 2 3 4 5 & 6"),
        ("12/8", "1 4 7 10", "1.", "1 2 3 4 5 6 7 8 9 10 11 12"),
    ],
)
def test_every_meter_has_its_grid(meter: str, ride: str, values: str, said: str) -> None:
    assert " ".join(counts(score(values, groove(meter, '"straight"', ride)), 0)) == said


# --- difficulty ---------------------------------------------------------------------------------


def test_every_part_of_a_bars_difficulty_is_shown_and_adds_up() -> None:
    # By hand: 1& waits for 2 (1 level), 2& for 3 (2), 4& for the silent 1 (3). Distances 4, 4, 0 (on 4) and 2.
    found = difficulty(score("8r 4 [8 8] 8r 8r 8 | 1r"), 0)
    assert {one.name: one.value for one in found.ingredients} == {
        "syncopation": 1 + 2 + 3,
        "help": 2 + 3,  # the ride's skip notes fall on 2& and 4&
        "beat distance": pytest.approx((4 + 2 + 2) / 3),
        "ties": 1,
        "pace changes": 3,  # 1, 2 and 17/2 quarters apart, the last held against no whole number of the other
        "rests": 2,
        "changes": 2,
        "limbs": 4,
        "notes per second": 1.5,
        "effort squared": pytest.approx((2 / 3 * 2 / 12) ** 2),  # 1&, 2&, 4&: two a second and a half
    }
    parts = 6 - 0.75 * 5 + 8 / 3 + 1.5 * 1 + 0.4 * 3 + 0.6 * 2 + 0.25 * 2 + 0.25 * 4 + 0.4 * 1.5 + 8 * (4 / 36) ** 2
    assert found.total == pytest.approx(parts)


@pytest.mark.parametrize(
    ("name", "easy", "hard", "values"),
    [
        ("syncopation", "4 8 8 4 4", "4 8 4. 4", (0, 2)),  # 3 is no longer struck
        ("beat distance", "4 4 4 4", "8 8 8 8 8 8 8 8", (0, 1)),
        ("ties", "4 8 8 4 4", "4 8 [8 4] 4", (0, 1)),  # the same strokes less one, held over 3
        ("changes", "4 4 4 4", "12 12 12 4 4 4", (1, 3)),  # the ride is alone on 4& in both
        ("notes per second", "2 2", "4 4 4 4", (1, 2)),
    ],
)
def test_each_part_of_the_difficulty_follows_its_cause(
    name: str, easy: str, hard: str, values: tuple[float, float]
) -> None:
    sparse = groove(ride="1 2 3 4 &")
    assert tuple(difficulty(score(text, sparse), 0).value(name) for text in (easy, hard)) == values


def test_a_limb_more_in_play_is_a_limb_more_to_coordinate() -> None:
    on_the_snare, on_the_bass_drum = score("4 4 4 4"), score("4 4 4 4", played_on=PlayedOn("bass drum", "bass drum"))
    assert [difficulty(one, 0).value("limbs") for one in (on_the_snare, on_the_bass_drum)] == [4, 3]


def test_a_shipped_swing_lesson_has_the_written_upbeat_on_the_skip_note() -> None:
    told_of = [(one.onset, one.count, one.words) for one in who_sounds(lesson_of("4 8 8 4 8 8").score, 0)]
    assert told_of[2] == (Fraction(5, 3), "2&", "both hands")
    assert told_of[-1] == (Fraction(11, 3), "4&", "both hands")


def test_a_faster_tempo_makes_every_note_cost_more() -> None:
    slow, fast = (difficulty(score("8 8 8 8 2", tempo_bpm=tempo), 0) for tempo in (60, 240))
    assert (slow.value("notes per second"), fast.value("notes per second")) == (1.25, 5.0)
    # Eighths are 2 and 8 a second, of the 12 that a hand can do.
    assert fast.total - slow.total == pytest.approx(0.4 * 3.75 + 8 * ((8 / 12) ** 2 - (2 / 12) ** 2))


def test_the_tempo_counts_the_grooves_own_beat() -> None:
    dotted = replace(groove("6/8", '"straight"', "1 4"), beat=Fraction(3, 2))
    assert difficulty(score("8 8 8 8 8 8", dotted, tempo_bpm=60), 0).value("notes per second") == 3.0
    eighths = replace(dotted, beat=Fraction(1, 2))
    assert difficulty(score("8 8 8 8 8 8", eighths, tempo_bpm=60), 0).value("notes per second") == 1.0


def test_filled_gaps_are_played_by_the_reader_too() -> None:
    plain, filled = PlayedOn("bass drum", "bass drum"), PlayedOn("bass drum", "bass drum", gaps="snare")
    per_second = [difficulty(score("4 4 4 4", played_on=way), 0).value("notes per second") for way in (plain, filled)]
    assert per_second == [2.0, 6.0]


def test_the_next_bar_decides_whether_the_last_upbeat_is_early() -> None:
    early = difficulty(score("2 4 8r 8 | 4r 2."), 0).value("syncopation")
    on_time = difficulty(score("2 4 8r 8 | 4 2."), 0).value("syncopation")
    assert (early, on_time) == (3, 0)


def test_after_the_last_bar_comes_the_first() -> None:
    assert difficulty(score("1 | 2 4 8r 8"), 1).value("syncopation") == 0
    assert difficulty(score("4r 2. | 2 4 8r 8"), 1).value("syncopation") == 3


def test_ties_over_the_barline_count_in_the_bar_where_they_begin() -> None:
    found = score("2 4. [8 | 4] 4 2")
    assert [difficulty(found, index).value("ties") for index in (0, 1)] == [1, 0]


def test_an_early_bar_is_explained_by_its_early_note() -> None:
    assert (
        difficulty(score("4 8 4. 4"), 0).why == "The note on the & of 2 comes early: 3 is stronger and is not struck."
    )


def test_a_note_on_a_beat_before_a_rest_on_a_stronger_one_is_not_called_early() -> None:
    assert difficulty(score("4 4 4r 4 | 1r"), 0).why == "After the note on 4 comes the next 1, stronger and not struck."


@pytest.mark.parametrize(
    ("values", "tempo_bpm", "why"),
    [
        ("4 4 4 4", 60, "All four limbs play, and all of them meet on 2 and 4."),
        ("1r", 120, "The line rests here; only the time goes on."),
        ("4 4 4. 8", 60, "The notes do not come evenly: their pace changes 3 times."),
        ("8 8 8 8 8 8 8 8", 240, "The notes come fast: 8.0 a second, closest from 1 to the & of 1."),
        (
            "12 12 12 12 12 12 2",
            60,
            "4 of the 7 notes fall between the beats, on the trip of 1, the let of 1, the trip of 2 and the let of 2.",
        ),
        (
            "2 4 8r 8 | 1r",
            60,
            "The note on the & of 4 comes early: the next 1 is stronger and is not struck.",
        ),
        (
            "4. [8 4] 4 | 4r 2.",
            60,
            "The notes on the & of 2 and 4 come early: 3 and the next 1 are stronger and are not struck.",
        ),
    ],
)
def test_one_sentence_says_why_and_names_the_beats(values: str, tempo_bpm: float, why: str) -> None:
    assert difficulty(score(values, tempo_bpm=tempo_bpm), 0).why == why


def test_a_long_held_note_and_many_changes_can_be_the_reason() -> None:
    held = difficulty(score("2 [2 | 2] 2", tempo_bpm=60), 0)
    assert held.why == "The line holds the note on 3 over the next 1, where the beat wants a stroke."
    changing = difficulty(score("12 12 12 4 12 12 12 4", tempo_bpm=40), 0)
    assert changing.why == "Strokes together and strokes alone change 7 times, first between 1 and the trip of 1."


@pytest.mark.parametrize(
    ("onset", "meter", "said"),
    [
        ("3/2", Meter(4, 4), "the & of 2"),
        ("2", Meter(4, 4), "3"),
        ("8/3", Meter(4, 4), "the let of 3"),
        ("4", Meter(4, 4), "the next 1"),
        ("5/4", Meter(6, 8), "the & of 3"),
    ],
)
def test_places_are_spoken_inside_a_sentence(onset: str, meter: Meter, said: str) -> None:
    assert spoken(Fraction(onset), meter) == said


def test_bars_come_hardest_first() -> None:
    found = score("4 4 4 4 | 8r 4 4 [8 8] 8 | 4 8 8 4 4 | 1r")
    assert [one.number for one in hardest_first(found)] == [2, 3, 1, 4]


def test_a_bar_that_is_played_again_is_told_once_at_its_hardest() -> None:
    # The second time round the upbeat of bar 1 leads into the silent downbeat of bar 2.
    found = score("4r 4 4 8r 8 | 4 4 4 4", repeat_each=2)
    ranked = hardest_first(found)
    assert [(one.number, one.bar_index) for one in ranked] == [(1, 0), (2, 3)]


def test_straight_and_swung_lessons_are_ranked_by_their_own_places() -> None:
    line = "4 12r 12r 12 2r | 4 4 4 4"
    scores = [lesson_of(line, feel=feel).score for feel in ("", 'swing = "straight"')]
    totals = [[one.total for one in hardest_first(found)] for found in scores]
    assert totals[0] != totals[1]
