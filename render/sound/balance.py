"""How hard to strike each drum so that it stands at the wanted loudness beside the ride.

The loudness of a hit is its momentary loudness (ITU-R BS.1770, 400 ms), in LU against the ride's plain stroke.
Velocity alone says nothing about it: at one velocity a soundfont's bass drum may be 13 LU louder than its ride.
MIDI and audio carry the same velocities, and `velocities` is the one place that makes them.
"""

import math
from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING

from grooves.errors import LessonError
from grooves.kit import INSTRUMENTS
from grooves.performance import Hit, Note, Performance

if TYPE_CHECKING:
    from render.soundfont.entries import Table
    from render.soundfont.recording import Signal
    from render.soundfont.samples import DrumKit

# The velocity of the ride's plain stroke: 6 LU of room above it for accents (40·log10(127/90)), and the drums below
# it still land where one step of velocity is under 1 LU. Ours, by ear.
RIDE_VELOCITY = 90
_RIDE = INSTRUMENTS["ride"].key
DRUM_KEYS = tuple(sorted({instrument.key for instrument in INSTRUMENTS.values()}))
_HEARD_SECONDS = 0.45  # of a hit: the 400 ms window and room for a late onset
_KNOTS = range(1, 128, 40)  # measured in a velocity layer besides its ends: within 0.15 LU of measuring every velocity
_TOGETHER = 4096  # levels looked up at once
_TOLERANCE_LU = 0.75  # a target further from any velocity than this is out of reach

# The keys over which a part of the band is measured: what it plays, see grooves/band.
RANGES = {"bass": (28, 55), "piano": (50, 72), "horns": (60, 76)}
_MEASURED_EVERY = 4  # keys
_NOTE_SECONDS = 0.58  # the 400 ms window and room for a slow attack
_NOTE_VELOCITY = 80  # at which a part's keys are measured; the velocities, on the middle one of them

Levels = tuple[float, ...]  # LU against the ride's plain stroke, by velocity 0 to 127; -inf where there is no sound


_LAW: Levels = (-math.inf, *(40 * math.log10(velocity / RIDE_VELOCITY) for velocity in range(1, 128)))


@dataclass(frozen=True)
class Balance:
    """Loudness of each key by velocity: `balance.velocity_for(36, -14.0)` is the feathered bass drum's."""

    name: str
    curves: Mapping[int, Levels]
    of_notes: Callable[[str, int], Levels] = lambda _part, _program: _LAW  # of a part of the band on a program

    def velocity_for(self, key: int, level_lu: float) -> int:
        """The velocity from 1 to 127 whose loudness is nearest to a level in LU against the ride's plain stroke."""
        return self.nearest(key, [level_lu])[0]

    def nearest(self, key: int, levels_lu: Sequence[float]) -> list[int]:
        """`velocity_for` for many levels of one key at once."""
        return _nearest(self.curves[key], levels_lu)

    def level_of(self, key: int, velocity: int) -> float:
        """The loudness of a velocity in LU against the ride's plain stroke; the inverse of `velocity_for`."""
        return self.curves[key][velocity]


def _nearest(curve: Levels, levels_lu: Sequence[float]) -> list[int]:
    """The velocity from 1 to 127 whose level is nearest to each of some levels."""
    import numpy as np

    all_levels, found = np.asarray(curve[1:]), []
    for first in range(0, len(levels_lu), _TOGETHER):
        levels = np.asarray(levels_lu[first : first + _TOGETHER], float)
        found += (np.abs(all_levels - levels[:, None]).argmin(axis=1) + 1).tolist()
    return found


def plain_balance() -> Balance:
    """The balance of an unknown sound module: 40·log10(v/127) on every key, all instruments equally loud.

    Source of the law: DLS Level 1 and SoundFont 2.04 section 8.4.1, velocity to attenuation.
    """
    return Balance("plain", dict.fromkeys(range(128), _LAW))


def calibrate(kit: "DrumKit", keys: Iterable[int] = DRUM_KEYS) -> Balance:
    """Measure a kit's keys against its ride: `calibrate(kit).level_of(36, 90)` is about +12.9 on the default kit.

    Curves are kept in the kit's cache. Raises LessonError where the kit has no sound on a key.
    """
    ride = float(loudness_by_velocity(kit, _RIDE)[RIDE_VELOCITY])
    if not math.isfinite(ride):
        kit.hit(_RIDE, RIDE_VELOCITY)  # says what is wrong with it
    curves = {key: tuple((loudness_by_velocity(kit, key) - ride).tolist()) for key in dict.fromkeys(keys)}

    def of_notes(part: str, program: int) -> Levels:
        return tuple((loudness_of_notes(kit, part, program) - ride).tolist())

    return Balance(f"{kit.path.name}, {kit.preset.name}", curves, of_notes)


def velocities(performance: Performance, balance: Balance) -> tuple[int, ...]:
    """The velocity of each hit of a performance, then of each note, in order: what MIDI writes and what sounds."""
    sounds: list[Hit | Note] = [*performance.hits, *performance.notes]
    places: dict[int | tuple[str, int], list[int]] = defaultdict(list)
    for place, one in enumerate(sounds):
        places[one.key if isinstance(one, Hit) else (one.part, one.program)].append(place)
    found = [0] * len(sounds)
    for what, own in places.items():
        curve = balance.curves[what] if isinstance(what, int) else balance.of_notes(*what)
        for place, velocity in zip(own, _nearest(curve, [sounds[place].level_lu for place in own]), strict=True):
            found[place] = velocity
    return tuple(found)


def out_of_reach(performance: Performance, balance: Balance) -> tuple[str, ...]:
    """One sentence for each part that has hits at a loudness no velocity gives: `()` when all are reached."""
    worst: dict[str, tuple[float, float]] = {}
    sounds: list[Hit | Note] = [*performance.hits, *performance.notes]
    notes = {(note.part, note.program): balance.of_notes(note.part, note.program) for note in performance.notes}
    for one, velocity in zip(sounds, velocities(performance, balance), strict=True):
        curve = balance.curves[one.key] if isinstance(one, Hit) else notes[one.part, one.program]
        short = one.level_lu - curve[velocity]
        if abs(short) > _TOLERANCE_LU and abs(short) > abs(worst.get(one.part, (0.0, 0.0))[0]):
            worst[one.part] = (short, one.level_lu)
    return tuple(
        f"{part}: no velocity of {balance.name} reaches {level:+.1f} LU against the ride; "
        f"the nearest is {level - short:+.1f} LU"
        for part, (short, level) in worst.items()
    )


def loudness_by_velocity(kit: "DrumKit", key: int) -> "Signal":
    """Momentary loudness of one key in LUFS, by velocity from 0 to 127: `loudness_by_velocity(kit, 51)[90]`.

    Kept in the kit's cache; -inf where there is no sound. Raises LessonError where the kit has none on that key.
    """
    from render.soundfont.entries import LOUDNESS

    return kit.keep(LOUDNESS, f"{key}", lambda: (_scaled if kit.is_pure_gain(key) else _measured)(kit, key))[:, 0]


def _scaled(kit: "DrumKit", key: int) -> "Table":
    """The loudness of a key on which velocity is a pure gain."""
    import numpy as np

    from render.sound.loudness import hit_loudness

    loudest = hit_loudness(kit.hit(key, 127), kit.rate)
    curve = np.full((128, 1), -np.inf, np.float32)
    curve[1:, 0] = [loudest + 20 * math.log10(kit.sample(key, velocity)[1]) for velocity in range(1, 128)]
    return curve


def _measured(kit: "DrumKit", key: int) -> "Table":
    """The loudness of a key with layers: measured at the ends of each layer and between, straight lines in log v."""
    import numpy as np

    from render.sound.loudness import hit_loudness

    curve = np.full((128, 1), -np.inf, np.float32)
    for low, high in ((max(low, 1), high) for low, high in kit.preset.layers(key) if high >= 1):
        knots = sorted({low, high, *(velocity for velocity in _KNOTS if low < velocity < high)})
        levels = [hit_loudness(kit.beginning(key, velocity, _HEARD_SECONDS), kit.rate) for velocity in knots]
        inside = np.arange(low, high + 1)
        curve[inside, 0] = np.interp(np.log(inside), np.log(knots), levels)
    return curve


def loudness_of_notes(kit: "DrumKit", part: str, program: int) -> "Signal":
    """Momentary loudness of a part's note in LUFS, by velocity from 0 to 127: `loudness_of_notes(kit, "bass", 32)[90]`.

    The mean over the part's range: from key to key an instrument keeps the evenness that its soundfont gives it. Kept
    in the kit's cache. Raises LessonError where the soundfont has no such sound.
    """
    from render.soundfont.entries import LOUDNESS

    kit.instrument(program)
    return kit.keep(LOUDNESS, _name_of(part, program), lambda: _measured_notes(kit, part, program))[:, 0]


def is_measured(kit: "DrumKit", what: "int | tuple[str, int]") -> bool:
    """Say whether the loudness of a key, or of a part and its program, is kept: `is_measured(kit, ("bass", 32))`."""
    from render.soundfont.entries import LOUDNESS

    return kit.has(LOUDNESS, f"{what}" if isinstance(what, int) else _name_of(*what))


def _name_of(part: str, program: int) -> str:
    return f"program{program}-{part}"


def _measured_notes(kit: "DrumKit", part: str, program: int) -> "Table":
    """Every recorded velocity on the middle key, one velocity on keys all over the range."""
    import numpy as np

    from render.sound.loudness import hit_loudness

    instrument, (low, high) = kit.instrument(program), RANGES[part]

    @cache
    def loudness(key: int, velocity: int) -> float:
        sample, gain = instrument.held(key, velocity)
        heard = hit_loudness(sample.unpanned(round(_NOTE_SECONDS * kit.rate)), kit.rate)
        return heard + 10 * math.log10(sample.power * gain**2)

    middle = (low + high) // 2
    keys = [*range(low, middle, _MEASURED_EVERY), *range(high, middle, -_MEASURED_EVERY)]
    apart = np.mean([loudness(key, _NOTE_VELOCITY) for key in keys]) - loudness(middle, _NOTE_VELOCITY)
    curve = np.full((128, 1), -np.inf, np.float32)
    for velocity in range(1, 128):
        with suppress(LessonError):  # a velocity that no layer has
            recorded, gain = instrument.recorded(middle, velocity)
            curve[velocity] = loudness(middle, recorded) + 20 * math.log10(gain) + apart
    return curve
