"""Renditions made of single hits or of a short lesson, and a gain that changes nothing."""

from fractions import Fraction

import numpy as np
from written import score

from grooves.feel import Feel
from grooves.kit import INSTRUMENTS
from grooves.passages import Track, track_passages
from grooves.performance import BarMark, Hit, Performance, perform
from grooves.rhythm import Meter
from render.sound.balance import calibrate, velocities
from render.sound.events import Rendition
from render.sound.gain import Gain

RATE = 44100
NO_GAIN = Gain(0.0, 0.0, 0.0, limited_by_peak=False)


def hits_at(*hits, seconds=4.0):
    """A performance of (seconds, instrument)."""
    made = tuple(Hit(at, Fraction(0), name, "", name, INSTRUMENTS[name].key, 0.0) for at, name in hits)
    return Performance("", Meter(4, 4), made, (BarMark(0.0, Fraction(0), Fraction(4), seconds, 60.0, "bar 1"),))


def struck(*hits, velocity=100, seconds=4.0, only=None):
    """A rendition of (seconds, instrument), all at one velocity."""
    return Rendition(hits_at(*hits, seconds=seconds), (velocity,) * len(hits), only)


def humanized(kit, choruses=2):
    """A rendition of a two-bar line over swing with everyone, its strokes off by up to some hundredths of a second."""
    made = score("4 8 8 4 4 | 8 4 4 4 8", tempo_bpm=140)
    performance = perform(made, track_passages(Track("full"), made, choruses), Feel(timing_ms=10))
    return Rendition(performance, velocities(performance, calibrate(kit)))


def pitch_hertz(heard, near_hertz):
    """The frequency of a sound by autocorrelation, over more and more of its periods at a time."""
    one = heard.sum(axis=1) - heard.sum(axis=1).mean()
    spectrum = np.fft.rfft(one, 2 * len(one))
    alike = np.fft.irfft(np.abs(spectrum) ** 2)[: len(one)] / (len(one) - np.arange(len(one)))
    hertz = near_hertz
    for periods in (1, 2, 4, 8):
        lag = periods * RATE / hertz
        first = int(lag * (1 - 0.03 / periods))
        best = first + int(alike[first : int(lag * (1 + 0.03 / periods)) + 2].argmax())
        before, there, after = alike[best - 1 : best + 2]
        hertz = periods * RATE / (best + 0.5 * (before - after) / (before - 2 * there + after))
    return hertz
