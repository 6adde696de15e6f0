"""The command line as a teacher meets it: files, exit codes, one message, nothing half-written."""

import json
import os
import re
import resource
import signal
import subprocess
import sys
import time
import tomllib
from pathlib import Path

import pytest

from grooves.rhythm import Meter, parse_values
from grooves.teaching.graded import lines as graded
from render.command.app import COMMANDS
from render.command.cli import main

ROOT = Path(__file__).parents[2]
LESSON = """
title = "Harbour Street, test page"
tempo = 180
groove = "swing"
count_in = 1
[line]
values = "4 8 8 4 4 | 8 4 4 4 8"
"""


@pytest.fixture
def lesson(tmp_path):
    path = tmp_path / "page.toml"
    path.write_text(LESSON)
    return path


def fourlimb(*words, **options):
    return subprocess.run(
        [sys.executable, "-m", "render", *map(str, words)],
        capture_output=True,
        text=True,
        check=False,
        cwd=ROOT,
        **options,
    )


def files_in(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.rglob("*") if path.is_file())


# --- what it does ----------------------------------------------------------------------------------


def test_render_writes_midi_sound_and_paper_and_says_so_in_json(lesson, tmp_path, capsys):
    assert main(["render", str(lesson), "-o", str(tmp_path / "out"), "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert {(one["track"], one["kind"]) for one in told["files"]} >= {
        *((track, kind) for track in ("time", "ride-and-line", "full", "without-line") for kind in ("midi", "audio")),
        ("", "chart"), ("", "musicxml"), ("", "page"),
    }  # fmt: skip
    assert sorted(Path(one["path"]).name for one in told["files"]) == files_in(tmp_path / "out")
    assert {"page-full.mid", "page-full.wav", "page-chart.pdf", "page.musicxml", "page.html"} <= set(
        files_in(tmp_path / "out")
    )


def test_render_tells_a_person_who_plays_and_who_is_left_out(lesson, tmp_path, capsys):
    assert main(["render", str(lesson), "-o", str(tmp_path / "out"), "--no-audio", "--no-documents"]) == 0
    told = capsys.readouterr().out
    row = next(line for line in told.splitlines() if "page-ride-and-line.mid" in line)
    assert "0:04" in row
    assert "ride, line on snare, count-in" in row
    assert "bass drum, hi-hat" in row


def test_no_audio_and_no_paper_leave_midi_alone(lesson, tmp_path):
    assert (
        main(["render", str(lesson), "-o", str(tmp_path / "out"), "--no-audio", "--no-documents", "--track", "full"])
        == 0
    )
    assert files_in(tmp_path / "out") == ["page-full.mid"]


def test_stems_and_formats_are_made_on_request(lesson, tmp_path):
    words = [
        "render",
        str(lesson),
        "-o",
        str(tmp_path / "out"),
        "--no-documents",
        "--track",
        "full",
        "--stems",
        "--format",
        "flac",
    ]
    assert main(words) == 0
    assert files_in(tmp_path / "out") == [
        "page-full-stem-bass-drum.flac", "page-full-stem-count-in.flac", "page-full-stem-hi-hat.flac",
        "page-full-stem-ride.flac", "page-full-stem-snare.flac", "page-full.flac", "page-full.mid",
    ]  # fmt: skip


def test_a_folder_of_lessons_is_rendered_side_by_side(lesson, tmp_path, capsys):
    (tmp_path / "other.toml").write_text(LESSON.replace("swing", "bossa-nova"))
    assert main(["render", str(tmp_path), "-o", str(tmp_path / "out"), "--no-documents", "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert [Path(one["path"]).name for one in told["lessons"]] == ["other.toml", "page.toml"]
    assert len(files_in(tmp_path / "out")) == 16


def test_python_m_render_is_the_same_command(lesson, tmp_path):
    done = fourlimb("render", lesson, "-o", tmp_path / "out", "--no-audio", "--no-documents", "--json")
    assert (done.returncode, done.stderr) == (0, "")
    assert json.loads(done.stdout)["files"]


def test_demo_leaves_every_kind_of_file(tmp_path):
    assert main(["demo", "-o", str(tmp_path / "demo")]) == 0
    kinds = {Path(name).suffix for name in files_in(tmp_path / "demo")}
    assert kinds == {".toml", ".mid", ".wav", ".pdf", ".musicxml", ".html"}


def test_new_writes_a_lesson_that_renders_and_never_overwrites(tmp_path, capsys):
    path = tmp_path / "tuesday.toml"
    assert main(["new", str(path)]) == 0
    assert main(["render", str(path), "-o", str(tmp_path / "out"), "--no-audio", "--no-documents"]) == 0
    path.write_text("mine")
    assert main(["new", str(path)]) == 2
    assert "there is a file of that name already; choose another" in capsys.readouterr().err
    assert path.read_text() == "mine"


def test_loop_writes_a_seamless_file_and_a_counted_one(lesson, tmp_path):
    words = [
        "loop",
        str(lesson),
        "--bars",
        "2",
        "--tempo",
        "50%",
        "--times",
        "3",
        "--without",
        "snare",
        "-o",
        str(tmp_path / "out"),
    ]
    assert main(words) == 0
    assert files_in(tmp_path / "out") == [
        "page-loop-bar-2-counted-in.mid", "page-loop-bar-2-counted-in.wav", "page-loop-bar-2.mid", "page-loop-bar-2.wav",
    ]  # fmt: skip


def test_bars_tells_the_hardest_first_with_a_reason(lesson, capsys):
    assert main(["bars", str(lesson), "--json"]) == 0
    told = json.loads(capsys.readouterr().out)["bars"]
    assert [bar["bar"] for bar in told] == [2, 1]
    assert told[0]["difficulty"] > told[1]["difficulty"]
    assert told[0]["why"].endswith(".")
    assert told[1]["places"][0]["words"]
    assert main(["bars", str(lesson)]) == 0
    assert "bar 2" in capsys.readouterr().out


def test_stairs_write_a_lesson_that_renders(lesson, tmp_path):
    target = tmp_path / "up.toml"
    assert main(["bars", str(lesson), "--stairs", "2", "-o", str(target)]) == 0
    assert "repeat_each = 4" in target.read_text()
    assert main(["render", str(target), "-o", str(tmp_path / "out"), "--no-audio", "--no-documents"]) == 0


def test_lines_are_text_to_put_into_a_lesson(tmp_path, capsys):
    assert main(["lines", "--level", "3", "--bars", "8", "--seed", "5"]) == 0
    written = capsys.readouterr().out
    path = tmp_path / "graded.toml"
    path.write_text(f'title = "x"\ntempo = 100\ngroove = "swing"\n{written}')
    assert main(["render", str(path), "-o", str(tmp_path / "out"), "--no-audio", "--no-documents"]) == 0
    assert main(["lines", "--level", "3", "--bars", "8", "--seed", "6"]) == 0
    assert capsys.readouterr().out != written


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("level", range(1, 11))
def test_printed_lines_of_every_level_are_read_again(level, seed, capsys):
    for bars in (8, 12):
        assert main(["lines", "--level", str(level), "--bars", str(bars), "--seed", str(seed)]) == 0
        text = tomllib.loads(capsys.readouterr().out)["line"]["values"]
        assert parse_values(text, Meter(4, 4)) == graded(level, bars, seed)


def test_a_folder_with_bad_lessons_names_them_all_and_renders_none(lesson, tmp_path, capsys):
    folder = tmp_path / "mixed"
    folder.mkdir()
    text = lesson.read_text()
    (folder / "a.toml").write_text(text)
    (folder / "b.toml").write_text(text.replace("tempo", "tmpo"))
    (folder / "c.toml").write_text(text.replace("[line]", "[lime]"))
    assert main(["render", str(folder), "-o", str(tmp_path / "out"), "--no-documents"]) == 2
    said = capsys.readouterr().err
    assert "b.toml: tmpo: no such key; did you mean 'tempo'?" in said
    assert "c.toml: lime: no such key; did you mean 'line'?" in said
    assert said.rstrip().endswith("nothing was rendered")
    assert not (tmp_path / "out").exists()


@pytest.mark.parametrize(("closed", "code"), [(">&-", 0), ("2>&-", 0), (">&- 2>&-", 0)])
def test_a_closed_stream_is_no_fault(closed, code):
    done = subprocess.run(
        f"{sys.executable} -m render grooves --json {closed}", shell=True, capture_output=True, cwd=ROOT
    )
    assert (done.returncode, done.stderr) == (code, b"")


def test_a_mistake_ends_with_2_though_nobody_can_hear_of_it():
    assert (
        subprocess.run(f"{sys.executable} -m render chart nowhere.toml -o a.pdf 2>&-", shell=True, cwd=ROOT).returncode
        == 2
    )


def test_a_track_too_long_for_wav_is_refused_before_anything_is_written(tmp_path, capsys):
    path = tmp_path / "long.toml"
    slow = LESSON.replace("tempo = 180", "tempo = 30\nchoruses = 1000").replace("8 4 4 4 8", "8 4 4 4 8 | 1 | 1")
    path.write_text(slow)
    assert main(["render", str(path), "-o", str(tmp_path / "out"), "--no-documents"]) == 2
    assert re.search(r"lasts \d+\.\d hours; a WAV file holds 6.8: ask for fewer choruses, or for --format flac",
                     capsys.readouterr().err)  # fmt: skip
    assert not (tmp_path / "out").exists()


def test_an_unknown_home_of_the_cache_is_a_mistake(lesson, tmp_path, capsys, monkeypatch):
    monkeypatch.setenv("FOURLIMB_CACHE", "~nobodyhere/x")
    assert main(["render", str(lesson), "-o", str(tmp_path / "out"), "--no-documents"]) == 2
    assert "FOURLIMB_CACHE names ~nobodyhere/x, and there is no such user" in capsys.readouterr().err


@pytest.mark.parametrize("ending", ["pdf", "svg", "png", "musicxml"])
def test_chart_writes_what_its_file_s_ending_says(lesson, tmp_path, ending):
    target = tmp_path / f"page.{ending}"
    assert main(["chart", str(lesson), "-o", str(target)]) == 0
    head = {"pdf": b"%PDF", "svg": b"<svg", "png": b"\x89PNG", "musicxml": b"<?xml"}[ending]
    assert target.read_bytes().lstrip()[: len(head)] == head


def test_page_of_a_folder_has_an_index(lesson, tmp_path):
    assert main(["page", str(tmp_path), "-o", str(tmp_path / "term")]) == 0
    assert files_in(tmp_path / "term") == ["index.html", "page.html"]
    assert 'href="page.html"' in (tmp_path / "term" / "index.html").read_text()


def test_page_of_a_lesson_lies_beside_it_unless_told_otherwise(lesson, tmp_path):
    assert main(["page", str(lesson)]) == 0
    assert main(["page", str(lesson), "-o", str(tmp_path / "other.html")]) == 0
    assert (tmp_path / "page.html").read_bytes() == (tmp_path / "other.html").read_bytes()


def test_a_groove_of_one_s_own_beside_the_lessons_is_no_lesson(tmp_path, capsys):
    folder = tmp_path / "term"
    folder.mkdir()
    (folder / "mine.toml").write_text((ROOT / "grooves" / "library" / "swing.toml").read_text())
    assert main(["render", str(folder)]) == 2
    assert "there is no lesson (.toml) in this folder" in capsys.readouterr().err
    (folder / "page.toml").write_text(LESSON.replace('"swing"', '"mine.toml"'))
    assert main(["render", str(folder), "-o", str(tmp_path / "out"), "--no-audio", "--no-documents"]) == 0
    assert "page-full.mid" in files_in(tmp_path / "out")
    assert main(["page", str(folder), "-o", str(tmp_path / "pages")]) == 0
    assert files_in(tmp_path / "pages") == ["index.html", "page.html"]


@pytest.mark.parametrize("command", ["render", "page"])
@pytest.mark.parametrize(
    ("text", "said"),
    [
        (LESSON.replace("title", 'meter = "4/4"\ntitle'), "meter: no such key"),
        (LESSON.partition("[line]")[0] + 'meter = "4/4"', "meter: no such key"),
        ('title = "x"', "tempo"),
        ("meter = ", "write a value after it"),
    ],
)
def test_a_lesson_with_a_mistake_is_not_taken_for_a_groove(command, text, said, tmp_path, capsys):
    (tmp_path / "other.toml").write_text(LESSON)
    (tmp_path / "wrong.toml").write_text(text)
    assert main([command, str(tmp_path), "-o", str(tmp_path / "out")]) == 2
    assert re.search(rf"wrong\.toml: .*{said}", capsys.readouterr().err)


def test_grooves_and_soundfonts_say_what_is_there(capsys):
    assert main(["grooves"]) == 0
    assert "jazz-waltz" in capsys.readouterr().out
    assert main(["grooves", "swing"]) == 0
    shown = capsys.readouterr().out
    assert "common practice, no source" in shown
    assert "1.28" in shown  # the ratio at 300
    assert main(["soundfonts", "--json"]) == 0
    assert any("TimGM6mb" in one["path"] for one in json.loads(capsys.readouterr().out)["soundfonts"])


def test_balance_measures_the_parts_and_renders_the_demonstration(lesson, tmp_path, capsys):
    assert main(["balance", str(lesson), "-o", str(tmp_path / "out"), "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    rows = {row["part"]: row for row in told["rows"]}
    assert abs(rows["bass drum"]["measured_lu"] + 14) < 1
    assert {"page-balance.mid", "page-balance.wav"} <= set(files_in(tmp_path / "out"))


# --- help ------------------------------------------------------------------------------------------


@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_has_help_with_an_example(command, capsys):
    assert main([command, "--help"]) == 0
    assert f"Example: fourlimb {command}" in " ".join(capsys.readouterr().out.split())


@pytest.mark.parametrize("command", COMMANDS)
def test_the_readme_shows_every_command(command):
    assert f"fourlimb {command}" in (ROOT / "README.md").read_text()


def test_help_imports_nothing_heavy():
    program = (
        "import sys\nfrom render.command.cli import main\n"
        "main(['--help'])\n"
        "print(sorted({m.split('.')[0] for m in sys.modules} & set(sys.argv[1].split())), file=sys.stderr)"
    )
    heavy = "numpy scipy pydantic rich mido soundfile verovio typst PIL music21 lxml jinja2 pyloudnorm pretty_midi"
    done = subprocess.run([sys.executable, "-c", program, heavy], capture_output=True, text=True, check=True, cwd=ROOT)
    assert done.stderr.strip() == "[]"


# --- what goes wrong -------------------------------------------------------------------------------

WRONG = [
    (["rendr"], "there is no command 'rendr'; did you mean 'render'?"),
    (["render"], "missing argument 'LESSON'; see fourlimb render --help"),
    (["render", "nowhere.toml"], "nowhere.toml: there is no such file"),
    (["render", "{lesson}", "--format", "wave"], "--format: 'wave' is an unsupported format; did you mean 'wav'?"),
    (["render", "{lesson}", "--track", "ful"], "--track: there is no track 'ful'; did you mean 'full'?"),
    (["render", "{lesson}", "--rate", "8000"], "rate: 8000 is not a sample rate of ours; choose 44100 or 48000"),
    (
        ["render", "{lesson}", "--soundfont", "no.sf2"],
        "--soundfont names the soundfont no.sf2, and there is no such file",
    ),
    (
        ["render", "{lesson}", "--soundfont", "~nobodyhere/x.sf2"],
        "--soundfont names the soundfont ~nobodyhere/x.sf2, and there is no such user",
    ),
    (["render", "{lesson}", "--soundfont", "{lesson}"], "{lesson}"),
    (["render", "{empty}"], "there is no lesson (.toml) in this folder"),
    (["render", "{lesson}", "-o", "{lesson}"], "this is a file; name a folder"),
    (
        ["render", "{lesson}", "-o", "/proc/fourlimb"],
        "/proc/fourlimb: the folder cannot be made: No such file or directory",
    ),
    (["new", "lesson.txt"], "lesson.txt: a lesson's name ends in .toml; write lesson.toml"),
    (["loop", "{lesson}"], "missing option '--bars'; see fourlimb loop --help"),
    (["loop", "{lesson}", "--bars", "9"], "--bars: there is no bar 9; it has bars 1, 2"),
    (["loop", "{lesson}", "--bars", "1", "--tempo", "slow"], "--tempo: 'slow' is not a tempo"),
    (["loop", "{lesson}", "--bars", "1", "--tempo", "10%"], "--tempo: 10% of 180 is 18"),
    (["loop", "{lesson}", "--bars", "1", "--times", "0"], "--times: 0 is out of range; write 1 to 1000"),
    (["loop", "{lesson}", "--bars", "1", "--without", "gong"], "--without: 'gong' is neither a part nor a limb"),
    (["bars", "{lesson}", "--stairs", "7"], "there is no bar 7 in this line"),
    (["bars", "{lesson}", "--from", "1"], "--from and -o belong to --stairs; add --stairs BAR"),
    (["lines", "--level", "99"], "99"),
    (
        ["lines", "--level", "three"],
        "invalid value for '--level': 'three' is not a valid integer; see fourlimb lines --help",
    ),
    (["lines", "--levle", "3"], "no such option: --levle (Possible options: --help, --level, --seed)"),
    (["render", "{lesson}", "--velocities", "loud"], "invalid value for '--velocities'"),
    (["lines", "--level", "1", "--meter", "4/5"], "'4/5' is not a meter"),
    (["chart", "{lesson}", "-o", "x.doc"], "x.doc: a chart ends in .pdf, .svg, .png, .musicxml; name the file so"),
    (["chart", "{lesson}", "-o", "x.pdf", "--bars", "3"], "--bars: there is no bar 3; it has bars 1, 2"),
    (["page", "{lesson}", "-o", "x.htm"], "x.htm: a page ends in .html; name the file so"),
    (
        ["page", "{folder}", "-o", "x.html"],
        "x.html: {folder} is a folder, with a page for each lesson in it; name a folder: x",
    ),
    (["page", "{empty}"], "there is no lesson (.toml) in this folder"),
    (["grooves", "swong"], "'swong' is not shipped; did you mean 'swing'?"),
    (["soundfonts", "{lesson}"], "{lesson}"),
]


@pytest.mark.parametrize(("words", "message"), WRONG, ids=[" ".join(words) for words, _ in WRONG])
def test_a_wrong_call_says_one_thing_exits_with_two_and_leaves_nothing(
    words, message, lesson, tmp_path, monkeypatch, capsys
):
    (tmp_path / "empty").mkdir()
    monkeypatch.chdir(tmp_path)
    fill = {"lesson": str(lesson), "empty": str(tmp_path / "empty"), "folder": str(tmp_path)}
    before = files_in(tmp_path)
    code = main([word.format(**fill) for word in words])
    said = capsys.readouterr()
    assert code == 2
    assert message.format(**fill) in said.err
    assert said.err.startswith("fourlimb: ")
    assert len(said.err.strip().splitlines()) == 1
    assert "Traceback" not in said.err
    assert said.out == ""
    assert files_in(tmp_path) == before


def test_no_command_shows_the_help_and_exits_with_two(capsys):
    assert main([]) == 2
    assert "render" in capsys.readouterr().out


def test_two_lessons_of_one_name_are_refused(lesson, tmp_path, capsys):
    (tmp_path / "b").mkdir()
    (tmp_path / "b" / "page.toml").write_text(LESSON)
    assert main(["render", str(lesson), str(tmp_path / "b" / "page.toml"), "-o", str(tmp_path / "out")]) == 2
    assert "would write the same files" in capsys.readouterr().err


def test_a_wrong_lesson_among_several_is_named(lesson, tmp_path, capfd):
    (tmp_path / "bad.toml").write_text(LESSON.replace("180", "0"))
    assert main(["render", str(tmp_path), "-o", str(tmp_path / "out"), "--no-documents"]) == 2
    assert "bad.toml: tempo: 0 is out of range" in capfd.readouterr().err


@pytest.mark.parametrize("form", ["wav", "flac", "ogg"])
def test_a_full_disk_leaves_no_file_and_one_message(lesson, tmp_path, form):
    # A limit on the size of files stands for a disk that fills up: writing fails with an error in the same place.
    def small_disk():
        resource.setrlimit(resource.RLIMIT_FSIZE, (20_000, 20_000))

    words = [
        "render",
        lesson,
        "-o",
        tmp_path / "out",
        "--no-documents",
        "--track",
        "full",
        "--format",
        form,
        "--no-cache",
    ]
    done = fourlimb(*words, preexec_fn=small_disk)
    assert done.returncode == 2
    assert "cannot be written" in done.stderr
    assert "Traceback" not in done.stderr
    assert [name for name in files_in(tmp_path / "out") if not name.endswith(".mid")] == []


def begin_to_write(tmp_path, *words, lessons=("long",)):
    """Render long lessons in a session of their own, as far as the first sound file."""
    for name in lessons:
        tracks = (f'[[track]]\nname = "{track}"\ntimes = 1000\n' for track in "xy")
        (tmp_path / f"{name}.toml").write_text(LESSON + "".join(tracks))
    out, paths = tmp_path / "out", [str(tmp_path / f"{name}.toml") for name in lessons]
    process = subprocess.Popen(
        [sys.executable, "-m", "render", "render", *paths, "-o", str(out), "--no-documents", *words],
        cwd=ROOT, stderr=subprocess.PIPE, stdout=subprocess.PIPE, text=True, start_new_session=True,
    )  # fmt: skip
    deadline = time.monotonic() + 60
    while time.monotonic() < deadline and not any(".part" in name and ".mid." not in name for name in files_in(out)):
        time.sleep(0.01)
    return process, out


def all_gone(session: int) -> bool:
    """Whether soon no process of a session is left."""
    deadline = time.monotonic() + 5
    while time.monotonic() < deadline:
        try:
            os.killpg(session, 0)
        except ProcessLookupError:
            return True
        time.sleep(0.02)
    return False


@pytest.mark.parametrize(
    ("told", "words", "lessons"),
    [
        (signal.SIGINT, ["--format", "ogg"], ["long"]),
        (signal.SIGHUP, ["--format", "ogg"], ["long"]),
        (signal.SIGTERM, ["--stems", "--jobs", "2"], ["long"]),
        (signal.SIGTERM, ["--stems"], ["a", "b", "c"]),
        (signal.SIGINT, ["--stems"], ["a", "b", "c"]),
    ],
)
def test_an_interruption_leaves_no_file_and_no_process_and_exits_with_130(told, words, lessons, tmp_path):
    process, out = begin_to_write(tmp_path, *words, lessons=lessons)
    process.send_signal(told)
    _, said = process.communicate(timeout=60)
    assert process.returncode == 130, said
    assert said.strip() == "fourlimb: interrupted; nothing half-written was left"
    assert [name for name in files_in(out) if not name.endswith(".mid")] == []
    assert all_gone(process.pid)


@pytest.mark.parametrize(
    ("words", "lessons"), [(["--stems", "--jobs", "2"], ["long"]), (["--stems"], ["a", "b"])], ids=["one", "two"]
)
def test_a_command_that_is_killed_takes_its_processes_with_it(words, lessons, tmp_path):
    process, _ = begin_to_write(tmp_path, *words, lessons=lessons)
    process.kill()
    process.communicate(timeout=60)
    assert all_gone(process.pid)


def test_a_closed_terminal_does_not_end_what_was_started_to_outlast_it():
    done = subprocess.run(
        [sys.executable, "-c", "import signal, render.files.interrupts as i; signal.signal(1, signal.SIG_IGN);"
         "i.tidy_up_when_told_to_end(); print(signal.getsignal(1) == signal.SIG_IGN)"],
        capture_output=True, text=True, cwd=ROOT,
    )  # fmt: skip
    assert done.stdout.strip() == "True"


def test_a_closed_pipe_is_no_error():
    command = f"{sys.executable} -m render grooves | true"
    done = subprocess.run(
        ["bash", "-c", f"set -o pipefail; {command}"], capture_output=True, text=True, check=False, cwd=ROOT
    )
    assert "Traceback" not in done.stderr
