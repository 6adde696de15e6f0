"""A click to record single strokes by, and how late it comes back where the headphone lies at the microphone."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from grooves.errors import LessonError
from grooves.takes.align import nearest_gaps
from grooves.takes.take import Floats, median
from render.hearing.features import Recording, Row, heard
from render.hearing.single_strokes import EACH, single_strokes

RATE = 44100
APART_SECONDS = 2.0
FIRST_SECONDS = 1.0
CLICK_HZ, LAST_HZ = 1000.0, 1500.0  # the fourth click of a part is higher, so that the next one is not forgotten
CLICK_SECONDS = 0.03
LEVEL = 0.25  # of full scale
WITHIN_SECONDS = 0.01
FEWEST = 8


@dataclass(frozen=True)
class Latency:
    """How late a recording of the click is against the file, and how exactly that was measured."""

    milliseconds: float
    spread_ms: float


def click_moments(parts: int) -> Floats:
    """When the clicks come, in seconds: `click_moments(4)` has sixteen, two seconds apart."""
    return FIRST_SECONDS + APART_SECONDS * np.arange(EACH * parts, dtype=np.float64)


def click_sound(parts: int) -> Row:
    """The click as sound, mono at 44.1 kHz: four for each part, the fourth higher."""
    sound = np.zeros(round((FIRST_SECONDS + APART_SECONDS * EACH * parts) * RATE), np.float32)
    at = np.arange(round(CLICK_SECONDS * RATE)) / RATE
    for number, moment in enumerate(click_moments(parts)):
        hertz = LAST_HZ if number % EACH == EACH - 1 else CLICK_HZ
        start = round(moment * RATE)
        sound[start : start + len(at)] = LEVEL * np.sin(2 * np.pi * hertz * at) * np.hanning(2 * len(at))[len(at) :]
    return sound


def latency(recording: Recording) -> Latency:
    """How late the click comes back: `latency(open_recording(path)).milliseconds`.

    Raises LessonError where the clicks are not in the recording.
    """
    sound = heard(recording, 0, recording.moments)
    moments = single_strokes(sound, np.quantile(sound, 0.2, axis=1).astype(np.float32), EACH * 8)
    meant = click_moments(8)
    best = max((_late(moments, meant, shift) for shift in _shifts(moments, meant)), key=len, default=np.zeros(0))
    if len(best) < FEWEST:
        raise LessonError("the clicks are not heard in it; lay the headphone at the microphone and record again")
    return Latency(1000 * median(best), 1000 * float(np.std(best)))


def _shifts(moments: Floats, meant: Floats) -> Sequence[float]:
    return [float(one - meant[0]) for one in moments if abs(one - meant[0]) < APART_SECONDS / 2]


def _late(moments: Floats, meant: Floats, shift: float) -> Floats:
    gaps = nearest_gaps(meant + shift, moments)
    return gaps[np.abs(gaps) <= WITHIN_SECONDS] + shift
