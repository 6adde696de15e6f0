"""The dither of a stem: what rounding to 16 bits leaves is noise of one known power, and nothing of the sound.

S. P. Lipshitz, R. A. Wannamaker, J. Vanderkooy, "Quantization and dither: a theoretical survey", J. Audio Eng. Soc.
40(5), 1992: with triangular dither of two steps peak to peak the whole error has mean 0 and a variance of 1/4 step²,
1/6 of the dither and 1/12 of the rounding, whatever the sound is.
"""

import numpy as np
import pytest

from render.sound.events import SoundEvent
from render.sound.stems import BLOCK_FRAMES, Stem, quantized
from render.soundfont.recording import Sample

RATE = 44100


class Tone:
    """A kit whose only stroke is a tone of one block, its highest value so many steps of 16 bits."""

    rate = RATE

    def __init__(self, steps):
        turns = np.arange(2 * BLOCK_FRAMES) / 2 * 441.7 / RATE
        self.values = (steps * np.sin(2 * np.pi * turns)).astype(np.float32)

    def sample(self, key, velocity):
        return Sample(f"{key}-{velocity}", self.values, 2, (1.0, 1.0)), 1.0


def error_of(part, steps, **options):
    """What is heard of a tone, less the tone; and the tone."""
    kit = Tone(steps)
    ((first, heard),) = quantized(Stem(part, (SoundEvent(0, 38, 100),), kit, **options), 1.0, 0)
    assert (first, heard.shape) == (0, (BLOCK_FRAMES, 2))
    return heard.reshape(-1) - kit.values.astype(float), kit.values.astype(float)


@pytest.mark.parametrize("steps", [0.3, 0.8, 40.0])
def test_what_rounding_leaves_of_a_stem_is_the_noise_of_triangular_dither(steps):
    error, _ = error_of("snare", steps)
    assert np.var(error) == pytest.approx(1 / 4, abs=0.005)
    assert np.mean(error) == pytest.approx(0, abs=0.01)


@pytest.mark.parametrize("steps", [0.3, 0.8])
def test_a_tone_below_one_step_is_heard_as_loud_as_it_is_and_moves_no_noise(steps):
    error, tone = error_of("snare", steps)
    assert error @ tone / (tone @ tone) == pytest.approx(0, abs=0.03)
    near = np.abs(tone) > steps / 2
    assert np.var(error[near]) == pytest.approx(np.var(error[~near]), abs=0.01)


def test_the_noise_of_two_parts_and_of_two_sides_has_nothing_in_common():
    # So the noise of a track is the sum of its stems' powers, not of their amplitudes.
    (snare, _), (ride, _) = error_of("snare", 0.3), error_of("ride", 0.3)
    assert np.corrcoef(snare, ride)[0, 1] == pytest.approx(0, abs=0.02)
    assert np.corrcoef(snare[::2], snare[1::2])[0, 1] == pytest.approx(0, abs=0.02)


def test_a_loop_has_no_noise_so_it_is_the_same_each_time_through():
    error, _ = error_of("snare", 40.0, loop_frames=BLOCK_FRAMES)
    assert np.abs(error).max() <= 0.5
