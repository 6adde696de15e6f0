"""Damage inside the tables of a soundfont that is whole otherwise: one message or a sound, never a crash or a NaN.

Checked against FluidSynth itself, in a process of its own, since what is feared is that it takes the process along.
"""

import re
import subprocess
import sys
from itertools import count
from types import SimpleNamespace

import damaged
import numpy as np
import pytest
from music import text_of

from grooves.errors import LessonError
from render.sound.balance import calibrate
from render.soundfont import recording
from render.soundfont.soundfont import default_soundfont, open_kit

TABLES = ("phdr", "pbag", "pgen", "inst", "ibag", "igen", "shdr")
CHILD = """
import random, struct, sys
from pathlib import Path
import numpy as np
from grooves.errors import LessonError
from render.soundfont.soundfont import default_soundfont, open_kit

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
    except LessonError as error:
        print(seed, "message" if str(error).startswith(str(path)) and "\\n" not in str(error) else repr(error))
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


@pytest.fixture(scope="module")
def outcomes(tmp_path_factory):
    """What came of each soundfont damaged by name, all in one process; its path is written PATH."""
    path = tmp_path_factory.mktemp("damaged") / "kit.sf2"
    words = [sys.executable, damaged.__file__, str(path)]
    done = subprocess.run(words, capture_output=True, text=True, timeout=120)
    assert done.returncode == 0, f"died of {done.stdout.splitlines()[-1:]} {done.stderr[-500:]}"
    assert done.stderr == ""
    return dict(line.replace(str(path), "PATH").split("\t") for line in done.stdout.splitlines())


@pytest.mark.parametrize("name", damaged.DAMAGE)
def test_each_fault_gives_its_own_message_or_a_sound(name, outcomes):
    said = damaged.DAMAGE[name][1]
    assert re.fullmatch(said if said == damaged.SOUND else f"PATH: {said}", outcomes[name])
    if said == damaged.SOUND:
        assert all(1e-6 < float(peak) < 1 for peak in outcomes[name].split())


@pytest.mark.parametrize("name", ["no such sample", "a modulator at no generator", "a start past its loop"])
def test_the_command_line_says_one_message_about_a_damaged_table(name, tmp_path):
    path, lesson, font = tmp_path / "kit.sf2", tmp_path / "lesson.toml", damaged.Font()
    damaged.DAMAGE[name][0](font)
    path.write_bytes(font.bytes())
    lesson.write_text(text_of(tempo=200))
    words = [sys.executable, "-m", "render", "render", lesson, "--soundfont", path, "--out", tmp_path / "out"]
    done = subprocess.run(list(map(str, words)), capture_output=True, text=True, timeout=120)
    assert done.returncode == 2
    assert re.sub(r"\s+", " ", done.stderr).count(damaged.DAMAGE[name][1]) == 1
    assert "CRITICAL" not in done.stderr and "Traceback" not in done.stderr
    assert not list(tmp_path.glob("out/**/*.*"))


def test_a_sample_that_takes_too_long_to_play_is_a_mistake(monkeypatch):
    monkeypatch.setattr(recording, "time", SimpleNamespace(thread_time=count(0, 4).__next__))
    kit = open_kit(default_soundfont(), use_cache=False)
    with pytest.raises(
        LessonError, match=r"sample for key 51 \(ride\) takes FluidSynth too long to play; choose another"
    ):
        kit.hit(51, 90)
    kit.close()


def test_a_hit_that_comes_late_is_recorded_at_each_velocity(tmp_path):
    path, font, late = tmp_path / "kit.sf2", damaged.Font(), 40000
    start = font.get("shdr", font.sample(51), damaged.START)
    font.put("shdr", font.sample(51), damaged.START, start - late)
    font.samples[0][1][2 * (start - late) : 2 * start] = bytes(2 * late)
    path.write_bytes(font.bytes())
    kit = open_kit(path, use_cache=False)
    assert not kit.is_pure_gain(51)
    hit = kit.hit(51, 90)
    assert not hit[: late - 64].any() and np.abs(hit).max() > 0.001
    kit.close()


def test_a_ride_without_its_plain_stroke_is_a_mistake_before_anything_is_measured_against_it(tmp_path):
    path, font = tmp_path / "kit.sf2", damaged.Font()
    zone = font.get("ibag", font.zone(51), 0)
    font.put("igen", zone + 1, 0, damaged.VELOCITIES)
    font.put("igen", zone + 1, 1, 107 | 127 << 8)
    path.write_bytes(font.bytes())
    kit = open_kit(path, use_cache=False)
    assert np.abs(kit.hit(51, 110)).max() > 0.01
    with pytest.raises(LessonError, match=r"has no sound on velocity 90 of key 51 \(ride\); choose another soundfont"):
        calibrate(kit, [36])
    kit.close()
