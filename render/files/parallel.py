"""One piece of work shared out among processes of this machine, for as long as it takes and no longer."""

import contextlib
import mmap
import os
import pickle
import signal
import sys
import warnings
from collections.abc import Callable, Collection
from typing import Any, NoReturn, TypeVar

from grooves.errors import LessonError
from render.files.interrupts import ENDINGS, end_with

Result = TypeVar("Result")

_ANSWERED = 100  # a status that nothing else ends with
_ALIGNED_BYTES = 64  # a processor's cache line
MOST = 4  # more share a memory that one or two can fill


def processes(wanted: int = 0) -> int:
    """How many processes share one piece of work: as many as wanted, or for 0 one a core, but at most 4.

    Example: `processes(1)` is 1. Elsewhere than on Linux it is always 1. Raises LessonError for fewer than none.
    """
    if wanted < 0:
        raise LessonError(f"--jobs: {wanted} is out of range; write 1 or more, or 0 for one a core")
    return min(wanted or cores(), MOST) if sys.platform == "linux" else 1


def cores() -> int:
    """The cores that this process may use: `cores()` is at least 1."""
    return len(os.sched_getaffinity(0)) if sys.platform == "linux" else os.cpu_count() or 1


def share_out(work: Callable[[int, int], Result], count: int) -> list[Result]:
    """What `work(0, count)` gives here, and `work(1, count)` and so on in forked processes meanwhile.

    Example: `sum(share_out(lambda share, shares: sum(range(share, 100, shares)), 2))` is 4950. What a process could
    not do, or no process could be had for, is done here, so its error is raised here.
    """
    children: dict[int, tuple[int, int]] = {}
    try:
        with contextlib.suppress(OSError):  # no process to be had
            for number in range(1, count):
                children[number] = _forked(work, number, count)
        results = [work(0, max(count, 1))]
        for number in range(1, count):
            answered = number in children and _end_of(children[number][0]) == _ANSWERED
            results.append(_read_answer(children[number][1]) if answered else work(number, count))
        return results
    finally:
        for child, memory in children.values():
            os.close(memory)
            with contextlib.suppress(ProcessLookupError):
                os.kill(child, signal.SIGKILL)
            os.waitpid(child, 0)


def _end_of(child: int) -> int:
    """With which status a process ended; it keeps its number, so that nobody else gets it, until it is waited for."""
    ended = os.waitid(os.P_PID, child, os.WEXITED | os.WNOWAIT)
    return ended.si_status if ended and ended.si_code == os.CLD_EXITED else -1


def _forked(work: Callable[[int, int], object], number: int, count: int) -> tuple[int, int]:
    """Begin a share in a copy of this process: its number, and the memory that its answer will be in."""
    memory = os.memfd_create("answer")
    here = os.getpid()
    interrupts = signal.pthread_sigmask(signal.SIG_BLOCK, ENDINGS)  # or the copy might tidy up too
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", DeprecationWarning)  # numpy's idle threads are no danger to arithmetic
            child = os.fork()
        if child == 0:
            _answer(lambda: work(number, count), memory, interrupts, here)
    except OSError:
        os.close(memory)
        raise
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, interrupts)
    return child, memory


def _answer(
    share: Callable[[], object], memory: int, interrupts: Collection[signal.Signals | int], parent: int
) -> NoReturn:
    """Do a share and end this process, at once where nobody waits for it; its status says whether all is written."""
    status = 1
    try:
        end_with(parent, signal.SIGKILL)
        signal.pthread_sigmask(signal.SIG_SETMASK, interrupts)
        _write_answer(memory, share())
        status = _ANSWERED
    finally:
        os._exit(status)


def _write_answer(memory: int, answer: object) -> None:
    """Write an answer, its arrays as they are behind the rest of it."""
    arrays: list[pickle.PickleBuffer] = []
    rest = pickle.dumps(answer, protocol=5, buffer_callback=arrays.append)
    with os.fdopen(memory, "wb") as file:
        pickle.dump((rest, [array.raw().nbytes for array in arrays]), file)
        for array in arrays:
            file.write(bytes(-file.tell() % _ALIGNED_BYTES))
            file.write(array)


def _read_answer(memory: int) -> Any:
    """Read it again; the arrays stay where they are."""
    mapped = mmap.mmap(memory, 0)
    rest, sizes = pickle.load(mapped)
    arrays = []
    for size in sizes:
        start = mapped.tell() + -mapped.tell() % _ALIGNED_BYTES
        arrays.append(memoryview(mapped)[start : start + size])
        mapped.seek(start + size)
    return pickle.loads(rest, buffers=arrays)
