"""The command `fourlimb`: run one command, say in one line what went wrong, end with a code.

Exit codes: 0 done, 1 a balance that is off, 2 wrong input or missing tool, 130 interrupted.
"""

import contextlib
import gc
import os
import sys
from collections.abc import Sequence
from typing import NoReturn

from render.files.interrupts import INTERRUPTED as SAID
from render.files.interrupts import end_at_once_when_told, tidy_up_when_told_to_end

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
    code = main(told_to_end=True)
    for stream in filter(None, (sys.stdout, sys.stderr)):  # None: it was closed before we began
        with contextlib.suppress(OSError):
            stream.flush()
    os._exit(code)


def main(words: Sequence[str] | None = None, told_to_end: bool = False) -> int:
    """Run one command: `main(["grooves"])` lists the grooves and returns 0.

    With `told_to_end` a signal to end is tidied up after, as Ctrl-C is; that is for a process of our own.
    """
    try:
        return _run(words, told_to_end)
    except KeyboardInterrupt:
        return _fail(SAID, INTERRUPTED)
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return CLOSED_PIPE
    except OSError as error:
        return _fail(f"{error.filename or 'a file'}: {error.strerror or error}", WRONG)


def _run(words: Sequence[str] | None, told_to_end: bool) -> int:
    # Imported here, so that Ctrl-C while modules load is one line too.
    from grooves.errors import LessonError
    from render.command.app import BadUsage, call, usage_message

    if told_to_end:
        tidy_up_when_told_to_end()
    try:
        return call(words)
    except LessonError as error:
        return _fail(str(error), WRONG)
    except BadUsage as error:
        return _fail(usage_message(error), WRONG)


def _fail(message: str, code: int) -> int:
    name = "\x1b[1;31mfourlimb:\x1b[0m" if sys.stderr and sys.stderr.isatty() else "fourlimb:"
    print(f"{name} {message}", file=sys.stderr)
    return code


if __name__ == "__main__":
    run()
