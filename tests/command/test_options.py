"""Options of the command line, each by what it changes."""

import json
from pathlib import Path

import mido
import pytest

from render.command.cli import main

LESSON = """
title = "Harbour Street, options"
tempo = 180
groove = "swing"
count_in = 1
[line]
values = "4 8 8 4 4 | 8 4 4 4 8"
"""


@pytest.fixture
def lesson(tmp_path) -> Path:
    path = tmp_path / "page.toml"
    path.write_text(LESSON)
    return path


def parts(midi: Path) -> set[str]:
    return {track.name for track in mido.MidiFile(midi).tracks[1:]}


def velocities(midi: Path) -> list[int]:
    return [message.velocity for track in mido.MidiFile(midi).tracks for message in track if message.type == "note_on"]


def loop(lesson: Path, out: Path, *words: str) -> list[str]:
    assert main(["loop", str(lesson), "--bars", "1", "--times", "2", "-o", str(out), *words]) == 0
    return sorted(path.name for path in out.iterdir())


def test_a_loop_without_audio_is_midi_alone(lesson, tmp_path):
    assert loop(lesson, tmp_path / "a", "--no-audio") == ["page-loop-bar-1-counted-in.mid", "page-loop-bar-1.mid"]


def test_a_loop_has_a_click_where_it_is_asked_for(lesson, tmp_path):
    loop(lesson, tmp_path / "a", "--no-audio")
    loop(lesson, tmp_path / "b", "--no-audio", "--click", "2 and 4")
    assert parts(tmp_path / "b/page-loop-bar-1.mid") - parts(tmp_path / "a/page-loop-bar-1.mid") == {"click"}


def test_a_loop_for_an_unknown_sound_module_has_plain_velocities(lesson, tmp_path):
    loop(lesson, tmp_path / "a", "--no-audio")
    loop(lesson, tmp_path / "b", "--no-audio", "--velocities", "plain")
    assert velocities(tmp_path / "a/page-loop-bar-1.mid") != velocities(tmp_path / "b/page-loop-bar-1.mid")


def test_a_format_may_be_written_in_capitals(lesson, tmp_path):
    assert "page-loop-bar-1.flac" in loop(lesson, tmp_path / "a", "--format", "FLAC")


def test_the_balance_without_audio_is_midi_alone(lesson, tmp_path):
    assert main(["balance", str(lesson), "-o", str(tmp_path / "a"), "--no-audio"]) in (0, 1)
    assert [path.name for path in (tmp_path / "a").iterdir()] == ["page-balance.mid"]


def test_another_drum_kit_has_its_own_program_and_one_that_is_not_there_is_named(lesson, tmp_path, capsys):
    words = ["render", str(lesson), "--no-audio", "--no-documents", "--track", "full"]
    assert main([*words, "-o", str(tmp_path / "a"), "--kit-program", "Brush"]) == 0
    changes = [
        m.program for t in mido.MidiFile(tmp_path / "a/page-full.mid").tracks for m in t if m.type == "program_change"
    ]
    assert set(changes) == {40}  # General MIDI 2, percussion sets: Brush Kit is program 41, counted from 1
    assert main([*words, "-o", str(tmp_path / "b"), "--kit-program", "Broom"]) == 2
    assert "kit_program: 'Broom' is no drum kit of it" in capsys.readouterr().err
    assert not list((tmp_path / "b").glob("*"))


def test_a_chart_shows_what_it_is_asked_for(lesson, tmp_path, capsys):
    def drawn(*words: str) -> str:
        target = tmp_path / "x.svg"
        assert main(["chart", str(lesson), "-o", str(target), *words]) == 0
        return target.read_text()

    everything, line, counted = drawn(), drawn("--show", "line"), drawn("--show", "line", "--counts")
    assert "Who sounds together" in everything and "Who sounds together" not in line
    assert len(line) < len(counted)
    assert "Who sounds together" in drawn("--show", "line", "--show", "grid")
    assert main(["chart", str(lesson), "-o", str(tmp_path / "y.svg"), "--show", "lin"]) == 2
    assert "'lin' is no piece of a chart; did you mean 'line'?" in capsys.readouterr().err
    assert not (tmp_path / "y.svg").exists()


def test_two_lessons_come_out_alike_or_each_as_loud_as_it_can(lesson, tmp_path, capsys):
    other = tmp_path / "loud.toml"
    other.write_text(LESSON + '[balance]\nline = 6\n[[track]]\nname = "full"\n')
    words = ["render", str(lesson), str(other), "--no-documents", "--track", "full", "--json"]
    said = []
    for level in ("shared", "per-lesson"):
        assert main([*words, "-o", str(tmp_path / level), "--level", level]) == 0
        said.append(json.loads(capsys.readouterr().out)["notes"])
    same = (tmp_path / "shared/page-full.wav").read_bytes() == (tmp_path / "per-lesson/page-full.wav").read_bytes()
    assert not same and said[0] != said[1]


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (["new", ""], ".: a lesson's name ends in .toml; write tuesday.toml"),
        (["new", "."], ".: a lesson's name ends in .toml; write tuesday.toml"),
        (["new", "/"], "/: a lesson's name ends in .toml; write tuesday.toml"),
        (["bars", "/", "--stairs", "1"], "/: this is a folder; name a file in it"),
        (["bars", "", "--stairs", "1"], ".: this is a folder; name a file in it"),
        (["render", "/dev/zero"], "/dev/zero: this is a device or a pipe; name a file"),
        (["render", "pag"], "pag: there is no such file; did you mean 'page.toml'?"),
        (["render", "page"], "page: there is no such file; did you mean 'page.toml'?"),
        (["render", "quite-another.toml"], "quite-another.toml: there is no such file"),
        (["render", "nope.toml"], "nope.toml: there is no such file"),  # alike in their ending alone
    ],
)
def test_a_name_that_is_no_lesson_is_one_line(words, message, lesson, tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    assert main(words) == 2
    assert capsys.readouterr().err == f"fourlimb: {message}\n"


def test_a_pipe_is_not_waited_for(tmp_path, capsys):
    import os

    os.mkfifo(tmp_path / "page.toml")
    assert main(["bars", str(tmp_path / "page.toml")]) == 2
    assert "this is a device or a pipe; name a file" in capsys.readouterr().err


def test_a_lesson_of_more_than_a_megabyte_is_refused(tmp_path, capsys):
    (tmp_path / "page.toml").write_text("#" * 1_000_001)
    assert main(["bars", str(tmp_path / "page.toml")]) == 2
    assert "this file is larger than 1 MB; a lesson is a page of text" in capsys.readouterr().err


def test_an_error_that_an_interruption_leads_to_is_told_as_the_interruption():
    import subprocess
    import sys

    code = (
        "import os, signal, sys\n"
        "import render.command.app as app\n"
        "from render.command.cli import main\n"
        "from grooves.errors import LessonError\n"
        "def stumble(words):\n"
        "    try:\n"
        "        os.kill(os.getpid(), signal.SIGTERM)\n"
        "        signal.pause()\n"
        "    except KeyboardInterrupt:\n"
        "        raise {error}('the file is gone')\n"
        "app.call = stumble\n"
        "sys.exit(main(['grooves'], told_to_end=True))\n"
    )
    for error in ("LessonError", "RuntimeError", "OSError"):
        done = subprocess.run(
            [sys.executable, "-c", code.format(error=error)], capture_output=True, text=True, timeout=60
        )
        assert done.stderr == "fourlimb: interrupted; nothing half-written was left\n", error
        assert done.returncode == 130
