"""A bass line: events with what each of them wants, and the best path of pitches through them.

The harmony lies on the strong beats, a neighbour leads into each new chord, a note seldom comes twice, and a wide jump
is followed by a small move back: common practice, no source. How often it does so is published: root where a chord
begins 68 %, the note before it a semitone above 26.8 %, a semitone below 21.0 %, a whole step below 11.9 %: X. Riley &
S. Dixon, FiloBass, ISMIR 2023, arXiv 2311.02023, the figures as two other texts quote and recount them. The shares
below were tuned until those come out. All costs are ours; a cost of 1 is about as bad as a leap of a fourth.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache

import numpy as np

from grooves.band.chance import chosen, drawn, drawn_many
from grooves.band.chords import Chord
from grooves.band.path import Costs, Step, cheapest_path

LOWEST, HIGHEST = 28, 55  # E1, the lowest string, to G3: range of a double bass line (from memory)
KEYS = np.arange(LOWEST, HIGHEST + 1)

# What a player aims at where a chord begins, and how the note before leads there.
AIMS = {"root": 0.73, "third": 0.11, "fifth": 0.12, "seventh": 0.04}
AIMS_WITHIN = {"root": 0.3, "fifth": 0.3, "third": 0.28, "seventh": 0.12}  # at a barline where the chord goes on
LEADS = {"half step above": 0.28, "half step below": 0.21, "step below": 0.12, "free": 0.40}
_LEAD_STEPS = {"half step above": (-1,), "half step below": (1,), "step below": (2,)}  # from the note to its aim

# Costs of an interval in semitones: steps are free, the tritone and the sixths rare, an octave now and then.
_INTERVALS = (3.0, 0.1, 0.2, 0.4, 0.5, 0.7, 3.0, 0.9, 3.0, 3.0, 5.0, 8.0, 1.8)
_TOO_FAR = 40.0  # over an octave
_WRONG_TONE = 30.0  # on a strong beat
_SCALE_TONE, _CHROMATIC = 0.3, 1.2  # on a weak one
_LEAP_FROM_NON_CHORD = 4.0
_OFF_AIM, _OFF_LEAD = 6.0, 6.0
_OFF_SOFT_AIM, _OFF_FIRM_AIM = 1.0, 15.0
_AGAIN, _LEAP_ON, _LEAP_AFTER_LEAP, _TURN = 2.0, 1.5, 1.2, 0.25
_TASTE = 1.5  # what chance adds to a pitch at most
_CENTRES = (35.0, 46.0)  # the register wanders between them
_OFF_CENTRE = 0.02  # times the square of the distance


@dataclass(frozen=True)
class BassEvent:
    """A note to be found: where, on which chord, and what it wants."""

    place: Fraction  # quarters since the count-in
    chord: Chord
    begins: bool  # the chord begins with it
    strong: bool  # a chord tone is wanted
    aim: str = ""  # root, third, fifth, seventh; "" for any
    firmly: bool = False  # the aim of a pattern rather than of a moment
    lead: str = ""  # how the note before comes to it


def bass_keys(
    events: Sequence[BassEvent], seed: int, after: BassEvent | None = None, before: tuple[int, int] | None = None
) -> list[int]:
    """MIDI keys of the best line through some events: one for each, and one more for `after`, where the line goes on.

    `before` are the last two keys already played.
    """
    going_on = [*events, *([after] if after else [])]
    if not going_on:  # the last turn of a form that has one note, which the turn before aimed at
        return []
    steps = [_step(previous, event, seed) for previous, event in zip([None, *going_on], going_on, strict=False)]
    last = (before[0] - LOWEST, before[1] - LOWEST) if before else None
    return [LOWEST + index for index in cheapest_path(steps, _triples(), last)]


def _step(previous: BassEvent | None, event: BassEvent, seed: int) -> Step:
    own = _TASTE * drawn_many(seed, "bass/taste", event.place, len(KEYS)) + _off_register(event.place, seed)
    tones, wanted = _tone_costs(event.chord, event.strong), _wanted(event.chord, event.aim)
    if wanted is not None:
        missed = _OFF_FIRM_AIM if event.firmly else _OFF_AIM if event.begins else _OFF_SOFT_AIM
        own += np.where(wanted, 0, missed)
    into = _intervals()
    if previous:
        into = into + _leaps(previous.chord)[0] + _leaps(event.chord)[1] + _lead_costs(event.lead)
    return Step((own + tones).astype(np.float32), into)


def _off_register(place: Fraction, seed: int) -> Costs:
    """Cost of lying off the centre of the moment, which wanders from one stretch of sixteen quarters to the next."""
    stretch, within = divmod(place, 16)
    low, high = _CENTRES
    here, there = (drawn(seed, "bass/register", stretch + Fraction(turn)) for turn in (0, 1))
    centre = low + (high - low) * (here + (there - here) * float(within / 16))
    return np.asarray(_OFF_CENTRE * (KEYS - centre) ** 2, np.float32)


@lru_cache(maxsize=256)
def _tone_costs(chord: Chord, strong: bool) -> Costs:
    core = np.isin(KEYS % 12, chord.core)
    if strong:
        return np.where(core, 0, _WRONG_TONE).astype(np.float32)
    scale = np.isin(KEYS % 12, list(chord.scale))
    return np.where(core, 0, np.where(scale, _SCALE_TONE, _CHROMATIC)).astype(np.float32)


@lru_cache(maxsize=1024)
def _wanted(chord: Chord, aim: str) -> np.ndarray[tuple[int, ...], np.dtype[np.bool_]] | None:
    """Which keys are the wanted tone; None where any will do."""
    if not aim:
        return None
    tone = {"root": 0, "third": chord.third, "fifth": chord.fifth, "seventh": chord.seventh}[aim]
    wanted = chord.bass if tone == 0 else (chord.root + tone) % 12
    return np.asarray(np.equal(KEYS % 12, wanted))


@lru_cache(maxsize=1)
def _intervals() -> Costs:
    apart = np.abs(KEYS[None, :] - KEYS[:, None])
    table = np.array([*_INTERVALS, *[_TOO_FAR] * len(KEYS)], np.float32)
    return np.asarray(table[apart])


@lru_cache(maxsize=256)
def _leaps(chord: Chord) -> tuple[Costs, Costs]:
    """What a leap costs that leaves (first) or reaches (second) a note outside the chord."""
    outside = ~np.isin(KEYS % 12, chord.core)
    leap = _LEAP_FROM_NON_CHORD * (np.abs(KEYS[None, :] - KEYS[:, None]) > 2)
    return (leap * outside[:, None]).astype(np.float32), (leap * outside[None, :]).astype(np.float32)


@lru_cache(maxsize=8)
def _lead_costs(lead: str) -> Costs:
    """What it costs to come to an aim otherwise than wanted; "free" is any way but the three named ones."""
    moved = KEYS[None, :] - KEYS[:, None]
    if lead == "free":
        named = [step for steps in _LEAD_STEPS.values() for step in steps]
        return np.where(np.isin(moved, named), _OFF_LEAD, 0).astype(np.float32)
    if lead:
        return np.where(np.isin(moved, _LEAD_STEPS[lead]), 0, _OFF_LEAD).astype(np.float32)
    return np.zeros(moved.shape, np.float32)


@lru_cache(maxsize=1)
def _triples() -> Costs:
    """Costs of two intervals in a row: back to the same note, a leap that goes on or is followed by another, a turn."""
    moved = (KEYS[None, :] - KEYS[:, None]).astype(np.int16)
    first, second = moved.T[:, None, :], moved[:, :, None]  # from a to b, from b to c, in the order b, c, a
    leapt, same_way = np.abs(first) >= 5, first * second > 0
    costs = _AGAIN * (first + second == 0) + _LEAP_ON * (leapt & same_way) + _TURN * (first * second < 0)
    costs = costs + _LEAP_AFTER_LEAP * (leapt & (np.abs(second) > 2))
    return np.ascontiguousarray(costs, np.float32)


def lead_into(seed: int, place: Fraction) -> str:
    """How the line comes to the chord that begins at a place: one of `LEADS`, drawn by place."""
    return chosen(LEADS, seed, "bass/lead", place)


def aim_at(seed: int, place: Fraction, begins: bool) -> str:
    """What the line aims at where a chord begins, or at a barline where it goes on, drawn by place."""
    return chosen(AIMS if begins else AIMS_WITHIN, seed, "bass/aim", place)
