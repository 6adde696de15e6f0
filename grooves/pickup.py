"""A pickup in a lesson: the notes before bar 1, written as note values, at the end of the bar that they end."""

import re
from fractions import Fraction

from grooves.errors import LessonError, visible
from grooves.rhythm import Bar, Meter, Symbol, amount, parse_values, spell, value_length, value_name


def parse_pickup(text: str, meter: Meter, line: str = "") -> tuple[Bar, tuple[Bar, ...]]:
    """Read a pickup, and the note values that follow it: `parse_pickup("8 8", Meter(4, 4))[0]` begins on 4.

    Its places are those of the bar that it ends; a tie may lead on into the line. Raises LessonError.
    """
    if "|" in text:
        raise LessonError("pickup: it is shorter than a bar, so no bar sign stands in it; write what follows in values")
    length = sum((_length(token) for token in text.split()), Fraction(0))
    if not 0 < length < meter.length:
        held, bar = amount(length / meter.step), amount(meter.length / meter.step)
        raise LessonError(f"pickup: it holds {held} beats, and a bar of {meter} {bar}; a pickup is shorter than a bar")
    rests = spell((Symbol(Fraction(0), meter.length - length, "rest"),), meter)
    filled = " ".join([*(f"{value_name(rest.length)}r" for rest in rests), text])
    try:
        first, *bars = parse_values(f"{filled} | {line}" if line else filled, meter)
    except LessonError as error:
        raise LessonError(re.sub(r"\bbar (\d+)", _number_without_pickup, str(error))) from None
    begins = next((index for index, symbol in enumerate(first) if symbol.kind != "rest"), None)
    if begins is None:
        raise LessonError("pickup: it only rests; leave it out")
    return first[begins:], tuple(bars)


def _length(token: str) -> Fraction:
    try:
        return value_length(token.strip("[]_^r"))
    except LessonError:
        raise LessonError(f"pickup: '{visible(token, 20)}' is not a note; write values such as 8 8") from None


def _number_without_pickup(found: re.Match[str]) -> str:
    number = int(found[1]) - 1
    return f"bar {number}" if number else "pickup"
