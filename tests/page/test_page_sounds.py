"""The hits that a page carries: how they end, and that no tempo takes them past full scale."""

import math
from contextlib import closing

import numpy as np
import pytest
from music import lesson_of

from grooves.passages import Passage
from grooves.performance import perform
from render.page.sounds import shortened, sound_data
from render.sound.balance import calibrate, velocities
from render.sound.events import Rendition
from render.sound.gain import gain_for
from render.sound.tracks import side_by_side
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
def test_a_hit_that_rings_on_ends_after_three_seconds_and_fades_out_before_that(rate):
    cut = shortened(ringing(10, rate), rate)
    assert len(cut) == 3 * rate
    assert (cut[: round(2.5 * rate)] == 1).all()
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


@pytest.mark.parametrize(
    ("groove", "line"), [("six-eight", "8 8 8 8 8 8"), ("swing", "8 8 8 8 8 8 8 8"), ("bossa-nova", "8 8 8 8 2")]
)
def test_at_the_fastest_tempo_with_a_click_a_page_stays_under_full_scale(groove, line, kit):
    lesson, balance = lesson_of(line, groove=groove, tempo=60), calibrate(kit)
    page_db = 20 * math.log10(sound_data(lesson, kit, balance)["gain"])
    fast = perform(lesson.score, (Passage((0,), 400, times=8, click="every beat"),), lesson.feel, lesson.balance_lu)
    gain = gain_for(side_by_side([Rendition(fast, velocities(fast, balance))], kit))
    peak_dbtp = gain.peak_dbtp - gain.db + page_db
    assert -3 < peak_dbtp < 0
