"""Recording and measuring shared out among processes: the same as by one, all of it, and only where it is new."""

import os
import sys
import time
from contextlib import closing
from dataclasses import replace
from functools import partial
from pathlib import Path

import numpy as np
import pytest
from music import text_of

from grooves.errors import LessonError
from grooves.passages import track_passages
from grooves.performance import perform
from render.lesson.load import load_lesson
from render.lesson.options import RenderOptions
from render.lesson.render_lesson import render_lesson
from render.sound.balance import calibrate, velocities
from render.sound.events import Rendition
from render.sound.gain import gain_for
from render.sound.peaks import _frames
from render.sound.recordings import record
from render.sound.tracks import side_by_side
from render.soundfont.entries import RING
from render.soundfont.recording import Sample, panned
from render.soundfont.soundfont import default_soundfont, open_kit

LARGE = Path("/usr/share/sounds/sf2/FluidR3_GM.sf2")  # whose drums, bass and piano have layers of velocity
forks = pytest.mark.skipif(sys.platform != "linux", reason="forks on Linux only")
BAND = '[band]\nform = "turnaround"\n'


@pytest.fixture(autouse=True)
def own_cache(tmp_path, monkeypatch):
    monkeypatch.setenv("FOURLIMB_CACHE", str(tmp_path / "cache"))


@pytest.fixture(scope="module")
def played(tmp_path_factory):
    path = tmp_path_factory.mktemp("lesson") / "band.toml"
    path.write_text(text_of("4 8 8 4 4", tempo=160, feel="level_lu = 1", tracks=BAND))
    lesson = load_lesson(path).lesson
    track = next(track for track in lesson.tracks if track.name == "with-band")
    passages = track_passages(track, lesson.score, 4, 1)
    return perform(lesson.score, passages, lesson.feel, lesson.balance_lu)


def recorded(played, path, processes):
    """All that recording and measuring keeps."""
    with closing(open_kit(path, use_cache=False, processes=processes)) as kit:
        record([played], kit)
        return {(kind.name, name): table for (kind, name), table in kit._kept.items()}


@forks
@pytest.mark.parametrize(
    "path", [default_soundfont(), pytest.param(LARGE, marks=pytest.mark.skipif(not LARGE.is_file(), reason="not here"))]
)
def test_several_processes_record_and_measure_what_one_does_to_the_bit(path, played):
    alone, shared = recorded(played, path, 1), recorded(played, path, 3)
    assert shared.keys() == alone.keys()
    assert {kind for kind, _ in alone} >= {"sample", "powers", "peaks", "release", "loudness"}
    for what, table in alone.items():
        assert np.array_equal(shared[what], table), what


def test_all_that_a_track_needs_is_recorded_and_measured_beforehand(played):
    with closing(open_kit(default_soundfont(), use_cache=False, processes=2)) as kit:
        record([played], kit)
        before = set(kit._kept)
        balance = calibrate(kit, {hit.key for hit in played.hits})
        gain_for(side_by_side([Rendition(played, velocities(played, balance))], kit))
        assert {kind for kind, _ in set(kit._kept) - before} == {RING}


@forks
def test_who_was_heard_before_is_not_recorded_again_and_who_is_new_is(played, monkeypatch):
    fork, forked = os.fork, []
    monkeypatch.setattr(os, "fork", lambda: forked.append(None) or fork())
    for _ in range(2):
        with closing(open_kit(default_soundfont(), processes=2)) as kit:
            record([played], kit)
    assert len(forked) == 1
    with closing(open_kit(default_soundfont(), processes=2)) as kit:
        calibrate(kit, ())
        assert kit._synth is None  # all of it came from the disk
        others = [part for part in kit._kept if part[1].startswith("program")]
        assert not others  # the band was not asked for


@forks
def test_where_no_process_can_be_had_all_is_recorded_here(played, monkeypatch):
    def refuse():
        raise BlockingIOError("Resource temporarily unavailable")

    alone = recorded(played, default_soundfont(), 1)
    monkeypatch.setattr(os, "fork", refuse)
    shared = recorded(played, default_soundfont(), 2)
    assert shared.keys() == alone.keys()


@forks
def test_jobs_are_dealt_out_one_by_one_each_once_and_what_they_keep_is_kept_here():
    def job(number):
        time.sleep(0.02)
        kit.keep(RING, str(number), lambda: np.array([[os.getpid()]], np.float32))

    with closing(open_kit(default_soundfont(), use_cache=False, processes=2)) as kit:
        kit.share_out([partial(job, number) for number in range(8)])
        made = [int(kit._kept[RING, str(number)][0, 0]) for number in range(8)]
    assert len(set(made)) == 2
    assert os.getpid() in made
    with closing(open_kit(default_soundfont(), use_cache=False)) as kit:  # one process
        kit.share_out([partial(job, number) for number in range(3)])
        assert {int(kit._kept[RING, str(number)][0, 0]) for number in range(3)} == {os.getpid()}


@forks
def test_what_another_process_fails_to_make_is_made_when_it_is_asked_for():
    here = os.getpid()

    def job(number):
        time.sleep(0.05)
        if os.getpid() != here:
            raise LessonError("not here")
        kit.keep(RING, str(number), lambda: np.ones((1, 1), np.float32))

    with closing(open_kit(default_soundfont(), use_cache=False, processes=2)) as kit:
        kit.share_out([partial(job, number) for number in range(3)])
        assert not all(kit.has(RING, str(number)) for number in range(3))
        assert kit.keep(RING, "9", lambda: np.ones((1, 1), np.float32))[0, 0] == 1


@forks
def test_what_processes_have_shared_is_on_disk_for_the_next_one(played):
    with closing(open_kit(default_soundfont(), processes=2)) as kit:
        record([played], kit)
        kept = dict(kit._kept)
    with closing(open_kit(default_soundfont())) as kit:
        missing = [name for kind, name in kept if not kit.has(kind, name)]
        assert not missing
        assert all(np.array_equal(kit._kept[what], table) for what, table in kept.items())


@forks
def test_what_was_recorded_is_written_to_the_disk_while_the_tracks_are_mixed(played, tmp_path):
    with closing(open_kit(default_soundfont())) as kit:
        record([played], kit)
        kit.cache._writer.join()
        assert len([*(tmp_path / "cache").glob("kits/*/entries-????????")]) == 1  # though the kit is in use


def test_a_lesson_rendered_by_several_processes_from_nothing_has_the_bytes_of_one(tmp_path, monkeypatch):
    lesson = tmp_path / "lesson.toml"
    lesson.write_text(text_of("4 8 8 4 4", tempo=200, tracks=BAND))
    options = RenderOptions(tmp_path, tracks=("with-band",))
    files = []
    for processes in (1, 3):
        monkeypatch.setenv("FOURLIMB_CACHE", str(tmp_path / f"cache{processes}"))
        made = render_lesson(lesson, replace(options, folder=tmp_path / f"out{processes}", processes=processes)).files
        files.append([file.path.read_bytes() for file in made])
    assert files[0] == files[1]


@pytest.mark.parametrize("channels", [1, 2])
def test_the_frames_of_a_window_are_those_of_the_sample_and_silence_around_it(channels):
    values = np.arange(1, 1 + 100 * channels, dtype=np.float32)
    sample = Sample("60", values, channels, (0.5, 1.0) if channels == 1 else (1.0, 1.0))
    firsts = np.array([-47, -10, 0, 30, 52, 53, 99, 200, -300])
    around = np.pad(sample.sound(), ((400, 400), (0, 0)))
    wanted = [around[400 + first : 448 + first] for first in firsts]
    assert np.array_equal(_frames(sample, firsts), wanted)


def test_one_channel_on_two_sides_is_its_product_with_each():
    values = np.random.default_rng(1).standard_normal(1000).astype(np.float32)
    assert np.array_equal(panned(values, (0.3, 1.0)), values[:, None] * np.array((0.3, 1.0), np.float32))
