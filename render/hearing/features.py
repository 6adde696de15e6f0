"""What is heard of a recording every 5 ms: how much sounds in 9 low and 30 higher bands, in blocks of constant memory.

Low bands (45 to 400 Hz) need a long window to be told apart, higher ones (0.4 to 16 kHz) a short one to tell when: 2048
and 512 frames at 44.1 kHz. Windows stand centred on their moment. Bands lie evenly in the logarithm of frequency.
Bands and windows were found by trial on takes made for the tests.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from grooves.errors import LessonError

Row = npt.NDArray[np.float32]
Bands = npt.NDArray[np.float32]  # (bands, moments)

HOP_SECONDS = 0.005
LOW_HZ, LOW_BANDS, LOW_SECONDS = (45.0, 400.0), 9, 2048 / 44100
HIGH_HZ, HIGH_BANDS, HIGH_SECONDS = (400.0, 16000.0), 30, 512 / 44100
BANDS = LOW_BANDS + HIGH_BANDS
BLOCK_MOMENTS = 4096  # 20 s: frames of a block of windows take 30 MB
LOWEST_RATE, HIGHEST_RATE = 8000, 192_000
CLIPPED = 0.999  # of full scale
LOUDEST = 1e6  # times full scale: floating point numbers may be meant as those of 16 bits


@dataclass(frozen=True)
class Recording:
    """A sound file that can be listened to: its rate, its length, and where it lies."""

    path: Path
    rate: int
    frames: int

    @property
    def seconds(self) -> float:
        """Its length."""
        return self.frames / self.rate

    @property
    def moments(self) -> int:
        """How many moments of 5 ms it has."""
        return int(self.seconds / HOP_SECONDS) + 1


def open_recording(path: Path) -> Recording:
    """Look at a sound file: `open_recording(Path("take.wav")).seconds`; raises LessonError naming it."""
    import soundfile

    try:
        found: Any = soundfile.info(str(path))
    except (RuntimeError, OSError, ValueError) as error:
        hint = "; save it as .wav or .flac" if path.suffix.lower() == ".m4a" else "; record it again or save it as .wav"
        said = str(error).partition(": ")[2].strip().rstrip(".") or "damaged"
        raise LessonError(f"{path}: is no sound that can be read ({said}){hint}") from None
    if not LOWEST_RATE <= found.samplerate <= HIGHEST_RATE:
        raise LessonError(f"{path}: has {found.samplerate} samples a second; record with 44100 or 48000")
    return Recording(path, int(found.samplerate), int(found.frames))


def read_mono(recording: Recording, start: int, frames: int) -> Row:
    """Frames from a place on, both sides averaged, silence beyond the ends: `read_mono(recording, -10, 20)`."""
    import soundfile

    sound = np.zeros(frames, np.float32)
    first = max(start, 0)
    count = min(start + frames, recording.frames) - first
    if count > 0:
        try:
            with soundfile.SoundFile(str(recording.path)) as file:
                file.seek(first)
                read = _bounded(file.read(count, dtype="float32", always_2d=True)).mean(axis=1)
        except (RuntimeError, OSError) as error:
            raise LessonError(f"{recording.path}: cannot be read to its end ({error}); record it again") from None
        sound[first - start : first - start + len(read)] = read
    return sound


def _bounded(read: Row) -> Row:
    """Silence for what is no number, and no number so large that its square is none: a file may hold anything."""
    return np.clip(np.nan_to_num(read, posinf=0.0, neginf=0.0), -LOUDEST, LOUDEST)


def blocks(recording: Recording, moments: int = BLOCK_MOMENTS) -> Iterator[tuple[int, Bands]]:
    """What is heard, block by block: `next(blocks(recording))` is (0, bands)."""
    for first in range(0, recording.moments, moments):
        yield first, heard(recording, first, min(moments, recording.moments - first))


def heard(recording: Recording, first: int, moments: int) -> Bands:
    """What is heard from a moment on: `heard(recording, 0, 200)` has shape (39, 200)."""
    half = round(LOW_SECONDS * recording.rate / 2) + 1
    places = np.round((np.arange(moments) + first) * HOP_SECONDS * recording.rate).astype(np.int64)
    if not moments:
        return np.zeros((BANDS, 0), np.float32)
    start = int(places[0]) - half
    sound = read_mono(recording, start, int(places[-1]) - start + half + 1)
    return bands_of(sound, places - start, recording.rate)


def bands_of(sound: Row, places: npt.NDArray[np.int64], rate: int) -> Bands:
    """The bands of a sound around places in it: `bands_of(hit, np.array([2000]), 44100).shape` is (39, 1)."""
    found = np.empty((BANDS, len(places)), np.float32)
    for first in range(0, len(places), 1024):
        some = places[first : first + 1024]
        low, weights = _low(rate)
        waves = _windows(sound, some, len(low)) @ low
        power = waves[:, ::2] ** 2 + waves[:, 1::2] ** 2
        found[:LOW_BANDS, first : first + 1024] = np.sqrt(power @ weights).T
        window, sums = _high(rate)
        spectra = np.fft.rfft(_windows(sound, some, len(window)) * window, axis=1)
        found[LOW_BANDS:, first : first + 1024] = np.sqrt((spectra.real**2 + spectra.imag**2) @ sums).T
    return found


def _windows(sound: Row, places: npt.NDArray[np.int64], length: int) -> Row:
    starts = places - length // 2
    every = np.lib.stride_tricks.sliding_window_view(sound, length)
    return every[np.clip(starts, 0, len(every) - 1)]


def _edges(between: tuple[float, float], count: int) -> Row:
    low, high = between
    return np.geomspace(low, high, count + 1).astype(np.float32)


def middles_of(edges: Row) -> Row:
    """The frequency in the middle of each band, by ear: `middles_of(high_edges())[0]` is about 425 Hz."""
    middles: Row = np.sqrt(edges[:-1] * edges[1:])
    return middles


def high_edges() -> Row:
    """Where the high bands begin and end, in Hz: `high_edges()[0]` is 400."""
    return _edges(HIGH_HZ, HIGH_BANDS)


def _in_bands(hertz: Row, edges: Row) -> Row:
    """Which frequencies belong to which band, shared between neighbours by triangles, shape (frequencies, bands)."""
    middles = middles_of(edges)
    around = np.log(np.concatenate([[edges[0] ** 2 / middles[0]], middles, [edges[-1] ** 2 / middles[-1]]]))
    place = np.interp(np.log(np.maximum(hertz, 1.0)), around, np.arange(len(around)), left=-9, right=-9)
    weights: Row = np.maximum(0, 1 - np.abs(place[:, None] - np.arange(1, len(middles) + 1))).astype(np.float32)
    return weights


@lru_cache(maxsize=4)
def _low(rate: int) -> tuple[Row, Row]:
    """Waves of the few low frequencies under a window, cosine and sine by turns, and their bands."""
    length = round(LOW_SECONDS * rate)
    step = rate / length
    hertz = np.arange(int(LOW_HZ[0] / step), int(LOW_HZ[1] / step) + 3) * step
    at = np.arange(length)[:, None] * hertz * 2 * np.pi / rate
    waves = np.stack([np.cos(at), np.sin(at)], axis=2).reshape(length, -1) * np.hanning(length)[:, None]
    return waves.astype(np.float32), _in_bands(hertz.astype(np.float32), _edges(LOW_HZ, LOW_BANDS))


@lru_cache(maxsize=4)
def _high(rate: int) -> tuple[Row, Row]:
    length = round(HIGH_SECONDS * rate) // 2 * 2
    hertz = (np.arange(length // 2 + 1) * rate / length).astype(np.float32)
    return np.hanning(length).astype(np.float32), _in_bands(hertz, high_edges())
