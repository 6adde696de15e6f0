from fractions import Fraction
from itertools import pairwise

import pytest
from band_bars import bars_of, every_form, place_of, with_line

from grooves.band.bars import Changes, spans
from grooves.band.forms import find_form
from grooves.band.melody import melody
from grooves.meter import Meter
from grooves.players import LineOnset

LINE = "4 8 8 4 4 | 8 4 4 4 8 | 4 4 4 8r [8 | 2] 2r"


@pytest.fixture(scope="module")
def sung():
    found = []
    for seed, form in enumerate(every_form()):
        bars = with_line(bars_of(form, 32), LINE)
        found.append((bars, melody(bars, seed)))
    return found


def test_there_is_one_note_for_each_of_the_line_with_its_length(sung):
    for bars, notes in sung[::9]:
        written = [(number, one.onset, one.length) for number, bar in enumerate(bars) for one in bar.line]
        assert [(note.bar, note.onset, note.length) for note in notes] == written


def test_it_stays_within_a_tenth(sung):
    for _, notes in sung:
        keys = [note.key for note in notes]
        assert max(keys) - min(keys) <= 16  # a major tenth in semitones


def test_most_of_it_moves_by_steps_and_no_leap_is_wider_than_an_octave(sung):
    moves = [abs(after.key - before.key) for _, notes in sung for before, after in pairwise(notes)]
    assert max(moves) <= 12
    assert sum(move <= 2 for move in moves) / len(moves) > 0.6
    assert sum(move > 5 for move in moves) / len(moves) < 0.06


def test_long_notes_are_tones_of_their_chord_mostly_guide_tones(sung):
    guides = total = 0
    for bars, notes in sung:
        changes = Changes(spans(bars))
        for note in notes:
            if note.length >= 1 and note.onset % 1 == 0:
                chord = changes.at(place_of(note, bars)).chord
                assert note.key % 12 in chord.scale | set(chord.core)
                total += 1
                guides += note.key % 12 in {(chord.root + chord.third) % 12, (chord.root + chord.seventh) % 12}
    assert guides / total > 0.5


def test_a_note_held_over_the_barline_belongs_to_the_chord_it_is_held_into(sung):
    for bars, notes in sung:
        changes = Changes(spans(bars))
        for note in notes:
            if note.length > 1 and note.onset == Fraction(7, 2):
                chord = changes.at(place_of(note, bars) + Fraction(1, 2)).chord
                assert note.key % 12 in chord.scale


def test_it_is_another_melody_in_the_next_chorus_and_with_another_seed():
    bars = with_line(bars_of(find_form("blues"), 24), LINE)
    keys = [note.key for note in melody(bars, 1)]
    assert keys[: len(keys) // 2] != keys[len(keys) // 2 :]
    assert keys != [note.key for note in melody(bars, 2)]
    assert keys == [note.key for note in melody(bars, 1)]


def test_the_phrasing_of_the_line_is_kept():
    bars = [bar.__class__(bar.chords, bar.meter, bar.place, 140.0, (LineOnset(Fraction(1), Fraction(1), 3.0),)) for bar in bars_of(find_form("blues"), 4)]  # fmt: skip
    assert {note.accent_lu for note in melody(bars, 1)} == {3.0}


def test_a_bar_of_rest_has_no_note_and_a_line_of_rests_no_melody():
    bars = with_line(bars_of(find_form("blues"), 12), "1r")
    assert melody(bars, 1) == []


def test_it_sings_in_twelve_eight():
    meter = Meter(12, 8)
    bars = with_line(bars_of(find_form("blues", meter), 12, meter), "4 8 4. 4. 4 8")
    assert len(melody(bars, 1)) == 72
