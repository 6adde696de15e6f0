"""When the strokes of a drum begin, to half a millisecond: where its sound rises as a rule after the moments found.

A stroke was found at the centre of a peak of its template, which lies as far off its beginning as that template does.
So the rise of the sound, every millisecond, is taken apart into what follows each part's strokes, by least squares:
parts that mostly fall together are told apart by the milliseconds by which they do not (responses that overlap: N. J.
Smith & M. Kutas 2015, Psychophysiology 52, "Regression-based estimation of ERP waveforms"; reference from memory).
"""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from itertools import pairwise

import numpy as np

from grooves.takes.take import Floats, Played, Take, median
from render.hearing.features import Row

STEP_SECONDS = 0.001
EARLIEST, LATEST = -45, 40  # steps around a stroke that are explained by it
BEFORE, AFTER = 40, 17  # steps around it in which it may begin: a template slides late where others ring, not early
FIRST = 0.6  # of the highest rise, from which on an earlier one is the beginning: a low drum beats with its own echoes
LOW_HZ = (60.0, 90.0)  # what a bass drum has alone, and a phone still hears a little of
BODY_HZ = (50.0, 70.0, 90.0, 110.0, 130.0)  # what it has in all; by two frequencies it comes out louder than it is
MIDDLE_HZ = (250.0, 330.0), (420.0, 500.0, 580.0, 670.0, 750.0)
HIGH_EDGES_HZ = (800.0, 1600.0, 3200.0, 6400.0, 12800.0)
HIGH_SECONDS, LOW_SECONDS = 0.004, 0.012  # windows; the longer one for low and middle
LOW, BODY, MIDDLE, HIGH = 0, 1, slice(2, 4), slice(4, None)  # columns of the rises
LOW_LATE_SECONDS = 0.0015  # by which low frequencies rise after a drum's sound begins; measured on our takes
STEADIER = 0.02  # of the mean square of strokes, added so that the least squares have one answer
FLANK = 0.1  # of a rise's top, down to which its flanks belong to it
FEWEST = 8  # strokes
LOUDER_DB = 10.0  # over and under the middle stroke, that one counts at most
BY_HIGH = ("ride", "ride bell", "closed hi-hat", "open hi-hat", "snare", "cross-stick")
BY_LOW = ("bass drum",)  # the foot's hi-hat, softer than the hands that fall with it, is laid in `beneath`
_BLOCK = 4096


def begun(take: Take, steps: Floats) -> Take:
    """A take whose strokes lie where their sound begins, each part moved as a whole: `begun(take, rises(sound, rate))`.

    Parts that have fewer than eight sure strokes within the sound stay where they are.
    """
    by_part = sure_strokes(take, len(steps) * STEP_SECONDS)
    scaled = steps / np.maximum(np.sqrt(np.mean(steps**2, axis=0)), 1e-12)
    late: dict[str, float] = {}
    for rise, parts, itself in (
        (scaled[:, HIGH].sum(axis=1), BY_HIGH, 0.0),
        (scaled[:, LOW], BY_LOW, LOW_LATE_SECONDS),
    ):
        found = responses(rise, by_part)
        late |= {part: begins_after(found[part]) - itself for part in parts if len(by_part.get(part, ())) >= FEWEST}
    moved = [replace(one, onset_seconds=one.onset_seconds + late.get(one.part, 0.0)) for one in take.strokes]
    return replace(take, strokes=tuple(sorted(moved, key=lambda one: one.onset_seconds)))


def sure_strokes(take: Take, seconds: float) -> dict[str, list[Played]]:
    """The strokes of each part that were surely heard within the first so many seconds."""
    found: dict[str, list[Played]] = {}
    for one in take.strokes:
        if one.sure and one.onset_seconds < seconds - 1:
            found.setdefault(one.part, []).append(one)
    return found


def rises(sound: Row, rate: int) -> Floats:
    """How fast bands rise every millisecond, two low, two middle, four high: `rises(sound, 44100).shape` is (n, 8).

    A recording of fewer samples a second lacks the highest.
    """
    moments = int(len(sound) / rate / STEP_SECONDS)
    high, low = round(HIGH_SECONDS * rate) // 2 * 2, round(LOW_SECONDS * rate) // 2 * 2
    hertz = np.fft.rfftfreq(high, 1 / rate)
    inside = [(hertz >= a) & (hertz < b) for a, b in pairwise(HIGH_EDGES_HZ)]
    sums = np.stack([one for one in inside if one.any()], axis=1).astype(np.float32)
    waves = [_waves(of, low, rate) for of in (LOW_HZ, BODY_HZ, *MIDDLE_HZ)]
    padded = np.pad(sound, low)
    found = np.empty((moments, sums.shape[1] + len(waves)))
    for first in range(0, moments, _BLOCK):
        middles = low + np.round(np.arange(first, min(first + _BLOCK, moments)) * STEP_SECONDS * rate).astype(np.int64)
        spectra = np.fft.rfft(_windows(padded, middles, high) * np.hanning(high).astype(np.float32), axis=1)
        found[first : first + _BLOCK, HIGH] = np.sqrt((spectra.real**2 + spectra.imag**2) @ sums)
        longer = _windows(padded, middles, low)
        for column, of in enumerate(waves):
            found[first : first + _BLOCK, column] = np.sqrt(np.sum((longer @ of) ** 2, axis=1))
    return np.asarray(np.gradient(found, axis=0), dtype=np.float64)


def _waves(hertz: Sequence[float], length: int, rate: int) -> Row:
    """Cosines and sines of some frequencies under a window."""
    at = np.arange(length)[:, None] * np.array(hertz) * 2 * np.pi / rate
    waves: Row = (np.concatenate([np.cos(at), np.sin(at)], axis=1) * np.hanning(length)[:, None]).astype(np.float32)
    return waves


def _windows(sound: Row, middles: "np.typing.NDArray[np.int64]", length: int) -> Row:
    return np.lib.stride_tricks.sliding_window_view(sound, length)[middles - length // 2]


def responses(
    rise: Floats, strokes: Mapping[str, Sequence[Played]], between: tuple[int, int] = (EARLIEST, LATEST)
) -> dict[str, Floats]:
    """What follows a stroke of each part, between some steps around it: `responses(rise, {"snare": strokes})`.

    `rise` has a value each step, or one of each band; so do the responses.
    """
    if not strokes:
        return {}
    lags, span = np.arange(*between), between[1] - between[0]
    across = np.arange(1 - span, span)
    trains = {part: train(own, len(rise)) for part, own in strokes.items()}
    seen, shared = [], np.zeros((len(trains), span, len(trains), span))
    for p, one in enumerate(trains.values()):
        places = np.flatnonzero(one)
        places = places[(places > 2 * span) & (places < len(rise) - 2 * span)]
        seen.append(np.tensordot(one[places], rise[places[:, None] + lags], axes=1))
        for q, other in enumerate(trains.values()):
            by_gap = one[places] @ other[places[:, None] + across]
            shared[p, :, q, :] = by_gap[np.arange(span)[:, None] - np.arange(span) + span - 1]
    whole = shared.reshape(len(trains) * span, -1)
    whole = whole + STEADIER * np.eye(len(whole)) * max(np.trace(whole) / len(whole), 1e-9)
    solved = np.linalg.solve(whole, np.concatenate(seen)).reshape(len(trains), span, *rise.shape[1:])
    return dict(zip(trains, solved, strict=True))


def train(strokes: Sequence[Played], moments: int) -> Floats:
    """Strokes as weights in time, each shared by the two steps that it lies between: `train(strokes, 40_000)`."""
    level = np.array([one.level_db for one in strokes])
    weights = 10 ** (np.clip(level - median(level), -LOUDER_DB, LOUDER_DB) / 20)
    at = np.array([one.onset_seconds for one in strokes]) / STEP_SECONDS
    first = np.floor(at).astype(np.int64)
    found = np.zeros(moments)
    for step, share in ((0, 1 - (at - first)), (1, at - first)):
        inside = (first + step >= 0) & (first + step < moments)
        np.add.at(found, (first + step)[inside], (weights * share)[inside])
    return found


def rises_of(steps: Floats, strokes: Mapping[str, Sequence[Played]]) -> dict[str, float]:
    """By how much the sound rises at each part's strokes: the bass drum's in low frequencies, others in high ones."""
    high, low = responses(steps[:, HIGH].sum(axis=1), strokes), responses(steps[:, BODY], strokes)
    return {part: rises_by(low[part] if part == "bass drum" else high[part]) for part in strokes}


def begins_after(response: Floats) -> float:
    """How many seconds after the moments found a part's sound rises: `begins_after(responses(rise, ...)["snare"])`.

    0 where nothing rises about them.
    """
    left, own = _rise(response)
    whole = float(own.sum())
    return float(own @ np.arange(left, left + len(own)) / whole + EARLIEST) * STEP_SECONDS if whole > 0 else 0.0


def rises_by(response: Floats) -> float:
    """How much a part's sound rises in all, whatever its strokes' moments were found wrong by: an amplitude."""
    return float(_rise(response)[1].sum())


def _rise(response: Floats) -> tuple[int, Floats]:
    """The first high rise about the strokes, with its flanks, and where it begins."""
    smooth = np.convolve(response, [0.25, 0.5, 0.25], mode="same")
    looked = smooth[-EARLIEST - BEFORE : AFTER - EARLIEST]
    first = -EARLIEST - BEFORE + int(np.argmax(looked >= FIRST * looked.max()))
    flat = np.flatnonzero(smooth < FLANK * looked.max())
    left, right = int(flat[flat < first].max(initial=-1)) + 1, int(flat[flat > first].min(initial=len(smooth)))
    return left, smooth[left:right]
