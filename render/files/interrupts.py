"""Ways to be told to stop: each is one KeyboardInterrupt, so that whoever has begun a file tidies up after itself."""

import contextlib
import os
import signal
import sys
from types import FrameType
from typing import NoReturn

# `kill`, a service that is stopped, and a terminal that is closed; Ctrl-C is Python's own. Windows has no SIGHUP.
ENDINGS = tuple(getattr(signal, name) for name in ("SIGTERM", "SIGHUP") if hasattr(signal, name))
_PR_SET_PDEATHSIG = 1  # linux/prctl.h


def tidy_up_when_told_to_end() -> None:
    """Let `kill` and a closed terminal do what Ctrl-C does; what this process was started to ignore it ignores."""
    for ending in ENDINGS:
        if signal.getsignal(ending) != signal.SIG_IGN:  # as under nohup
            signal.signal(ending, stop)


def stop(_number: int, _frame: FrameType | None) -> NoReturn:
    """A signal's handler: raise KeyboardInterrupt, once, so that a second signal does not disturb the tidying up."""
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
