"""On a system without fork, file locks of POSIX and signals of a terminal, as Windows and partly macOS are."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

# What Windows lacks is taken away before anything of ours is imported. Source: the Python Library Reference on os,
# signal and fcntl ("Availability: Unix") and on multiprocessing's start methods ("spawn … the default on Windows").
WITHOUT = """
import fcntl, multiprocessing, os, signal, subprocess, sys
import render.files.parallel
del os.fork, os.sched_getaffinity, signal.pthread_sigmask, signal.SIGHUP, signal.SIGKILL
sys.modules["fcntl"] = None
multiprocessing.set_start_method("spawn", force=True)
class Elsewhere: platform = "win32"
render.files.parallel.sys = Elsewhere  # for ours alone: Python's own modules look too
from render.command.cli import main
if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
"""


def run(folder: Path, *words: object) -> subprocess.CompletedProcess[str]:
    script = folder / "without.py"
    script.write_text(WITHOUT)
    path = {"PYTHONPATH": os.pathsep.join(filter(None, sys.path))}
    return subprocess.run(
        [sys.executable, script, *map(str, words)],
        capture_output=True,
        text=True,
        cwd=folder,
        env={**os.environ, **path},
    )


@pytest.fixture
def folder(tmp_path):
    for name in ("one", "two"):
        values = 'values = "4 8 8 4 4"' if name == "one" else 'values = "8 8 4 4r 4"'
        (tmp_path / f"{name}.toml").write_text(f'title = "{name}"\ntempo = 200\ngroove = "swing"\n[line]\n{values}\n')
    return tmp_path


def test_lessons_are_rendered_without_fork_by_processes_that_begin_anew(folder):
    done = run(folder, "render", "one.toml", "two.toml", "-o", "out", "--jobs", "2")
    assert (done.returncode, done.stderr) == (0, "")
    assert {"one-full.wav", "two-full.wav", "one-chart.pdf", "two.html"} <= {
        path.name for path in (folder / "out").iterdir()
    }


def test_one_lesson_is_rendered_by_one_process(folder):
    done = run(folder, "render", "one.toml", "-o", "out", "--no-documents", "--track", "full")
    assert (done.returncode, done.stderr) == (0, "")
    assert (folder / "out" / "one-full.wav").stat().st_size > 100_000
