"""A short run of hostile cases: no traceback, nothing that takes long or much, one line for each, whole files only."""

import random
import subprocess
import sys
from pathlib import Path

import cases
from hypothesis import settings
from mutants import EACH, mutants

CASES, BATCH = 20_000, 500  # a minute and a half of one core; `make fuzz` runs a million


def test_hostile_files_and_words_are_one_line_each(tmp_path):
    seed = 1 if settings().derandomize else random.SystemRandom().randrange(10**6)  # the same in CI, fresh elsewhere
    words = ["--cases", CASES, "--batch", BATCH, "--seed", seed, "--state", tmp_path]
    program = Path(__file__).with_name("fuzz.py")
    done = subprocess.run([sys.executable, program, *map(str, words)], capture_output=True, text=True, check=False)
    assert done.returncode == 0, f"seed {seed}:\n{done.stdout[-3000:]}\n{done.stderr[-3000:]}"
    assert f"{CASES} cases of seed {seed}: 0 finds" in done.stdout


def test_mutants_are_of_their_seed_and_have_the_files_of_their_case():
    case = cases.Case(("bars", "a.toml"), (("a.toml", cases.GOOD),))
    other = cases.Case(("chart", "a.toml"), (("a.toml", b"tempo = 0x0\n"),))
    made, again = (mutants(case, [other, case], random.Random(7)) for _ in range(2))
    assert made == again != mutants(case, [other, case], random.Random(8))
    assert {one.words for one in made} <= {case.words, other.words}
    assert all([name for name, _ in one.files] == ["a.toml"] for one in made)
    assert len({one.files for one in made}) > EACH / 2
    assert any(b"0x0" in data for one in made for _, data in one.files)  # a piece of the other's


def test_what_is_promised_is_looked_at(tmp_path, monkeypatch):
    def ends(code, said="", told="", file=""):
        def command(_words, _files):
            print(said, file=sys.stderr, end="")
            print(told, end="")
            if file:
                Path(file).write_bytes(b"MThd")
            return code

        monkeypatch.setattr(cases, "_run", command)
        return cases.broken_promise(cases.Case(("bars",), ()), tmp_path / "case")

    assert ends(0, told="bar 1\n") == ends(2, "fourlimb: no\n") == ""
    assert ends(3) == "the exit code is 3"
    assert ends(2) == "the exit code is 2, and nothing is said"
    assert ends(2, "fourlimb: a\nb\n").startswith("2 lines on stderr")
    for unfit in ("no\n", "fourlimb: \x1b\n", f"fourlimb: {'x' * 391}\n"):
        assert ends(2, unfit).startswith("stderr is unfit")
    assert ends(0, told="\x9b").startswith("stdout holds")
    assert ends(0, file=".a.part") == ".a.part is left half written"
    assert ends(0, file="a.mid").startswith("a.mid is not whole")


def test_a_case_that_asks_for_more_than_a_gigabyte_is_refused():
    code = "import fuzz; fuzz.limit_memory(); bytearray(2 * 10**9)"
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=False, cwd=Path(__file__).parent
    )
    assert done.stderr.splitlines()[-1] == "MemoryError"
