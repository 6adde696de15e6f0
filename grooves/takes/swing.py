"""The swing that a take was played with, found before strokes are matched, so that another swing is no row of faults.

Written upbeats of all limbs are moved together, between straight and 3.5 : 1 (the widest that is published: Friberg &
Sundström 2002, Music Perception 19(3)), to where most of the take's strokes fall.
"""

from dataclasses import replace
from fractions import Fraction

import numpy as np

from grooves.takes.align import Alignment, pairs
from grooves.takes.sheet import Sheet, Written
from grooves.takes.take import Floats, Take, median

STRAIGHTEST, WIDEST = 1 / 2, 7 / 9  # where in the beat an upbeat lies at 1 : 1 and at 3.5 : 1
STEP = 0.01  # beats
CLEARLY = 1.4  # how many times more strokes must fall at another swing than at the asked one
FEWEST = 8
NEAR_BEATS = 0.06


def swung_as_played(take: Take, sheet: Sheet, alignment: Alignment) -> Sheet:
    """The sheet with its upbeats where this take has them: `swung_as_played(take, sheet, alignment) == sheet`.

    It stays as it is where the asked swing fits, and in meters whose eighths do not swing.
    """
    if sheet.swing is None:
        return sheet
    upbeats = _upbeats(sheet)
    gaps = _gaps(take, [sheet.strokes[place] for place in upbeats], sheet, alignment)
    asked = sheet.swing / (sheet.swing + 1)
    shift = _shift(gaps, asked) if len(gaps) >= FEWEST else 0.0
    if not shift:
        return sheet
    moved = list(sheet.strokes)
    for place in upbeats:
        stroke = moved[place]
        late = shift * _quarter(stroke, sheet)
        moved[place] = replace(stroke, onset_seconds=stroke.onset_seconds + late)
    return replace(sheet, strokes=tuple(moved))


def _upbeats(sheet: Sheet) -> list[int]:
    """The strokes halfway between beats, but in beats where sixteenths or triplets are written."""
    fixed = {(one.bar, one.place // 1) for one in sheet.strokes if one.place.denominator > 2}
    return [
        place
        for place, one in enumerate(sheet.strokes)
        if one.place % 1 == Fraction(1, 2) and (one.bar, one.place // 1) not in fixed
    ]


def _quarter(stroke: Written, sheet: Sheet) -> float:
    return sheet.bars[stroke.bar].beat_seconds / float(sheet.meter.pulse)


def _gaps(take: Take, upbeats: list[Written], sheet: Sheet, alignment: Alignment) -> Floats:
    """From written upbeats to all strokes of their part around them, in quarters."""
    found = []
    for part in sheet.parts:
        own = [one for one in upbeats if one.part == part]
        written = np.array([one.onset_seconds for one in own])
        played = alignment.on_track(
            np.array([one.onset_seconds for one in take.strokes if one.part == part and one.mark != "double"])
        )
        if len(written) and len(played):
            quarters = np.array([_quarter(one, sheet) for one in own])
            first, second = pairs(written, played, float(quarters.max()))
            found.append((played[second] - written[first]) / quarters[first])
    return np.concatenate(found) if found else np.zeros(0)


def _shift(gaps: Floats, asked: float) -> float:
    """How many quarters later than asked most upbeats fall, 0 where the asked place is as good."""
    steps = np.arange(STRAIGHTEST - asked - 2 * STEP, WIDEST - asked + 2 * STEP, STEP)
    counts = [int(np.sum(np.abs(gaps - step) <= NEAR_BEATS / 2)) for step in steps]
    best = float(steps[int(np.argmax(counts))])
    here = int(np.sum(np.abs(gaps) <= NEAR_BEATS / 2))
    if max(counts) < max(CLEARLY * here, FEWEST):
        return 0.0
    return median(gaps[np.abs(gaps - best) <= NEAR_BEATS])
