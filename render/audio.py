"""Sound files of blocks: WAV by the standard library, FLAC, Ogg Vorbis and MP3 by soundfile."""

import wave
from collections.abc import Iterable, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import ExitStack
from pathlib import Path
from types import TracebackType
from typing import Any, BinaryIO, Self

import numpy as np

from grooves.mistake import Mistake, nearest
from render.stems import Pcm

FORMATS = {
    "wav": ("WAV", "PCM_16"),
    "flac": ("FLAC", "PCM_16"),
    "ogg": ("OGG", "VORBIS"),
    "mp3": ("MP3", "MPEG_LAYER_III"),
}


class AudioFile:
    """A sound file being written: `with AudioFile(path, 44100, "flac") as file: file.write(block)`."""

    def __init__(self, target: Path | BinaryIO, rate: int, kind: str = "wav") -> None:
        """Open it; `kind` is one of FORMATS. Raises Mistake for another."""
        if kind not in FORMATS:
            raise Mistake(f"format: '{kind}' is not a sound format of ours; {nearest(kind, FORMATS)}")
        opened: Any = str(target) if isinstance(target, Path) else target
        if kind == "wav":  # the standard library writes it as fast as the disk takes it
            self._file: Any = wave.open(opened, "wb")  # noqa: SIM115 (closed by close)
            self._file.setparams((2, 2, rate, 0, "NONE", ""))
        else:
            import soundfile

            container, subtype = FORMATS[kind]
            self._file = soundfile.SoundFile(opened, "w", rate, 2, subtype, format=container)
        self._raw = kind == "wav"

    def write(self, block: Pcm) -> None:
        """Add a block of int16 frames, shape (frames, 2); a track that has ended adds none."""
        if not len(block):
            return
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
    write_pack([target], ([block] for block in blocks), rate, kind)


def write_pack(
    targets: Sequence[Path | BinaryIO], packs: Iterable[Sequence[Pcm]], rate: int, kind: str = "wav"
) -> None:
    """Write several sound files side by side: `write_pack(paths, mix_pack(takes, kit, gain), kit.rate)`.

    One block is written while the next is mixed; never more than one waits.
    """
    with ExitStack() as open_files:
        files = [open_files.enter_context(AudioFile(target, rate, kind)) for target in targets]
        writer = open_files.enter_context(ThreadPoolExecutor(1))
        waiting: Future[None] | None = None
        for blocks in packs:
            if waiting is not None:
                waiting.result()
            waiting = writer.submit(_write_all, files, blocks)
        if waiting is not None:
            waiting.result()


def _write_all(files: Sequence[AudioFile], blocks: Sequence[Pcm]) -> None:
    for file, block in zip(files, blocks, strict=True):
        file.write(block)
