"""Sound files of blocks: WAV by several processes at once, FLAC, Ogg Vorbis and MP3 by soundfile."""

import os
import wave
from collections.abc import Callable, Sequence
from contextlib import ExitStack
from io import BytesIO
from pathlib import Path
from types import TracebackType
from typing import Any, BinaryIO, Self

import numpy as np

from grooves.errors import LessonError, nearest
from render.files.parallel import share_out
from render.sound.gain import Gain
from render.sound.mix import block_starts, mix_block
from render.sound.stems import Pcm
from render.sound.tracks import Tracks

FORMATS = {
    "wav": ("WAV", "PCM_16"),
    "flac": ("FLAC", "PCM_16"),
    "ogg": ("OGG", "VORBIS"),
    "mp3": ("MP3", "MPEG_LAYER_III"),
}


class AudioFile:
    """A sound file being written: `with AudioFile(path, 44100, "flac") as file: file.write(block)`."""

    def __init__(self, target: Path | BinaryIO, rate: int, kind: str = "wav") -> None:
        """Open it; `kind` is one of FORMATS. Raises LessonError for another."""
        if kind not in FORMATS:
            raise LessonError(f"format: '{kind}' is not a sound format of ours; {nearest(kind, FORMATS)}")
        import soundfile

        container, subtype = FORMATS[kind]
        opened: Any = str(target) if isinstance(target, Path) else target
        self._file: Any = soundfile.SoundFile(opened, "w", rate, 2, subtype, format=container)

    def write(self, block: Pcm) -> None:
        """Add a block of int16 frames, shape (frames, 2); a track that has ended adds none."""
        if len(block):
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


def write_tracks(
    targets: Sequence[Path],
    tracks: Tracks,
    gain: Gain,
    kind: str = "wav",
    processes: int = 1,
    progress: Callable[[float], object] = lambda _: None,
) -> None:
    """Mix tracks side by side into a sound file each: `write_tracks(paths, tracks, gain_for(tracks))`.

    WAV files are mixed by several processes, each its share of the blocks. `progress` is told the share done, 0 to 1.
    """
    if kind == "wav":
        _write_wav(targets, tracks, gain, processes, progress)
        return
    with ExitStack() as opened:
        files = [opened.enter_context(AudioFile(target, tracks.kit.rate, kind)) for target in targets]
        for start in block_starts(tracks):
            for file, block in zip(files, mix_block(tracks, gain, start), strict=True):
                file.write(block)
            progress(start / max(tracks.lengths))


def _write_wav(
    targets: Sequence[Path], tracks: Tracks, gain: Gain, processes: int, progress: Callable[[float], object]
) -> None:
    starts = block_starts(tracks)
    with ExitStack() as opened:
        files = [opened.enter_context(target.open("wb", buffering=0)) for target in targets]
        headers = [_wav_header(frames, tracks.kit.rate) for frames in tracks.lengths]
        for file, header in zip(files, headers, strict=True):
            file.write(header)

        def write(share: int, shares: int) -> None:
            for start in starts[share::shares]:
                for file, header, block in zip(files, headers, mix_block(tracks, gain, start), strict=True):
                    _write_at(file.fileno(), block, len(header) + 4 * start)
                if share == 0:
                    progress(start / starts.stop)

        share_out(write, min(processes, len(starts)))


def _wav_header(frames: int, rate: int) -> bytes:
    """What comes before the frames of a 16-bit stereo WAV file."""
    header = BytesIO()
    with wave.open(header, "wb") as file:
        file.setparams((2, 2, rate, frames, "NONE", ""))
        file.writeframesraw(b"")
        return header.getvalue()


def _write_at(file: int, block: Pcm, place: int) -> None:
    data: Any = np.ascontiguousarray(block, "<i2").reshape(-1).view(np.uint8)
    while len(data):
        written = os.pwrite(file, data, place)
        data, place = data[written:], place + written
