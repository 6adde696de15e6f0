"""The swing of a rendered ride, heard from its samples."""

import numpy as np
from music import EXACT, lesson_of, played

from grooves.passages import Track
from render.sound.balance import calibrate, velocities
from render.sound.events import Rendition
from render.sound.gain import gain_for
from render.sound.mix import mix
from render.sound.tracks import side_by_side
from render.soundfont.soundfont import default_soundfont, open_kit


def heard_ratios(swing: str, tempo: float, bars: int = 6) -> list[float]:
    """Ratios long:short of a rendered ride at a tempo, from the onsets in its sound; the skip notes of each bar."""
    lesson = lesson_of(" | ".join(["1r"] * bars), tempo=tempo, feel=f'{EXACT}\nswing = "{swing}"', top="count_in = 0")
    performance = played(lesson, Track("x", only=frozenset({"ride"})))
    kit = open_kit(default_soundfont())
    rendition = Rendition(performance, velocities(performance, calibrate(kit)))
    pcm = np.concatenate(list(mix(rendition, kit, gain_for(side_by_side([rendition], kit))))).astype(float).sum(axis=1)
    onsets = detect_onsets(pcm, 44100)
    beat = 60 / tempo
    ratios = []
    for bar in range(bars):
        for number in (1, 3):  # the skip note lies in beats 2 and 4
            start = (4 * bar + number) * beat
            long = next(onset for onset in onsets if onset - onsets[0] > start + 0.2 * beat) - onsets[0] - start
            ratios.append(long / (beat - long))
    return ratios


def detect_onsets(sound: np.ndarray, rate: int) -> list[float]:
    """Seconds where the energy of the sound's fast changes jumps: knows nothing of where strokes were put."""
    step = rate // 1000
    fast = np.diff(sound, n=2, prepend=[0.0, 0.0]) ** 2
    energy = np.add.reduceat(fast, np.arange(0, len(fast), step))
    level = 10 * np.log10(energy + 1e-3)
    before = np.array([level[max(n - 12, 0) : max(n - 2, 1)].max() for n in range(len(level))])
    rising = np.flatnonzero(level - before > 4.0)
    onsets: list[int] = []
    for frame in rising:
        if not onsets or frame - onsets[-1] > 40:
            onsets.append(int(frame))
    return [frame * step / rate for frame in onsets]
