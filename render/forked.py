"""One piece of work shared out among processes of this machine, for as long as it takes and no longer."""

import contextlib
import os
import pickle
import signal
import sys
import warnings
from collections.abc import Callable
from typing import BinaryIO, TypeVar

from grooves.mistake import Mistake

Result = TypeVar("Result")

MOST = 4  # more share a memory that one or two can fill


def processes(wanted: int = 0) -> int:
    """How many processes share one piece of work: as many as wanted, or for 0 one a core, but at most 4.

    Example: `processes(1)` is 1. Elsewhere than on Linux it is always 1. Raises Mistake for fewer than none.
    """
    if wanted < 0:
        raise Mistake(f"--jobs: {wanted} is out of range; write 1 or more, or 0 for one a core")
    return min(wanted or len(os.sched_getaffinity(0)), MOST) if sys.platform == "linux" else 1


def share_out(work: Callable[[int, int], Result], count: int) -> list[Result]:
    """What `work(0, count)` gives here, and `work(1, count)` and so on in forked processes meanwhile.

    Example: `sum(share_out(lambda share, shares: sum(range(share, 100, shares)), 2))` is 4950. What a process could
    not do is done here, so its error is raised here.
    """
    children = [_forked(work, number, count) for number in range(1, count)]
    try:
        results = [work(0, count)]
        for number, (_, pipe) in enumerate(children, 1):
            answer = pipe.read()
            results.append(pickle.loads(answer) if answer else work(number, count))
        return results
    finally:
        for child, pipe in children:
            pipe.close()
            with contextlib.suppress(ProcessLookupError):
                os.kill(child, signal.SIGKILL)
            os.waitpid(child, 0)


def _forked(work: Callable[[int, int], object], number: int, count: int) -> tuple[int, BinaryIO]:
    """Begin a share in a copy of this process: its number, and where its answer comes from."""
    ours, theirs = os.pipe()
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", DeprecationWarning)  # numpy's idle threads are no danger to plain arithmetic
        child = os.fork()
    if child:
        os.close(theirs)
        return child, os.fdopen(ours, "rb")
    try:
        answer = pickle.dumps(work(number, count))
        with os.fdopen(theirs, "wb") as pipe:
            pipe.write(answer)
    finally:
        os._exit(0)  # without an answer, where it failed
