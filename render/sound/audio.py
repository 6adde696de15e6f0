"""Sound files of blocks: WAV by several processes at once, FLAC, Ogg Vorbis and MP3 by soundfile."""

import os
import wave
from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack, contextmanager, suppress
from io import BytesIO, FileIO
from pathlib import Path
from types import TracebackType
from typing import Any, Self

import numpy as np

from grooves.errors import LessonError, nearest
from render.files.parallel import share_out
from render.sound.gain import Gain
from render.sound.mix import block_starts, mix_block
from render.sound.ogg import number_stream
from render.sound.stems import Pcm
from render.sound.tracks import Tracks

FORMATS = {
    "wav": ("WAV", "PCM_16"),
    "flac": ("FLAC", "PCM_16"),
    "ogg": ("OGG", "VORBIS"),
    "mp3": ("MP3", "MPEG_LAYER_III"),
}
_TAIL_FRAMES = 1 << 14  # more than any of these encoders holds back until it is closed
_TRIED_BYTES = 1 << 20
# libsndfile 1.2.2 hands whole numbers of two channels to its MP3 encoder with memory between them that nobody wrote:
# loud noise. Numbers with a point arrive as they are.
_FULL_SCALE = 1 << 15


class AudioFile:
    """A sound file being written: `with AudioFile(path, 44100, "flac") as file: file.write(block)`.

    What is left is whole: closed, read back and found to end where it should; else OSError says what is in the way.
    """

    def __init__(self, target: Path, rate: int, kind: str = "wav") -> None:
        """Open it; `kind` is one of FORMATS. Raises LessonError for another."""
        if kind not in FORMATS:
            raise LessonError(f"format: '{kind}' is not a sound format of ours; {nearest(kind, FORMATS)}")
        import soundfile

        container, subtype = FORMATS[kind]
        self._target, self._kind, self._frames, self._error = target, kind, 0, soundfile.LibsndfileError
        target.touch()  # says by itself why it cannot; libsndfile would say "System error."
        try:
            self._file: Any = soundfile.SoundFile(str(target), "w", rate, 2, subtype, format=container)
        except self._error as error:
            raise _reason(target, error) from None

    def write(self, block: Pcm) -> None:
        """Add a block of int16 frames, shape (frames, 2); a track that has ended adds none."""
        if len(block):
            try:
                self._file.write(block / np.float32(_FULL_SCALE) if self._kind == "mp3" else block)
            except self._error as error:
                raise _reason(self._target, error) from None
            self._frames += len(block)

    def close(self) -> None:
        """Complete the file, and read its end: what an encoder writes last it writes now, and says nothing of it."""
        try:
            self._file.close()
            if self._kind == "ogg":
                number_stream(self._target)
            found = _frames_to_the_end(self._target)
        except (self._error, OSError) as error:
            raise _reason(self._target, error) from None
        if found != self._frames:
            raise _reason(self._target, f"it holds {found} frames in place of {self._frames}")

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if error is None:
            self.close()
            return
        with suppress(self._error):  # what went wrong before says more
            self._file.close()


def _frames_to_the_end(path: Path) -> int:
    """How many frames a sound file has, as far as its last ones can be decoded."""
    import soundfile

    with _unheard(), soundfile.SoundFile(str(path)) as file:
        place = max(file.frames - _TAIL_FRAMES, 0)
        file.seek(place)
        tail: Pcm = file.read(_TAIL_FRAMES, dtype="int16")
        return int(place) + len(tail)


@contextmanager
def _unheard() -> Iterator[None]:
    """Keep a library from writing to stderr: of an MP3 file that is cut short the decoder warns by itself."""
    try:
        ours = os.dup(2)
    except OSError:  # there is no stderr
        yield
        return
    nowhere = os.open(os.devnull, os.O_WRONLY)
    try:
        os.dup2(nowhere, 2)
        yield
    finally:
        os.dup2(ours, 2)
        os.close(ours)
        os.close(nowhere)


def _reason(path: Path, otherwise: object) -> OSError:
    """Why a file cannot be written, from the system itself: libsndfile keeps only that something was wrong."""
    try:
        with path.open("ab", buffering=0) as file:
            for _ in range(_TRIED_BYTES >> 16):
                file.write(bytes(1 << 16))
    except OSError as error:
        return OSError(error.errno, error.strerror, str(path))
    return OSError(None, f"the encoder could not finish it: {otherwise}", str(path))


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
                    _write_at(file, block, len(header) + 4 * start)
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


def _write_at(file: FileIO, block: Pcm, place: int) -> None:
    data: Any = np.ascontiguousarray(block, "<i2").reshape(-1).view(np.uint8)
    try:
        while len(data):
            written = os.pwrite(file.fileno(), data, place)
            data, place = data[written:], place + written
    except OSError as error:
        raise OSError(error.errno, error.strerror, str(file.name)) from None
