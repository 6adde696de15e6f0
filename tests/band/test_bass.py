"""The bass line against published counts of transcribed ones.

X. Riley & S. Dixon, FiloBass, ISMIR 2023, arXiv 2311.02023, over 48 transcriptions; the figures as two other texts
quote and recount them.
"""

from collections import Counter
from dataclasses import replace
from fractions import Fraction
from itertools import pairwise
from pathlib import Path

import pytest
from band_bars import COMMON, bars_of, every_form, place_of

from grooves.band.bars import Changes, spans
from grooves.band.bass import HIGHEST, LOWEST
from grooves.band.chords import parse_chord
from grooves.band.forms import find_form, parse_chords
from grooves.band.patterns import STYLES, play_bass
from grooves.band.styles import style_for
from grooves.band.walking import walk
from grooves.meter import Meter
from render.lesson.groove_files import find_groove

BARS = 10_000


def shipped(name):
    return find_groove(name, Path())


@pytest.fixture(scope="module")
def walked():
    """Ten thousand bars and more of all forms in all keys, each with its line."""
    forms = every_form()
    each = -(-BARS // len(forms))
    lines = []
    for seed, form in enumerate(forms):
        bars = bars_of(form, -(-each // len(form.bars)) * len(form.bars))
        lines.append((bars, walk(bars, seed)))
    assert sum(len(bars) for bars, _ in lines) >= BARS
    return lines


def beginnings(walked):
    """Each chord's first note with the note before it."""
    for bars, notes in walked:
        changes = Changes(spans(bars))
        for before, note in pairwise(notes):
            span = changes.at(place_of(note, bars))
            if span.start == place_of(note, bars):
                yield before, note, span.chord


def test_the_root_stands_where_a_chord_begins_as_often_as_published(walked):  # 68 % +- 6
    roots = [note.key % 12 == chord.bass for _, note, chord in beginnings(walked)]
    assert 62 <= 100 * sum(roots) / len(roots) <= 74


@pytest.mark.parametrize("above, share", [(1, 26.8), (-1, 21.0), (-2, 11.9)])
def test_the_note_before_a_chord_leads_into_it_as_often_as_published(walked, above, share):  # +- 5 points
    leads = Counter(before.key - note.key for before, note, _ in beginnings(walked))
    assert abs(100 * leads[above] / leads.total() - share) <= 5


def test_as_many_bars_as_published_are_four_plain_quarters(walked):  # 63 %; +- 3 is ours
    plain = total = 0
    for bars, notes in walked:
        lengths = {number: [] for number in range(len(bars))}
        for note in notes:
            lengths[note.bar].append(note.length)
        plain += sum(own == [1, 1, 1, 1] for own in lengths.values())
        total += len(bars)
    assert abs(100 * plain / total - 63) <= 3


def test_the_other_bars_have_a_skipped_eighth_a_triplet_or_a_half_note(walked):
    kinds = Counter()
    for bars, notes in walked[::7]:
        for number in range(len(bars)):
            kinds[tuple(sorted({note.length for note in notes if note.bar == number}))] += 1
    half, third = Fraction(1, 2), Fraction(1, 3)
    assert set(kinds) == {(Fraction(1),), (half, Fraction(1)), (third, Fraction(1)), (Fraction(1), Fraction(2))}


def test_a_chord_tone_stands_on_one_and_three(walked):
    for bars, notes in walked:
        changes = Changes(spans(bars))
        for note in notes:
            if note.onset % 2 == 0:
                assert note.key % 12 in changes.at(place_of(note, bars)).chord.core


def test_every_note_lies_between_the_open_string_and_the_body(walked):
    keys = {note.key for _, notes in walked for note in notes}
    assert (LOWEST, HIGHEST) == (28, 55)  # E1 to G3
    assert min(keys) >= LOWEST and max(keys) <= HIGHEST
    assert max(keys) - min(keys) > 20  # and it goes about in between


def test_after_a_leap_comes_a_small_move_or_a_turn_and_a_note_seldom_comes_twice(walked):
    leaps = answered = repeats = steps = 0
    for _, notes in walked:
        keys = [note.key for note in notes if note.onset.denominator == 1]
        moves = [after - before for before, after in pairwise(keys)]
        assert max(map(abs, moves)) <= 12
        repeats += moves.count(0)
        steps += sum(1 <= abs(move) <= 2 for move in moves)
        for move, after in pairwise(moves):
            if abs(move) >= 5:
                leaps += 1
                answered += abs(after) <= 2 or move * after < 0
    moves_in_all = sum(len(notes) for _, notes in walked)
    assert answered / leaps > 0.85
    assert repeats / moves_in_all < 0.03
    assert steps / moves_in_all > 0.5


def test_the_notes_of_a_line_follow_each_other_without_a_gap(walked):
    for bars, notes in walked[::5]:
        for before, note in pairwise(notes):
            assert place_of(before, bars) + before.length == place_of(note, bars)


def test_forty_choruses_are_forty_lines(walked):
    bars = bars_of(find_form("blues"), 12 * 40)
    notes = walk(bars, 1)
    choruses = [tuple(n.key for n in notes if n.bar // 12 == turn) for turn in range(40)]
    assert len(set(choruses)) == 40


def test_another_seed_plays_another_line_and_the_same_seed_the_same():
    bars = bars_of(find_form("blues"), 12)
    assert walk(bars, 1) == walk(bars, 1)
    assert walk(bars, 1) != walk(bars, 2)


def test_a_longer_track_begins_as_the_shorter_one():
    bars = bars_of(find_form("thirty-two"), 64)
    short = walk(bars[:32], 3)
    assert walk(bars, 3)[: len(short) - 6] == short[:-6]  # only the last bar does not know where it leads


def test_one_bar_over_and_over_is_walked_each_time_anew():
    bar = bars_of(find_form("blues"), 12)[3]
    bars = [bar.__class__(bar.chords, COMMON, Fraction(4 * n), 140.0, fresh=True) for n in range(16)]
    notes = walk(bars, 1)
    assert len({tuple(n.key for n in notes if n.bar == number) for number in range(16)}) > 8


def test_at_fast_tempos_no_triplets_are_played():
    form = find_form("blues")
    slow, fast = (walk(bars_of(form, 240, quarters_per_minute=pace), 1) for pace in (120.0, 260.0))
    assert any(note.length == Fraction(1, 3) for note in slow)
    assert not any(note.length == Fraction(1, 3) for note in fast)


def test_a_slash_chord_puts_its_lowest_note_in_the_bass():
    form = find_form("blues").__class__("x", "x", "", parse_chords("C7/E | F7 | C7/G | F7", COMMON))
    bars = bars_of(form, 400)
    notes = [note for note in walk(bars, 1) if note.onset == 0 and note.bar % 2 == 0]
    low = sum(note.key % 12 == parse_chord("C7/E" if note.bar % 4 == 0 else "C7/G").bass for note in notes)
    assert low / len(notes) > 0.6


# --- other grooves --------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "groove, style",
    [
        ("swing", "walking"), ("fast-swing", "walking"), ("shuffle", "walking"), ("jazz-waltz", "walking"),
        ("five-four-swing", "walking"), ("twelve-eight", "walking"), ("six-eight", "walking"),
        ("two-feel", "two-feel"), ("bossa-nova", "dotted"), ("jazz-samba", "dotted"), ("second-line", "street"),
        ("straight-eighths", "straight"),
    ],
)  # fmt: skip
def test_each_groove_has_the_bass_that_goes_with_it(groove, style):  # common practice, no source
    assert style_for(shipped(groove), "by the groove") == style
    assert style_for(shipped(groove), "walking") == "walking"


def test_a_groove_has_its_bass_at_any_swing():
    assert style_for(replace(shipped("swing"), swing="straight"), "by the groove") == "walking"
    assert style_for(replace(shipped("bossa-nova"), swing=2.0), "by the groove") == "dotted"


def onsets(notes, bars):
    return [[note.onset for note in notes if note.bar == number] for number in range(len(bars))]


def test_a_bass_in_two_plays_root_and_fifth_in_halves():
    bars = bars_of(find_form("two-chords"), 96)
    notes = play_bass(bars, "two-feel", 1)
    assert all(own[0] == 0 and 2 in own and len(own) <= 3 for own in onsets(notes, bars))
    for note in notes:
        if note.onset == 0 and note.bar % 2 == 0:
            assert note.key % 12 == bars[note.bar].chords[0].chord.root
        if note.onset == 2:
            assert note.key % 12 in bars[note.bar].chords[0].chord.core
    fifths = [note.key % 12 in (9, 2) for note in notes if note.onset == 2]
    assert sum(fifths) / len(fifths) > 0.9


def test_the_dotted_bass_goes_with_the_bass_drum_of_the_bossa_nova():
    pattern = shipped("bossa-nova").part("bass drum")
    bars = bars_of(find_form("blues"), 48)
    for number, own in enumerate(onsets(play_bass(bars, "dotted", 1), bars)):
        assert own == [stroke.onset for stroke in pattern.bars[0]], number


def test_the_bass_of_the_street_beat_and_of_straight_eighths_begin_with_a_dotted_quarter():
    bars = bars_of(find_form("one-chord"), 48)
    for style in ("street", "straight"):
        assert all(own[:2] == [0, Fraction(3, 2)] for own in onsets(play_bass(bars, style, 1), bars))


def test_a_chord_that_begins_between_the_notes_of_a_pattern_gets_its_root():
    form = find_form("blues").__class__("x", "x", "", parse_chords("F7 Bb7 C7 F7", COMMON))
    for style in STYLES:
        bars = bars_of(form, 16)
        notes = play_bass(bars, style, 1)
        roots = {note.onset: note.key % 12 for note in notes if note.bar == 3}
        assert [roots[Fraction(beat)] for beat in range(4)] == [5, 10, 0, 5]


@pytest.mark.parametrize(
    "meter, pulses", [(Meter(3, 4), 3), (Meter(5, 4), 5), (Meter(6, 8), 2), (Meter(12, 8), 4), (Meter(7, 4), 7)]
)
def test_a_walking_bass_steps_on_every_felt_beat_in_every_meter(meter, pulses):
    form = find_form("blues").__class__("x", "x", "", parse_chords("Dm7 | G7 | Cmaj7 | A7b9", meter))
    bars = bars_of(form, 64, meter)
    notes = walk(bars, 1)
    per_bar = Counter(note.bar for note in notes if note.onset % meter.pulse == 0)
    assert set(per_bar.values()) <= {pulses, pulses - 1}
    assert Counter(per_bar.values())[pulses] > 48
    assert all(note.onset % meter.pulse % (meter.pulse / 3) == 0 for note in notes if meter.compound)


def test_styles_of_set_rhythms_play_in_every_meter():
    for meter in (Meter(3, 4), Meter(5, 4), Meter(6, 8), Meter(12, 8), Meter(7, 4), Meter(2, 4)):
        form = find_form("blues").__class__("x", "x", "", parse_chords("Dm7 | G7", meter))
        for style in STYLES:
            bars = bars_of(form, 8, meter)
            notes = play_bass(bars, style, 1)
            assert {note.bar for note in notes} == set(range(8))
            assert all(0 <= note.onset < meter.length for note in notes)


def test_one_chord_over_and_over_in_one_note_a_bar_ends_as_it_began():
    form = find_form("blues").__class__("x", "x", "", parse_chords("G7", Meter(3, 4)))
    for many in (1, 2, 5):
        notes = play_bass(bars_of(form, many, Meter(3, 4)), "two-feel", 1)
        assert [note.bar for note in notes] == list(range(many))
        assert {note.key % 12 for note in notes} == {7}
