"""How far strokes stray from where and how loud they are written: random by place, never by order.

Conventions: places are quarters since the count-in; deviations are in standard deviations, of time or of level.

Long-range correlated timing: Hennig et al. 2011, PLoS ONE 6:e26457. Limbs err together: Fujii et al. 2011,
Music Perception 28(5). The filter that makes 1/f noise: N. J. Kasdin, Proc. IEEE 83(5), 1995 (from memory).
"""

import numpy as np
from numpy.typing import NDArray

from grooves.feel import Feel

Floats = NDArray[np.float64]

CELLS_PER_QUARTER = 2
MEMORY = 512  # cells of half a quarter that a deviation remembers: 64 bars of 4/4
CLIP = 3.0  # standard deviations
BODY = "body"  # what all limbs share


def _mix(words: NDArray[np.uint32]) -> NDArray[np.uint32]:
    """Scramble 32-bit words (the lowbias32 finalizer, C. Wellons, public domain; from memory)."""
    words = words ^ (words >> np.uint32(16))
    words = words * np.uint32(0x7FEB352D)
    words = words ^ (words >> np.uint32(15))
    words = words * np.uint32(0x846CA68B)
    return np.asarray(words ^ (words >> np.uint32(16)), dtype=np.uint32)


def stream_key(seed: int, limb: str, what: str) -> int:
    """One 32-bit number for a limb's timing or level: `stream_key(1, "left hand", "timing")`."""
    key = np.array([seed & 0xFFFFFFFF], dtype=np.uint32)
    for byte in f"{limb}/{what}".encode():
        key = _mix(key ^ np.uint32(byte))
    return int(key[0])


def white(key: int, places: Floats) -> Floats:
    """Standard normal numbers, one for each place, by hash: the same place always gets the same number.

    Places are quarters since the count-in, told apart to 1/48 of a quarter. Box-Muller on two hashes.
    """
    index = np.round(places * 48).astype(np.int64).astype(np.uint32)
    first = _mix(index ^ np.uint32(key))
    second = _mix(first ^ np.uint32(0x9E3779B9))
    radius = np.sqrt(-2.0 * np.log((first.astype(np.float64) + 1.0) / 2.0**32))
    return np.asarray(radius * np.cos(2.0 * np.pi * second.astype(np.float64) / 2.0**32), dtype=np.float64)


def noise_filter(exponent: float) -> Floats:
    """Weights that turn white noise into 1/f^exponent noise of variance 1: `noise_filter(0)` is 1, then zeros."""
    steps = np.arange(1, MEMORY + 1, dtype=np.float64)
    weights = np.concatenate([[1.0], np.cumprod((steps - 1 + exponent / 2) / steps)])
    return np.asarray(weights / np.sqrt(np.sum(weights**2)), dtype=np.float64)


def correlated(key: int, places: Floats, exponent: float) -> Floats:
    """Noise of variance 1 at places, 1/f^exponent along half-quarter cells: white for exponent 0.

    A place's own number is fresh; what it remembers are the cells before it, whoever plays in them.
    """
    weights = noise_filter(exponent)
    own: Floats = weights[0] * white(key, places)
    if exponent == 0 or not len(places):
        return own
    cells = np.floor(places * CELLS_PER_QUARTER).astype(np.int64)
    first = int(cells.min()) - MEMORY
    before = white(key, np.arange(first, int(cells.max()) + 1) / CELLS_PER_QUARTER)
    remembered = np.convolve(before, weights[1:], mode="full")
    return np.asarray(own + remembered[cells - first - 1], dtype=np.float64)


def deviations(feel: Feel, limb: str, what: str, places: Floats) -> Floats:
    """Deviations of one limb in standard deviations: mean 0, correlated along time and with the other limbs.

    `deviations(Feel(), "left hand", "timing", places)` has the shape of `places`; clipped at 3.
    """
    shared = correlated(stream_key(feel.seed, BODY, what), places, feel.correlation)
    own = correlated(stream_key(feel.seed, limb, what), places, feel.correlation)
    mixed = np.sqrt(feel.together) * shared + np.sqrt(1.0 - feel.together) * own
    return np.asarray(np.clip(mixed, -CLIP, CLIP), dtype=np.float64)
