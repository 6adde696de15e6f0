"""Whether a part is heard clearly enough for a verdict: how far its strokes stand out, and how few are in doubt.

A student who leaves out much is not one who is hardly heard. So it is not asked how much is missing alone: what is
missing must lie far under what parts strokes from the rest, or little may be missing and little near that. Limits were
found on takes made for the tests, with parts that nobody plays among them.
"""

from dataclasses import dataclass

import numpy as np

from grooves.takes.align import nearest_gaps
from grooves.takes.take import Floats, median
from render.hearing.judge import REACH_SECONDS, decibels, told_apart
from render.hearing.strokes import UNSURE_DB, Peaks, separation, strongest_near, threshold

TOGETHER = 0.9  # share of a part's strongest peaks that must lie together in time, or it is leakage that is heard
TOGETHER_SECONDS = 0.03
OWN = 0.9, 0.2  # least chance and largest share in doubt, where the kit's own strokes are known
FOREIGN = 0.93, 0.25  # where only a soundfont's are: a hi-hat that nobody plays then came up to 0.925
ABSORBED = 0.95, 0.15  # the same, where a template may have learned another drum
LEFT_OUT_SEPARATE, NEAR = 0.75, 0.15  # where strokes are missing, and what is missing lies far off
NEAR_DB = 6.0  # under the threshold


@dataclass(frozen=True)
class Clearness:
    """How clearly a part is heard, in four shares of 1."""

    together: float  # of its strongest peaks near written places lie within 30 ms of where they lie as a rule
    separate: float  # chance that a written place peaks higher than one where only others are written
    doubtful: float  # of what lies at written places is under the threshold, or, counted half, about it
    near: float  # of it lies about the threshold or little under it


def clearness(found: Peaks, own: Floats, elsewhere: Floats) -> Clearness:
    """How clearly a part is heard at its written moments: `clearness(found, own, elsewhere).separate`.

    `elsewhere` are its strengths where only others are written.
    """
    taken, limit = told_apart(found, own, elsewhere)
    over = decibels(found.strength[taken]) - float(decibels(np.array([limit]))[0])
    about = np.abs(over) < UNSURE_DB
    missing = over <= -UNSURE_DB
    return Clearness(
        clustered(found, own, elsewhere),
        separation(strongest_near(found, own), elsewhere),
        share(missing) + share(about) / 2,
        share(about | (missing & (over > -NEAR_DB))),
    )


def share(which: "np.typing.NDArray[np.bool_]") -> float:
    """The share that is true, 1.0 of none."""
    return float(np.mean(which)) if len(which) else 1.0


def is_clear(of: Clearness, absorbed: bool, own_kit: bool) -> bool:
    """Whether a part gets a verdict: `is_clear(clearness(found, own, elsewhere), False, True)`.

    `absorbed` says that its template may have learned another drum, `own_kit` that it began as the kit's own.
    """
    if of.together < TOGETHER:
        return False
    separate, doubtful = OWN if own_kit else ABSORBED if absorbed else FOREIGN
    left_out = not absorbed and of.separate >= LEFT_OUT_SEPARATE and of.near <= NEAR
    return left_out or (of.separate >= separate and of.doubtful <= doubtful)


def clustered(found: Peaks, own: Floats, elsewhere: Floats) -> float:
    """The share of the strongest peaks near written places that lie within 30 ms of where they lie as a rule.

    Example: `clustered(found, own, elsewhere)` is 1.0 of a drum; peaks of noise are spread over all they are looked
    for in. Of none it is 1.0.
    """
    near = strongest_near(found, own, REACH_SECONDS)
    strong = found.seconds[np.isin(found.strength, near[near >= threshold(near, elsewhere)])]
    gaps = nearest_gaps(strong, own)
    gaps = gaps[np.abs(gaps) <= 0.1]
    return float(np.mean(np.abs(gaps - median(gaps)) <= TOGETHER_SECONDS)) if len(gaps) else 1.0
