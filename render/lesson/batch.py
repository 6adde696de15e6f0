"""Many jobs side by side: processes of this machine, or a Dask scheduler's workers, through one interface.

Both are `concurrent.futures` executors. A job writes its files whole or not at all, so one that is run again after
a lost worker does no harm.
"""

import gc
import logging
import multiprocessing
import os
import signal
import sys
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import BrokenExecutor, CancelledError, Executor, Future, ProcessPoolExecutor
from contextlib import contextmanager
from multiprocessing.context import BaseContext
from typing import Any, TypeVar

from grooves.errors import LessonError
from render.files.interrupts import ENDINGS, end_with, hear_signals_again, signals_later, stop
from render.files.parallel import cores, processes

Result = TypeVar("Result")
_LOOKED_SECONDS = 2.0  # how often it is looked whether a scheduler is still there


def run(
    work: Callable[..., Result],
    jobs: Sequence[tuple[Any, ...]],
    workers: int = 0,
    scheduler: str | None = None,
    progress: Callable[[float], object] = lambda _: None,
    each: Callable[[Result], object] = lambda _: None,
) -> list[Result]:
    """Run `work(*job)` for every job, results in the jobs' order: `run(pow, [(2, 3), (2, 4)])` is [8, 16].

    `workers` processes (0: one a core), or the workers of a Dask `scheduler`. The first LessonError ends it, and
    a worker that is lost is one. `each` is told every result as soon as those before it are there.
    """
    processes(workers)  # raises where there are fewer than none
    with _executor(workers, len(jobs), scheduler) as (executor, lost):
        guarded = work if scheduler else _Interruptible(work)
        futures: list[Future[Result]] = []
        try:
            with signals_later():  # a process that has not begun yet would say them its own way
                futures += [executor.submit(guarded, *job) for job in jobs]
            results = []
            for place, future in enumerate(futures, 1):
                results.append(_awaited(future, lost))
                each(results[-1])
                progress(place / len(jobs))
            return results
        except BrokenExecutor:
            raise LessonError("a worker process was killed, as where memory runs out; try --jobs 1") from None
        except _lost_workers() as error:
            raise LessonError(_said_of_the_lost(error)) from None
        except KeyboardInterrupt:
            for process in multiprocessing.active_children():  # a signal may have come to this process alone
                process.terminate()
            raise
        finally:
            for future in futures:
                future.cancel()


def _lost_workers() -> tuple[type[BaseException], ...]:
    """What Dask raises where workers or their scheduler are gone; nothing where Dask is not in use."""
    if "distributed" not in sys.modules:
        return ()
    from distributed import KilledWorker
    from distributed.comm.core import CommClosedError

    return (KilledWorker, CommClosedError, CancelledError)


def _said_of_the_lost(error: BaseException) -> str:
    if type(error).__name__ == "KilledWorker":
        return "a worker process of the scheduler was killed again and again at one lesson, as where memory runs out"
    return "--scheduler: the scheduler or its workers are gone; start them again, or leave --scheduler out"


def _awaited(future: "Future[Result]", lost: Callable[[], bool]) -> Result:
    """What a job gives. Dask forgets one whose result was on its way when the scheduler went: it would never come."""
    while True:
        try:
            return future.result(timeout=_LOOKED_SECONDS)
        except TimeoutError:
            if future.done():  # the job's own error
                raise
            if lost():
                raise CancelledError from None


class _Interruptible:
    """Work that SIGTERM ends cleanly, and its process with it, in a process that is just ended while idle."""

    def __init__(self, work: Callable[..., Any]) -> None:
        self.work = work

    def __call__(self, *job: Any) -> Any:
        signal.signal(signal.SIGTERM, stop)
        try:
            return self.work(*job)
        except KeyboardInterrupt:
            os._exit(130)  # or it would begin the next job
        finally:
            signal.signal(signal.SIGTERM, signal.SIG_DFL)


def _begin(parent: int) -> None:
    gc.enable()  # a worker lives longer than a command
    for ending in ENDINGS:  # a terminal tells all processes, and the first of them passes it on
        signal.signal(ending, signal.SIG_IGN)
    signal.signal(signal.SIGTERM, signal.SIG_DFL)
    hear_signals_again()
    end_with(parent, signal.SIGTERM)  # also where it has gone before this began


def _beginning() -> BaseContext:
    """How processes begin: as the system does, but anew where typst has threads, which a forked copy would wait for."""
    return multiprocessing.get_context("spawn" if "typst" in sys.modules else None)


@contextmanager
def _executor(workers: int, jobs: int, scheduler: str | None) -> Iterator[tuple[Executor, Callable[[], bool]]]:
    """Who does the jobs, and a way to ask whether they have gone."""
    if scheduler is None:
        count = max(min(workers or cores(), jobs), 1)
        with ProcessPoolExecutor(count, mp_context=_beginning(), initializer=_begin, initargs=(os.getpid(),)) as pool:
            yield pool, lambda: False  # it says so by itself
        return
    try:
        from distributed import Client as AnyClient
    except ImportError:
        raise LessonError("--scheduler needs the extra packages: pip install 'fourlimb[cluster]'") from None
    for name in (
        "distributed",
        "distributed.client",
        "tornado.application",
    ):  # what a teacher should know is in our own message
        logging.getLogger(name).setLevel(logging.CRITICAL + 1)
    make: Any = AnyClient  # it is not typed
    try:
        client = make(scheduler, timeout="10s", set_as_default=False)
    except (OSError, ValueError) as error:
        raise LessonError(f"--scheduler: no scheduler answers at {scheduler} ({type(error).__name__})") from None
    with client:
        comm = client.scheduler_comm
        yield client.get_executor(), lambda: client.status != "running" or client.scheduler_comm is not comm
