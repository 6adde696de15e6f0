"""`python -m render` is the command `fourlimb`."""

from render.command.cli import run

run()
