"""Ways to be told to stop: each is one KeyboardInterrupt, so that whoever has begun a file tidies up after itself.

The first is enough: those that follow soon are ignored, so that none disturbs the tidying up. Whoever is still there
after five seconds hears the next one: an exception that comes while a library calls us back may be lost.
"""

import contextlib
import os
import signal
import sys
import time
from collections.abc import Callable, Iterator
from types import FrameType
from typing import NoReturn

from render.files.early import INTERRUPTED

# Ctrl-C, `kill` or a service that is stopped, and a terminal that is closed. Windows has no SIGHUP.
ENDINGS = tuple(getattr(signal, name) for name in ("SIGINT", "SIGTERM", "SIGHUP") if hasattr(signal, name))
_PATIENCE_SECONDS = 5.0
_PR_SET_PDEATHSIG = 1  # linux/prctl.h


class _State:
    """What this process has been told."""

    def __init__(self) -> None:
        self.told = float("-inf")  # when last, by the clock that only runs forward
        self.held = 0  # how many hold signals back
        self.waiting = False
        self.ours = False  # whether signals to end are answered our way in this process


_state = _State()


def tidy_up_when_told_to_end() -> None:
    """Let Ctrl-C, `kill` and a closed terminal do the same; what this process was started to ignore it ignores."""
    _answer_by(stop)


def end_at_once_when_told() -> None:
    """Let each of them end this process with one sentence, as long as modules are loaded and no file is begun."""
    _answer_by(_end_at_once)


def hear_no_more() -> None:
    """Have a process that hears them so far go to its end undisturbed: all is said and done, but for the last lines."""
    if _state.ours:
        for ending in ENDINGS:
            signal.signal(ending, signal.SIG_IGN)


def _answer_by(handler: Callable[[int, FrameType | None], None]) -> None:
    _state.ours = True
    for ending in ENDINGS:
        if signal.getsignal(ending) != signal.SIG_IGN:  # as under nohup
            signal.signal(ending, handler)


def _end_at_once(_number: int, _frame: FrameType | None) -> NoReturn:
    """A signal's handler: no exception, which some module that is being loaded might swallow or show."""
    for ending in ENDINGS:  # or a second signal would have it said twice
        signal.signal(ending, signal.SIG_IGN)
    with contextlib.suppress(OSError):
        os.write(2, f"fourlimb: {INTERRUPTED}\n".encode())
    os._exit(130)


def stop(_number: int, _frame: FrameType | None) -> None:
    """A signal's handler: raise KeyboardInterrupt, once in five seconds, and not before it may be raised."""
    if _state.held:
        _state.waiting = True
    elif time.monotonic() >= _state.told + _PATIENCE_SECONDS:
        _state.told = time.monotonic()
        raise KeyboardInterrupt


def told_to_stop() -> bool:
    """Whether `stop` has raised here: an error that follows may come of the interruption alone."""
    return _state.told > float("-inf")


@contextlib.contextmanager
def signals_later() -> Iterator[None]:
    """Hold `stop` back for a moment in which its exception would be lost, or be shown by a copy of this process.

    Example: `with signals_later(): …` around a library that calls us back, since what we raise there it swallows. It
    is no use to hold signals back from this thread alone: the system gives them to another, and Python to this one.
    """
    import threading  # late: until this module is loaded nothing answers Ctrl-C

    if threading.current_thread() is not threading.main_thread():  # no signal's handler runs here
        yield
        return
    _state.held += 1
    try:
        yield
    finally:
        _state.held -= 1
        if _state.waiting and not _state.held:
            _state.waiting = False
            stop(0, None)


def hear_signals_again() -> None:
    """End all holding back, in a copy of this process that was begun meanwhile and now has handlers of its own."""
    _state.held, _state.waiting = 0, False


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
