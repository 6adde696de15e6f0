"""Deviations as statistics: mean, spread, correlation along time and between limbs."""

import math

import numpy as np
import pytest

from grooves.deviations import deviations, noise_filter, stream_key, white
from grooves.feel import Feel

N = 20_000
PLACES = np.arange(N) / 2.0  # eighths on and on


def effective(values: np.ndarray) -> float:
    """How many independent numbers a correlated series is worth: n / (1 + 2 Σ r_k), to the first negative r_k."""
    centred = values - values.mean()
    spectrum = np.abs(np.fft.rfft(centred, 2 * len(values))) ** 2
    r = np.fft.irfft(spectrum)[: len(values)]
    r = r / r[0]
    first = int(np.argmax(r < 0))
    return len(values) / (1 + 2 * float(r[1:first].sum()))


@pytest.mark.parametrize("exponent", [0.0, 0.5, 1.0])
@pytest.mark.parametrize("what", ["timing", "level"])
def test_deviations_have_mean_zero_and_the_spread_asked_for(exponent, what):
    found = deviations(Feel(correlation=exponent), "left hand", what, PLACES)
    n = effective(found)
    assert abs(found.mean()) < 4 * found.std() / math.sqrt(n)
    assert abs(found.std() - 1) < 4 / math.sqrt(2 * n) + 0.005  # 0.005: what clipping at 3 takes away
    assert np.abs(found).max() <= 3


@pytest.mark.parametrize("together", [0.0, 0.5, 0.75])
def test_limbs_are_correlated_as_much_as_asked(together):
    feel = Feel(correlation=0, together=together)
    left, right = (deviations(feel, limb, "timing", PLACES) for limb in ("left hand", "right hand"))
    found = np.corrcoef(left, right)[0, 1]
    assert abs(math.atanh(found) - math.atanh(together)) < 4 / math.sqrt(N - 3) + 0.01  # Fisher's z; clipping


def test_timing_and_level_deviate_on_their_own():
    timing, level = (deviations(Feel(correlation=0), "left hand", what, PLACES) for what in ("timing", "level"))
    assert abs(np.corrcoef(timing, level)[0, 1]) < 4 / math.sqrt(N)


@pytest.mark.parametrize("lag", [1, 2, 4, 8, 32, 128])
def test_strokes_remember_far_back_where_a_shuffled_series_does_not(lag):
    # Hennig et al. 2011, PLoS ONE 6:e26457: long-range correlated; tested only against the shuffled series.
    found = deviations(Feel(correlation=1), "left hand", "timing", PLACES)
    shuffled = np.random.default_rng(1).permutation(found)
    bound = 4 / math.sqrt(N)
    assert np.corrcoef(found[:-lag], found[lag:])[0, 1] > 2 * bound
    assert abs(np.corrcoef(shuffled[:-lag], shuffled[lag:])[0, 1]) < bound


@pytest.mark.parametrize("lag", [1, 2, 8])
def test_exponent_zero_is_white(lag):
    found = deviations(Feel(correlation=0), "left hand", "timing", PLACES)
    assert abs(np.corrcoef(found[:-lag], found[lag:])[0, 1]) < 4 / math.sqrt(N)


@pytest.mark.parametrize("exponent", [0.0, 0.5, 1.0, 1.5])
def test_the_spectrum_falls_with_the_exponent_asked_for(exponent):
    found = deviations(Feel(correlation=exponent, together=0), "ride", "timing", PLACES)
    power, frequency = np.abs(np.fft.rfft(found)) ** 2, np.fft.rfftfreq(N)
    band = (frequency > 2 / 512) & (frequency < 0.2)
    slope, _ = np.polyfit(np.log(frequency[band]), np.log(power[band]), 1)
    # A log-periodogram ordinate has standard deviation π/√6; the slope's error follows from the regression.
    error = math.pi / math.sqrt(6) / (np.log(frequency[band]).std() * math.sqrt(band.sum()))
    assert abs(slope + exponent) < 5 * error + 0.06


def test_a_place_has_its_deviation_whoever_else_is_asked_for():
    alone = deviations(Feel(), "left hand", "timing", np.array([17.5]))
    among = deviations(Feel(), "left hand", "timing", PLACES)
    assert alone[0] == pytest.approx(among[35], abs=1e-12)


def test_seeds_limbs_and_places_give_numbers_of_their_own():
    keys = {stream_key(seed, limb, what) for seed in range(50) for limb in ("left hand", "body") for what in "ab"}
    assert len(keys) == 200
    numbers = white(stream_key(1, "left hand", "timing"), np.arange(48 * 100) / 48)
    assert len(set(numbers.tolist())) == len(numbers)


def test_white_noise_is_normal():
    numbers = np.sort(white(stream_key(3, "body", "level"), PLACES))
    cumulative = np.array([0.5 * (1 + math.erf(x / math.sqrt(2))) for x in numbers])
    gap = np.abs(cumulative - (np.arange(N) + 0.5) / N).max()
    assert gap < 1.95 / math.sqrt(N)  # Kolmogorov-Smirnov, 0.1 %


def test_the_filter_has_variance_one():
    for exponent in (0, 0.5, 1, 1.5):
        assert np.sum(noise_filter(exponent) ** 2) == pytest.approx(1)
