"""Damage inside the tables of a soundfont that is whole otherwise: one message or a sound, never a crash or a NaN.

Checked against FluidSynth itself, in a process of its own, since what is feared is that it takes the process along.
"""

import subprocess
import sys

import pytest

TABLES = ("phdr", "pbag", "pgen", "inst", "ibag", "igen", "shdr")
CHILD = """
import random, struct, sys
from pathlib import Path
import numpy as np
from grooves.mistake import Mistake
from render.soundfont import default_soundfont, open_kit

table, trials, folder = sys.argv[1], int(sys.argv[2]), Path(sys.argv[3])
whole = default_soundfont().read_bytes()
pdta = whole.rindex(b"pdta")
start = whole.index(table.encode(), pdta) + 8
length = struct.unpack_from("<I", whole, start - 4)[0]
for seed in range(trials):
    draw, data, path = random.Random(f"{table} {seed}"), bytearray(whole), folder / f"{table}-{seed}.sf2"
    for _ in range(draw.choice((1, 3, 20))):
        place = start + draw.randrange(length // 2) * 2
        struct.pack_into("<H", data, place, draw.choice((0, 1, 0x7FFF, 0x8000, 0xFFFF, draw.randrange(65536))))
    path.write_bytes(data)
    kit = None
    try:
        kit = open_kit(path, use_cache=False)
        sounds = [kit.hit(51, 90), kit.hit(36, 40)]
        good = all(np.isfinite(sound).all() and np.abs(sound).max() > 0 for sound in sounds)
        print(seed, "sound" if good else "SILENT OR NOT A NUMBER")
    except Mistake as mistake:
        print(seed, "message" if str(mistake).startswith(str(path)) and "\\n" not in str(mistake) else repr(mistake))
    finally:
        if kit:
            kit.close()
        path.unlink()
"""


@pytest.mark.parametrize("table", TABLES)
def test_a_table_with_wrong_numbers_in_it_gives_a_sound_or_one_message(table, tmp_path):
    trials = 12
    words = [sys.executable, "-c", CHILD, table, str(trials), str(tmp_path)]
    done = subprocess.run(words, capture_output=True, text=True, timeout=120)
    assert done.returncode == 0, f"died after {done.stdout.splitlines()[-1:]} {done.stderr[-500:]}"
    told = [line.split(maxsplit=1) for line in done.stdout.splitlines()]
    assert [seed for seed, _ in told] == [str(seed) for seed in range(trials)]
    assert {what for _, what in told} <= {"sound", "message"}
    assert done.stderr == ""  # FluidSynth says nothing by itself
