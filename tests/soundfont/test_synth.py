"""The FluidSynth library: found, missing, too old."""

import ctypes.util

import numpy as np
import pytest

from grooves.errors import LessonError
from render.soundfont import synth
from render.soundfont.soundfont import default_soundfont
from render.soundfont.synth import BLOCK, Synth


@pytest.fixture(autouse=True)
def afresh():
    synth._library.cache_clear()
    yield
    synth._library.cache_clear()


def test_a_missing_library_says_what_to_install(monkeypatch):
    monkeypatch.setattr(synth, "_NAMES", ("libnowhere.so.3",))
    monkeypatch.setattr(synth, "find_library", lambda name: None)
    with pytest.raises(LessonError, match="library FluidSynth is not installed; install it: .*libfluidsynth3"):
        Synth(default_soundfont(), 0, 44100)


def test_an_old_library_says_so(monkeypatch):
    monkeypatch.setitem(synth._FUNCTIONS, "fluid_synth_of_tomorrow", (None,))
    with pytest.raises(LessonError, match="FluidSynth is older than 2.0 .*fluid_synth_of_tomorrow"):
        Synth(default_soundfont(), 0, 44100)


def test_where_no_usual_name_fits_the_system_is_asked(monkeypatch):
    monkeypatch.setattr(synth, "_NAMES", ())
    assert synth.find_library("fluidsynth") == ctypes.util.find_library("fluidsynth")
    with Synth(default_soundfont(), 0, 44100) as running:
        running.on(38, 100)
        assert np.abs(running.render(20)).max() > 0.01


def test_a_stroke_begins_at_the_next_block_and_ends(capfd):
    with Synth(default_soundfont(), 0, 44100) as running:
        assert not np.abs(running.render(2)).max() > 1e-6
        running.on(38, 100)
        sound = running.render(10)
        assert sound.shape == (10 * BLOCK, 2)
        assert running.sounding()
        running.off(38)
        running.hush()
        running.render(400)
        assert not running.sounding()
    with pytest.raises(LessonError, match="FluidSynth cannot play this soundfont"):
        Synth(default_soundfont().with_name("no such.sf2"), 0, 44100)
    assert capfd.readouterr() == ("", "")  # it is silent itself
