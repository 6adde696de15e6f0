"""A short run of hostile cases: no traceback, nothing that takes long or much, one line for each, whole files only."""

import random
import subprocess
import sys
from pathlib import Path

from hypothesis import settings

CASES, BATCH = 1200, 300  # about 15 s of one core; `make fuzz` runs a million


def test_hostile_files_and_words_are_one_line_each(tmp_path):
    seed = 1 if settings().derandomize else random.SystemRandom().randrange(10**6)  # the same in CI, fresh elsewhere
    words = ["--cases", CASES, "--batch", BATCH, "--seed", seed, "--state", tmp_path]
    program = Path(__file__).with_name("fuzz.py")
    done = subprocess.run([sys.executable, program, *map(str, words)], capture_output=True, text=True, check=False)
    assert done.returncode == 0, f"seed {seed}:\n{done.stdout[-3000:]}\n{done.stderr[-3000:]}"
    assert f"{CASES} cases of seed {seed}: 0 finds" in done.stdout
