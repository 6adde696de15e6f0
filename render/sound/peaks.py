"""The highest true peak of tracks, found without rendering them whole.

The sum of the hits' envelopes, up and down on either side, bounds the true peak of each stretch: first of 256 frames,
then, where that bound is high, of 16. Only where this one is still above the highest peak found is the sound itself
looked at, four times oversampled (ITU-R BS.1770 annex 2).
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
import numpy.typing as npt
from numpy.lib.stride_tricks import sliding_window_view

from render.files.parallel import share_out
from render.sound.events import NEVER
from render.sound.recordings import CONTEXT, LOOK, WINDOW, Bounds, interpolation, oversampled, peaks_of
from render.sound.stems import PlacedSample, Stem
from render.sound.tracks import Tracks
from render.soundfont.recording import Sample, Sound, panned
from render.soundfont.samples import DrumKit

_STRETCH = 16  # windows
_STRETCHES, _WINDOWS = 128, 64  # looked at together
_LATE = 1 << 60  # a frame that is never reached
_SECTION_SECONDS = 60  # a track is searched in such sections, in constant memory

Indices = npt.NDArray[np.int64]


def highest_peak(tracks: Tracks, processes: int = 1) -> float:
    """The highest true peak of tracks and of each of their stems, before any gain, 1.0 at full scale.

    Example: `highest_peak(side_by_side([full], kit))`. Several processes take some sections each.
    """
    stems = tracks.stems
    samples = list({id(one.sample): one.sample for stem in stems for one in stem.placed}.values())
    if not samples:
        return 0.0
    tables = _Tables.of(samples, tracks.kit)
    columns = [_PlacedSamples.of(stem, tables) for stem in stems]
    together = [*dict.fromkeys(numbers for numbers in tracks.sums if numbers), *((n,) for n in range(len(stems)))]
    placed = {numbers: _merged([columns[n] for n in numbers]) for numbers in together}
    size = _SECTION_SECONDS * tables.rate // (WINDOW * _STRETCH)
    sections = range(0, max(stem.end for stem in stems) // (WINDOW * _STRETCH) + 1, size)

    def highest(share: int, shares: int) -> float:
        best = 0.0
        for first in sections[share::shares]:
            bounds = [_bounds(stem, first, size, tables) for stem in stems]
            for numbers, own in placed.items():
                bound = sum((bounds[n] for n in numbers[1:]), start=bounds[numbers[0]]).max(axis=0)
                best = _peak_above(own, bound, first, tables, best)
        return best

    return max(share_out(highest, min(processes, len(sections))))


def true_peak(sound: Sound) -> float:
    """The true peak of a sound in hand, 1.0 at full scale: `true_peak(hit)`; the interpolation of `highest_peak`."""
    return float(np.abs(oversampled(sound)).max())


@dataclass(frozen=True)
class _Tables:
    """All samples: bounds of their sound in windows, end to end with silence between, and in stretches."""

    numbers: dict[int, int]  # of each sample, by its id
    stretches: list[Bounds]  # of each sample
    windows: Bounds  # of all samples
    window_places: Indices  # where each sample begins in it, and how many windows it has
    window_counts: Indices
    samples: Sequence[Sample]
    rate: int

    @classmethod
    def of(cls, samples: Sequence[Sample], kit: DrumKit) -> "_Tables":
        """Build them; the envelopes come from the kit's cache."""
        peaks = [peaks_of(sample, kit) for sample in samples]
        windows, window_places = _end_to_end([_anywhere(one).T for one in peaks])
        return cls(
            {id(sample): number for number, sample in enumerate(samples)},
            [_anywhere(_by_stretches(one)) for one in peaks],
            windows,
            window_places,
            np.array([one.shape[1] + 1 for one in peaks]),
            samples,
            kit.rate,
        )


def _end_to_end(tables: Sequence[Bounds]) -> tuple[Bounds, Indices]:
    """Tables one below the other, a stretch of zeros before each and after the last; and where each begins."""
    zeros = np.zeros((_STRETCH, 4), np.float32)
    places = np.cumsum([_STRETCH, *(len(table) + _STRETCH for table in tables)])[:-1]
    return np.concatenate([part for table in tables for part in (zeros, table)] + [zeros]), places


class _PlacedSamples(NamedTuple):
    """Placed samples as columns, by their start."""

    starts: Indices
    ends: Indices
    chokes: Indices
    gains: npt.NDArray[np.float32]
    samples: Indices
    dying_db: npt.NDArray[np.float32]

    @classmethod
    def of(cls, stem: Stem, tables: _Tables) -> "_PlacedSamples":
        starts, ends, chokes, gains, samples, dying_db = zip(*stem.placed, strict=True)
        numbers = np.array([tables.numbers[id(sample)] for sample in samples])
        late = np.where(np.array(chokes) == NEVER, _LATE, chokes)
        return cls(
            np.array(starts), np.array(ends), late, np.array(gains, np.float32), numbers, np.array(dying_db, np.float32)
        )

    def sounding(self, starts: Indices, frames: int) -> tuple[Indices, Indices]:
        """Which of some stretches and which sample that sounds in it, pair by pair, stretch after stretch."""
        longest = int((self.ends - self.starts).max())
        firsts = np.searchsorted(self.starts, starts - longest)
        counts = np.searchsorted(self.starts, starts + frames) - firsts
        places = np.repeat(np.arange(len(starts)), counts)
        placed = np.arange(len(places)) - np.repeat(np.cumsum(counts) - counts - firsts, counts)
        alive = self.ends[placed] > starts[places]
        return places[alive], placed[alive]


def _merged(placed: Sequence[_PlacedSamples]) -> _PlacedSamples:
    """The placed samples of several stems as one."""
    columns = [np.concatenate(column) for column in zip(*placed, strict=True)]
    order = np.argsort(columns[0], kind="stable")
    return _PlacedSamples(*(column[order] for column in columns))


def _bounds(stem: Stem, first: int, count: int, tables: _Tables) -> Bounds:
    """Bounds of a stem's true peak in some stretches: the sums of its hits' envelopes."""
    size = WINDOW * _STRETCH
    bound = np.zeros((4, count), np.float32)
    for one in stem.sounding(first * size, (first + count) * size):
        at = one.start // size - first
        piece = tables.stretches[tables.numbers[id(one.sample)]][
            :, max(-at, 0) : min(count, one.end // size + 1 - first) - at
        ]
        gains = one.gain * _dying(one, max(at, 0) + first, piece.shape[1], tables.rate)
        bound[:, max(at, 0) : max(at, 0) + piece.shape[1]] += np.float32(gains) * piece
    return bound


def _dying(one: PlacedSample, first: int, count: int, rate: int) -> float | npt.NDArray[np.float64]:
    """How far a sample has died at the beginnings of some stretches; 1.0 where it rings on."""
    size = WINDOW * _STRETCH
    if one.choke == NEVER or (first + count) * size <= one.choke:
        return 1.0
    dead = np.clip(np.arange(first, first + count) * size - one.choke, 0, None)
    return np.asarray(10 ** (dead * (-one.dying_db / 20 / rate)))


def _peak_above(
    placed: _PlacedSamples, bound: npt.NDArray[np.float32], first: int, tables: _Tables, best: float
) -> float:
    """The highest true peak of some placed samples, or `best` where none is higher; most promising stretches first."""
    for stretches in _promising(bound, best, _STRETCHES):
        if bound[stretches[0]] <= best:
            break
        windows, finer = _window_bounds(placed, (first + stretches) * _STRETCH, tables)
        for chosen in _promising(finer, best, _WINDOWS):
            if finer[chosen[0]] <= best:
                break
            sound = _sound(placed, windows[chosen] * WINDOW - CONTEXT, tables)
            best = max(best, float(np.abs(sound @ interpolation()).max()))
    return best


def _promising(bound: npt.NDArray[np.float32], best: float, count: int) -> Iterator[Indices]:
    """The places of the highest values above the best, so many at a time."""
    places = np.flatnonzero(bound > best)
    order = places[np.argsort(-bound[places])]
    return (order[at : at + count] for at in range(0, len(order), count))


def _window_bounds(placed: _PlacedSamples, firsts: Indices, tables: _Tables) -> tuple[Indices, npt.NDArray[np.float32]]:
    """The windows of some stretches, and bounds of the true peak in them."""
    places, sounding = placed.sounding(firsts * WINDOW, WINDOW * _STRETCH)
    samples = placed.samples[sounding]
    at = np.clip(firsts[places] - placed.starts[sounding] // WINDOW, -_STRETCH, tables.window_counts[samples])
    dead = np.clip(firsts[places] * WINDOW - placed.chokes[sounding], 0, None)  # it only dies further from there on
    gains = placed.gains[sounding] * 10 ** (dead * (-placed.dying_db[sounding] / np.float32(20 * tables.rate)))
    own = sliding_window_view(tables.windows.reshape(-1), 4 * _STRETCH)[4 * (at + tables.window_places[samples])]
    whole = _summed(own * gains.astype(np.float32)[:, None], places, len(firsts)).reshape(-1, 4)
    return (firsts[:, None] + np.arange(_STRETCH)).ravel(), whole.max(axis=1)


def _summed(rows: npt.NDArray[np.floating], places: Indices, count: int) -> npt.NDArray[np.float32]:
    """The sums of rows that belong to one place, place after place; zeros where none does."""
    sums = np.zeros((count, *rows.shape[1:]), np.float32)
    firsts = np.flatnonzero(np.diff(places, prepend=-1))
    sums[places[firsts]] = np.add.reduceat(rows, firsts)
    return sums


def _sound(placed: _PlacedSamples, starts: Indices, tables: _Tables) -> npt.NDArray[np.float32]:
    """The sound of some windows with their context, shape (2, windows, frames)."""
    places, sounding = placed.sounding(starts, LOOK)
    samples, firsts = placed.samples[sounding], starts[places] - placed.starts[sounding]
    pieces = np.empty((len(firsts), LOOK, 2), np.float32)
    for number in np.unique(samples):
        own = samples == number
        pieces[own] = _frames(tables.samples[number], firsts[own])
    gains = _gains(placed, sounding, starts[places], tables.rate)
    return _summed(pieces * gains[:, :, None], places, len(starts)).transpose(2, 0, 1)


def _gains(placed: _PlacedSamples, sounding: Indices, starts: Indices, rate: int) -> npt.NDArray[np.floating]:
    """The gain of placed samples in each frame of a window with its context; in one column where none of them dies."""
    gains = placed.gains[sounding][:, None]
    dying = starts + LOOK - 1 > placed.chokes[sounding]
    if not dying.any():
        return gains
    died = np.clip(starts[dying, None] + np.arange(LOOK) - placed.chokes[sounding[dying], None], 0, None)
    fades = np.ones((len(starts), LOOK))
    fades[dying] = 10 ** (died * (-placed.dying_db[sounding[dying], None] / np.float32(20 * rate)))
    return gains * fades


def _frames(sample: Sample, firsts: Indices) -> Sound:
    """The frames of a sample in a window with its context from some places on, silent outside of it.

    Shape (places, frames, 2).
    """
    whole = (firsts >= 0) & (firsts + LOOK <= sample.frames)
    frames = np.zeros((len(firsts), LOOK * sample.channels), np.float32)
    if whole.any():
        frames[whole] = sliding_window_view(sample.values, LOOK * sample.channels)[firsts[whole] * sample.channels]
    for row in np.flatnonzero(~whole):
        first, last = max(firsts[row], 0), min(firsts[row] + LOOK, sample.frames)
        own = sample.values[first * sample.channels : last * sample.channels]
        at = (first - firsts[row]) * sample.channels
        frames[row, at : at + len(own)] = own
    if sample.channels == 2:
        return frames.reshape(-1, LOOK, 2)
    return panned(frames.reshape(-1), sample.sides).reshape(-1, LOOK, 2)


def _by_stretches(peaks: Bounds) -> Bounds:
    padded = np.pad(peaks, ((0, 0), (0, -peaks.shape[1] % _STRETCH)))
    stretches: Bounds = padded.reshape(4, -1, _STRETCH).max(axis=2)
    return stretches


def _anywhere(peaks: Bounds) -> Bounds:
    """Bounds that hold wherever in a window, or a stretch, the hit starts: one more of them."""
    padded = np.pad(peaks, ((0, 0), (1, 1)))
    bounds: Bounds = np.maximum(padded[:, 1:], padded[:, :-1])
    return bounds
