"""Jobs side by side: processes of this machine and the workers of a real Dask scheduler, one of which is killed."""

import os
import signal
import subprocess
import sys
import time
from concurrent.futures import CancelledError, Future
from pathlib import Path

import pytest

from grooves.errors import LessonError
from render.lesson import batch
from render.lesson.batch import run

ROOT = Path(__file__).parents[2]
EXAMPLES = ROOT / "examples"


def refuse(number):
    """Raise a LessonError for 3, else the number."""
    if number == 3:
        raise LessonError(f"bar {number}: too short")
    return number


def process_of(_):
    """The process a job runs in."""
    time.sleep(0.2)
    return os.getpid()


def test_results_come_in_the_order_of_the_jobs():
    assert run(pow, [(2, 3), (2, 4), (3, 2)]) == [8, 16, 9]
    assert run(pow, [(2, n) for n in range(20)], workers=2) == [2**n for n in range(20)]
    assert run(pow, []) == []


def test_a_mistake_in_a_job_comes_through_as_it_is():
    with pytest.raises(LessonError, match="^bar 3: too short$"):
        run(refuse, [(n,) for n in range(6)], workers=2)


def end_process(number):
    """Be ended from outside at 2, as by a system that runs out of memory."""
    if number == 2:
        os.kill(os.getpid(), signal.SIGKILL)
    return number


def test_a_process_that_is_killed_is_a_mistake():
    with pytest.raises(LessonError, match="a worker process was killed, as where memory runs out; try --jobs 1"):
        run(end_process, [(n,) for n in range(6)], workers=2)


def test_workers_are_processes_and_as_many_as_asked():
    assert len(set(run(process_of, [(n,) for n in range(4)], workers=1))) == 1
    assert len(set(run(process_of, [(n,) for n in range(4)], workers=2))) == 2
    assert os.getpid() not in run(process_of, [(0,)], workers=1)


def test_fewer_than_no_workers_is_a_mistake():
    with pytest.raises(LessonError, match="--jobs: -1 is out of range; write 1 or more, or 0 for one a core"):
        run(pow, [(2, 3)], workers=-1)


def test_progress_tells_the_share_that_is_done():
    shares = []
    run(pow, [(2, 3)] * 4, workers=1, progress=shares.append)
    assert shares == [0.25, 0.5, 0.75, 1.0]


def test_a_scheduler_that_does_not_answer_is_a_mistake():
    with pytest.raises(LessonError, match="--scheduler: no scheduler answers at tcp://127.0.0.1:1"):
        run(pow, [(2, 3)], scheduler="tcp://127.0.0.1:1")
    with pytest.raises(LessonError, match="--scheduler: no scheduler answers at nonsense://x"):
        run(pow, [(2, 3)], scheduler="nonsense://x")


SCHEDULER = """
import os, signal, sys, time
from pathlib import Path
from distributed import LocalCluster
from render.lesson import batch
from render.lesson.batch import run

def work(number, folder):
    import os, time
    from pathlib import Path
    time.sleep(0.1)
    with Path(folder, f"{number}").open("a") as file:
        file.write(f"{os.getpid()} ")
    return number * number

def kill_one(share, seen=[]):
    if not seen and share >= 0.25:
        seen.append(1)
        os.kill(next(iter(cluster.workers.values())).pid, signal.SIGKILL)

if __name__ == "__main__":
    cluster = LocalCluster(n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None)
    with cluster:
        print(run(work, [(n, sys.argv[1]) for n in range(24)], scheduler=cluster.scheduler_address, progress=kill_one))
"""


def test_a_worker_killed_in_the_middle_loses_no_result(tmp_path):
    script, folder = tmp_path / "cluster.py", tmp_path / "out"
    script.write_text(SCHEDULER)
    folder.mkdir()
    done = subprocess.run(
        [sys.executable, str(script), str(folder)], capture_output=True, text=True, timeout=90, cwd=Path.cwd()
    )
    assert done.stdout.strip() == str([n * n for n in range(24)]), done.stderr[-2000:]
    writers = [(folder / f"{n}").read_text().split() for n in range(24)]
    assert (
        len({process for one in writers for process in one}) >= 2
    )  # the killed one and the other, or the one that came


DEADLY = """
import os, signal, sys
import dask
from distributed import LocalCluster
from grooves.errors import LessonError
from render.lesson import batch
from render.lesson.batch import run

def work(number):
    import os, signal
    if number == 2:
        os.kill(os.getpid(), signal.SIGKILL)
    return number

if __name__ == "__main__":
    with dask.config.set({"distributed.scheduler.allowed-failures": 0}):
        with LocalCluster(n_workers=1, threads_per_worker=1, processes=True, dashboard_address=None) as cluster:
            try:
                run(work, [(n,) for n in range(4)], scheduler=cluster.scheduler_address)
            except LessonError as error:
                print(error)
"""


def test_a_lesson_that_kills_every_worker_of_a_cluster_is_told_in_one_sentence(tmp_path):
    script = tmp_path / "deadly.py"
    script.write_text(DEADLY)
    done = subprocess.run([sys.executable, str(script)], capture_output=True, text=True, timeout=90, cwd=Path.cwd())
    assert done.stdout.strip() == (
        "a worker process of the scheduler was killed again and again at one lesson, as where memory runs out"
    ), done.stderr[-2000:]


def test_processes_print_charts_also_where_this_one_has_printed_one(tmp_path):
    # In a process of its own, so that what the test before left behind does not matter.
    code = (
        "from pathlib import Path\n"
        "from render.lesson.batch import run\n"
        "from render.lesson.documents import chart_data\n"
        "from render.lesson.load import load_lesson\n"
        "def printed(path, number):\n"
        "    return chart_data(load_lesson(path).lesson, 'pdf')[:5]\n"
        "if __name__ == '__main__':\n"
        f"    path = Path({str(EXAMPLES / 'quarters.toml')!r})\n"
        "    printed(path, 0)\n"
        "    print(run(printed, [(path, 1), (path, 2)], 2))\n"
    )
    (tmp_path / "twice.py").write_text(code)
    done = subprocess.run([sys.executable, tmp_path / "twice.py"], capture_output=True, text=True, timeout=60, cwd=ROOT)
    assert done.stdout.strip() == "[b'%PDF-', b'%PDF-']", done.stderr


def test_a_result_that_never_comes_is_not_waited_for_once_its_scheduler_is_gone(monkeypatch):
    monkeypatch.setattr(batch, "_LOOKED_SECONDS", 0.01)
    looks = iter([False, False, True])
    with pytest.raises(CancelledError):
        batch._awaited(Future(), lambda: next(looks))
    late = Future()
    late.set_exception(TimeoutError("the job's own"))
    with pytest.raises(TimeoutError, match="the job's own"):
        batch._awaited(late, lambda: True)
