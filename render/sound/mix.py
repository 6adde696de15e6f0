"""Samples to stems to tracks: the sound of a lesson.

Every part is rendered once and quantized by itself; a track is the sum of its parts, sample by sample, in 16 bits.
So what a track without the snare lacks is the snare's stem, exactly. One exception follows from the instrument: where
one part's hat chokes another part's open hat, leaving out the first lets the other ring on.
All tracks of a lesson share one gain. Everything runs block by block in constant memory.
"""

from collections.abc import Iterator

import numpy as np

from render.sound.events import Rendition
from render.sound.gain import Gain
from render.sound.stems import BLOCK_FRAMES, Pcm, add, quantized
from render.sound.tracks import Tracks, side_by_side
from render.soundfont.samples import DrumKit

_FULL_SCALE = 32768.0


def mix(rendition: Rendition, kit: DrumKit, gain: Gain, wrap: bool = False) -> Iterator[Pcm]:
    """Yield the sound of one rendition in blocks, int16 of shape (frames, 2): `b"".join(mix(full, kit, gain))`.

    With `wrap` it is a loop, see `side_by_side`.
    """
    for (block,) in mix_tracks(side_by_side([rendition], kit, wrap), gain):
        yield block


def mix_tracks(tracks: Tracks, gain: Gain) -> Iterator[list[Pcm]]:
    """Yield the sound of several tracks side by side, a list of blocks at a time, one for each track.

    A track that has ended yields blocks of no frames.
    """
    for start in block_starts(tracks):
        yield mix_block(tracks, gain, start)


def block_starts(tracks: Tracks) -> range:
    """The frames at which the blocks of tracks begin."""
    return range(0, max(tracks.lengths, default=0), BLOCK_FRAMES)


def mix_block(tracks: Tracks, gain: Gain, start: int) -> list[Pcm]:
    """One block of every track from a start on, the same whichever were mixed before it."""
    scale, fits = 10 ** (gain.db / 20) * _FULL_SCALE, gain.fits(tracks)
    running = [number for number, length in enumerate(tracks.lengths) if length > start]
    needed = {stem for number in running for stem in tracks.sums[number]}
    done = {number: quantized(tracks.stems[number], scale, start, fits) for number in needed}
    blocks = [np.zeros((0, 2), np.int16)] * len(tracks.renditions)
    for number in running:
        block = add((done[stem] for stem in tracks.sums[number]), BLOCK_FRAMES, fits)
        blocks[number] = block[: tracks.lengths[number] - start]
    return blocks
