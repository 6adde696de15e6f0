"""How loud strokes are, on one scale, by the kit's own single strokes; and whether a recorder changed its own gain.

The bass drum is held against the ride by how much the sound rises at their strokes, where each stands alone: low
frequencies for the one, high for the other, in the take and in the single strokes alike. What a recorder lacks it lacks
in both, so that this difference holds in a phone too; how loud the drum itself was is said only where its lowest tones
are in the recording.
"""

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from grooves.takes.take import Floats, Take, median
from render.hearing.features import Bands, Row
from render.hearing.rise import FEWEST, STEP_SECONDS, rises_of, sure_strokes
from render.hearing.single_strokes import OwnKit
from render.hearing.unmix import LAGS

LOWEST, MIDDLE = slice(0, 3), slice(3, 7)  # bands: 45 to 93 Hz, 93 to 247 Hz
LACKING_DB = 4.0  # less of the lowest in a bass drum than a soundfont's has, from which on they are lacking; ours


def levelled(take: Take, own: OwnKit, usual: Mapping[str, Bands], weights: Row, steps: Floats) -> Take:
    """A take, its strokes on the scale of the ride's single strokes: `levelled(take, own, usual, weights, steps)`.

    `usual` are a soundfont's templates, `weights` the bands' of the strengths, `steps` the take's rises.
    """
    unit = {
        part: own.level_db[part] - 20 * float(np.log10(max(float(one[:, :LAGS].sum(axis=1) @ weights), 1e-12)))
        for part, one in own.templates.items()
    }
    if own.automatic:
        return replace(take, automatic=True)
    against = against_own(take, own, steps)
    strokes = tuple(replace(one, level_db=one.level_db + unit[one.part]) for one in take.strokes)
    if against is None:
        return replace(take, strokes=strokes)
    level = {part: median([one.level_db for one in strokes if one.part == part]) for part in ("ride", "bass drum")}
    moved = {"bass drum": against + own.level_db["bass drum"] + level["ride"] - level["bass drum"]}
    strokes = tuple(replace(one, level_db=one.level_db + moved.get(one.part, 0.0)) for one in strokes)
    whole = lowest_db(own.templates["bass drum"]) > lowest_db(usual["bass drum"]) - LACKING_DB
    return replace(take, strokes=strokes, levels=whole, against_own_lu=against)


def against_own(take: Take, own: OwnKit, steps: Floats) -> float | None:
    """By how many LU the bass drum stood louder against the ride than in the single strokes; None where unheard."""
    strokes = sure_strokes(take, len(steps) * STEP_SECONDS)
    if min(len(strokes.get(part, ())) for part in ("ride", "bass drum")) < FEWEST or "bass drum" not in own.rise:
        return None
    there = rises_of(steps, strokes)
    change = {part: max(one, 1e-12) / max(own.rise[part], 1e-12) for part, one in there.items()}
    return float(20 * np.log10(change["bass drum"] / change["ride"]))


def lowest_db(drum: Bands) -> float:
    """How much of a drum lies in its lowest bands against the next ones, in dB: `lowest_db(templates["bass drum"])`."""
    power = (drum[:, :LAGS].astype(np.float64) ** 2).sum(axis=1)
    return float(10 * np.log10(max(float(power[LOWEST].sum()), 1e-20) / max(float(power[MIDDLE].sum()), 1e-20)))
