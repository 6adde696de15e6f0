"""`python -m render` is the command `fourlimb`."""

from render.files.early import loading

loading()

from render.files.interrupts import end_at_once_when_told  # noqa: E402

end_at_once_when_told()  # before anything that takes its time

from render.command.cli import run  # noqa: E402

run()
