"""The FluidSynth library: found by pyfluidsynth, missing, too old; silent itself."""

import ctypes
import os
import shutil
import subprocess
import sys

import numpy as np
import pytest
from music import text_of

from grooves.errors import LessonError
from render.soundfont import synth
from render.soundfont.soundfont import default_soundfont
from render.soundfont.synth import BLOCK, Synth

NO_LIBRARY = "import ctypes.util, sys; ctypes.util.find_library = lambda name: {found!r}; "
RENDER = "sys.argv[0] = 'fourlimb'; from render.command.cli import run; run()"


@pytest.fixture(autouse=True)
def afresh():
    synth._library.cache_clear()
    yield
    synth._library.cache_clear()


def render_without_library(found, tmp_path):
    """Render a lesson in a process that finds such a library for FluidSynth's, and has no hits on disk."""
    lesson = tmp_path / "lesson.toml"
    lesson.write_text(text_of(tempo=200))
    words = [sys.executable, "-c", NO_LIBRARY.format(found=found) + RENDER, "render", lesson, "-o", tmp_path / "out"]
    settings = os.environ | {"FOURLIMB_CACHE": str(tmp_path / "cache")}
    return subprocess.run(list(map(str, words)), capture_output=True, text=True, timeout=60, env=settings)


@pytest.mark.parametrize("found", [None, "libnowhere.so.3"])
def test_a_missing_library_is_one_message_that_says_what_to_install(found, tmp_path):
    done = render_without_library(found, tmp_path)
    assert (done.returncode, done.stdout) == (2, "")
    said = " ".join(done.stderr.split())
    assert said.count("library FluidSynth is not installed; install it: ") == 1
    assert "Traceback" not in said
    assert not list(tmp_path.glob("out/**/*.*"))


def test_an_old_library_says_so(monkeypatch):
    monkeypatch.setitem(synth._FUNCTIONS, "fluid_synth_of_tomorrow", (None, {}))
    with pytest.raises(LessonError, match=r"FluidSynth is older than 2.0 \(it lacks fluid_synth_of_tomorrow\)"):
        Synth(default_soundfont(), 0, 44100)


def test_a_library_of_version_1_says_so(monkeypatch):
    import fluidsynth

    monkeypatch.setattr(fluidsynth, "majver", ctypes.c_int(1))
    with pytest.raises(LessonError, match=r"FluidSynth is older than 2.0; install it: "):
        Synth(default_soundfont(), 0, 44100)


def test_the_library_is_looked_for_only_when_a_sound_must_be_recorded():
    code = (
        "import sys; from render.soundfont.soundfont import open_kit, default_soundfont; "
        "kit = open_kit(default_soundfont(), use_cache=False); before = 'fluidsynth' in sys.modules; "
        "kit.hit(38, 90); print(before, 'fluidsynth' in sys.modules)"
    )
    settings = os.environ | {"CI": "true"}  # where pyfluidsynth would say on stdout which library it found
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, timeout=60, env=settings)
    assert (done.stdout, done.stderr) == ("False True\n", "")


def test_a_soundfont_whose_name_is_not_utf_8_is_played(tmp_path):
    path = tmp_path / os.fsdecode(b"gr\xf6\xdfe.sf2")
    shutil.copy(default_soundfont(), path)
    with Synth(path, 0, 44100) as running:
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


def test_what_a_library_below_it_says_of_a_damaged_file_is_not_heard(tmp_path, capfd):
    # A RIFF file of type "sfbk" (SoundFont 2.04, 4) without a chunk; libinstpatch, which FluidSynth may have been built
    # with, writes to stderr by itself.
    (tmp_path / "own.sf2").write_bytes(b"RIFF\x04\0\0\0sfbk")
    with pytest.raises(LessonError, match="cannot play this soundfont"):
        Synth(tmp_path / "own.sf2", 0, 44100)
    os.write(2, b"heard again")
    assert capfd.readouterr().err == "heard again"
