"""Ways to be told to stop: each is one KeyboardInterrupt, so that whoever has begun a file tidies up after itself.

The first is enough: those that follow are ignored, so that none disturbs the tidying up.
"""

import contextlib
import os
import signal
import sys
from collections.abc import Callable
from types import FrameType
from typing import NoReturn

# Ctrl-C, `kill` or a service that is stopped, and a terminal that is closed. Windows has no SIGHUP.
ENDINGS = tuple(getattr(signal, name) for name in ("SIGINT", "SIGTERM", "SIGHUP") if hasattr(signal, name))
INTERRUPTED = "interrupted; nothing half-written was left"
_PR_SET_PDEATHSIG = 1  # linux/prctl.h


def tidy_up_when_told_to_end() -> None:
    """Let Ctrl-C, `kill` and a closed terminal do the same; what this process was started to ignore it ignores."""
    _answer_by(stop)


def end_at_once_when_told() -> None:
    """Let each of them end this process with one sentence, as long as modules are loaded and no file is begun."""
    _answer_by(_end_at_once)


def _answer_by(handler: Callable[[int, FrameType | None], NoReturn]) -> None:
    for ending in ENDINGS:
        if signal.getsignal(ending) != signal.SIG_IGN:  # as under nohup
            signal.signal(ending, handler)


def _end_at_once(_number: int, _frame: FrameType | None) -> NoReturn:
    """A signal's handler: no exception, which some module that is being loaded might swallow or show."""
    with contextlib.suppress(OSError):
        os.write(2, f"fourlimb: {INTERRUPTED}\n".encode())
    os._exit(130)


def stop(_number: int, _frame: FrameType | None) -> NoReturn:
    """A signal's handler: raise KeyboardInterrupt, once."""
    for ending in ENDINGS:
        signal.signal(ending, signal.SIG_IGN)
    raise KeyboardInterrupt


def end_with(parent: int, ending: signal.Signals) -> None:
    """Have the system send this process a signal when the process that forked it is gone: `end_with(pid, SIGKILL)`.

    Elsewhere than on Linux it does nothing.
    """
    if sys.platform != "linux":
        return
    import ctypes  # late: help must answer at once

    with contextlib.suppress(OSError, AttributeError):  # a C library without it
        ctypes.CDLL(None).prctl(_PR_SET_PDEATHSIG, int(ending), 0, 0, 0)
    if os.getppid() != parent:  # gone already
        os.kill(os.getpid(), ending)
