"""The meter against the standards: EBU Tech 3341 version 4 (November 2023), table 1, and ITU-R BS.1770."""

import numpy as np
import pyloudnorm
import pytest
from scipy.signal import lfilter

from render.sound.loudness import (
    filters,
    gated_loudness,
    hit_loudness,
    integrated_loudness,
    k_weighted,
    k_weighted_blocks,
    lufs,
)
from render.sound.peaks import true_peak

RATES = (44100, 48000)
CASES = {  # EBU Tech 3341 table 1, cases 1 to 5: (seconds, peak in dBFS) of a 1 kHz sine on both channels → LUFS
    1: ([(20, -23)], -23.0),
    2: ([(20, -33)], -33.0),
    3: ([(10, -36), (60, -23), (10, -36)], -23.0),
    4: ([(10, -72), (10, -36), (60, -23), (10, -36), (10, -72)], -23.0),
    5: ([(20, -26), (20.1, -20), (20, -26)], -23.0),
}


def sine(hertz, seconds, peak, rate, degrees=0.0):
    """A sine as one column of float32."""
    phase = 2 * np.pi * hertz * np.arange(round(seconds * rate)) / rate + np.radians(degrees)
    return (peak * np.sin(phase)).astype(np.float32)


def stereo(pieces, rate):
    """Pieces of a 1 kHz sine, the same on both channels."""
    one = np.concatenate([sine(1000, seconds, 10 ** (dbfs / 20), rate) for seconds, dbfs in pieces])
    return np.stack([one, one], axis=1)


def in_blocks(sound, frames=1 << 16):
    """A sound cut into blocks."""
    return (sound[start : start + frames] for start in range(0, len(sound), frames))


@pytest.mark.parametrize("rate", RATES)
@pytest.mark.parametrize("case", CASES)
def test_the_meter_reads_the_published_test_signals_within_a_tenth_of_a_unit(case, rate):
    pieces, expected = CASES[case]
    assert integrated_loudness(in_blocks(stereo(pieces, rate)), rate) == pytest.approx(expected, abs=0.1)


@pytest.mark.parametrize("rate", RATES)
def test_a_full_scale_sine_of_997_hz_in_one_channel_reads_minus_3_01(rate):
    # ITU-R BS.1770, annex 1: 0 dBFS, 997 Hz, one front channel, -3.01 LKFS.
    sound = np.zeros((5 * rate, 2), np.float32)
    sound[:, 0] = sine(997, 5, 1.0, rate)
    assert integrated_loudness([sound], rate) == pytest.approx(-3.01, abs=0.01)


def test_the_filters_at_48_khz_are_the_published_ones():
    # ITU-R BS.1770, annex 1, tables 1 and 2.
    (shelf_b, shelf_a), (pass_b, pass_a) = filters(48000)
    assert shelf_b == pytest.approx([1.53512485958697, -2.69169618940638, 1.19839281085285], abs=1e-9)
    assert shelf_a == pytest.approx([1, -1.69065929318241, 0.73248077421585], abs=1e-9)
    assert pass_b == pytest.approx([1, -2, 1])
    assert pass_a == pytest.approx([1, -1.99004745483398, 0.99007225036621], abs=1e-9)


def k_gain_db(hertz, rate):
    """What the two filters are worth at a frequency."""
    z = np.exp(-2j * np.pi * hertz / rate)
    return sum(20 * np.log10(abs(np.polyval(b[::-1], z) / np.polyval(a[::-1], z))) for b, a in filters(rate))


@pytest.mark.parametrize("hertz", [20, 100, 997, 2000, 5000])
def test_at_44_1_khz_the_filters_weigh_as_the_published_ones_do_at_48(hertz):
    # The bilinear transform squeezes what lies near half the rate: 0.03 dB at 5 kHz, seen by trial.
    assert k_gain_db(hertz, 44100) == pytest.approx(k_gain_db(hertz, 48000), abs=0.03)
    # The 48 kHz filters used at 44.1 kHz would read 1 kHz about 0.2 LU too loud.
    assert filters(44100)[0][1][1] == pytest.approx(-1.66365511325602, abs=1e-9)


@pytest.mark.parametrize("rate", RATES)
@pytest.mark.parametrize("frames", [3000, 60000])
def test_the_weighting_in_one_go_and_in_blocks_is_that_of_the_recursive_filters(frames, rate):
    # scipy runs the same two filters sample by sample: nothing of their long ring below 38 Hz may be cut or wrap around.
    sound = np.random.default_rng(6).normal(0.3, 0.1, (frames, 2)).astype(np.float32)
    wanted = sound.astype(float)
    for b, a in filters(rate):
        wanted = lfilter(b, a, wanted, axis=0)
    assert np.abs(k_weighted(sound, rate) - wanted).max() < 1e-5
    assert np.abs(np.concatenate(list(k_weighted_blocks(in_blocks(sound, 7001), rate))) - wanted).max() < 1e-5


@pytest.mark.parametrize("rate", RATES)
def test_pyloudnorm_reads_the_same_on_noise_with_a_gap(rate):
    # The reference library pyloudnorm, which is an implementation of ITU-R BS.1770 of its own.
    noise = np.random.default_rng(1).normal(0, 0.1, (8 * rate, 2)).astype(np.float32)
    noise[3 * rate : 5 * rate] *= 0.001
    noise[:, 1] *= 0.5
    assert integrated_loudness([noise], rate) == pytest.approx(
        pyloudnorm.Meter(rate).integrated_loudness(noise), abs=0.05
    )


def test_blocks_of_any_size_read_the_same():
    sound = np.random.default_rng(2).normal(0, 0.1, (3 * 44100, 2)).astype(np.float32)
    whole = integrated_loudness([sound], 44100)
    assert integrated_loudness(in_blocks(sound, 4999), 44100) == pytest.approx(whole, abs=1e-3)


def steps(*pieces):
    """The powers of 100 ms steps: (seconds, LUFS) one after another."""
    return np.concatenate([np.full(10 * seconds, 10 ** ((level + 0.691) / 10)) for seconds, level in pieces])


def test_what_lies_more_than_10_units_below_the_rest_is_not_counted():
    # ITU-R BS.1770, annex 1: the relative gate lies 10 LU below the mean of what passes the absolute one. Half the
    # time at 0 LU, half at x: the gate lies at 10·log10((1 + 10^(x/10)) / 20), which x meets at -12.79 LU.
    assert gated_loudness(steps((600, -20), (600, -33.0))) == pytest.approx(-20, abs=0.03)
    counted = -20 + 10 * np.log10((1 + 10**-1.26) / 2)
    assert gated_loudness(steps((600, -20), (600, -32.6))) == pytest.approx(counted, abs=0.03)


def test_what_lies_below_minus_70_is_not_counted_not_even_for_the_other_gate():
    # ITU-R BS.1770, annex 1: the absolute gate lies at -70 LKFS.
    assert gated_loudness(steps((60, -69.8))) == pytest.approx(-69.8)
    assert gated_loudness(steps((60, -70.2))) == -np.inf
    # An hour at -71 would pull the mean, and the relative gate with it, down to where -64 counts.
    assert gated_loudness(steps((60, -50), (60, -64), (3600, -71))) == pytest.approx(-50, abs=0.1)


def test_silence_has_no_loudness():
    assert integrated_loudness([np.zeros((44100, 2), np.float32)], 44100) == -np.inf
    assert gated_loudness(np.zeros(0)) == -np.inf
    assert lufs(1.0) == pytest.approx(-0.691)


def test_a_hit_is_as_loud_as_its_loudest_400_ms_wherever_they_begin():
    # EBU Tech 3341 table 1, case 13: 400 ms at -23 dBFS after silence read -23.0 at most, within 0.1.
    burst = stereo([(0.4, -23)], 48000)
    for silence in (0, 0.02, 0.19, 0.38):
        sound = np.concatenate(
            [np.zeros((round(silence * 48000), 2), np.float32), burst, np.zeros((48000, 2), np.float32)]
        )
        assert hit_loudness(sound, 48000) == pytest.approx(-23.0, abs=0.1)


@pytest.mark.parametrize(
    ("case", "divisor", "peak", "degrees", "expected"),
    [
        (15, 4, 0.5, 0, -6.0),
        (16, 4, 0.5, 45, -6.0),
        (17, 6, 0.5, 60, -6.0),
        (18, 8, 0.5, 67.5, -6.0),
        (19, 4, 1.41, 45, 3.0),
    ],
)
def test_the_true_peak_of_the_published_signals(case, divisor, peak, degrees, expected):
    # EBU Tech 3341 table 1, cases 15 to 19: +0.2 and -0.4 dB allowed. Faded at both ends, so that the cut adds no peak.
    one = sine(12000 * 4 / divisor, 0.5, peak, 48000, degrees)
    one[:4800] *= np.linspace(0, 1, 4800, dtype=np.float32)
    one[-4800:] *= np.linspace(1, 0, 4800, dtype=np.float32)
    found = 20 * np.log10(true_peak(np.stack([one, one], axis=1)))
    assert expected - 0.4 <= found <= expected + 0.2
