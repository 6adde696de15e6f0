"""Hits to stems to tracks: the sound of a lesson.

Every part is rendered once and quantized by itself; a track is the sum of its parts, sample by sample, in 16 bits.
So what a track without the snare lacks is the snare's stem, exactly. One exception follows from the instrument: where
one part's hat chokes another part's open hat, leaving out the first lets the other ring on.
All tracks of a lesson share one gain. Everything runs block by block in constant memory.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from grooves.kit import INSTRUMENTS
from render.audio import FORMATS, AudioFile, write_audio, write_pack
from render.gain import Gain, gain_for
from render.hits import Kit
from render.stems import BLOCK_FRAMES, Pcm, Stem, add, kit_waves, quantized, room
from render.strikes import Strikes, Take, strikes_by_part, whole_frames

__all__ = [
    "FORMATS",
    "AudioFile",
    "Gain",
    "Take",
    "gain_for",
    "mix",
    "mix_pack",
    "take_frames",
    "write_audio",
    "write_pack",
]

_RIDE = INSTRUMENTS["ride"].key
_FULL_SCALE = 32768.0
_Key = tuple[str, Strikes, int | None]  # what makes a stem: part, strikes, frames of the loop


def take_frames(take: Take, kit: Kit, wrap: bool = False) -> int:
    """Frames of a take's file: to the last barline, and as long again as the ride rings unless it is a loop.

    The ride's ring is added whoever plays, so tracks of one lesson have one length and can be subtracted.
    """
    whole = whole_frames(take.performance, kit.rate)
    return whole if wrap else whole + len(kit.wave(_RIDE, 127)[0])


def mix(take: Take, kit: Kit, gain: Gain, wrap: bool = False) -> Iterator[Pcm]:
    """Yield the sound of one file in blocks, int16 of shape (frames, 2).

    Example: `write_audio(path, mix(take, kit, gain), kit.rate)`.

    With `wrap` it is exactly as long as its bars, and what rings past the end sounds at the start: a loop.
    """
    for (block,) in mix_pack([take], kit, gain, wrap):
        yield block


def mix_pack(takes: Sequence[Take], kit: Kit, gain: Gain, wrap: bool = False) -> Iterator[list[Pcm]]:
    """Several tracks side by side, one list of blocks after the other; parts they share are rendered once.

    A track that has ended yields blocks of no frames.
    """
    pack = _pack(takes, kit, gain, wrap)
    for start in range(0, max(pack.lengths, default=0), BLOCK_FRAMES):
        yield pack.blocks(start)


@dataclass(frozen=True)
class _Pack:
    """The stems of several tracks by number, and which track sums which."""

    stems: list[tuple[str, Stem]]  # with the part's name
    wanted: list[list[int]]
    lengths: list[int]

    def blocks(self, start: int) -> list[Pcm]:
        """One block of every track."""
        running = {
            number
            for numbers, length in zip(self.wanted, self.lengths, strict=True)
            for number in numbers
            if length > start
        }
        done = {number: self._quantized(number, start) for number in running}
        return [
            add([stem for number in numbers if (stem := done.get(number)) is not None], BLOCK_FRAMES)[: length - start]
            if length > start
            else np.zeros((0, 2), np.int16)
            for numbers, length in zip(self.wanted, self.lengths, strict=True)
        ]

    def _quantized(self, number: int, start: int) -> Pcm | None:
        part, stem = self.stems[number]
        return quantized(stem, part, start, BLOCK_FRAMES, room(f"stem {number}", 1, BLOCK_FRAMES))


def _pack(takes: Sequence[Take], kit: Kit, gain: Gain, wrap: bool) -> _Pack:
    waves, scale = kit_waves(kit), 10 ** (gain.db / 20) * _FULL_SCALE
    wanted: list[list[int]] = []
    found: dict[_Key, int] = {}
    for take in takes:
        loop = whole_frames(take.performance, kit.rate) if wrap else None
        keys = [(part, strikes, loop) for part, strikes in strikes_by_part(take, kit.rate, wrap).items()]
        wanted.append([found.setdefault(key, len(found)) for key in keys])
    stems = [(part, Stem(strikes, waves, kit.rate, scale, loop)) for part, strikes, loop in found]
    return _Pack(stems, wanted, [take_frames(take, kit, wrap) for take in takes])
