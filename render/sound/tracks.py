"""Tracks side by side, and the stems that they are sums of: what several tracks share is there once."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from grooves.kit import INSTRUMENTS
from render.sound.events import Rendition, SoundEvents, events_by_part, whole_frames
from render.sound.stems import Stem
from render.soundfont.entries import RING, Table
from render.soundfont.recording import LOUDEST, heard_frames
from render.soundfont.samples import DrumKit

_RIDE = INSTRUMENTS["ride"].key
_RING_DB = -60.0  # ours, by ear: whoever repeats a track does not wait for what lies below


@dataclass(frozen=True, eq=False)
class Tracks:
    """Renditions, the stems of them all, and for each the numbers of its stems and its length in frames."""

    renditions: tuple[Rendition, ...]
    kit: DrumKit
    stems: tuple[Stem, ...]
    sums: tuple[tuple[int, ...], ...]
    lengths: tuple[int, ...]

    def only(self, numbers: Sequence[int]) -> "Tracks":
        """Some of the renditions, of the same stems: `tracks.only([0]).renditions` is the first alone."""
        return replace(
            self,
            renditions=tuple(self.renditions[number] for number in numbers),
            sums=tuple(self.sums[number] for number in numbers),
            lengths=tuple(self.lengths[number] for number in numbers),
        )


def side_by_side(renditions: Sequence[Rendition], kit: DrumKit, wrap: bool = False) -> Tracks:
    """Find what renditions share: `side_by_side([full, without_snare], kit).stems` has the ride once.

    With `wrap` they are loops: exactly as long as their bars, and what rings past the end sounds at the start.
    """
    found: dict[tuple[str, SoundEvents, int | None], int] = {}
    sums = []
    for one in renditions:
        loop = whole_frames(one.performance, kit.rate) if wrap else None
        keys = [(part, events, loop) for part, events in events_by_part(one, kit.rate, wrap).items()]
        sums.append(tuple(found.setdefault(key, len(found)) for key in keys))
    stems = tuple(Stem(part, events, kit, loop) for part, events, loop in found)
    lengths = tuple(rendition_frames(one, kit, wrap) for one in renditions)
    return Tracks(tuple(renditions), kit, stems, tuple(sums), lengths)


def rendition_frames(rendition: Rendition, kit: DrumKit, wrap: bool = False) -> int:
    """Frames of a rendition's file: to the last barline, and on while the ride rings unless it is a loop.

    The ride's ring, down to 60 dB below its peak, is added whoever plays, so tracks of one lesson have one length and
    can be subtracted.
    """
    whole = whole_frames(rendition.performance, kit.rate)
    return whole if wrap else whole + int(kit.keep(RING, f"{_RIDE}", lambda: _ring(kit))[0, 0])


def _ring(kit: DrumKit) -> Table:
    return np.array([[heard_frames(kit.hit(_RIDE, LOUDEST), _RING_DB)]], np.float32)
