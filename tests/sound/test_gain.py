"""One gain for a lesson: the loudness it aims at, and the loudness it thinks a track has, against the sound itself.

Kits are opened without the cache, so that what is kept from an earlier run says nothing here.
"""

from contextlib import closing
from dataclasses import replace

import numpy as np
import pyloudnorm
import pytest
from sounding import NO_GAIN, struck

from render.sound.gain import gain_for, loudness_of
from render.sound.mix import mix
from render.sound.tracks import rendition_frames, side_by_side
from render.soundfont.soundfont import default_soundfont, open_kit

RATE = 44100


@pytest.fixture(scope="module")
def kit():
    with closing(open_kit(default_soundfont(), use_cache=False)) as opened:
        yield opened


def heard_lufs(rendition, kit, gain):
    """The loudness of a rendition's bars by pyloudnorm, another meter after ITU-R BS.1770."""
    bars = np.concatenate(list(mix(rendition, kit, gain)))[: round(rendition.performance.length_seconds * RATE)]
    return pyloudnorm.Meter(RATE).integrated_loudness(bars / 32768)


@pytest.mark.parametrize("velocity", [30, 90])
def test_a_track_without_high_peaks_is_heard_at_minus_16_lufs(velocity, kit):
    rendition = struck(*((n * 0.1, "ride") for n in range(40)), velocity=velocity)
    gain = gain_for(side_by_side([rendition], kit))
    assert not gain.limited_by_peak
    assert gain.loudness_lufs == pytest.approx(-16)
    # The strokes' powers are added, as if no two were in phase; at one distance a little of them is.
    assert heard_lufs(rendition, kit, gain) == pytest.approx(-16, abs=0.4)


@pytest.mark.parametrize(
    ("instrument", "apart_seconds"),
    [("ride", 0.5), ("ride", 1.0), ("ride bell", 1.0), ("open hi-hat", 1.0), ("snare", 0.5), ("bass drum", 0.5)],
)
def test_the_loudness_of_strokes_counts_their_ring(instrument, apart_seconds, kit):
    onsets = [number * apart_seconds + 0.01 * (number % 3) for number in range(round(6 / apart_seconds))]
    rendition = struck(*((at, instrument) for at in onsets), seconds=6.0)
    found = loudness_of(side_by_side([rendition], kit))
    assert found == pytest.approx(heard_lufs(rendition, kit, replace(NO_GAIN, db=20.0)) - 20, abs=0.15)


def test_a_track_ends_where_the_ride_has_died_away_by_60_db(kit):
    # The value is ours, by ear.
    ride = np.abs(kit.hit(51, 127)).max(axis=1)
    ring = rendition_frames(struck((0.0, "snare")), kit) - 4 * RATE
    assert ride[ring:].max() <= ride.max() / 1000 < ride[ring - 1]
