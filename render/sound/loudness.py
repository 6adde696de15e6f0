"""Loudness as ITU-R BS.1770 measures it, with numpy alone.

LU and LUFS: 0.691 dB below the K-weighted power of all channels; stereo, both channels at weight 1. The two filters
are applied as their common impulse response by FFT, which after 4096 frames has died away below float32.
BS.1770 publishes its filters for 48 kHz. At other rates they are derived anew: its table solved for the analogue
prototype that the bilinear transform made it from, and that mapped to the rate. Checked in the tests against pyloudnorm
and EBU Tech 3341.
"""

import math
from collections.abc import Iterable, Iterator
from functools import lru_cache

import numpy as np
import numpy.typing as npt

Sound = npt.NDArray[np.float32]  # (frames, 2)
Powers = npt.NDArray[np.float64]

SILENT_LUFS = -math.inf
_OFFSET_LU = -0.691  # BS.1770: a 997 Hz sine at full scale in one channel reads -3.01 LKFS
_WINDOW_SECONDS, _STEP_SECONDS = 0.4, 0.1  # gating block and its step (75 % overlap), BS.1770
_FINE_SECONDS = 0.01  # step of the window that looks for the loudest 400 ms of a hit
_ABSOLUTE_GATE_LUFS, _RELATIVE_GATE_LU = -70.0, -10.0
_RESPONSE_FRAMES = 4096

Coefficients = tuple[float, float, float]
_SHELF_48 = (1.53512485958697, -2.69169618940638, 1.19839281085285), (1.0, -1.69065929318241, 0.73248077421585)
_HIGH_PASS_48 = (1.0, -2.0, 1.0), (1.0, -1.99004745483398, 0.99007225036621)


def filters(rate: int) -> tuple[tuple[Powers, Powers], tuple[Powers, Powers]]:
    """The K-weighting's shelf and high-pass as (b, a): `filters(48000)[1][1][1]` is -1.99004745483398.

    Source: ITU-R BS.1770, annex 1, tables 1 and 2.
    """
    return _at_rate(_SHELF_48, rate), (np.array([1.0, -2.0, 1.0]), _at_rate(_HIGH_PASS_48, rate)[1])


def _at_rate(table: tuple[Coefficients, Coefficients], rate: int) -> tuple[Powers, Powers]:
    """A filter of second order with k = tan(pi f / rate), from its coefficients at 48 kHz.

    Its denominator is 1 + k/q + k², 2 (k² - 1), 1 - k/q + k² over the first of these, and so is its numerator, with a
    gain of its own before the 1 and before k/q: what the filter is worth at high frequencies, and around f.
    """
    (b0, b1, b2), (a0, a1, a2) = table
    k = math.sqrt((a0 + a1 + a2) / (a0 - a1 + a2))
    q = k * (a0 - a1 + a2) / (2 * (a0 - a2))
    high, band = (b0 - b1 + b2) / (a0 - a1 + a2), (b0 - b2) / (a0 - a2)
    k = math.tan(math.atan(k) * 48000 / rate)
    b = np.array([high + band * k / q + k * k, 2 * (k * k - high), high - band * k / q + k * k])
    a = np.array([1 + k / q + k * k, 2 * (k * k - 1), 1 - k / q + k * k])
    return b / a[0], a / a[0]


@lru_cache
def _response(rate: int, size: int) -> npt.NDArray[np.complex64]:
    """The K-weighting on the frequencies of a real FFT of that size."""
    z = np.exp(-2j * np.pi * np.arange(size // 2 + 1) / size)
    total = np.ones_like(z)
    for b, a in filters(rate):
        total *= np.polyval(b[::-1], z) / np.polyval(a[::-1], z)
    weighting: npt.NDArray[np.complex64] = total.astype(np.complex64)
    return weighting


def _fft_size(frames: int) -> int:
    """The least size from so many frames on that a fast transform likes: a power of two, or 5/8 or 3/4 of one."""
    power = 1 << (frames - 1).bit_length()
    return next(size for size in (5 * power // 8, 3 * power // 4, power) if size >= frames)


def k_weighted(sound: Sound, rate: int) -> Sound:
    """A sound through the K-weighting, same length: `k_weighted(hit, 44100)`."""
    size = _fft_size(len(sound) + _RESPONSE_FRAMES)
    spectrum = np.fft.rfft(sound, size, axis=0) * _response(rate, size)[:, None]
    return np.fft.irfft(spectrum, size, axis=0)[: len(sound)].astype(np.float32)


def k_weighted_blocks(blocks: Iterable[Sound], rate: int) -> Iterator[Sound]:
    """The same for a long sound in blocks, in constant memory."""
    before = np.zeros((_RESPONSE_FRAMES, 2), np.float32)
    for block in blocks:
        joined = np.concatenate([before, block])
        yield k_weighted(joined, rate)[_RESPONSE_FRAMES:]
        before = joined[-_RESPONSE_FRAMES:]


def power(weighted: Sound) -> float:
    """Sum over frames and channels of the squares."""
    return float(np.vdot(weighted, weighted))


def lufs(mean_power: float) -> float:
    """Loudness of a mean K-weighted power summed over the channels: `lufs(1.0)` is -0.691."""
    return _OFFSET_LU + 10 * math.log10(mean_power) if mean_power > 0 else SILENT_LUFS


def hit_loudness(sound: Sound, rate: int) -> float:
    """Momentary loudness (400 ms) of a single hit at its loudest, in LUFS: `hit_loudness(kit.hit(51, 90), 44100)`."""
    frames, step = round(_WINDOW_SECONDS * rate), round(_FINE_SECONDS * rate)
    weighted = k_weighted(sound[: 2 * frames], rate)
    sums = np.concatenate([[0.0], np.cumsum(np.einsum("ij,ij->i", weighted, weighted), dtype=np.float64)])
    starts = np.arange(0, max(len(sums) - frames, 1), step)
    return lufs(float((sums[np.minimum(starts + frames, len(sums) - 1)] - sums[starts]).max()) / frames)


def step_powers(weighted: Iterable[Sound], rate: int) -> Powers:
    """Mean power of each whole 100 ms of a K-weighted sound given in blocks."""
    frames, rest, powers = round(_STEP_SECONDS * rate), np.zeros((0, 2), np.float32), []
    for block in weighted:
        rest = np.concatenate([rest, block])
        whole = len(rest) // frames
        used = rest[: whole * frames].reshape(whole, -1)
        powers.append(np.einsum("ij,ij->i", used, used, dtype=np.float64) / frames)
        rest = rest[whole * frames :]
    return np.concatenate(powers) if powers else np.zeros(0)


def gated_loudness(steps: Powers) -> float:
    """Integrated loudness in LUFS from the powers of 100 ms steps, with BS.1770's two gates."""
    if len(steps) < 4:
        return lufs(float(steps.mean())) if len(steps) else SILENT_LUFS
    blocks = np.convolve(steps, np.full(4, 0.25), mode="valid")
    above = blocks[blocks > 10 ** ((_ABSOLUTE_GATE_LUFS - _OFFSET_LU) / 10)]
    if not len(above):
        return SILENT_LUFS
    return lufs(float(above[above > above.mean() * 10 ** (_RELATIVE_GATE_LU / 10)].mean()))


def integrated_loudness(blocks: Iterable[Sound], rate: int) -> float:
    """Integrated loudness of a sound given in blocks, in LUFS: `integrated_loudness([sound], 44100)`."""
    return gated_loudness(step_powers(k_weighted_blocks(blocks, rate), rate))
