"""What each drum sounds like: 100 ms of its bands around the moment it is struck, from a soundfont or from strokes.

A stroke begins where its sound first comes within 20 dB of its peak; a template begins 25 ms before, since the windows
of the low bands hear it coming.
"""

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

import numpy as np

from grooves.kit import INSTRUMENTS
from render.hearing.features import HOP_SECONDS, LOW_SECONDS, Bands, Row, bands_of
from render.hearing.unmix import LAGS, Templates

if TYPE_CHECKING:
    from render.soundfont.samples import DrumKit

RINGS_SECONDS = (0.12, 0.35)  # after a stroke: what rings on
BEFORE = 5  # moments of a template before its stroke
BEGINS_DB = -20.0
VELOCITIES = (70, 100)
LISTENED_SECONDS = 0.4
LONG = BEFORE + int(RINGS_SECONDS[1] / HOP_SECONDS)  # moments of a template with what rings on


def kit_templates(kit: "DrumKit", parts: Sequence[str]) -> dict[str, Bands]:
    """Templates of a soundfont's drums: `kit_templates(kit, ["ride"])["ride"].shape` is (39, 75)."""
    found = {}
    for part in parts:
        key = INSTRUMENTS[part].key
        hits = [kit.hit(key, velocity).mean(axis=1) for velocity in VELOCITIES]
        each = [template(hit, begins(hit, kit.rate), kit.rate) for hit in hits]
        found[part] = np.mean([one / max(float(one.max()), 1e-12) for one in each], axis=0)
    return found


def begins(sound: Row, rate: int) -> int:
    """The frame at which a stroke begins: `begins(hit, 44100)`."""
    loud = np.abs(sound[: round(LISTENED_SECONDS * rate)])
    return int(np.argmax(loud >= loud.max() * 10 ** (BEGINS_DB / 20)))


def template(sound: Row, begins_at: int, rate: int) -> Bands:
    """The bands of one stroke that begins at a frame: `template(hit, 12, 44100).shape` is (39, 75)."""
    before = round((LOW_SECONDS + BEFORE * HOP_SECONDS) * rate)
    padded = np.pad(sound, (before, before + round(LONG * HOP_SECONDS * rate))).astype(np.float32)
    places = np.round((np.arange(LONG) - BEFORE) * HOP_SECONDS * rate).astype(np.int64)
    return bands_of(padded, places + begins_at + before, rate)


def attack(loud: Row) -> float:
    """At which moment of a template it has risen halfway: `attack(template.sum(axis=0))` is about 4.5."""
    half = 0.5 * float(loud[: BEFORE + 6].max())
    place = max(int(np.argmax(loud >= half)), 1)
    before, after = float(loud[place - 1]), float(loud[place])
    return place - (after - half) / (after - before) if after > before else float(place)


def stacked(templates: Mapping[str, Bands], weights: Row, background: Row) -> Templates:
    """All that sounds, as one array of (2 parts + 1, bands, lags), bands weighted, each adding up to 1.

    First each part's stroke, then what rings on after each, then what is always there.
    """
    rings = BEFORE + int(RINGS_SECONDS[0] / HOP_SECONDS)
    every = [one[:, :LAGS] for one in templates.values()]
    for still in [*(one[:, rings:].mean(axis=1) for one in templates.values()), background]:
        every.append(np.zeros_like(every[0]))
        every[-1][:, 0] = still
    weighted = np.stack(every) * weights[:, None]
    whole: Templates = (weighted / np.maximum(weighted.sum(axis=(1, 2), keepdims=True), 1e-12)).astype(np.float32)
    return whole
