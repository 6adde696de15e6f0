"""Takes made of single hits, and a gain that changes nothing."""

from fractions import Fraction

from grooves.kit import INSTRUMENTS
from grooves.performance import BarMark, Hit, Performance
from grooves.rhythm import Meter
from render.gain import Gain
from render.strikes import Take

NO_GAIN = Gain(0.0, 0.0, 0.0, limited_by_peak=False)


def hits_at(*hits, seconds=4.0):
    """A performance of (seconds, instrument)."""
    made = tuple(Hit(at, Fraction(0), name, "", name, INSTRUMENTS[name].key, 0.0) for at, name in hits)
    return Performance("", Meter(4, 4), made, (BarMark(0.0, Fraction(0), Fraction(4), seconds, 60.0, "bar 1"),))


def struck(*hits, velocity=100, seconds=4.0, only=None):
    """A take of (seconds, instrument), all at one velocity."""
    return Take(hits_at(*hits, seconds=seconds), (velocity,) * len(hits), only)
