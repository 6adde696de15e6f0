"""A reading line as it was read from a file."""

from dataclasses import dataclass

from grooves.line import RehearsalLetter
from grooves.rhythm import Bar


@dataclass(frozen=True)
class ImportedLine:
    """A line as read: its bars, and what was found, chosen and simplified on the way, a sentence each."""

    bars: tuple[Bar, ...]
    report: tuple[str, ...] = ()
    pickup: Bar = ()  # the notes before bar 1, their places those of the bar that they end
    letters: tuple[RehearsalLetter, ...] = ()  # rehearsal letters over its bars
