"""Lessons for the tests of the desk."""

from pathlib import Path

LESSON = """# mine
title  = "Harbour Street, first line"  # on every page
tempo  = 100
groove = "swing"

[line]
values = "4 4 8 8 4 | 8 8 4 4r 4 | % | 8 4. 2r"   # to be read aloud first
played_on = "snare"

[feel]
timing_ms = 4.0  # by ear
"""


def lesson_with(line: str, groove: str = "swing") -> str:
    """A lesson whose `[line]` says this."""
    return f'title = "Harbour Street"\ntempo = 100\ngroove = "{groove}"\n[line]\n{line}\n'


BESIDE = Path("lesson.toml")
