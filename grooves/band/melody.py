"""A melody on the reading line's rhythm: thirds and sevenths where it rests, mostly steps elsewhere, a tenth wide.

A voice could follow it: small range, small moves, wide ones turned back. Common practice, no source. The best line is
found by dynamic programming; costs are ours, about in leaps of a fourth.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache
from itertools import pairwise

import numpy as np

from grooves.band.bars import BandBar, Changes, spans
from grooves.band.chance import drawn_many
from grooves.band.chords import Chord
from grooves.band.path import Costs, Step, cheapest_path
from grooves.feel import is_upbeat
from grooves.players import BandNote, LineOnset

LOWEST, HIGHEST = 60, 76  # a tenth, from middle C
KEYS = np.arange(LOWEST, HIGHEST + 1)
LONG = Fraction(1)  # a note of a quarter or more, or one before a rest, sounds long enough to be heard as harmony

_INTERVALS = (0.9, 0.0, 0.0, 0.4, 0.5, 0.9, 3.0, 1.4, 2.8, 2.8, 5.0, 6.0, 3.0)
_TOO_FAR = 40.0
_TASTE = 1.2
_AGAIN, _LEAP_ON, _LEAP_AFTER_LEAP = 0.6, 1.5, 1.0
# What a tone costs: guide tone, other chord tone, scale tone, any other; on long notes, on a beat, on an upbeat.
_TONES = {"long": (0.0, 1.2, 6.0, 30.0), "beat": (0.0, 0.2, 1.0, 8.0), "upbeat": (0.0, 0.1, 0.2, 2.0)}


@dataclass(frozen=True)
class _Sung:
    """A note of the melody before it has a pitch."""

    bar: int
    line: LineOnset
    place: Fraction
    chord: Chord
    weight: str  # long, beat, upbeat


def melody(bars: Sequence[BandBar], seed: int) -> list[BandNote]:
    """The line of some bars as a melody: `melody(bars, 1)` has one note for each of the line's."""
    sung = list(_sung(bars))
    turns = [n for n, one in enumerate(sung) if n == 0 or _new_turn(sung[n - 1].bar, one.bar, bars)]
    keys: list[int] = []
    for first, last in pairwise([*turns, len(sung)]):
        before = (keys[-2] - LOWEST, keys[-1] - LOWEST) if len(keys) > 1 else None
        path = cheapest_path([_step(one, seed) for one in sung[first:last]], _triples(), before)
        keys += [LOWEST + index for index in path]
    return [
        BandNote(one.bar, one.line.onset, one.line.length, "horns", key, one.line.accent_lu)
        for one, key in zip(sung, keys, strict=True)
    ]


def _new_turn(before: int, now: int, bars: Sequence[BandBar]) -> bool:
    return any(bars[index].fresh for index in range(before + 1, now + 1))


def _sung(bars: Sequence[BandBar]) -> Iterator[_Sung]:
    """The line's notes with the chord that each is heard against, and how much it weighs."""
    changes = Changes(spans(bars))
    read = [(index, note) for index, bar in enumerate(bars) for note in (*bar.pickup, *bar.line)]
    notes = [(index, note, bars[index].place + note.onset) for index, note in read]
    nexts = [place for _, _, place in notes[1:]]
    for (index, note, place), after in zip(notes, [*nexts, None], strict=False):
        meter = bars[index].meter
        beat = place + meter.pulse - note.onset % meter.pulse
        early = is_upbeat(note.onset, meter) and (after is None or after > beat)
        rests = after is None or after - (place + note.length) >= meter.pulse
        weight = "long" if note.length >= LONG or rests else "upbeat" if note.onset % meter.pulse else "beat"
        yield _Sung(index, note, place, changes.at(beat if early else place).chord, weight)


def _step(one: _Sung, seed: int) -> Step:
    taste = _TASTE * drawn_many(seed, "horns/taste", one.place, len(KEYS))
    return Step((taste + _tone_costs(one.chord, one.weight)).astype(np.float32), _intervals())


@lru_cache(maxsize=1024)
def _tone_costs(chord: Chord, weight: str) -> Costs:
    guide, core, scale, other = _TONES[weight]
    guides = [(chord.root + tone) % 12 for tone in (chord.third, chord.seventh) if tone]
    costs = np.full(len(KEYS), other)
    for tones, cost in ((list(chord.scale), scale), (list(chord.core), core), (guides, guide)):
        costs[np.isin(KEYS % 12, tones)] = cost
    return costs.astype(np.float32)


@lru_cache(maxsize=1)
def _intervals() -> Costs:
    apart = np.abs(KEYS[None, :] - KEYS[:, None])
    return np.asarray(np.array([*_INTERVALS, *[_TOO_FAR] * len(KEYS)], np.float32)[apart])


@lru_cache(maxsize=1)
def _triples() -> Costs:
    moved = (KEYS[None, :] - KEYS[:, None]).astype(np.int16)
    first, second = moved.T[:, None, :], moved[:, :, None]
    leapt = np.abs(first) >= 5
    costs = _AGAIN * (first + second == 0) + _LEAP_ON * (leapt & (first * second > 0))
    return np.ascontiguousarray(costs + _LEAP_AFTER_LEAP * (leapt & (np.abs(second) > 2)), np.float32)
