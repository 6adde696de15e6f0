"""Measures as they are played, put together to full bars: a pickup, and bars that a repeat sign parts in two."""

from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction

from grooves.errors import LessonError
from grooves.rhythm import Bar, Meter, Symbol, amount, check_bar, spell

Played = tuple[int, Bar, Fraction]  # a measure's number in the score, what stands in it, how long it is


def rebarred(played: Sequence[Played], begins_short: bool, meter: Meter) -> tuple[Bar, list[Bar], list[int]]:
    """The pickup (its places those of the bar that it ends), the bars, and the numbers of measures that were joined.

    `rebarred([(1, bar, Fraction(4))], False, Meter(4, 4))` is ((), [bar], []). Raises LessonError naming the measure
    that is too short or too long.
    """
    pickup: Bar = ()
    missing = Fraction(0)  # what the last bar may lack, since the pickup has it
    waiting = list(played)
    if begins_short and len(waiting) > 1:
        number, bar, length = waiting.pop(0)
        missing, pickup = length, _shifted(bar, meter.length - length)
        check_bar((*_rest(Fraction(0), meter.length - length, meter), *pickup), meter, number)
    bars: list[Bar] = []
    joined: list[int] = []
    while waiting:
        number, bar, length = waiting.pop(0)
        filled = length or meter.length
        pieces = list(bar)
        while filled < meter.length and waiting and 0 < waiting[0][2] <= meter.length - filled:
            _, after, more = waiting.pop(0)
            pieces += _shifted(after, filled)
            filled += more
            joined.append(number)
        if filled < meter.length:
            if waiting or filled + missing != meter.length:
                raise _short(number, filled, meter, first=not bars)
            pieces += _rest(filled, meter.length, meter)
        check_bar(tuple(pieces), meter, number)
        bars.append(tuple(pieces))
    return _without_rests(pickup), bars, sorted(set(joined))


def _shifted(bar: Bar, by: Fraction) -> Bar:
    return tuple(replace(symbol, onset=symbol.onset + by) for symbol in bar)


def _rest(start: Fraction, end: Fraction, meter: Meter) -> Bar:
    return spell((Symbol(start, end - start, "rest"),), meter) if end > start else ()


def _without_rests(pickup: Bar) -> Bar:
    """A pickup from its first note on; nothing where it only rests."""
    first = next((index for index, symbol in enumerate(pickup) if symbol.kind != "rest"), len(pickup))
    return pickup[first:]


def _short(number: int, length: Fraction, meter: Meter, first: bool) -> LessonError:
    held, needed = amount(length / meter.step), amount(meter.length / meter.step)
    return LessonError(
        f"bar {number} holds {held} {'beat' if held == '1' else 'beats'}; {meter} needs {needed}; "
        "fill it with rests in the notation program" + (", or mark it as a pickup" if first else "")
    )
