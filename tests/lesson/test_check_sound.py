"""Sound takes from file to answer: each recording that cannot be judged is answered in one plain sentence."""

import json

import numpy as np
import pytest
from takes_made import LINE, Student, sheet
from takes_sound import CLEAN, FLUID, RATE, Drums, recorded, saved

from grooves.errors import LessonError
from grooves.takes.check import student_track
from grooves.takes.sheet import sheet_of
from grooves.takes.take import Take
from render.command.cli import main
from render.lesson.check import CheckOptions, check_lesson, level_notes
from render.lesson.load import load_lesson
from render.lesson.options import RenderOptions
from render.lesson.render_lesson import render_lesson

needs_fluid = pytest.mark.skipif(
    not FLUID.exists(), reason="FluidR3, the soundfont that plays these takes, is not here"
)
LESSON = f"""
title = "Harbour Street, late in the evening"
tempo = 138
groove = "swing"
choruses = 2
count_in = 1
[line]
values = "{LINE}"
"""


@pytest.fixture
def lesson(tmp_path):
    path = tmp_path / "late.toml"
    path.write_text(LESSON)
    return path


def of_lesson(lesson):
    read = load_lesson(lesson).lesson
    return sheet_of(read, student_track(read.tracks))


def refused(lesson, sound, rate=RATE):
    report = check_lesson(lesson, saved(lesson.with_name("take.wav"), sound, rate), CheckOptions())
    assert len(report.sentences) == 1 and not any(one.heard for one in report.limbs) and not report.bars
    return report.sentences[0]


@needs_fluid
def test_a_sound_take_is_answered_with_pictures_and_practice(lesson, tmp_path, capsys):
    sound, _ = recorded(of_lesson(lesson), Student(41, limb_ms={"right foot": 26.0}, missing=0.05), Drums(), CLEAN)
    take = saved(tmp_path / "take.wav", sound)
    assert main(["check", str(lesson), str(take), "-o", str(tmp_path / "again"), "--json"]) == 0
    report = json.loads(capsys.readouterr().out)
    foot = next(one for one in report["limbs"] if one["part"] == "bass drum")
    assert foot["heard"] and foot["lateness_ms"] == pytest.approx(26, abs=8) and report["bass_drum_lu"] is None
    assert "Your right foot (bass drum) came" in " ".join(report["sentences"])
    assert {made["kind"] for made in report["files"]} >= {"check", "lesson", "audio"}


@needs_fluid
def test_a_take_of_another_lesson_is_told(lesson):
    other = sheet("8r 4 8r 8r 4 8r | 4r 8r 4 8r 8r 8 | 8r 4 8 4r 8r 8", tempo=97, choruses=2)
    said = refused(lesson, recorded(other, Student(42), Drums(), CLEAN)[0])
    assert "does not fit the track" in said or "is heard in this take" in said


def test_the_track_itself_is_told(lesson, tmp_path):
    render_lesson(lesson, RenderOptions(tmp_path / "out", tracks=("without-line",)))
    report = check_lesson(lesson, tmp_path / "out" / "late-without-line.wav", CheckOptions())
    assert report.sentences == ("This is the track itself; record what you play while you hear it.",)


def test_silence_two_seconds_and_clipping_are_told(lesson):
    draw = np.random.default_rng(43)
    assert "no sound in this take" in refused(lesson, np.zeros(RATE * 8))
    assert "too short" in refused(lesson, draw.standard_normal(RATE * 2) * 0.1)
    assert "clipped" in refused(lesson, np.clip(3 * np.sin(np.arange(RATE * 8) * 0.03), -1, 1))


def test_noise_is_no_take(lesson):
    noise = np.random.default_rng(44).standard_normal(RATE * 14) * 0.1
    assert "heard in this take" in refused(lesson, noise) or "does not fit" in refused(lesson, noise)


def test_a_kit_of_another_kind_of_file_is_refused(lesson):
    take = saved(lesson.with_name("take.wav"), np.random.default_rng(45).standard_normal(RATE * 6) * 0.1)
    pads = lesson.with_name("pads.mid")
    pads.write_bytes(b"MThd")
    with pytest.raises(LessonError, match="--kit: .*is a MIDI file, and the take is sound"):
        check_lesson(lesson, take, CheckOptions(kit=pads))


# --- before a take --------------------------------------------------------------------------------


def test_hello_writes_a_click_and_says_the_order(lesson, tmp_path, capsys):
    assert main(["check", "--hello", "-o", str(tmp_path / "kit")]) == 0
    said = capsys.readouterr().out
    assert (tmp_path / "kit" / "hello.wav").exists()
    assert said.index("the ride") < said.index("the snare") < said.index("the bass drum") < said.index("the hi-hat")
    lesson.write_text(LESSON.replace('"swing"', '"bossa-nova"'))
    assert main(["check", str(lesson), "--hello", "-o", str(tmp_path), "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["parts"] == list(load_lesson(lesson).lesson.score.parts)


def test_hello_measures_the_delay_of_its_own_recording(tmp_path, capsys):
    import soundfile

    assert main(["check", "--hello", "-o", str(tmp_path)]) == 0
    click, rate = soundfile.read(tmp_path / "hello.wav")
    soundfile.write(tmp_path / "back.wav", np.concatenate([np.zeros(rate // 20), click]), rate)
    capsys.readouterr()
    assert main(["check", "--hello", str(tmp_path / "back.wav")]) == 0
    assert "The click comes back 50 ms late; add --latency 50." in capsys.readouterr().out
    assert main(["check", "--hello", str(tmp_path / "none.wav")]) == 2
    assert "there is no such file" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("take", "told"),
    [
        (Take((), 20.0, automatic=True), ["The recorder changed its own gain, so loudness is not compared"]),
        (
            Take((), 20.0, against_own_lu=-4.2),
            ["Against the ride your bass drum was 4 LU softer than in your own single"],
        ),
        (
            Take((), 20.0, against_own_lu=5.1),
            ["Against the ride your bass drum was 5 LU louder than in your own single"],
        ),
        (
            Take((), 20.0, against_own_lu=-3.4),
            ["Against the ride your bass drum was about as loud as in your own single"],
        ),
        (Take((), 20.0, levels=True, against_own_lu=-4.2), []),
        (Take((), 20.0), []),
    ],
)
def test_what_is_said_of_loudness_is_only_what_the_recording_holds(take, told):
    said = list(level_notes(take))
    assert len(said) == len(told) and all(one.startswith(meant) for one, meant in zip(said, told, strict=True))
