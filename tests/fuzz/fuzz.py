"""Runs hostile cases in a process of its own, each with a time of 10 s, all in 1 GB, and says what did not hold.

`python tests/fuzz/fuzz.py --cases 20000 --seed 7` ; the same seed, the same cases. With `--state FILE` a run that was
broken off goes on where it was. Every find is printed, and kept beside the state to be looked at.
"""

import argparse
import faulthandler
import json
import pickle
import resource
import signal
import subprocess
import sys
import tempfile
import time
import traceback
from collections import Counter, deque
from contextlib import suppress
from pathlib import Path
from random import Random

HERE = Path(__file__).parent
sys.path[:0] = [str(HERE), str(HERE.parents[1])]
BATCH, SECONDS, WAITING_SECONDS, GIGABYTE = 500, 10, 60, 10**9


class TooLong(BaseException):
    """A case took more than its time."""


class Enough(BaseException):
    """A batch has all of its cases."""


def _too_long(number: int, _frame: object) -> None:
    raise TooLong("of waiting" if number == signal.SIGALRM else "of work")


def run_batch(seed: int, batch: int, cases: int, folder: Path) -> list[tuple[str, object]]:
    """Run a batch's cases, each drawn one and then its mutants: each find is a sentence and the case that it is of."""
    from cases import CASES
    from hypothesis import HealthCheck, Phase, given, settings
    from hypothesis import seed as seeded
    from mutants import mutants

    found: list[tuple[str, object]] = []
    before: deque = deque(maxlen=40)
    drawn, left = Random(f"{seed} {batch}"), iter(range(cases))

    @seeded(seed * 1_000_003 + batch)
    @settings(
        max_examples=cases, database=None, deadline=None, derandomize=False, phases=[Phase.generate],
        suppress_health_check=[*HealthCheck],
    )  # fmt: skip
    @given(CASES)
    def each(case):
        before.append(case)
        for one in (case, *mutants(case, before, drawn)):
            if next(left, None) is None:
                raise Enough
            if wrong := _tried(one, folder):
                found.append((wrong, one))

    with suppress(Enough):
        each()
    return found


def _tried(case: object, folder: Path) -> str:
    """What does not hold of a case, which has its time; "" where all holds."""
    from cases import broken_promise

    (folder / "now").write_bytes(pickle.dumps(case))
    signal.setitimer(signal.ITIMER_PROF, SECONDS)
    signal.setitimer(signal.ITIMER_REAL, WAITING_SECONDS)
    faulthandler.dump_traceback_later(2 * WAITING_SECONDS, exit=True, file=sys.__stderr__)  # held by no C code
    try:
        return broken_promise(case, folder / "case")
    except (Exception, TooLong) as error:
        where = traceback.extract_tb(error.__traceback__)[-1]
        return f"{type(error).__name__}: {str(error)[:200]} at {Path(where.filename).name}:{where.lineno}"
    finally:
        signal.setitimer(signal.ITIMER_PROF, 0)
        signal.setitimer(signal.ITIMER_REAL, 0)
        faulthandler.cancel_dump_traceback_later()


def child(seed: int, first: int, batches: int, folder: Path, size: int) -> None:
    """Run batches one after another and print a line of JSON for each."""
    from cases import ENDED

    _warm_up()
    limit_memory()
    signal.signal(signal.SIGPROF, _too_long)
    signal.signal(signal.SIGALRM, _too_long)
    for batch in range(first, first + batches):
        found = run_batch(seed, batch, size, folder)
        for number, (_, case) in enumerate(found):
            (folder / f"find-{seed}-{batch}-{number}").write_bytes(pickle.dumps(case))
        print(json.dumps({"batch": batch, "finds": [wrong for wrong, _ in found], "ended": ENDED}), flush=True)


def limit_memory() -> None:
    """Let this process have a gigabyte more than it has now; what asks for more is refused."""
    used = int(Path("/proc/self/statm").read_text().split()[5]) * resource.getpagesize()
    resource.setrlimit(resource.RLIMIT_DATA, (used + GIGABYTE, used + GIGABYTE))


def _warm_up() -> None:
    """Load what loads late, so that the limit of memory is that of the cases alone."""
    import verovio  # noqa: F401 - engraves the chart

    from render.command.app import COMMANDS, command
    from render.reading import read_line  # noqa: F401

    for name in COMMANDS:
        command(name)


def main() -> int:
    words = argparse.ArgumentParser()
    words.add_argument("--cases", type=int, default=1_000_000)
    words.add_argument("--seed", type=int, default=int(time.strftime("%Y%m%d")))
    words.add_argument("--batch", type=int, default=BATCH)
    words.add_argument("--state", type=Path, default=None)
    words.add_argument("--child", nargs=2, type=int, default=None, metavar=("FIRST", "BATCHES"))
    said = words.parse_args()
    folder = said.state or Path(tempfile.mkdtemp(prefix="fuzz-"))
    folder.mkdir(parents=True, exist_ok=True)
    if said.child:
        child(said.seed, *said.child, folder, said.batch)
        return 0
    return _all_batches(said.seed, said.cases, said.batch, folder)


def _all_batches(seed: int, cases: int, size: int, folder: Path) -> int:
    begun, wanted, place = time.monotonic(), -(-cases // size), folder / f"done-{seed}.json"
    finds = json.loads(place.read_text()) if place.exists() else {}
    ended: dict[str, int] = {}
    while (done := len(finds)) < wanted:
        batches = min(wanted - done, 40)  # then a fresh process
        own = ["--seed", str(seed), "--batch", str(size), "--state", str(folder)]
        words = [sys.executable, __file__, *own, "--child", str(done), str(batches)]
        with subprocess.Popen(words, stdout=subprocess.PIPE, text=True, cwd=HERE.parents[1]) as running:
            for row in running.stdout or ():
                told = json.loads(row)
                finds[str(told["batch"])] = told["finds"]
                place.write_text(json.dumps(finds))
                ended = told["ended"]
                print(
                    f"{len(finds) * size} cases, {sum(map(len, finds.values()))} finds, {time.monotonic() - begun:.0f} s",
                    flush=True,
                )
        if running.returncode:
            (folder / "now").replace(folder / f"died-{seed}-{len(finds)}")
            finds[str(len(finds))] = [
                f"the process died ({running.returncode}); the case is kept as died-{seed}-{len(finds)}"
            ]
            place.write_text(json.dumps(finds))
    print(", ".join(f"{how}: {times}" for how, times in sorted(ended.items())))
    said = Counter(wrong for batch in finds.values() for wrong in batch)
    for wrong, times in said.most_common(60):
        print(f"{times} x {wrong}")
    print(f"{wanted * size} cases of seed {seed}: {said.total()} finds; kept in {folder}")
    return 1 if said else 0


if __name__ == "__main__":
    sys.exit(main())
