"""A lesson's files together: what the tracks share is the same to the sample."""

import errno
import io
import os
import wave
from pathlib import Path

import numpy as np
import pretty_midi
import pytest

from grooves.errors import LessonError
from grooves.passages import Track, track_passages
from grooves.performance import perform
from render.files.parallel import share_out
from render.lesson import session as sessions
from render.lesson.load import load_lesson
from render.lesson.loop import render_loop
from render.lesson.options import LoopOptions, RenderOptions
from render.lesson.render_lesson import render_lesson
from render.sound import audio

LESSON = """
title = "Harbour Street, test page"
tempo = 160
groove = "bossa-nova"
count_in = 1
[line]
values = "4 8 8 8 8 4 | 8 4 4 4 8"
played_on = "bass drum"
[[track]]
name = "full"
[[track]]
name = "no stick"
without = ["cross-stick"]
[[track]]
name = "no ride"
without = ["right hand"]
[[track]]
name = "your foot"
without = ["line"]
"""


@pytest.fixture(scope="module")
def pack(tmp_path_factory):
    folder = tmp_path_factory.mktemp("pack")
    lesson = folder / "page.toml"
    lesson.write_text(LESSON)
    return folder, render_lesson(lesson, RenderOptions(folder / "out", stems=True))


def sound(path: Path) -> np.ndarray:
    with wave.open(str(path)) as file:
        assert (file.getnchannels(), file.getsampwidth(), file.getframerate()) == (2, 2, 44100)
        return np.frombuffer(file.readframes(file.getnframes()), "<i2").reshape(-1, 2).astype(np.int32)


def test_the_files_have_the_names_of_the_contract(pack):
    folder, report = pack
    names = {made.path.name for made in report.files}
    assert {"page-full.mid", "page-full.wav", "page-no-stick.wav", "page-full-stem-bass-drum.wav"} <= names
    assert {path.name for path in (folder / "out").iterdir()} == names


@pytest.mark.parametrize(
    ("track", "stem"), [("no-stick", "cross-stick"), ("no-ride", "ride"), ("your-foot", "bass-drum")]
)
def test_full_less_a_track_without_a_limb_is_that_limb_s_stem_to_the_sample(pack, track, stem):
    out = pack[0] / "out"
    full, without, alone = (sound(out / f"page-{name}.wav") for name in ("full", track, f"full-stem-{stem}"))
    assert np.array_equal(full - without, alone)
    assert np.abs(alone).max() > 100


def test_the_stems_of_a_track_sum_to_it(pack):
    out = pack[0] / "out"
    for track in ("full", "no-stick"):
        stems = [sound(path) for path in sorted(out.glob(f"page-{track}-stem-*.wav"))]
        assert len(stems) >= 4
        assert np.array_equal(sum(stems), sound(out / f"page-{track}.wav"))


def test_midi_of_the_track_without_a_limb_is_that_of_full_but_for_the_limb(pack):
    def notes(name: str) -> dict[str, list[tuple[float, int, int]]]:
        midi = pretty_midi.PrettyMIDI(str(pack[0] / "out" / name))
        return {i.name: [(n.start, n.pitch, n.velocity) for n in i.notes] for i in midi.instruments}

    full, without = notes("page-full.mid"), notes("page-no-stick.mid")
    assert full.pop("cross-stick")
    assert full == without


def test_the_report_says_who_plays_and_who_is_left_out(pack):
    made = next(made for made in pack[1].files if made.path.name == "page-no-stick.wav")
    assert made.plays == ("ride", "hi-hat", "line on bass drum", "count-in")
    assert made.left_out == ("cross-stick",)
    assert made.seconds == pytest.approx(len(sound(made.path)) / 44100)  # that of the file, the ring included
    midi = next(made for made in pack[1].files if made.path.name == "page-no-stick.mid")
    assert midi.seconds == pytest.approx(3 * 4 * 60 / 160)


def test_every_onset_is_at_the_nearest_sample_measured_from_the_file(pack):
    # A hit begins where its stem crosses a quarter of the hit's own peak; its distance from there is the same for all.
    stem = np.abs(sound(pack[0] / "out" / "page-full-stem-bass-drum.wav").astype(float).sum(axis=1))
    lesson = load_lesson(pack[0] / "page.toml").lesson
    passages = track_passages(Track("full"), lesson.score, 1, 1)
    hits = [hit for hit in perform(lesson.score, passages, lesson.feel).hits if hit.part == "bass drum"]
    crossings = []
    for hit in hits:
        start = int(hit.onset_seconds * 44100) - 100
        window = stem[start : start + 2000]
        crossings.append(start + int(np.argmax(window > 0.25 * window.max())) - hit.onset_seconds * 44100)
    middle = (max(crossings) + min(crossings)) / 2
    assert len(hits) > 5
    assert (
        max(abs(crossing - middle) for crossing in crossings) <= 1.5
    )  # half a sample for each end, and rounding to 16 bits


def test_a_track_without_the_line_says_which_parts_of_the_groove_are_left_out_too(tmp_path):
    path = tmp_path / "page.toml"
    path.write_text(LESSON + '[[track]]\nname = "feet"\nline = false\nwithout = ["ride", "cross-stick"]\n')
    made = render_lesson(path, RenderOptions(tmp_path / "out", tracks=("feet",), audio=False)).files[0]
    assert made.plays == ("bass drum", "hi-hat", "count-in")
    assert made.left_out == ("ride", "cross-stick", "line on bass drum")


def test_without_sound_the_wanted_tracks_alone_are_performed(pack, tmp_path, monkeypatch):
    performed, perform = [], sessions.perform

    def counted(score, passages, *rest):
        performed.append(passages)
        return perform(score, passages, *rest)

    monkeypatch.setattr(sessions, "perform", counted)
    wanted = ("no ride", "no stick", "no-ride")
    made = render_lesson(pack[0] / "page.toml", RenderOptions(tmp_path, tracks=wanted, audio=False)).files
    assert [file.track for file in made] == ["no ride", "no stick"]
    assert len(performed) == 2


def test_a_track_too_long_is_refused_before_it_is_performed(pack, tmp_path, monkeypatch):
    path = tmp_path / "long.toml"
    path.write_text(LESSON.replace("tempo = 160", "tempo = 30\nchoruses = 1000").replace("| 8 4", "| 1 | 1 | 1 | 8 4"))
    monkeypatch.setattr(sessions, "perform", lambda *_: pytest.fail("it was performed"))
    with pytest.raises(LessonError, match="the track 'full' would last 11.1 hours; a track is at most 10"):
        render_lesson(path, RenderOptions(tmp_path / "out", tracks=("full",)))


def test_a_folder_in_the_way_of_one_file_is_told_before_any_is_written(pack, tmp_path):
    (tmp_path / "page-no-ride.wav").mkdir()
    with pytest.raises(LessonError, match="page-no-ride.wav: there is a folder of that name"):
        render_lesson(pack[0] / "page.toml", RenderOptions(tmp_path))
    assert [path.name for path in tmp_path.iterdir()] == ["page-no-ride.wav"]


def test_tracks_can_be_chosen_by_name_and_keep_their_level(pack, tmp_path):
    folder, _ = pack
    report = render_lesson(folder / "page.toml", RenderOptions(tmp_path, tracks=("no stick",)))
    assert [made.path.name for made in report.files] == ["page-no-stick.mid", "page-no-stick.wav"]
    for name in ("page-no-stick.mid", "page-no-stick.wav"):
        assert (tmp_path / name).read_bytes() == (folder / "out" / name).read_bytes()


def test_an_unknown_track_is_named_with_the_nearest(pack):
    with pytest.raises(LessonError, match="--track: there is no track 'no stik'; did you mean 'no stick'?"):
        render_lesson(pack[0] / "page.toml", RenderOptions(pack[0] / "other", tracks=("no stik",)))
    assert not (pack[0] / "other").exists()


def test_plain_velocities_follow_the_published_law(pack, tmp_path):
    render_lesson(pack[0] / "page.toml", RenderOptions(tmp_path, audio=False, plain_velocities=True))
    midi = pretty_midi.PrettyMIDI(str(tmp_path / "page-full.mid"))
    mean = {i.name: np.mean([n.velocity for n in i.notes]) for i in midi.instruments}
    # DLS Level 1: 40·log10(v/127). The cross-stick lies 5 LU under the ride's plain stroke at 90.
    assert mean["cross-stick"] == pytest.approx(90 * 10 ** (-5 / 40), abs=4)


def test_a_loop_lasts_whole_bars_and_twice_as_many_times_is_the_file_twice(tmp_path, pack):
    path = pack[0] / "page.toml"
    exact = path.with_name("exact.toml")
    exact.write_text(LESSON + "[feel]\ntiming_ms = 0\nlevel_lu = 0\n")
    made = {}
    for times in (2, 4):
        render_loop(exact, LoopOptions("2", "100%", times, ("cross-stick",)), RenderOptions(tmp_path / str(times)))
        made[times] = sound(tmp_path / str(times) / "exact-loop-bar-2.wav")
    assert len(made[2]) == round(2 * 4 * 60 / 160 * 44100)
    twice, once_longer = np.concatenate([made[2], made[2]]), made[4]
    assert len(twice) == len(once_longer)
    difference = (twice - once_longer) / 32768
    seam = difference[len(made[2]) - 4410 : len(made[2]) + 44100]
    assert 20 * np.log10(np.sqrt(np.mean(seam**2)) + 1e-12) < -90


def test_a_loop_s_second_file_is_counted_in(tmp_path, pack):
    report = render_loop(pack[0] / "page.toml", LoopOptions("1", "60%", 2), RenderOptions(tmp_path))
    assert [made.path.name for made in report.files] == [
        "page-loop-bar-1.mid", "page-loop-bar-1.wav", "page-loop-bar-1-counted-in.mid", "page-loop-bar-1-counted-in.wav",
    ]  # fmt: skip
    assert "count-in" in report.files[3].plays


def test_what_must_be_silent_is_silent_in_the_sound(tmp_path):
    lesson = tmp_path / "quiet.toml"
    lesson.write_text(
        LESSON.replace("values", 'bars = "1-2"\nvalues')
        + '[[track]]\nname = "traded"\ntimes = 2\ntrade = { with = 2, without = 2 }\n'
        + '[[track]]\nname = "gapped"\ntimes = 2\nclick = "every beat"\nsilence = { play = 2, rest = 2 }\n'
    )
    render_lesson(lesson, RenderOptions(tmp_path / "out", tracks=("traded", "gapped"), stems=True))
    bar = round(4 * 60 / 160 * 44100)
    traded = sound(tmp_path / "out" / "quiet-traded-stem-bass-drum.wav")
    assert np.abs(traded[bar : 3 * bar]).max() > 100
    assert not traded[3 * bar + 44100 : 5 * bar].any()  # once the last stroke has rung out
    gapped = sound(tmp_path / "out" / "quiet-gapped.wav")
    assert np.abs(gapped[int(4.9 * bar) : 5 * bar]).max() < 0.05 * np.abs(gapped[bar : 3 * bar]).max()


def test_both_files_of_a_loop_have_one_level(tmp_path, pack):
    exact = tmp_path / "exact.toml"
    exact.write_text(LESSON + "[feel]\ntiming_ms = 0\nlevel_lu = 0\n")
    render_loop(exact, LoopOptions("1", "100%", 10), RenderOptions(tmp_path / "out"))
    seamless, counted = (sound(tmp_path / "out" / f"exact-loop-bar-1{name}.wav") for name in ("", "-counted-in"))
    bar = round(4 * 60 / 160 * 44100)
    # The last time through the loop is the last one after the count-in too, but for dither, once earlier rings are gone.
    assert np.abs(seamless[9 * bar : 10 * bar] - counted[10 * bar : 11 * bar]).max() <= 8


@pytest.mark.parametrize("form", ["flac", "ogg", "mp3"])
def test_other_sound_formats_hold_the_same_length(pack, tmp_path, form):
    import soundfile

    report = render_lesson(pack[0] / "page.toml", RenderOptions(tmp_path, tracks=("full",), format=form))
    made = next(made for made in report.files if made.kind == "audio")
    assert made.path.suffix == f".{form}"
    frames = len(soundfile.read(str(made.path))[0])
    wanted = len(sound(pack[0] / "out" / "page-full.wav"))
    assert abs(frames - wanted) <= (0 if form == "flac" else 2500)  # lossy codecs pad


def test_the_rate_can_be_48_kilohertz(pack, tmp_path):
    render_lesson(pack[0] / "page.toml", RenderOptions(tmp_path, tracks=("full",), rate=48000))
    with wave.open(io.BytesIO((tmp_path / "page-full.wav").read_bytes())) as file:
        assert file.getframerate() == 48000


@pytest.mark.parametrize("wished", [1, 3])
def test_as_many_processes_as_wished_share_the_mixing_and_the_files_are_the_same(wished, pack, tmp_path, monkeypatch):
    counts = []

    def counted(work, count):
        counts.append(count)
        return share_out(work, count)

    monkeypatch.setattr(audio, "share_out", counted)
    render_lesson(pack[0] / "page.toml", RenderOptions(tmp_path, processes=wished))
    assert counts == [wished]
    for track in ("full", "no-stick", "your-foot"):
        assert np.array_equal(sound(tmp_path / f"page-{track}.wav"), sound(pack[0] / "out" / f"page-{track}.wav"))


def test_a_disk_that_is_full_leaves_nothing_whoever_of_the_processes_finds_out(pack, tmp_path, monkeypatch):
    def full(file, data, place):
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(os, "pwrite", full)
    with pytest.raises(LessonError, match="cannot be written: No space left on device"):
        render_lesson(pack[0] / "page.toml", RenderOptions(tmp_path, processes=2))
    assert not [*tmp_path.iterdir()]
