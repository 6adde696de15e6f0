"""How a term is run: other workers, another soundfont, without the cache; and what stops it half way."""

import ctypes
import os
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest

from render.command.cli import main
from render.lesson.several import Workers
from render.lesson.term import TermOptions, make_term
from render.soundfont.soundfont import default_soundfont

ROOT = Path(__file__).parents[2]
TERM = """
title = "Harbour Street, winter"
weeks = 2
[[group]]
name = "Monday"
level = 1
tempo = 200
bars = 1
"""
FONT_SAMPLES = b"smpl"  # the chunk of a soundfont that holds its recordings (SoundFont 2.04, section 6.1)


def tree(folder: Path) -> dict[str, bytes]:
    return {path.relative_to(folder).as_posix(): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """A small term as it is written, not to be changed."""
    folder = tmp_path_factory.mktemp("term")
    (folder / "winter.toml").write_text(TERM)
    make_term(folder / "winter.toml", TermOptions(folder / "out", workers=Workers(1)))
    return folder / "out"


@pytest.fixture
def words(tmp_path):
    """The command that makes it once more, elsewhere."""
    (tmp_path / "winter.toml").write_text(TERM)
    return ["term", str(tmp_path / "winter.toml"), "-o", str(tmp_path / "out"), "--jobs", "1"]


@pytest.fixture
def copied(made, tmp_path):
    """The term as it was made, in a folder of one's own."""
    shutil.copytree(made, tmp_path / "out")
    return tmp_path / "out"


# --- options --------------------------------------------------------------------------------------

CLUSTER = """
import sys
from distributed import LocalCluster
from render.command.cli import main

if __name__ == "__main__":
    with LocalCluster(n_workers=1, threads_per_worker=1, dashboard_address=None) as cluster:
        code = main([*sys.argv[1:], "--scheduler", cluster.scheduler_address])
        done = cluster.scheduler.transition_counter
    print("transitions", done)
    sys.exit(code)
"""


def test_the_workers_of_a_scheduler_make_the_same_files(made, words, tmp_path):
    (tmp_path / "cluster.py").write_text(CLUSTER)
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    run = [sys.executable, str(tmp_path / "cluster.py"), *words[:-2]]
    done = subprocess.run(run, capture_output=True, text=True, timeout=120, env=environment)
    assert done.returncode == 0, done.stderr[-2000:]
    assert int(done.stdout.split()[-1]) > 5, "the scheduler saw the jobs"
    assert tree(tmp_path / "out") == tree(made)


def test_a_scheduler_that_nobody_answers_for_is_one_message(words, capsys):
    assert main([*words, "--scheduler", "nonsense://x"]) == 2
    assert capsys.readouterr().err.startswith("fourlimb: --scheduler: no scheduler answers at nonsense://x")


def test_another_soundfont_sounds_on_the_pages_and_changes_no_lesson_and_no_handout(made, copied, words, tmp_path):
    data = default_soundfont().read_bytes()
    start = data.index(FONT_SAMPLES) + 8
    end = start + int.from_bytes(data[start - 4 : start], "little")
    turned = ~np.frombuffer(data[start:end], dtype="<i2")  # as loud, the other way round
    (tmp_path / "turned.sf2").write_bytes(data[:start] + turned.tobytes() + data[end:])
    assert main([*words, "--soundfont", str(tmp_path / "turned.sf2"), "--no-cache"]) == 0
    was, now = tree(made), tree(copied)
    changed = {name for name in was if was[name] != now[name] and not name.startswith("fourlimb-term")}
    assert changed == {"monday.zip", "monday/week-01-1.html", "monday/week-02-1.html"}


def test_a_soundfont_that_is_not_there_is_one_message_and_makes_nothing(copied, words, tmp_path, capsys):
    before = tree(copied)
    assert main([*words, "--soundfont", str(tmp_path / "none.sf2")]) == 2
    message = capsys.readouterr().err
    assert message.startswith("fourlimb: --soundfont names the soundfont ") and "there is no such file" in message
    assert tree(copied) == before


def test_without_the_cache_nothing_is_kept_of_the_hits(words, tmp_path, monkeypatch, made):
    monkeypatch.setenv("FOURLIMB_CACHE", str(tmp_path / "cache"))
    assert main([*words, "--no-cache"]) == 0
    assert not any((tmp_path / "cache").rglob("*"))
    assert tree(tmp_path / "out") == tree(made)


# --- what stops it --------------------------------------------------------------------------------


def started(words: list[str]) -> "subprocess.Popen[bytes]":
    run = [sys.executable, "-m", "render", *words]
    return subprocess.Popen(run, cwd=ROOT, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)


def wait_for(path: Path, running: "subprocess.Popen[bytes]") -> None:
    until = time.monotonic() + 60
    while running.poll() is None and not path.exists() and time.monotonic() < until:
        time.sleep(0.005)
    assert path.exists()


@pytest.mark.parametrize("there", ["fourlimb-term.json", "monday/handout.pdf"])
def test_a_run_that_is_killed_when_a_file_appears_is_finished_by_the_next(there, made, words, tmp_path):
    running = started(words)
    wait_for(tmp_path / "out" / there, running)
    running.kill()
    assert running.wait() == -signal.SIGKILL
    assert main(words) == 0
    assert tree(tmp_path / "out") == tree(made)


def test_of_two_runs_at_once_one_does_the_work_and_the_other_says_so(made, words, tmp_path, capsys):
    first = started(words)
    wait_for(tmp_path / "out" / "monday" / "week-01-1.toml", first)
    first.send_signal(signal.SIGSTOP)  # it is at work for as long as we look
    assert main(words) == 2
    first.send_signal(signal.SIGCONT)
    assert first.wait() == 0
    assert capsys.readouterr().err == (
        f"fourlimb: {tmp_path / 'out'}: another run is at work in this folder; wait until it is done, then try again\n"
    )
    assert tree(tmp_path / "out") == tree(made)


def as_others() -> None:
    """Take the privilege to write anywhere from the process to come, for tests that root runs (capabilities(7))."""
    drop_bound, dac_override = 24, 1
    ctypes.CDLL(None).prctl(drop_bound, dac_override, 0, 0, 0)


@pytest.mark.skipif(sys.platform != "linux", reason="capabilities are Linux's")
@pytest.mark.parametrize("closed", ["out", "out/monday"])
def test_a_folder_that_nobody_may_write_into_is_one_message_and_stays_as_it_is(closed, copied, words, tmp_path):
    (tmp_path / "winter.toml").write_text(TERM.replace("tempo = 200", "tempo = 190"))
    before = tree(copied)
    (tmp_path / closed).chmod(0o555)
    done = subprocess.run(
        [sys.executable, "-m", "render", *words], cwd=ROOT, capture_output=True, text=True, preexec_fn=as_others
    )
    (tmp_path / closed).chmod(0o755)
    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr.startswith(f"fourlimb: {tmp_path / closed}") and done.stderr.count("\n") == 1
    if closed == "out":
        assert tree(copied) == before
    else:  # the record in the folder above may say more, the group's own files not
        now = {name: data for name, data in tree(copied).items() if name.startswith("monday/")}
        assert now == {name: data for name, data in before.items() if name.startswith("monday/")}
        assert main(words) == 0
        assert (copied / "monday" / "week-01-1.toml").read_text().count("tempo    = 190") == 1


def test_a_disk_that_fills_while_zips_are_written_leaves_the_old_one(copied, words, tmp_path):
    whole = (copied / "monday.zip").read_bytes()
    text = TERM.replace("tempo = 200", "tempo = 190")
    (tmp_path / "winter.toml").write_text(text)
    limit = len(whole) // 2
    limited = (
        "import resource, signal, sys; signal.signal(signal.SIGXFSZ, signal.SIG_IGN); "
        f"resource.setrlimit(resource.RLIMIT_FSIZE, ({limit}, {limit})); "
        "from render.command.cli import main; sys.exit(main(sys.argv[1:]))"
    )
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    done = subprocess.run([sys.executable, "-c", limited, *words], capture_output=True, text=True, env=environment)
    assert done.returncode == 2 and done.stderr.count("\n") == 1 and "cannot be written" in done.stderr
    assert (copied / "monday.zip").read_bytes() == whole
    assert not [name for name in tree(copied) if name.endswith(".part")]
    assert main(words) == 0
    assert (copied / "monday.zip").read_bytes() != whole
