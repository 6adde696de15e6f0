"""Meters: bars, beats, and the rests that show them.

Conventions: every place and length is a `Fraction` of quarter notes, in every meter.
"""

import re
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property, lru_cache

from grooves.errors import LessonError, visible

QUARTER = Fraction(1)
EIGHTH = Fraction(1, 2)
SIXTEENTH = Fraction(1, 4)
# Rests shorter than a beat: none is dotted. The smallest part strokes of two limbs, as 32nds are from triplets.
_RESTS = tuple(Fraction(4, 2**power) * part for power in range(9) for part in (Fraction(1), Fraction(2, 3)))
# Every length from a 256th to a whole bar that one rest can be, dotted where a beat has three eighths.
_SIGNS = frozenset(Fraction(4, 2**power) * dots for power in range(9) for dots in (Fraction(1), Fraction(3, 2)))


@dataclass(frozen=True)
class Meter:
    """A time signature: `Meter(4, 4).length` is 4 quarters, `Meter(6, 8).pulse` a dotted quarter."""

    count: int
    unit: int

    @cached_property
    def length(self) -> Fraction:
        """Quarters in one bar."""
        return self.count * self.step

    @cached_property
    def step(self) -> Fraction:
        """Quarters from one counted number to the next."""
        return Fraction(4, self.unit)

    @property
    def compound(self) -> bool:
        """Whether the felt beat holds three of the written ones, as in 6/8 and 12/8."""
        return self.unit >= 8 and self.count % 3 == 0

    @cached_property
    def pulse(self) -> Fraction:
        """Quarters in one felt beat."""
        return self.step * 3 if self.compound else self.step

    @cached_property
    def pulses(self) -> int:
        """Felt beats in one bar."""
        return int(self.length / self.pulse)

    def __str__(self) -> str:
        return f"{self.count}/{self.unit}"


def parse_meter(text: str) -> Meter:
    """Read a time signature: `parse_meter("3/4")` is `Meter(3, 4)`; anything odd raises LessonError."""
    found = re.fullmatch(r"\s*(\d{1,2})\s*/\s*(\d{1,2})\s*", text)
    if not found or not 1 <= int(found[1]) <= 16 or int(found[2]) not in (2, 4, 8):
        raise LessonError(
            f"'{visible(text, 40)}' is not a meter; write 4/4, 3/4, 5/4, 6/8 or the like (1 to 16 over 2, 4 or 8)"
        )
    return Meter(int(found[1]), int(found[2]))


@lru_cache(maxsize=256)
def beat_groups(meter: Meter) -> tuple[tuple[Fraction, Fraction], ...]:
    """Where each felt beat begins and ends: 6/8 is two groups of three eighths, 7/8 is 2 + 2 + 3."""
    step = meter.pulse
    if meter.unit == 8 and not meter.compound:
        step = 2 * meter.step
    starts = [step * number for number in range(max(1, int(meter.length / step)))]
    return tuple(zip(starts, [*starts[1:], meter.length], strict=True))


@lru_cache(maxsize=4096)  # the same few silences come up again and again
def rest_lengths(start: Fraction, end: Fraction, meter: Meter) -> tuple[Fraction, ...]:
    """The rests of a silence: `rest_lengths(EIGHTH, Fraction(2), Meter(4, 4))` is an eighth and a quarter.

    Each shows the beats: none hides the middle of the bar, none is dotted except for a whole beat of three eighths.
    A silent bar is one rest where a value is as long as it: not in 5/4 and 7/8. Common practice, no source.
    """
    if start == 0 and end == meter.length and meter.length in _SIGNS:
        return (meter.length,)
    lengths: list[Fraction] = []
    while start < end:
        lengths.append(_rest_length(start, end, meter))
        start += lengths[-1]
    return tuple(lengths)


def _rest_length(start: Fraction, end: Fraction, meter: Meter) -> Fraction:
    opening, closing = next(group for group in beat_groups(meter) if group[0] <= start < group[1])
    beat = closing - opening
    if start == opening and end >= closing:
        both = 2 * beat  # two beats in one rest, on a beat of even number
        room = start % both == 0 and end - start >= both and both in _SIGNS and meter.count % 2 == 0
        return both if room else beat if beat in _SIGNS else EIGHTH
    stop, within = min(end, closing), start - opening
    if start.denominator % 3 == 0 and stop.denominator == 4:  # thirds give way to sixteenths where a quarter begins
        stop = min(stop, Fraction(start // QUARTER + 1))
    thirds = start.denominator % 3 == 0 or stop.denominator % 3 == 0
    usable = [one for one in _RESTS if start + one <= stop and (thirds or one.denominator % 3)]
    whole = max(usable, default=stop - start)  # a silence shorter than every sign stays as it is
    return max((one for one in usable if within % one == 0), default=whole)
