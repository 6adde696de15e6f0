"""Pads and their parts: General MIDI's percussion map, pads that answer twice, pads that answer each other.

Source of the keys: General MIDI level 1 percussion map (MIDI Manufacturers Association); pretty_midi has it too.
"""

import numpy as np
import pretty_midi
import pytest
from takes_made import Student, played, sheet

from grooves.errors import LessonError
from grooves.takes.check import check_take
from grooves.takes.pads import NEIGHBOURS, Struck, key_name, marks, played_take, told_pads, usual_pads, velocity_db

PARTS = ("ride", "snare", "bass drum", "hi-hat")
USUAL = {"ride": 51, "snare": 38, "bass drum": 36, "hi-hat": 44}


def struck(made, keys, velocity=90):
    return [Struck(one.onset_seconds, keys[one.part], velocity) for one in made.take.strokes]


@pytest.mark.parametrize(
    ("part", "names"),
    [
        ("ride", {"Ride Cymbal 1", "Ride Cymbal 2", "Ride Bell"}),
        ("snare", {"Acoustic Snare", "Electric Snare", "Side Stick"}),
        ("bass drum", {"Bass Drum 1", "Acoustic Bass Drum"}),
        ("hi-hat", {"Pedal Hi Hat"}),
    ],
)
def test_the_keys_of_a_part_are_those_of_general_midi(part, names):
    assert {pretty_midi.note_number_to_drum_name(key) for key in NEIGHBOURS[part]} == names


def test_a_part_keeps_its_own_key_where_another_has_it_as_a_neighbour():
    assert usual_pads(("snare", "cross-stick"))[37] == "cross-stick"
    assert usual_pads(("snare",))[37] == "snare"
    assert usual_pads(("ride", "ride bell"))[53] == "ride bell"


def test_a_velocity_in_decibels_follows_the_table_of_dls():
    # DLS level 1: 40·log10(v/127); the values as computed in section 4 of the SoundFont comparison: -8.03 at 80
    assert velocity_db(80) == pytest.approx(-8.03, abs=0.005) and velocity_db(127) == 0.0


def test_a_soft_second_answer_of_a_pad_is_a_double_and_a_loud_one_is_not():
    row = [Struck(1.0, 38, 100), Struck(1.02, 38, 60), Struck(2.0, 38, 100), Struck(2.02, 38, 90), Struck(2.1, 38, 30)]
    assert marks(row) == ["", "double", "", "", ""]


def test_a_soft_answer_of_another_pad_at_once_is_crosstalk_before_or_after():
    row = [
        Struck(0.998, 51, 20),
        Struck(1.0, 38, 100),
        Struck(1.004, 36, 30),
        Struck(1.005, 44, 40),
        Struck(1.1, 51, 9),
    ]
    assert marks(row) == ["crosstalk", "", "crosstalk", "", ""]


def test_marks_cost_little_and_are_never_deleted():
    written = sheet(choruses=4)
    made = played(written, Student(1))
    row = struck(made, USUAL)
    row += [Struck(one.onset_seconds + 0.02, one.key, 40) for one in row if one.key == 38]
    row += [Struck(one.onset_seconds + 0.003, 51, 20) for one in row if one.key == 36]
    take, _ = played_take(row, written)
    assert len(take.strokes) == len(row) and sum(one.mark == "double" for one in take.strokes) > 40
    found = check_take(take, written).findings
    assert sum(one.extra for one in found.limbs) == 0 and sum(one.missed for one in found.limbs) <= 2


@pytest.mark.parametrize("key", [22, 43, 60])
def test_a_strange_pad_is_guessed_from_where_it_falls_and_said(key):
    written = sheet(choruses=4)
    made = played(written, Student(2, missing=0.05, extra=0.05))
    take, pads = played_take(struck(made, {**USUAL, "bass drum": key}), written)
    assert pads.guessed == {key: "bass drum"} and pads.parts[key] == "bass drum"
    assert {one.part for one in take.strokes} == set(PARTS)


def test_all_pads_may_be_strange():
    written = sheet(choruses=4)
    made = played(written, Student(3))
    _, pads = played_take(struck(made, {"ride": 10, "snare": 11, "bass drum": 12, "hi-hat": 13}), written)
    assert pads.guessed == {10: "ride", 11: "snare", 12: "bass drum", 13: "hi-hat"}


def test_a_pad_that_agrees_with_nothing_is_asked_for():
    written = sheet(choruses=4)
    made = played(written, Student(4, silent=("hi-hat",)))
    draw = np.random.default_rng(4)
    noise = [Struck(float(moment), 22, 80) for moment in draw.uniform(0, written.end_seconds, 60)]
    take, pads = played_take([*struck(made, USUAL), *noise], written)
    assert pads.unknown == (22,) and not pads.guessed
    assert "" in {one.part for one in take.strokes}


def test_a_pad_with_a_close_second_guess_is_asked_for():
    written = sheet("4 4 4 4", choruses=6)  # the line on all four beats, as the bass drum
    made = played(written, Student(5, silent=("bass drum",)))
    _, pads = played_take(struck(made, {**USUAL, "snare": 22}), written)
    assert pads.unknown == (22,) and not pads.guessed


def test_pads_that_were_told_are_believed():
    written = sheet("4 4 4 4", choruses=6)
    hello = [Struck(2.0 * place, key, 90) for place, key in enumerate((51, 22, 36, 26))]
    told = told_pads(hello, written.parts)
    assert told == {51: "ride", 22: "snare", 36: "bass drum", 26: "hi-hat"}
    made = played(written, Student(6))
    take, pads = played_take(struck(made, {"ride": 51, "snare": 22, "bass drum": 36, "hi-hat": 26}), written, told)
    assert not pads.guessed and not pads.unknown and {one.part for one in take.strokes} == set(PARTS)


def test_crosstalk_while_pads_are_told_is_no_pad():
    row = [Struck(0.0, 51, 90), Struck(2.0, 38, 90), Struck(2.003, 51, 20), Struck(4.0, 36, 90), Struck(4.002, 60, 12)]
    assert told_pads(row, ("ride", "snare", "bass drum")) == {51: "ride", 38: "snare", 36: "bass drum"}


def test_too_few_pads_are_said_with_the_order():
    message = "1 pads? (is|are) struck here, and the lesson has 2 parts; strike each once in this order: ride, snare"
    with pytest.raises(LessonError, match=message):
        told_pads([Struck(0.0, 51, 90)], ("ride", "snare"))


def test_a_pad_is_said_with_its_usual_name():
    assert (key_name(38), key_name(22)) == ("key 38 (snare)", "key 22")


def test_many_notes_at_one_moment_take_no_square_of_time():
    row = [Struck(1.0, key % 128, 1 + key % 127) for key in range(20_000)]
    assert len(marks(row)) == 20_000


def test_a_foot_that_feathers_under_a_loud_hand_is_no_crosstalk():
    written = sheet(choruses=4)
    made = played(written, Student(8, spread_ms=2.0))
    take, _ = played_take(
        [
            Struck(one.onset_seconds, USUAL[one.part], 19 if one.part == "bass drum" else 90)
            for one in made.take.strokes
        ],
        written,
    )
    assert sum(one.mark == "crosstalk" for one in take.strokes) > 50
    foot = next(one for one in check_take(take, written).findings.limbs if one.part == "bass drum")
    assert foot.heard and foot.missed <= 1


def test_a_pad_that_only_answers_its_neighbour_is_not_heard():
    written = sheet(choruses=4)
    made = played(written, Student(9, silent=("ride",)))
    row = struck(made, USUAL)
    row += [Struck(one.onset_seconds + 0.003, 51, 20) for one in row if one.key == 38]
    ride = next(one for one in check_take(played_take(row, written)[0], written).findings.limbs if one.part == "ride")
    assert not ride.heard
