"""Peaks of one part become strokes: which peak belongs to a written place, whether it is one, and which are extras.

Two things speak for a peak: how loud it is, against the part's own strokes and against what others leave there; and how
near it lies to where this limb strikes as a rule. Both are logarithms of likelihoods and add up, so that what rings on
after another drum is not taken for the softer stroke under it.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from grooves.takes.align import nearest_gaps
from grooves.takes.take import Floats, Played, median, robust_spread
from render.hearing.strokes import UNSURE_DB, Peaks, away_from, strongest_near, threshold

REACH_SECONDS = 0.08  # around a written place
NEAR_SECONDS = 0.06  # the same, while nothing is known of a limb's habits
OTHERS_SECONDS = 0.04  # around a place of others
STEADY_SECONDS = 0.010, 0.020  # bounds of a limb's spread
STRAY = 0.01  # share of strokes that may lie anywhere within reach
SPREAD_DB = 3.0, 6.0  # bounds of how much strokes of one part differ
LEAKAGE_DB = 5.0  # least spread of what is no stroke
FAINTEST_DB = 20.0  # under a part's middle stroke, that one may still be
OWN_ECHO_SECONDS = 0.13  # around a stroke no other one of the same drum is believed that is not written
AFTER_SECONDS = 0.25  # after a stroke of its own a drum rings, and what is found there is held against that
FEWEST = 8  # peaks of a kind, from which on they are held against their like
EXTRAS = 0.02  # share of what is played that is not written, before anything is heard


@dataclass(frozen=True)
class Loudness:
    """How loud something is as a rule, in dB, and how much it varies."""

    middle_db: float
    spread_db: float

    def log_likelihood(self, level_db: Floats) -> Floats:
        """Of a normal distribution: `Loudness(0.0, 3.0).log_likelihood(np.array([-6.0]))`."""
        away = (level_db - self.middle_db) / self.spread_db
        return np.asarray(-0.5 * away**2 - np.log(self.spread_db), dtype=np.float64)


def hits_loudness(level_db: Floats) -> Loudness:
    """Of a part's strokes, by their middle and their spread."""
    return Loudness(median(level_db), float(np.clip(robust_spread(level_db), *SPREAD_DB)))


def leakage_loudness(level_db: Floats) -> Loudness:
    """Of what is no stroke, by its middle and its louder half: how soft the softest is says nothing."""
    if not len(level_db):
        return Loudness(-200.0, LEAKAGE_DB)
    middle = median(level_db)
    return Loudness(middle, max((float(np.quantile(level_db, 0.95)) - middle) / 1.64, LEAKAGE_DB))


def decibels(strength: Floats) -> Floats:
    """Strengths in dB: `decibels(np.array([10.0]))` is [20.0]."""
    return np.asarray(20 * np.log10(np.maximum(strength, 1e-12)), dtype=np.float64)


def chosen(found: Peaks, own: Floats) -> npt.NDArray[np.int64]:
    """The peak that belongs to each written place, -1 where there is none within reach."""
    level = decibels(found.strength)
    first = strongest_near(found, own, NEAR_SECONDS)
    hits = hits_loudness(decibels(first[first > 0]))
    leakage = leakage_loudness(level[away_from(found.seconds, own, REACH_SECONDS)])
    usual = np.flatnonzero(np.isin(found.strength, first))
    gaps = -nearest_gaps(found.seconds[usual], own) if len(usual) and len(own) else np.zeros(0)
    late, spread = median(gaps), float(np.clip(robust_spread(gaps), *STEADY_SECONDS))
    speaks = hits.log_likelihood(np.minimum(level, hits.middle_db)) - leakage.log_likelihood(level)
    taken = np.full(len(own), -1, np.int64)
    low = np.searchsorted(found.seconds, own + min(late, 0.0) - REACH_SECONDS)
    high = np.searchsorted(found.seconds, own + max(late, 0.0) + REACH_SECONDS)
    for place, (a, b) in enumerate(zip(low, high, strict=True)):
        if b > a:
            off = (found.seconds[a:b] - own[place] - late) / spread
            timing = np.log((1 - STRAY) * np.exp(-0.5 * off**2) + STRAY)
            taken[place] = a + int(np.argmax(speaks[a:b] + timing))
    return taken


def judged(part: str, found: Peaks, own: Floats, elsewhere: Floats) -> list[Played]:
    """A part's strokes: those at written places over the threshold, and extras.

    Example: `judged("ride", found, own, elsewhere)`; `elsewhere` are its strengths where only others are written.
    """
    taken, limit = told_apart(found, own, elsewhere)
    here = found.strength[taken]
    low, high = limit * 10 ** (-UNSURE_DB / 20), limit * 10 ** (UNSURE_DB / 20)
    strokes = [_stroke(found, place, part, bool(found.strength[place] >= high)) for place in taken[here >= low]]
    strokes += [_stroke(found, place, part, True) for place in _extras(found, own, taken[here >= limit])]
    return sorted(strokes, key=lambda one: one.onset_seconds)


def told_apart(found: Peaks, own: Floats, elsewhere: Floats) -> tuple[npt.NDArray[np.int64], float]:
    """The peaks that belong to written places, and the strength over which they are strokes."""
    taken = chosen(found, own)
    taken = np.unique(taken[taken >= 0])
    here = found.strength[taken]
    return taken, max(threshold(here, elsewhere), median(here) * 10 ** (-FAINTEST_DB / 20)) if len(taken) else 0.0


def _stroke(found: Peaks, place: int, part: str, sure: bool) -> Played:
    return Played(float(found.seconds[place]), part, float(decibels(found.strength[place : place + 1])[0]), sure=sure)


def _extras(found: Peaks, own: Floats, hits: Sequence[int] | npt.NDArray[np.int64]) -> npt.NDArray[np.int64]:
    """Peaks away from all that is written or was struck, louder than what is no stroke ever is.

    What rings on after a stroke of the same drum is held against its like, what is found elsewhere against the rest.
    """
    if not len(hits):
        return np.zeros(0, np.int64)
    level, played = decibels(found.strength), found.seconds[hits]
    after = found.seconds - played[np.clip(np.searchsorted(played, found.seconds) - 1, 0, None)]
    free = away_from(found.seconds, own, REACH_SECONDS) & away_from(found.seconds, played, OWN_ECHO_SECONDS)
    strokes = hits_loudness(level[hits])
    extras: list[int] = []
    for kind in (free & (after > 0) & (after < AFTER_SECONDS), free & ~((after > 0) & (after < AFTER_SECONDS))):
        places = np.flatnonzero(kind)
        leakage = leakage_loudness(level[places if len(places) >= FEWEST else free])
        odds = strokes.log_likelihood(np.minimum(level[places], strokes.middle_db)) - leakage.log_likelihood(
            level[places]
        )
        rare = np.log(max(EXTRAS * len(hits), 1.0) / max(len(places), 1.0))
        extras += places[odds + rare > 0].tolist()
    return np.array(sorted(extras), np.int64)
