"""Hits to stems to tracks: the sound files of a lesson.

Every part is rendered once and quantized by itself; a track is the sum of its parts, sample by sample, in 16 bits.
So what a track without the snare lacks is the snare's stem, exactly. One exception follows from the instrument: where
one part's hat chokes another part's open hat, leaving out the first lets the other ring on.
All tracks of a lesson share one gain. Everything runs block by block in constant memory.
"""

import math
import wave as wave_file
from collections.abc import Iterable, Iterator, Sequence
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path
from types import TracebackType
from typing import Any, BinaryIO, Self

import numpy as np

from grooves.mistake import Mistake, nearest
from render.hits import Kit, Sound
from render.loudness import integrated_loudness, true_peak
from render.stems import (
    BLOCK_FRAMES,
    Pcm,
    Stem,
    Strikes,
    Take,
    add,
    kit_waves,
    quantized,
    strikes_by_part,
    take_frames,
    whole_frames,
)

__all__ = ["FORMATS", "AudioFile", "Gain", "Take", "gain_for", "mix", "mix_pack", "write_audio", "write_pack"]

TARGET_LUFS = -16.0  # loudness of the full track, ours: between speech on the web and music streaming, by ear
CEILING_DBTP = -1.0  # EBU R 128: maximum true peak
_FULL_SCALE = 32768.0
_Key = tuple[str, Strikes, int | None]  # what makes a stem: part, strikes, frames of the loop
FORMATS = {
    "wav": ("WAV", "PCM_16"),
    "flac": ("FLAC", "PCM_16"),
    "ogg": ("OGG", "VORBIS"),
    "mp3": ("MP3", "MPEG_LAYER_III"),
}


@dataclass(frozen=True)
class Gain:
    """How much louder all tracks of a lesson are than the recorded hits, and what set it."""

    db: float
    loudness_lufs: float  # of the full track at this gain
    peak_dbtp: float  # the highest true peak of all tracks at this gain
    limited_by_peak: bool  # True: the peak forbids -16 LUFS


def gain_for(full: Take, kit: Kit, others: Sequence[Take] = ()) -> Gain:
    """The one gain of a lesson: `gain_for(full, kit, others)` brings the full track to -16 LUFS.

    No track, full or other, passes -1 dBTP: where one would, the gain is lower and says so.
    """
    loudness = integrated_loudness(_floats(full, kit), kit.rate)
    peak = max(_peak(take, kit) for take in (full, *others))
    if not math.isfinite(loudness) or peak == 0:
        raise Mistake("the full track is silent: no part plays in it")
    wanted, allowed = TARGET_LUFS - loudness, CEILING_DBTP - 20 * math.log10(peak)
    db = min(wanted, allowed)
    return Gain(db, loudness + db, 20 * math.log10(peak) + db, allowed < wanted)


def _floats(take: Take, kit: Kit) -> Iterator[Sound]:
    """A track before gain and quantizing."""
    strikes = tuple(sorted(strike for part in strikes_by_part(take, kit.rate, False).values() for strike in part))
    stem, total = Stem(strikes, kit_waves(kit)), take_frames(take, kit, False)
    for start in range(0, total, BLOCK_FRAMES):
        frames = min(BLOCK_FRAMES, total - start)
        sound = stem.block(start, frames)
        yield np.zeros((frames, 2), np.float32) if sound is None else sound


def _peak(take: Take, kit: Kit) -> float:
    return max(map(true_peak, _floats(take, kit)), default=0.0)


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
    lengths = [take_frames(take, kit, wrap) for take in takes]
    wave, scale = kit_waves(kit), 10 ** (gain.db / 20) * _FULL_SCALE
    wanted: list[list[_Key]] = []
    stems: dict[_Key, Stem] = {}
    for take in takes:
        loop = whole_frames(take.performance, kit.rate) if wrap else None
        keys = [(part, strikes, loop) for part, strikes in strikes_by_part(take, kit.rate, wrap).items()]
        stems |= {key: Stem(key[1], wave, scale, loop) for key in keys if key not in stems}
        wanted.append(keys)
    for start in range(0, max(lengths), BLOCK_FRAMES):
        done = {key: quantized(stem, key[0], start, BLOCK_FRAMES) for key, stem in stems.items()}
        yield [
            add([block for key in keys if (block := done[key]) is not None], BLOCK_FRAMES)[: max(length - start, 0)]
            for keys, length in zip(wanted, lengths, strict=True)
        ]


class AudioFile:
    """A sound file being written: `with AudioFile(path, 44100, "flac") as file: file.write(block)`."""

    def __init__(self, target: Path | BinaryIO, rate: int, kind: str = "wav") -> None:
        """Open it; `kind` is one of FORMATS. Raises Mistake for another."""
        if kind not in FORMATS:
            raise Mistake(f"format: '{kind}' is not a sound format of ours; {nearest(kind, FORMATS)}")
        opened: Any = str(target) if isinstance(target, Path) else target
        if kind == "wav":  # the standard library writes it as fast as the disk takes it
            self._file: Any = wave_file.open(opened, "wb")  # noqa: SIM115 (closed by close)
            self._file.setparams((2, 2, rate, 0, "NONE", ""))
        else:
            import soundfile

            container, subtype = FORMATS[kind]
            self._file = soundfile.SoundFile(opened, "w", rate, 2, subtype, format=container)
        self._raw = kind == "wav"

    def write(self, block: Pcm) -> None:
        """Add a block of int16 frames, shape (frames, 2)."""
        if self._raw:
            self._file.writeframesraw(np.ascontiguousarray(block, "<i2").data.cast("B"))
        else:
            self._file.write(block)

    def close(self) -> None:
        """Complete the file's header and close it."""
        self._file.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()


def write_audio(target: Path | BinaryIO, blocks: Iterable[Pcm], rate: int, kind: str = "wav") -> None:
    """Write one sound file: `write_audio(path, mix(take, kit, gain), kit.rate, "flac")`."""
    with AudioFile(target, rate, kind) as file:
        for block in blocks:
            file.write(block)


def write_pack(
    targets: Sequence[Path | BinaryIO], packs: Iterable[Sequence[Pcm]], rate: int, kind: str = "wav"
) -> None:
    """Write several sound files side by side: `write_pack(paths, mix_pack(takes, kit, gain), kit.rate)`."""
    with ExitStack() as open_files:
        files = [open_files.enter_context(AudioFile(target, rate, kind)) for target in targets]
        for blocks in packs:
            for file, block in zip(files, blocks, strict=True):
                file.write(block)
