"""Peaks judged by how loud and how near they lie; moments moved to where the sound rises. All takes made here."""

import numpy as np
import pytest

from grooves.takes.take import Played, Take
from render.hearing.judge import chosen, judged
from render.hearing.rise import EARLIEST, HIGH, LATEST, begins_after, begun, responses, rises, rises_by
from render.hearing.strokes import Peaks

RATE = 22050


def a_part(every=0.4, count=40, seed=1):
    """Strokes 20 ms late and 4 ms unsteady, of 0 dB and a little: written moments and their peaks."""
    draw = np.random.default_rng(seed)
    own = 1.0 + every * np.arange(count)
    return own, own + 0.02 + draw.normal(0, 0.004, count), 10 ** (draw.normal(0, 2, count) / 20)


def with_peaks(seconds, strength, more):
    extra, level_db = (np.array(one, dtype=float) for one in zip(*more, strict=True))
    at = np.concatenate([seconds, extra])
    order = np.argsort(at)
    return Peaks(at[order], np.concatenate([strength, 10 ** (level_db / 20)])[order])


def leakage(own, level_db=-25.0):
    return [(moment + 0.2, level_db) for moment in own[:-1]]


def test_a_soft_stroke_in_its_place_is_taken_before_a_louder_peak_that_lies_off_it():
    own, seconds, strength = a_part()
    strength[10] = 10 ** (-9 / 20)
    found = with_peaks(seconds, strength, [*leakage(own), (seconds[10] + 0.055, -6.0)])
    assert found.seconds[chosen(found, own)[10]] == pytest.approx(seconds[10])


def test_a_stroke_that_lies_far_off_is_still_taken_where_no_other_is():
    own, seconds, strength = a_part()
    seconds[10] += 0.05
    found = with_peaks(seconds, strength, leakage(own))
    assert found.seconds[chosen(found, own)[10]] == pytest.approx(seconds[10])


def test_what_rings_on_after_a_stroke_is_no_extra_and_a_full_stroke_elsewhere_is_one():
    own, seconds, strength = a_part(every=0.6)
    rings = [(one + 0.15, -9.0 + place % 3) for place, one in enumerate(seconds[:-1])]
    found = with_peaks(seconds, strength, [*rings, (seconds[20] + 0.3, 0.0)])
    strokes = judged("ride", found, own, np.full(30, 10 ** (-25 / 20)))
    extras = [one.onset_seconds for one in strokes if np.abs(own + 0.02 - one.onset_seconds).min() > 0.04]
    assert len(strokes) == 41 and extras == pytest.approx([seconds[20] + 0.3])


def bursts(moments, hertz, seed):
    """Strokes that begin at once and fade, about one frequency."""
    draw, sound = np.random.default_rng(seed), np.zeros(int(30 * RATE))
    at = np.arange(int(0.08 * RATE)) / RATE
    for moment in moments:
        wave = np.sin(2 * np.pi * hertz * at + draw.uniform(0, 2 * np.pi)) * np.exp(-at / 0.02)
        start = round(moment * RATE)
        sound[start : start + len(wave)] += wave
    return sound


@pytest.fixture(scope="module")
def two_parts():
    """A snare and a ride that always fall within 20 ms of each other, each found off by a constant."""
    draw = np.random.default_rng(2)
    ride = 1.0 + 0.5 * np.arange(56)
    snare = ride + draw.normal(0.004, 0.008, len(ride))
    sound = bursts(ride, 5000, 3) + 0.7 * bursts(snare, 2000, 4) + 1e-3 * draw.standard_normal(30 * RATE)
    return ride, snare, rises(sound.astype(np.float32), RATE)


def found_off(ride, snare, ride_ms, snare_ms):
    strokes = [Played(one + ride_ms / 1000, "ride") for one in ride]
    strokes += [Played(one + snare_ms / 1000, "snare") for one in snare]
    return Take(tuple(sorted(strokes, key=lambda one: one.onset_seconds)), 30.0)


@pytest.mark.parametrize(("ride_ms", "snare_ms"), [(0.0, 0.0), (3.0, -5.0), (-6.0, 8.0)])
def test_strokes_are_moved_to_where_their_sound_begins_though_two_drums_fall_together(two_parts, ride_ms, snare_ms):
    ride, snare, steps = two_parts
    moved = begun(found_off(ride, snare, ride_ms, snare_ms), steps)
    for part, truth in (("ride", ride), ("snare", snare)):
        off = np.array([one.onset_seconds for one in moved.strokes if one.part == part]) - truth
        assert 1000 * np.median(off) == pytest.approx(0, abs=1.5), part


def test_a_part_of_few_strokes_stays_where_it_was_found(two_parts):
    ride, snare, steps = two_parts
    moved = begun(found_off(ride, snare[:7], 0.0, 5.0), steps)
    assert [one.onset_seconds for one in moved.strokes if one.part == "snare"] == pytest.approx(snare[:7] + 0.005)


def rising(*tops):
    """A response that rises at some steps after the moments found, each time by so much and within 6 ms."""
    steps = np.arange(EARLIEST, LATEST)
    return sum(high * np.maximum(1 - np.abs(steps - at) / 3, 0) for at, high in tops)


@pytest.mark.parametrize(
    ("tops", "begins_ms"),
    [
        ([(1, 0.8), (14, 1.0)], 1),  # a low drum and its own echo
        ([(-30, 0.8), (10, 1.0)], -30),  # its template learned what rings on
        ([(-30, 0.3), (4, 1.0)], 4),  # what another drum left
        ([(-30, 0.3), (4, -1.0)], -30),
        ([], 0),
    ],
    ids=str,
)
def test_a_drum_begins_at_its_first_high_rise(tops, begins_ms):
    assert 1000 * begins_after(rising((100, 1.0), *tops)) == pytest.approx(begins_ms, abs=0.1)


def test_a_bass_drum_whose_template_slid_off_is_brought_back():
    kick = 1.0 + 0.5 * np.arange(56)
    sound = bursts(kick, 70, 6) + 1e-3 * np.random.default_rng(6).standard_normal(30 * RATE)
    found = Take(tuple(Played(float(one) + 0.029, "bass drum") for one in kick), 30.0)
    moved = begun(found, rises(sound.astype(np.float32), RATE))
    assert 1000 * np.median([one.onset_seconds for one in moved.strokes] - kick) == pytest.approx(0, abs=2.5)


def test_how_much_a_sound_rises_does_not_depend_on_moments_found_a_little_wrong(two_parts):
    ride, _, steps = two_parts
    draw = np.random.default_rng(5)
    high = steps[:, HIGH].sum(axis=1)
    exact, rough = (
        responses(high, {"ride": [Played(float(one), "ride") for one in moments]})["ride"]
        for moments in (ride, ride + draw.normal(0, 0.001, len(ride)))
    )
    assert 20 * np.log10(rises_by(rough) / rises_by(exact)) == pytest.approx(0, abs=1.0)
    assert begins_after(exact) == pytest.approx(0, abs=0.0015)
