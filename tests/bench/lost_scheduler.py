"""What is said where a Dask scheduler is killed in the midst of a batch: one sentence, some seconds later.

`python tests/bench/lost_scheduler.py 8990` uses that port. No test: Dask takes its time, more on a busy machine.
"""

import subprocess
import sys

from grooves.errors import LessonError
from render.lesson.batch import run


def work(number):
    """Take a while."""
    import time

    time.sleep(0.2)
    return number


if __name__ == "__main__":
    port = (*sys.argv[1:], "8990")[0]
    address = f"tcp://127.0.0.1:{port}"
    scheduler = subprocess.Popen(
        [
            sys.executable,
            "-c",
            "from distributed.cli.dask_scheduler import main; main()",
            "--port",
            port,
            "--no-dashboard",
        ],
        stderr=subprocess.DEVNULL,
    )
    worker = subprocess.Popen(
        [
            sys.executable,
            "-c",
            "from distributed.cli.dask_worker import main; main()",
            address,
            "--no-nanny",
            "--no-dashboard",
        ],
        stderr=subprocess.DEVNULL,
    )
    try:
        run(work, [(n,) for n in range(50)], scheduler=address, progress=lambda _: scheduler.kill())
    except LessonError as error:
        print(error)
    finally:
        for process in (scheduler, worker):
            process.kill()
