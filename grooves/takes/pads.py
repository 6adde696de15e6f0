"""Which pad is which part: by General MIDI's keys and their usual neighbours, by what was told, else by agreement.

Keys: General MIDI 1 percussion key map. Which neighbours kits send for one pad (bell and edge of a ride, rim of a
snare): common practice, no source. A pad that answers twice, or answers a blow on its neighbour, is heard as a much
softer stroke very soon after or beside a stronger one; the limits are ours, from takes made for the tests.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from math import log10

import numpy as np

from grooves.errors import LessonError
from grooves.kit import INSTRUMENTS
from grooves.takes.align import agreement, coarse_offset
from grooves.takes.sheet import Sheet
from grooves.takes.take import Mark, Played, Take, onsets

NEIGHBOURS = {  # the nearest first: a part takes a key before another one's neighbour does
    "ride": (51, 59, 53),
    "ride bell": (53,),
    "closed hi-hat": (42,),
    "open hi-hat": (46,),
    "snare": (38, 40, 37),
    "cross-stick": (37,),
    "bass drum": (36, 35),
    "hi-hat": (44,),
}
DOUBLE_SECONDS, DOUBLE_SHARE = 0.035, 0.65
CROSSTALK_SECONDS, CROSSTALK_SHARE = 0.006, 0.30
GOOD_AGREEMENT = 0.6  # F of a pad's strokes with a part
CLEAR_LEAD = 0.1  # before the next best part
MOST_AROUND = 16  # notes that are looked at for an echo: a kit has no more pads
FEWEST = 4  # strokes that let a pad be guessed


@dataclass(frozen=True)
class Struck:
    """A note of a pad: seconds, key, and the velocity 1 to 127."""

    onset_seconds: float
    key: int
    velocity: int


@dataclass(frozen=True)
class Pads:
    """The part of each key, which of them were guessed, and which nobody could tell."""

    parts: Mapping[int, str]
    guessed: Mapping[int, str]
    unknown: tuple[int, ...]


def velocity_db(velocity: int) -> float:
    """How loud a velocity is meant: `velocity_db(127)` is 0.0. Source: DLS level 1, 40·log10(v/127) dB."""
    return 40 * log10(max(velocity, 1) / 127)


def usual_pads(parts: Sequence[str]) -> dict[int, str]:
    """The keys of a lesson's parts: `usual_pads(["ride", "snare"])[40]` is "snare"."""
    found = {NEIGHBOURS[part][0]: part for part in parts}
    for part in parts:
        for key in NEIGHBOURS[part]:
            found.setdefault(key, part)
    return found


def told_pads(struck: Sequence[Struck], parts: Sequence[str]) -> dict[int, str]:
    """The pads of a recording with one stroke of each, or several, part after part in the order that was told.

    Example: `told_pads([Struck(0.5, 22, 90)], ["ride"])` is {22: "ride"}. Raises LessonError where pads and parts
    are not as many.
    """
    real = [one for one, mark in zip(struck, marks(struck), strict=True) if mark != "crosstalk"]
    keys = list(dict.fromkeys(one.key for one in real))
    if len(keys) != len(parts):
        raise LessonError(
            f"{len(keys)} pads are struck here, and the lesson has {len(parts)} parts; "
            f"strike each once in this order: {', '.join(parts)}"
        )
    return dict(zip(keys, parts, strict=True))


def marks(struck: Sequence[Struck]) -> list[Mark]:
    """What each note probably is instead of a stroke: the soft echo of its own pad, or of a neighbour's."""
    found: list[Mark] = []
    for place, one in enumerate(struck):
        near = _around(struck, place)
        before = [other for other in near if other.key == one.key and other.onset_seconds <= one.onset_seconds]
        beside = [other for other in near if other.key != one.key]
        if any(
            abs(other.onset_seconds - one.onset_seconds) <= CROSSTALK_SECONDS
            and one.velocity <= CROSSTALK_SHARE * other.velocity
            for other in beside
        ):
            found.append("crosstalk")
        elif any(one.velocity <= DOUBLE_SHARE * other.velocity for other in before):
            found.append("double")
        else:
            found.append("")
    return found


def _around(struck: Sequence[Struck], place: int) -> list[Struck]:
    """The notes so near to one in time that it could be their echo."""
    now = struck[place].onset_seconds
    first = last = place
    while first and place - first < MOST_AROUND and now - struck[first - 1].onset_seconds <= DOUBLE_SECONDS:
        first -= 1
    while (
        last + 1 < len(struck)
        and last - place < MOST_AROUND
        and struck[last + 1].onset_seconds - now <= CROSSTALK_SECONDS
    ):
        last += 1
    return [*struck[first:place], *struck[place + 1 : last + 1]]


def played_take(struck: Sequence[Struck], sheet: Sheet, told: Mapping[int, str] | None = None) -> tuple[Take, Pads]:
    """Notes as a take of a lesson, every pad with its part: `played_take(struck, sheet)[0].strokes[0].part`.

    `told` are the pads of a recording made for this; without it, strange keys are guessed from where they fall.
    """
    found = sorted(struck, key=lambda one: (one.onset_seconds, one.key))
    known = dict(told) if told is not None else usual_pads(sheet.parts)
    strokes = tuple(
        Played(one.onset_seconds, known.get(one.key, ""), velocity_db(one.velocity), one.key, mark)
        for one, mark in zip(found, marks(found), strict=True)
    )
    take = Take(strokes, found[-1].onset_seconds if found else 0.0)
    if told is not None:
        return take, Pads(known, {}, ())
    guessed, unknown = _guess(take, sheet)
    renamed = tuple(replace(one, part=one.part or guessed.get(one.key, "")) for one in strokes)
    return replace(take, strokes=renamed), Pads({**known, **guessed}, guessed, unknown)


def _guess(take: Take, sheet: Sheet) -> tuple[dict[int, str], tuple[int, ...]]:
    """Strange keys by how well their strokes agree with a part that no key of the take plays."""
    strange = sorted({one.key for one in take.strokes if not one.part and one.mark != "double"})
    here = {one.part for one in take.strokes}
    open_parts = [part for part in sheet.parts if part not in here]
    by_key = {key: onsets(one for one in take.strokes if one.key == key and one.mark != "double") for key in strange}
    many = {key: moments for key, moments in by_key.items() if len(moments) >= FEWEST}
    if not many or not open_parts:
        return {}, ()
    shift = coarse_offset(take, sheet)
    scores = {key: _scores(moments - shift, sheet, open_parts) for key, moments in many.items()}
    guessed: dict[int, str] = {}
    for key in sorted(scores, key=lambda one: -max(scores[one].values())):
        best, lead = _best(scores[key])
        if scores[key][best] >= GOOD_AGREEMENT and lead >= CLEAR_LEAD and best not in guessed.values():
            guessed[key] = best
    return guessed, tuple(key for key in many if key not in guessed)


def _scores(moments: "np.typing.NDArray[np.float64]", sheet: Sheet, parts: Sequence[str]) -> dict[str, float]:
    return {
        part: agreement(np.array([one.onset_seconds for one in sheet.strokes if one.part == part]), moments)
        for part in parts
    }


def _best(scores: Mapping[str, float]) -> tuple[str, float]:
    """The best part, and how far it is before the next."""
    order = sorted(scores, key=lambda part: -scores[part])
    return order[0], scores[order[0]] - (scores[order[1]] if len(order) > 1 else 0.0)


def key_name(key: int) -> str:
    """A pad as a teacher knows it: `key_name(38)` is "key 38 (snare)", `key_name(22)` "key 22"."""
    name = next((one.name for one in INSTRUMENTS.values() if one.key == key and one.limb), "")
    return f"key {key} ({name})" if name else f"key {key}"
