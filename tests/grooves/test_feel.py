"""Swing curves and the phrasing's places."""

from fractions import Fraction as F

import pytest
from hypothesis import given
from hypothesis import strategies as st

from grooves.feel import is_upbeat, measured_ratio, sixteenth_beats, swing_ratio, swung, upbeat_place
from grooves.rhythm import Meter

# Jazz Trio Database, TISMIR 2024, doi 10.5334/tismir.186: drums in 4/4, tempo, median, 5 % and 95 % of tracks.
PUBLISHED = [
    (110, 2.40, 1.86, 2.99), (130, 2.37, 1.76, 2.84), (150, 2.30, 1.56, 2.80), (170, 2.16, 1.02, 2.62),
    (190, 2.06, 1.51, 2.50), (210, 1.83, 1.40, 2.31), (230, 1.68, 1.21, 2.10), (250, 1.48, 1.22, 1.83),
    (270, 1.40, 1.14, 1.82), (290, 1.29, 1.09, 1.51),
]  # fmt: skip


@pytest.mark.parametrize(("tempo", "median", "low", "high"), PUBLISHED)
def test_both_curves_lie_in_the_published_spread(tempo, median, low, high):
    assert measured_ratio(tempo) == pytest.approx(median)
    assert low <= swing_ratio("by tempo", tempo) <= high


def test_by_tempo_is_triplets_until_the_line_fitted_to_the_tracks_takes_over_without_a_jump():
    assert swing_ratio("by tempo", 176) == 2
    assert swing_ratio("by tempo", 177) == pytest.approx(2, abs=0.01)
    assert swing_ratio("by tempo", 240) == pytest.approx(2 ** (1.9161 - 0.005205 * 240))
    assert swing_ratio("by tempo", 400) == 1


@given(st.floats(30, 400), st.floats(30, 400))
def test_a_faster_tempo_never_swings_harder(one, other):
    slow, fast = sorted((one, other))
    for curve in ("by tempo", "as measured"):
        assert swing_ratio(curve, slow) >= swing_ratio(curve, fast) >= 1


@pytest.mark.parametrize("tempo", range(190, 301, 10))
def test_the_short_note_stays_near_a_tenth_of_a_second(tempo):
    # Friberg & Sundström 2002, Music Perception 19(3): about 100 ms from medium to fast tempos.
    for curve in ("by tempo", "as measured"):
        assert 85 <= 60_000 / tempo / (1 + swing_ratio(curve, tempo)) <= 115


@given(st.integers(100, 400).map(lambda n: F(n, 100)))
def test_an_upbeat_falls_at_r_over_r_plus_one_exactly(ratio):
    assert upbeat_place(float(ratio)) == ratio / (ratio + 1)
    assert swung(F(7, 2), float(ratio)) == 3 + ratio / (ratio + 1)


@given(st.integers(0, 400).map(lambda n: F(n, 48)), st.floats(1, 4))
def test_only_the_written_upbeat_moves(onset, ratio):
    assert swung(onset, 1.0) == onset
    if onset % 1 != F(1, 2):
        assert swung(onset, ratio) == onset


def test_an_upbeat_among_sixteenths_stays_with_them():
    beats = sixteenth_beats([F(0), F(1, 2), F(5, 4), F(3, 2)])
    assert beats == {1}
    assert (swung(F(1, 2), 2.0, beats), swung(F(3, 2), 2.0, beats)) == (F(2, 3), F(3, 2))


def test_upbeats_lead_into_the_next_beat_in_simple_and_compound_meters():
    four, six = Meter(4, 4), Meter(6, 8)
    assert [is_upbeat(F(n, 2), four) for n in range(4)] == [False, True, False, True]
    assert [is_upbeat(F(n, 2), six) for n in range(6)] == [False, False, True, False, False, True]
