"""The command line: read, call, report. The only place that prints or exits.

Exit codes: 0 done, 1 a balance that is off, 2 wrong input or missing tool, 130 interrupted.
"""

import contextlib
import gc
import os
import sys
from argparse import Namespace
from collections.abc import Sequence
from typing import NoReturn

from grooves.errors import LessonError
from render.command.arguments import parser
from render.files.interrupts import tidy_up_when_told_to_end


def run() -> NoReturn:
    """The command `fourlimb`: `main` in a process that lives too short to be kept tidy.

    It collects no garbage, gives numpy one thread (work is shared out among processes) and ends without taking the
    interpreter apart: a sixth of the time that a track of five minutes takes.
    """
    gc.disable()
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    tidy_up_when_told_to_end()
    code = main()
    for stream in filter(None, (sys.stdout, sys.stderr)):  # None: it was closed before we began
        with contextlib.suppress(OSError):
            stream.flush()
    os._exit(code)


def main(words: Sequence[str] | None = None) -> int:
    """Run one command: `main(["grooves"])` lists the grooves and returns 0."""
    try:
        return _run(parser().parse_args(words))
    except LessonError as error:
        return _fail(str(error), 2)
    except KeyboardInterrupt:
        return _fail("interrupted; nothing half-written was left", 130)
    except BrokenPipeError:  # the reader of a pipe has gone, as after `| head`
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0
    except OSError as error:
        return _fail(f"{error.filename or 'a file'}: {error.strerror or error}", 2)


def _fail(message: str, code: int) -> int:
    print(f"fourlimb: {message}", file=sys.stderr)
    return code


def _run(asked: Namespace) -> int:
    if asked.version:
        from importlib.metadata import version

        print(f"fourlimb {version('fourlimb')}")
        return 0
    if asked.command is None:
        parser().print_help()
        return 2
    from render.command import commands

    command = getattr(commands, asked.command)
    return int(command(asked) or 0)


if __name__ == "__main__":
    run()
