"""The hits that a page carries: how they end."""

from contextlib import closing

import numpy as np
import pytest

from render.page.sounds import shortened
from render.soundfont.soundfont import default_soundfont, open_kit

RATE = 44100


@pytest.fixture(scope="module")
def kit():
    with closing(open_kit(default_soundfont())) as opened:
        yield opened


def ringing(seconds, rate=RATE):
    """A sound that never dies away by itself."""
    return np.ones((round(seconds * rate), 2), np.float32)


@pytest.mark.parametrize("rate", [44100, 48000])
def test_a_hit_that_rings_on_ends_after_two_seconds_and_fades_out_before_that(rate):
    cut = shortened(ringing(10, rate), rate)
    assert len(cut) == round(2.2 * rate)
    assert (cut[: round(1.75 * rate)] == 1).all()
    assert cut[-1].tolist() == [0, 0]
    assert np.diff(cut, axis=0).max() <= 0
    # Ours, by ear: over some tenths of a second, so that it neither clicks nor breaks off.
    level_db = {before: 20 * np.log10(cut[-round(before * rate), 0]) for before in (0.3, 0.1)}
    assert level_db[0.3] == pytest.approx(-2.5, abs=0.5)
    assert level_db[0.1] == pytest.approx(-12, abs=0.5)


def test_a_hit_ends_where_it_has_died_away_by_60_db():
    dying = ringing(2.9) * (10 ** (-np.arange(round(2.9 * RATE)) / RATE * 60 / 20))[:, None].astype(np.float32)
    assert len(shortened(dying, RATE)) == pytest.approx(RATE, abs=2)  # 60 dB a second


def test_the_fade_of_a_short_hit_leaves_most_of_it():
    sound = ringing(0.4)
    sound[RATE // 10 :] = 1e-5
    cut = shortened(sound, RATE)
    assert len(cut) == RATE // 10
    assert (cut[: len(cut) * 3 // 4] == 1).all()
    assert cut[-1].tolist() == [0, 0]
