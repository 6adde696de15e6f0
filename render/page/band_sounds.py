"""The recorded notes of the band that a lesson page carries: FLAC as base64, one recording for up to five keys.

A key without a recording of its own takes the nearest, at most two semitones away, played so much faster or slower:
its pitch is exact, and every key keeps the loudness that it has in the sound files. One channel at half the rate:
neither bass nor piano has much to say above 11 kHz. What is cut off while it still sounds goes round in a loop.
FLAC, since every browser decodes it, and not every one Opus in Ogg.
"""

import base64
import math
from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import numpy.typing as npt

from grooves.lesson import Lesson
from grooves.passages import Track, track_passages
from grooves.performance import perform
from render.page.sounds import flac_bytes, level_number
from render.sound.balance import Balance, velocities
from render.sound.loudness import hit_loudness
from render.soundfont.notes import Instrument
from render.soundfont.recording import Sound
from render.soundfont.samples import DrumKit
from render.soundfont.synth import BLOCK

LARGEST_BYTES = 270_000  # of all recordings together before base64, which makes four of three
FARTHEST = 2  # semitones between a key and its recording
_LONGEST_SECONDS = 2.2  # as the ride's ring
_SLOW = 0.6  # of the lesson's tempo: the page's button for practising slowly
_FADE_SECONDS = 0.1  # at the end of a recording that was cut
_PEAK = 0.95  # of full scale: room for the coder's rounding
_NOTE_SECONDS = 0.58  # that loudness is measured on: the 400 ms window and room for a slow attack
_SUSTAINS_DB = -12.0  # a note that is cut above this goes round
_PLAIN_VELOCITY = 80  # of a part that plays only in tracks of its own
_TRIES = 4
_PAD = 4096  # frames after a sound
_ROUND_SECONDS, _JOIN_SECONDS = (0.2, 0.5), 0.05  # how long a loop may be, and how long its ends are mixed

Mono = npt.NDArray[np.float32]


@dataclass(frozen=True)
class _Recording:
    """One recorded key of a part, in one channel."""

    part: str
    key: int
    velocity: int
    values: Mono  # at half the kit's rate
    loudness_lufs: float  # on both loudspeakers


def band_sounds(lesson: Lesson, band: Mapping[str, Any], kit: DrumKit, balance: Balance) -> dict[str, Any]:
    """Recordings, how each key is played from them, and loudness tables, ready for JSON.

    `band` is what `band_data` says: `band_sounds(lesson, band, kit, balance)["notes"]["bass"][40]` is the recorded
    key, how much faster it is played, its gain in decibels, and how fast it dies in decibels a second.

    Raises LessonError where the soundfont has no sound on a key.
    """
    keys, longest = _needed(band)
    score, at = lesson.score, _usual_velocities(lesson, balance)
    quarter_seconds = 60 / (_SLOW * score.tempo_bpm * float(score.groove.beat))
    seconds = {part: min(longest[part] * quarter_seconds, _LONGEST_SECONDS) for part in keys}
    recordings: list[_Recording] = []
    notes, loudness = {}, {}
    for part in keys:
        program = score.band.programs[part] if score.band else 0
        instrument = kit.instrument(program)
        own = {key: _recording(part, instrument, key, at[part], seconds[part]) for key in recorded_keys(keys[part])}
        recordings += own.values()
        notes[part] = {key: _played_from(own, instrument, key, at[part]) for key in keys[part]}
        loudness[part] = [level_number(level) for level in balance.of_notes(part, program)]
    return {"hits": _hits(recordings, seconds, kit.rate // 2), "notes": notes, "loudness": loudness}


def _needed(band: Mapping[str, Any]) -> tuple[dict[str, list[int]], dict[str, float]]:
    """The keys that each part plays, and its longest note in quarters."""
    keys: dict[str, set[int]] = defaultdict(set)
    longest: dict[str, float] = defaultdict(float)
    for number, onset, _, end, _, _, struck in (strike for rows in band["patterns"] for strike in rows):
        part = band["parts"][number]
        keys[part] |= set(struck)
        longest[part] = max(longest[part], (end - onset) / band["divisions"])
    return {part: sorted(keys[part]) for part in band["parts"] if part in keys}, longest


def _usual_velocities(lesson: Lesson, balance: Balance) -> dict[str, int]:
    """The commonest velocity of each part: what is recorded has the colour of the usual note."""
    passages = track_passages(Track("everyone"), lesson.score, 1, 0)
    whole = perform(lesson.score, passages, lesson.feel, lesson.balance_lu)
    used: dict[str, Counter[int]] = defaultdict(Counter)
    for note, velocity in zip(whole.notes, velocities(whole, balance)[len(whole.hits) :], strict=True):
        used[note.part][velocity] += 1
    return defaultdict(lambda: _PLAIN_VELOCITY, {part: own.most_common(1)[0][0] for part, own in used.items()})


def recorded_keys(keys: Sequence[int]) -> list[int]:
    """The fewest of some keys that no other is more than two semitones away from: `recorded_keys([40, 41, 42, 46])`."""
    found: list[int] = []
    for key in keys:
        if not found or key - found[-1] > FARTHEST:
            found.append(max(one for one in keys if one <= key + FARTHEST))
    return found


def _recording(part: str, instrument: Instrument, key: int, velocity: int, seconds: float) -> _Recording:
    note = instrument.note(key, velocity, math.ceil(seconds * instrument.rate / BLOCK))
    values = note.sample.beginning(round(seconds * instrument.rate) + _PAD).mean(axis=1) * np.float32(note.gain)
    loudness = _loudness(np.stack([values, values], axis=1), instrument.rate)
    return _Recording(part, key, velocity, half_rate(values), loudness)


def _loudness(sound: Sound, rate: int) -> float:
    return hit_loudness(np.ascontiguousarray(sound[: round(_NOTE_SECONDS * rate)]), rate)


def _played_from(
    own: Mapping[int, _Recording], instrument: Instrument, key: int, velocity: int
) -> tuple[int, float, float, float]:
    """How a key is played: from which recording, how much faster, how much louder, and how fast it dies."""
    nearest = own[min(own, key=lambda one: abs(one - key))]
    sample, gain = instrument.held(key, velocity)
    wanted = _loudness(sample.sound(), instrument.rate) + 20 * math.log10(gain)
    slope = instrument.note(key, velocity, 1).release_db_per_second
    return nearest.key, round(2 ** ((key - nearest.key) / 12), 9), round(wanted - nearest.loudness_lufs, 3), slope


# --- as files ------------------------------------------------------------------------------------


def _hits(recordings: Sequence[_Recording], seconds: Mapping[str, float], rate: int) -> list[dict[str, Any]]:
    """All recordings as long as they need to be, or as there is room for, at half the rate."""
    share = 1.0
    for _ in range(_TRIES):
        cut = [replace(one, values=one.values[: round(share * seconds[one.part] * rate)]) for one in recordings]
        size = sum(len(_flac(one.values, rate)) for one in cut)
        if size <= LARGEST_BYTES:
            break
        share *= 0.98 * LARGEST_BYTES / size
    return [_hit(one, len(one.values) < len(whole.values), rate) for one, whole in zip(cut, recordings, strict=True)]


def _hit(one: _Recording, is_cut: bool, rate: int) -> dict[str, Any]:
    """One recording as FLAC, and what the page must know of it."""
    values, loop = _rounded_off(one.values, rate) if is_cut else (one.values, None)
    scale = round(float(np.abs(values).max()) / _PEAK, 9)
    flac = base64.b64encode(_flac(values, rate)).decode()
    says = {"key": f"{one.part} {one.key}", "high": 127, "at": one.velocity, "scale": scale, "flac": flac}
    return says | ({"loop": [round(frame / rate, 6) for frame in loop]} if loop else {})


def _flac(values: Mono, rate: int) -> bytes:
    return flac_bytes(values * np.float32(_PEAK / np.abs(values).max()), rate)


def half_rate(values: Mono) -> Mono:
    """The same sound at half the rate, without what lies above: its spectrum cut in two."""
    size = 2 ** math.ceil(math.log2(len(values) + _PAD))  # so that its end does not ring into its beginning
    half = np.fft.irfft(np.fft.rfft(values, size)[: size // 4 + 1], size // 2) / 2
    return half[: len(values) // 2].astype(np.float32)


def _rounded_off(values: Mono, rate: int) -> tuple[Mono, tuple[int, int] | None]:
    """A cut recording with a fade at its end, or with a loop where it would sound on, and the loop's frames."""
    window = round(_JOIN_SECONDS * rate)
    blocks = np.square(values[: len(values) // window * window].reshape(-1, window)).mean(axis=1)
    if (
        blocks[-1] > blocks.max() * 10 ** (_SUSTAINS_DB / 10)
        and len(values) > round(_ROUND_SECONDS[1] * rate) + 2 * window
    ):
        return _looped(values, window, rate)
    faded, frames = values.copy(), min(round(_FADE_SECONDS * rate), len(values))
    faded[len(values) - frames :] *= np.linspace(1, 0, frames, dtype=np.float32)
    return faded, None


def _looped(values: Mono, window: int, rate: int) -> tuple[Mono, tuple[int, int]]:
    """The end mixed into what comes before the place that is most like it, so that the sound may go on from there."""
    end = len(values)
    tail = values[end - window :]
    firsts = range(end - round(_ROUND_SECONDS[1] * rate), end - round(_ROUND_SECONDS[0] * rate))
    before = np.lib.stride_tricks.sliding_window_view(values, window)[[first - window for first in firsts]]
    alike = before @ tail / np.sqrt(np.einsum("ij,ij->i", before, before) + 1e-12)
    start = firsts[int(alike.argmax())]
    mixed, rising = values.copy(), np.linspace(0, 1, window, dtype=np.float32)
    mixed[end - window :] = tail * (1 - rising) + values[start - window : start] * rising
    return mixed, (start, end)
