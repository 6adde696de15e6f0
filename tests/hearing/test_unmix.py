"""Drums told apart: updates that only lessen their divergence, strokes found where they were put.

Source of the claim that the updates never raise the divergence: D. D. Lee & H. S. Seung, NIPS 2000.
"""

from itertools import pairwise

import numpy as np
import pytest

from render.hearing.drums import attack
from render.hearing.strokes import Peaks, peaks, separation, strongest_near, threshold
from render.hearing.unmix import LAGS, TINY, strengths


def two_drums(seed=1, moments=400):
    draw = np.random.default_rng(seed)
    templates = draw.random((2, 12, LAGS)).astype(np.float32) * np.exp(-np.arange(LAGS) / 5).astype(np.float32)
    templates[0, 6:] *= 0.05
    templates[1, :6] *= 0.05
    templates /= templates.sum(axis=(1, 2), keepdims=True)
    truth = np.zeros((2, moments), np.float32)
    truth[0, [20, 90, 200, 300]] = [3, 5, 2, 4]
    truth[1, [22, 150, 204, 360]] = [4, 1, 5, 3]
    return templates, truth, built(templates, truth)


def built(templates, found):
    sound = np.zeros((templates.shape[1], found.shape[1]), np.float32)
    for part, row in enumerate(found):
        for lag in range(LAGS):
            sound[:, lag:] += templates[part, :, lag, None] * row[: found.shape[1] - lag]
    return sound


def divergence(sound, model):
    return float(np.sum(sound * np.log((sound + 1e-9) / (model + 1e-9)) - sound + model))


def test_strokes_are_found_where_they_were_put_and_as_hard():
    templates, truth, sound = two_drums()
    found, same = strengths(sound, templates, 200)
    assert same is templates
    for row, meant in zip(found, truth, strict=True):
        for place in np.flatnonzero(meant):
            assert row[place - 2 : place + 3].sum() == pytest.approx(meant[place], rel=0.1)


def test_no_round_raises_the_divergence():
    templates, _, sound = two_drums()
    sound = sound + np.random.default_rng(2).random(sound.shape).astype(np.float32) * 0.02
    rounds = [
        divergence(sound, built(templates, strengths(sound, templates, many)[0])) for many in (1, 2, 4, 8, 16, 32)
    ]
    assert all(after <= before * 1.0001 for before, after in pairwise(rounds))


def test_a_mask_keeps_a_part_from_striking_elsewhere():
    templates, _, sound = two_drums()
    mask = np.zeros((2, sound.shape[1]), np.float32)
    mask[:, 80:100] = 1
    found, _ = strengths(sound, templates, 20, mask)
    assert not found[:, :80].any() and not found[:, 100:].any() and found[0, 90] > 1


def test_templates_are_learned_from_the_recording():
    templates, truth, sound = two_drums()
    wrong = np.full_like(templates, 1.0 / templates[0].size)
    mask = (truth > 0).astype(np.float32)

    def kept(new):
        return (new / new.sum(axis=(1, 2), keepdims=True)).astype(np.float32)

    _, learned = strengths(sound, wrong, 60, mask, kept)
    assert np.abs(learned - templates).sum(axis=(1, 2)) == pytest.approx([0, 0], abs=0.15)


def test_silence_is_no_stroke():
    templates, _, sound = two_drums()
    found, _ = strengths(np.zeros_like(sound), templates, 20)
    assert found.max() <= TINY


# --- peaks ----------------------------------------------------------------------------------------


def test_a_peak_lies_at_the_centre_of_its_weight_between_two_moments():
    row = np.zeros(100, np.float32)
    row[40], row[41] = 1.0, 1.0
    found = peaks(row)
    assert found.seconds == pytest.approx([(40.5 + 5) * 0.005]) and found.strength == pytest.approx([2.0])


def test_peaks_nearer_than_forty_milliseconds_are_one():
    row = np.zeros(100, np.float32)
    row[40], row[46], row[70] = 2.0, 1.0, 1.0
    assert len(peaks(row).seconds) == 2


def test_the_strongest_near_a_moment_is_taken_and_nought_where_none_is():
    found = Peaks(np.array([1.0, 1.03, 2.0]), np.array([1.0, 3.0, 2.0]))
    assert strongest_near(found, np.array([1.0, 1.5, 2.05])).tolist() == [3.0, 0.0, 2.0]


def test_separation_is_the_area_under_the_curve():
    # Hanley & McNeil 1982: the chance that a hit ranks above a false alarm, ties by half
    assert separation([2.0, 3.0], [1.0]) == 1.0 and separation([1.0], [1.0]) == 0.5
    assert separation([1.0, 4.0], [2.0, 3.0]) == 0.5
    draw = np.random.default_rng(3)
    a, b = draw.normal(1, 1, 4000), draw.normal(0, 1, 4000)
    assert separation(a, b) == pytest.approx(0.760, abs=0.015)  # Φ(1/√2), from the normal table


def test_a_threshold_lies_in_the_gap_between_what_is_written_and_what_is_not():
    limit = threshold(np.array([8.0, 10.0, 12.0]), np.array([0.5, 1.0, 2.0]))
    assert 2.0 < limit < 8.0 and limit == pytest.approx(4.0, rel=0.1)


def test_an_attack_is_read_between_moments():
    assert attack(np.array([0, 0, 0, 0, 0, 1.0, 1.0] + [0.5] * 13)) == pytest.approx(4.5)
    assert attack(np.array([0, 0, 0, 0, 0.25, 1.0, 1.0] + [0.5] * 13)) == pytest.approx(4 + 1 / 3, abs=0.01)
