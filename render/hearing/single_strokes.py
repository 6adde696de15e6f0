"""A recording of single strokes: four of each part in the order that was told, for templates of the kit itself.

A stroke is where much more sounds than just before, over all bands. When it begins exactly is read off its template:
each drum rises as the same drum of a soundfont does, which noise and room disturb less than a threshold.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from grooves.errors import LessonError
from grooves.takes.take import Floats, Played
from render.hearing.drums import BEFORE, BEGINS_DB, LONG, template
from render.hearing.features import (
    BANDS,
    HIGH_BANDS,
    HIGH_HZ,
    HOP_SECONDS,
    LOW_BANDS,
    LOW_HZ,
    Bands,
    Recording,
    Row,
    heard,
    read_mono,
)
from render.hearing.rise import rises, rises_of

EACH = 4  # strokes of a part
LONGEST_SECONDS = 300.0
APART_SECONDS = 0.5  # at least, from stroke to stroke
FAINTEST = 0.3  # of the usual rise of a stroke, from which on a peak is one
LOUD_SECONDS = 0.3
BEFORE_SECONDS = 0.15  # that are read before a stroke
EARLIEST_SECONDS, PEAK_SECONDS = 0.04, 0.06  # around the moment of most rise, where a stroke begins and peaks
SMOOTH_SECONDS = 0.0005  # a few periods of a cymbal
AUTOMATIC_DB = 3.0  # growth of the noise after strokes, from which on a gain is at work; from our own takes
PAUSE_FROM, PAUSE_STEP, PAUSE_MARGIN = 50, 20, 20  # moments after a stroke, of an average, and before the next stroke
FEWEST_STEPS = 6
NOISE_PEAKS = 1.5  # times the loudest of the noise, that a beginning must surpass
END = 12  # moments at the end that are not looked at


@dataclass(frozen=True)
class OwnKit:
    """A kit as a microphone heard it: a template of each part, and how loud its strokes are against the ride's, dB.

    `rise` is by how much the sound rises at them; `automatic` says whether the recorder changed its own gain.
    """

    templates: Mapping[str, Bands]
    level_db: Mapping[str, float]
    rise: Mapping[str, float]
    automatic: bool


def own_kit(recording: Recording, parts: Sequence[str]) -> OwnKit:
    """Learn a kit: `own_kit(open_recording(path), sheet.parts).templates`.

    Raises LessonError where there are not four strokes of each part.
    """
    if recording.seconds > LONGEST_SECONDS:
        raise LessonError(f"lasts {recording.seconds:.0f} s; single strokes of a kit take a minute")
    sound = heard(recording, 0, recording.moments)
    quiet = np.quantile(sound, 0.2, axis=1).astype(np.float32)
    moments = single_strokes(sound, quiet, EACH * len(parts))
    if len(moments) != EACH * len(parts):
        raise LessonError(
            f"{len(moments)} strokes are heard, and {EACH} of each of {len(parts)} parts are {EACH * len(parts)}; "
            f"play each alone, {EACH} times, in this order: {', '.join(parts)}"
        )
    found, level, strokes = {}, {}, {}
    for number, part in enumerate(parts):
        own = moments[EACH * number : EACH * (number + 1)]
        each = [_stroke(recording, float(moment), quiet) for moment in own]
        found[part] = np.mean([one for one, _ in each], axis=0)
        strokes[part] = [Played(begins, part) for _, begins in each]
        level[part] = _loudness_db(found[part])
    against = level.get("ride", max(level.values()))
    steps = rises(read_mono(recording, 0, recording.frames), recording.rate)
    return OwnKit(
        found,
        {part: one - against for part, one in level.items()},
        rises_of(steps, strokes),
        gain_rises_db(sound, moments) > AUTOMATIC_DB,
    )


def gain_rises_db(sound: Bands, moments: Floats) -> float:
    """By how many dB the noise grows after single strokes, as it does where a recorder turns itself up again.

    After a stroke everything only fades, unless a gain rises. Example: `gain_rises_db(bands, moments)`.
    It is the second largest growth of all parts, since something else may sound once. 0 where strokes come too fast.
    """
    at = np.round(moments / HOP_SECONDS).astype(np.int64)
    pause = int(np.diff(at).min(initial=sound.shape[1])) - PAUSE_MARGIN
    steps = (pause - PAUSE_FROM) // PAUSE_STEP
    if steps < FEWEST_STEPS:
        return 0.0
    level = 20 * np.log10(np.maximum(sound[LOW_BANDS:], float(sound.max()) * 1e-6))
    growths = []
    for first in range(0, len(at), EACH):
        own = [one for one in at[first : first + EACH] if one + pause <= sound.shape[1] - END]
        if not own:
            continue
        after = np.mean([level[:, one + PAUSE_FROM :][:, : steps * PAUSE_STEP].mean(axis=0) for one in own], axis=0)
        curve = after.reshape(steps, PAUSE_STEP).mean(axis=1)
        growths.append(float(np.max(curve - np.minimum.accumulate(curve))))
    return sorted(growths)[-2] if len(growths) > 1 else 0.0


def single_strokes(sound: Bands, quiet: Row, most: int) -> Floats:
    """The moments of strokes that stand alone, in seconds: one more than `most` where there are too many."""
    rise = onset_rise(sound, quiet)
    gap = round(APART_SECONDS / HOP_SECONDS)
    order = np.argsort(-rise)
    taken: list[int] = []
    for place in order[: 40 * gap]:
        if len(taken) > most or rise[place] <= 0:
            break
        if all(abs(int(place) - other) >= gap for other in taken):
            taken.append(int(place))
    enough = FAINTEST * float(np.median(rise[taken])) if taken else 0.0
    taken = [place for place in taken if rise[place] >= enough]
    return np.sort(np.array(taken, dtype=np.float64)) * HOP_SECONDS


def onset_rise(sound: Bands, quiet: Row) -> Floats:
    """How much more sounds at each moment than 30 ms before, over all bands, in nepers a band; noise counts little."""
    floor = np.float32(max(float(sound.max()) * 1e-3, 1e-9))  # -60 dB
    loud = np.log(sound + 3 * quiet[:, None] + floor)
    rise = np.zeros(sound.shape[1])
    rise[6:] = np.maximum(loud[:, 6:] - loud[:, :-6], 0).mean(axis=0)
    rise[-END:] = 0  # a recording that breaks off sounds like a stroke
    return rise


def _stroke(recording: Recording, moment: float, quiet: Row) -> tuple[Bands, float]:
    """The template of the stroke about a moment, its noise taken off, from where its sound begins; and when it does."""
    rate = recording.rate
    before = round(BEFORE_SECONDS * rate)
    start = round(moment * rate) - before
    sound = read_mono(recording, start, before + round((LONG + 40) * HOP_SECONDS * rate))
    begins = stroke_begins(sound, before, rate)
    return _without(template(sound, begins, rate), quiet), (start + begins) / rate


def stroke_begins(sound: Row, about: int, rate: int) -> int:
    """The frame at which a stroke about a place begins: `stroke_begins(sound, 7000, 44100)`.

    That is where its power first comes within 20 dB of its peak, as `begins` has it, and over all noise before it.
    """
    smooth = max(round(SMOOTH_SECONDS * rate), 1)
    power = np.convolve(sound.astype(np.float64) ** 2, np.ones(smooth) / smooth, mode="same")
    start, end = about - round(EARLIEST_SECONDS * rate), about + round(PEAK_SECONDS * rate)
    noise = power[round(0.02 * rate) : start]
    over = float(noise.mean() + NOISE_PEAKS * (noise.max() - noise.mean())) if len(noise) else 0.0
    near = power[start:end]
    return start + int(np.argmax(near >= max(float(near.max()) * 10 ** (BEGINS_DB / 10), over)))


def _without(sound: Bands, quiet: Row) -> Bands:
    return np.sqrt(np.maximum(sound**2 - (1.2 * quiet[:, None]) ** 2, 0)).astype(np.float32)


def _loudness_db(found: Bands) -> float:
    """How loud a stroke is, its bands weighted about as K-weighting has them (ITU-R BS.1770: -1 dB at 100 Hz, +4)."""
    hertz = np.concatenate([np.geomspace(*LOW_HZ, LOW_BANDS), np.geomspace(*HIGH_HZ, HIGH_BANDS)])
    gain_db = np.interp(np.log(hertz), np.log([50, 100, 500, 1000, 2000, 10000]), [-3.9, -1.1, 0.0, 0.7, 3.1, 4.0])
    # A band of the low windows is summed over a window four times as long.
    window = np.repeat([4.0, 1.0], [LOW_BANDS, BANDS - LOW_BANDS])
    span = found[:, BEFORE : BEFORE + round(LOUD_SECONDS / HOP_SECONDS)].astype(np.float64)
    power = (span**2).sum(axis=1) * 10 ** (gain_db / 10) / window**2
    return float(10 * np.log10(max(power.sum(), 1e-20)))
