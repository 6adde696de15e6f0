"""Tracks side by side, and the stems that they are sums of: what several tracks share is there once."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from grooves.kit import INSTRUMENTS
from render.sound.events import SoundEvents, Take, events_by_part, whole_frames
from render.sound.stems import Stem
from render.soundfont.samples import LOUDEST, DrumKit, Sound, heard_frames

_RIDE = INSTRUMENTS["ride"].key
_RING_DB = -60.0  # ours, by ear: whoever repeats a track does not wait for what lies below


@dataclass(frozen=True, eq=False)
class Tracks:
    """Takes, the stems of them all, and for each take the numbers of its stems and its length in frames."""

    takes: tuple[Take, ...]
    kit: DrumKit
    stems: tuple[Stem, ...]
    sums: tuple[tuple[int, ...], ...]
    lengths: tuple[int, ...]

    def only(self, numbers: Sequence[int]) -> "Tracks":
        """Some of the takes, of the same stems: `tracks.only([0]).takes` is the first alone."""
        return replace(
            self,
            takes=tuple(self.takes[number] for number in numbers),
            sums=tuple(self.sums[number] for number in numbers),
            lengths=tuple(self.lengths[number] for number in numbers),
        )


def side_by_side(takes: Sequence[Take], kit: DrumKit, wrap: bool = False) -> Tracks:
    """Find what takes share: `side_by_side([full, without_snare], kit).stems` has the ride once.

    With `wrap` they are loops: exactly as long as their bars, and what rings past the end sounds at the start.
    """
    found: dict[tuple[str, SoundEvents, int | None], int] = {}
    sums = []
    for take in takes:
        loop = whole_frames(take.performance, kit.rate) if wrap else None
        keys = [(part, strikes, loop) for part, strikes in events_by_part(take, kit.rate, wrap).items()]
        sums.append(tuple(found.setdefault(key, len(found)) for key in keys))
    stems = tuple(Stem(part, strikes, kit, loop) for part, strikes, loop in found)
    return Tracks(tuple(takes), kit, stems, tuple(sums), tuple(take_frames(take, kit, wrap) for take in takes))


def take_frames(take: Take, kit: DrumKit, wrap: bool = False) -> int:
    """Frames of a take's file: to the last barline, and on while the ride rings unless it is a loop.

    The ride's ring, down to 60 dB below its peak, is added whoever plays, so tracks of one lesson have one length and
    can be subtracted.
    """
    whole = whole_frames(take.performance, kit.rate)
    return whole if wrap else whole + int(kit.keep(f"ring-{_RIDE}", lambda: _ring(kit))[0, 0])


def _ring(kit: DrumKit) -> Sound:
    return np.array([[heard_frames(kit.hit(_RIDE, LOUDEST), _RING_DB)]], np.float32)
