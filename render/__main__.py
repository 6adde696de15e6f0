"""`python -m render` is the command `fourlimb`."""

from render.cli import run

run()
