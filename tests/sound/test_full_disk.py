"""A disk that fills, or a file that may grow no further, at any moment of writing: one message, and nothing left.

What an encoder holds back it writes when it is closed, and libsndfile does not say when that fails.
"""

import os
import subprocess
import sys
from contextlib import contextmanager
from pathlib import Path

import pytest
from music import text_of

KINDS = ("wav", "flac", "ogg", "mp3")
TRACK = '[[track]]\nname = "full"\ncount_in = 0'
LIMITED = """
import resource, signal, sys
from pathlib import Path
import numpy as np
from grooves.errors import LessonError
from render.files.write import whole
from render.sound.audio import AudioFile

signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
sound = np.random.default_rng(1).normal(0, 3000, (40000, 2)).astype(np.int16)

def write(path, kind):
    with whole([path], []) as (beside,), AudioFile(beside, 44100, kind) as file:
        file.write(sound)

for kind in sys.argv[2:]:
    path = Path(sys.argv[1], f"a.{kind}")
    write(path, kind)
    size = path.stat().st_size
    for less in (1, 60, 400, 1000, 4096, 9000, 20000, size - 30, size):
        path.unlink(missing_ok=True)
        resource.setrlimit(resource.RLIMIT_FSIZE, (max(size - less, 0), resource.RLIM_INFINITY))
        try:
            write(path, kind)
            print(kind, less, "WRITTEN")
        except LessonError as error:
            print(kind, less, str(error).replace(str(path), "PATH"), [file.name for file in path.parent.iterdir()])
        resource.setrlimit(resource.RLIMIT_FSIZE, (resource.RLIM_INFINITY, resource.RLIM_INFINITY))
"""


@pytest.mark.skipif(sys.platform != "linux", reason="limits the size of files as Linux does")
def test_a_file_that_may_grow_no_further_is_said_so_whichever_byte_is_the_last(tmp_path):
    words = [sys.executable, "-c", LIMITED, str(tmp_path), *KINDS]
    done = subprocess.run(words, capture_output=True, text=True, timeout=60)
    assert done.stderr == ""
    told = [line.split(maxsplit=2) for line in done.stdout.splitlines()]
    assert len(told) == 9 * len(KINDS)
    assert {said for _, _, said in told} == {"PATH: cannot be written: File too large []"}


@contextmanager
def disk(folder: Path, kilobytes: int):
    """A disk of that size, gone again in the end."""
    folder.mkdir()
    words = ["mount", "-t", "tmpfs", "-o", f"size={kilobytes}k", "tmpfs", str(folder)]
    if sys.platform != "linux" or os.geteuid() or subprocess.run(words, capture_output=True).returncode:
        pytest.skip("no disk may be mounted here; the limits above say the same")
    try:
        yield
    finally:
        subprocess.run(["umount", str(folder)], check=True)


@pytest.mark.parametrize("kind", KINDS)
def test_a_disk_that_fills_in_the_last_kilobytes_is_one_message_and_no_file_is_left(kind, tmp_path):
    lesson, folder, small = tmp_path / "lesson.toml", tmp_path / "out", tmp_path / "disk"
    lesson.write_text(text_of(tempo=300, tracks=TRACK))
    words = [sys.executable, "-m", "render", "render", lesson, "--no-documents", "--format", kind, "-o"]
    subprocess.run([*words, folder], check=True, capture_output=True)
    kilobytes = sum(-(-file.stat().st_size // 4096) * 4 for file in folder.iterdir())
    with disk(small, kilobytes - 4):
        done = subprocess.run([*words, small], capture_output=True, text=True)
        said = " ".join(done.stderr.split())
        assert (done.returncode, said.count("cannot be written: No space left on device")) == (2, 1), said
        assert f"lesson-full.{kind}" in said.replace(" ", "")
        assert not list(small.iterdir())
