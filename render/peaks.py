"""The highest true peak of tracks, found without rendering them whole.

The sum of the hits' envelopes, up and down on either side, bounds the true peak of each 16 frames. Only where that
bound is highest is the sound itself looked at, four times oversampled (ITU-R BS.1770 annex 2), until no bound left
is above the highest peak found.
"""

from collections.abc import Callable, Sequence
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from render.hits import Kit
from render.loudness import oversampled
from render.stems import CHOKE_DB_PER_SECOND, Stem, Voice, Wave, kit_waves
from render.strikes import NEVER, Strikes, Take, strikes_by_part, whole_frames

_WINDOW = 16  # frames
_CONTEXT = 32  # frames on either side that the interpolation looks at
_LOOK = _WINDOW + 2 * _CONTEXT
_ATTACK_SECONDS = 0.1  # a hit's envelope is oversampled so far; its tail is taken at 1.5 times its samples
_FLOOR_DB = -60.0  # what lies this far below a hit's peak does not count
_BATCH = 64  # windows looked at together
_SECTION_SECONDS = 60  # a track is searched in such sections, in constant memory

Bounds = npt.NDArray[np.float32]  # (4, windows): left up, left down, right up, right down


def highest_peak(takes: Sequence[Take], kit: Kit, wrap: bool = False) -> float:
    """The highest true peak of several takes before any gain, 1.0 at full scale: `highest_peak([take], kit)`."""
    waves = kit_waves(kit)
    found: dict[tuple[str, Strikes, int | None], int] = {}
    together: list[list[int]] = []
    for take in takes:
        loop = whole_frames(take.performance, kit.rate) if wrap else None
        keys = [(part, strikes, loop) for part, strikes in strikes_by_part(take, kit.rate, wrap).items()]
        together.append([found.setdefault(key, len(found)) for key in keys])
    stems = [Stem(strikes, waves, kit.rate, loop_frames=loop) for _, strikes, loop in found]
    return _highest(stems, together, kit)


def _highest(stems: Sequence[Stem], together: Sequence[Sequence[int]], kit: Kit) -> float:
    """The highest true peak of several sums of stems, given by their numbers, section by section."""
    section, best = _SECTION_SECONDS * kit.rate // _WINDOW, 0.0
    envelopes = _envelopes(kit)
    for first in range(0, max((stem.end for stem in stems), default=0) // _WINDOW + 1, section):
        bounds = [_bounds(stem, first, section, envelopes) for stem in stems]
        for numbers in together:
            best = _peak_above([stems[n] for n in numbers], [bounds[n] for n in numbers], first, best)
    return best


def _peak_above(stems: Sequence[Stem], bounds: Sequence[Bounds], first: int, best: float) -> float:
    """The highest true peak of a sum of stems, or `best` where none of it is higher; most promising places first."""
    if not stems:
        return best
    bound = np.sum(bounds, axis=0).max(axis=0)
    promising = np.flatnonzero(bound > best)
    order = promising[np.argsort(-bound[promising])]
    for at in range(0, len(order), _BATCH):
        batch = order[at : at + _BATCH]
        if bound[batch[0]] <= best:
            break
        sound = np.sum([_windows(stem, batch + first) for stem in stems], axis=0)
        best = max(best, float(np.abs(sound @ _interpolation()).max()))
    return best


def _windows(stem: Stem, windows: npt.NDArray[np.int64]) -> npt.NDArray[np.float32]:
    """The sound of some windows with their context, shape (windows, 2, frames)."""
    total = np.zeros((len(windows), 2, _LOOK), np.float32)
    by_wave: dict[int, list[tuple[int, Voice]]] = {}
    for number, window in enumerate(windows.tolist()):
        start = window * _WINDOW - _CONTEXT
        for voice in stem.sounding(start, start + _LOOK):
            by_wave.setdefault(id(voice.wave), []).append((number, voice))
    for pairs in by_wave.values():
        places = np.array([number for number, _ in pairs])
        sound = _cut_out([voice for _, voice in pairs], windows[places] * _WINDOW - _CONTEXT, stem.rate)
        firsts = np.flatnonzero(np.diff(places, prepend=-1))
        total[places[firsts]] += np.add.reduceat(sound, firsts, axis=1).transpose(1, 0, 2)
    return total


def _cut_out(voices: Sequence[Voice], starts: npt.NDArray[np.int64], rate: int) -> npt.NDArray[np.float32]:
    """From each of some voices of one wave the frames from a place on, shape (2, voices, frames)."""
    wave = voices[0].wave
    inside = (starts - np.array([voice.start for voice in voices]))[:, None] + np.arange(_LOOK)
    gains = np.array([voice.gain for voice in voices], np.float32)[:, None]
    chokes = np.array([voice.end if voice.choke == NEVER else voice.choke for voice in voices])
    dying = inside - (chokes - np.array([voice.start for voice in voices]))[:, None]
    if (dying > 0).any():
        gains = gains * 10 ** (np.clip(dying, 0, None) * np.float32(-CHOKE_DB_PER_SECOND / 20 / rate))
    length = wave.frames
    rows = wave.rows[:, np.clip(inside, 0, length - 1)] * (gains * ((inside >= 0) & (inside < length)))
    sides: npt.NDArray[np.float32] = rows * np.array(wave.sides, np.float32)[:, None, None]
    return sides


@lru_cache(maxsize=1)
def _interpolation() -> npt.NDArray[np.float32]:
    """From a window with its context to the window at four times the rate: a Kaiser-windowed sinc."""
    times = np.arange(_WINDOW * 4) / 4 + _CONTEXT
    apart = times[None, :] - np.arange(_LOOK)[:, None]
    window = np.i0(8.0 * np.sqrt(np.clip(1 - (apart / _CONTEXT) ** 2, 0, None))) / np.i0(8.0)
    kernel: npt.NDArray[np.float32] = (np.sinc(apart) * window).astype(np.float32)
    return kernel


def _bounds(stem: Stem, first: int, windows: int, envelopes: Callable[[Wave], Bounds]) -> Bounds:
    """For some windows of 16 frames, bounds of the stem's true peak each way: the sums of its hits' envelopes."""
    bound = np.zeros((4, windows), np.float32)
    for voice in stem.sounding(first * _WINDOW, (first + windows) * _WINDOW):
        envelope, at = envelopes(voice.wave), voice.start // _WINDOW - first
        piece = envelope[:, max(-at, 0) : windows - at]
        bound[:, max(at, 0) : max(at, 0) + piece.shape[1]] += voice.gain * piece
    return bound


def _envelopes(kit: Kit) -> Callable[[Wave], Bounds]:
    """The envelope of each wave, made once and kept in the kit's cache."""
    kept: dict[str, Bounds] = {}

    def find(wave: Wave) -> Bounds:
        if wave.name not in kept:
            kept[wave.name] = kit.keep(f"peaks-{wave.name}", lambda: _envelope(wave, kit.rate))
        return kept[wave.name]

    return find


def _envelope(wave: Wave, rate: int) -> Bounds:
    """Bounds of a hit's true peak each way in each window, wherever in a window it starts."""
    attack = round(_ATTACK_SECONDS * rate) // _WINDOW * _WINDOW
    fine = oversampled(wave.rows[:, :attack].T).T
    ways = []
    for side, worth in enumerate(wave.sides):
        row = min(side, len(wave.rows) - 1)
        tail = np.abs(wave.rows[row, attack:]) * np.float32(1.5 * worth)
        for up in (fine[row] * np.float32(worth), fine[row] * np.float32(-worth)):
            strength = np.append(np.maximum(up, 0).reshape(-1, 4).max(axis=1), tail)
            ways.append(np.pad(strength, (0, -len(strength) % _WINDOW)).reshape(-1, _WINDOW).max(axis=1))
    peaks = np.stack(ways)
    heard = np.flatnonzero(peaks.max(axis=0) > peaks.max() * 10 ** (_FLOOR_DB / 20))[-1] + 1
    peaks = np.pad(peaks[:, :heard], ((0, 0), (1, 1)))
    bound: Bounds = np.maximum(peaks[:, 1:], peaks[:, :-1])
    return bound
