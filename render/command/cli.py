"""The command `fourlimb`: run one command, say in one line what went wrong, end with a code.

Exit codes: 0 done, 1 a balance that is off, 2 wrong input or missing tool, 130 interrupted.
"""

# ruff: noqa: E402 - the first line that does anything is to be the first one loaded

from render.files.early import INTERRUPTED as SAID
from render.files.early import loaded, loading

loading()

import contextlib
import gc
import io
import os
import sys
from collections.abc import Sequence
from typing import NoReturn

from render.files.interrupts import end_at_once_when_told, hear_no_more, tidy_up_when_told_to_end, told_to_stop

loaded()
CLOSED_PIPE = 0  # the reader has what it wanted, as after `| head`
WRONG, INTERRUPTED = 2, 130


def run() -> NoReturn:
    """The command `fourlimb`: `main` in a process that lives too short to be kept tidy.

    It collects no garbage, gives numpy one thread (work is shared out among processes) and ends without taking the
    interpreter apart: a sixth of the time that a track of five minutes takes.
    """
    end_at_once_when_told()
    gc.disable()
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    try:
        code = main(told_to_end=True)
        hear_no_more()
    except KeyboardInterrupt:  # on the last few steps
        code = _fail(INTERRUPTED, SAID)
    for stream in filter(None, (sys.stdout, sys.stderr)):  # None: it was closed before we began
        with contextlib.suppress(OSError):
            stream.flush()
    os._exit(code)


def main(words: Sequence[str] | None = None, told_to_end: bool = False) -> int:
    """Run one command: `main(["grooves"])` lists the grooves and returns 0.

    With `told_to_end` a signal to end is tidied up after, as Ctrl-C is; that is for a process of our own.
    """
    _print_what_can_be()
    try:
        return _run(words, told_to_end)
    except KeyboardInterrupt:
        return _fail(INTERRUPTED, SAID)
    except BaseException as error:
        if told_to_end and told_to_stop():  # what is interrupted may stumble over it, or end the process its own way
            return _fail(INTERRUPTED, SAID)
        return _system(error)


def _system(error: BaseException) -> int:
    """What the system could not do, in one line; anything else is a fault of ours, and raised."""
    match error:
        case BrokenPipeError():
            os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
            return CLOSED_PIPE
        case OSError():
            return _fail(WRONG, f"{error.filename or 'a file'}: {error.strerror or error}")
        case MemoryError():
            return _fail(WRONG, "there is not enough memory for this; ask for less at once, or close other programs")
    raise error


def _run(words: Sequence[str] | None, told_to_end: bool) -> int:
    # Imported here, so that Ctrl-C while modules load is one line too.
    from grooves.errors import LessonError
    from render.command.app import BadUsage, call, usage_message

    if told_to_end:
        tidy_up_when_told_to_end()
    try:
        return call(words)
    except LessonError as error:
        if told_to_end and told_to_stop():
            raise KeyboardInterrupt from None
        return _fail(WRONG, *map(str, error.args))
    except BadUsage as error:
        return _fail(WRONG, usage_message(error))


def _print_what_can_be() -> None:
    """Have a question mark stand for each sign that a terminal or a pipe cannot take: some know 256 signs, or 128."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="replace")


def _fail(code: int, *messages: str) -> int:
    """Say what went wrong on one line; of several wrong lessons, on a line each."""
    hear_no_more()  # or there would be a second line
    from grooves.errors import MOST_CHARACTERS, visible

    said = "\n".join(visible(message, MOST_CHARACTERS - len("fourlimb: ")) for message in messages)
    name = "\x1b[1;31mfourlimb:\x1b[0m" if sys.stderr and sys.stderr.isatty() else "fourlimb:"
    print(f"{name} {said}", file=sys.stderr)
    return code


if __name__ == "__main__":
    run()
