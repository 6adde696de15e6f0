"""Chance as a function of place: the same seed, part and place always draw the same number, whoever else plays.

A place is in quarters since the count-in, as for the limbs.
"""

from collections.abc import Mapping
from fractions import Fraction
from hashlib import blake2b
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

Choice = TypeVar("Choice")
Floats = NDArray[np.float64]


def _digest(seed: int, what: str, place: Fraction, size: int) -> bytes:
    return blake2b(f"{seed}/{what}/{place}".encode(), digest_size=size).digest()


def drawn(seed: int, what: str, place: Fraction) -> float:
    """A number from 0 up to 1, evenly spread: `drawn(1, "bass/rhythm", Fraction(4))`."""
    return int.from_bytes(_digest(seed, what, place, 6), "big") / 2**48


def drawn_many(seed: int, what: str, place: Fraction, count: int) -> Floats:
    """Up to 64 numbers from 0 up to 1: `drawn_many(1, "bass/taste", Fraction(4), 28).shape` is (28,)."""
    return np.frombuffer(_digest(seed, what, place, count), np.uint8).astype(np.float64) / 256


def chosen(shares: Mapping[Choice, float], seed: int, what: str, place: Fraction) -> Choice:
    """One of several things by their shares, whatever these add up to: `chosen({"plain": 3, "skip": 1}, …)`."""
    left = drawn(seed, what, place) * sum(shares.values())
    *first, last = shares
    for choice in first:
        left -= shares[choice]
        if left < 0:
            return choice
    return last
