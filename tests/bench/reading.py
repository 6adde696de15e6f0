"""How many of twenty played files are misread in each cell: `python tests/bench/reading.py [seed] [files]`.

A file is a graded line of eight bars, played as a drum track at 960 ticks a quarter, each stroke up to 20 ms from its
place. It is wrong if one struck place differs or the file is refused. Prints files wrong, not times.
"""

import io
import sys
from collections.abc import Callable
from fractions import Fraction

import mido
import numpy as np

from grooves.deviations import deviations
from grooves.errors import LessonError
from grooves.feel import Feel, sixteenth_beats, swung, triplet_beats
from grooves.notes import line_notes
from grooves.rhythm import Bar, Meter
from grooves.teaching.graded import lines
from render.reading.read_midi import bars_from_midi

FOUR = Meter(4, 4)
TICKS = 960
Noise = Callable[[np.random.Generator, list[float], int], np.ndarray]


def uniform(rng: np.random.Generator, places: list[float], seed: int) -> np.ndarray:
    return rng.uniform(-0.020, 0.020, len(places))


def normal(rng: np.random.Generator, places: list[float], seed: int) -> np.ndarray:
    return np.clip(rng.normal(0, 0.010, len(places)), -0.020, 0.020)


def long_range(rng: np.random.Generator, places: list[float], seed: int) -> np.ndarray:
    """As our own tracks deviate: correlated, clipped at three deviations, here 20 ms."""
    return deviations(Feel(seed=seed), "left hand", "timing", np.array(places)) * 0.0067


NOISES: dict[str, Noise] = {"uniform": uniform, "normal": normal, "long-range": long_range}


def played_places(bars: tuple[Bar, ...], ratio: float) -> list[float]:
    places = []
    for index, bar in enumerate(bars):
        struck = [symbol.onset for symbol in bar if symbol.kind == "struck"]
        straight, thirds = sixteenth_beats(struck), triplet_beats(struck)
        places += [float(index * 4 + swung(onset, ratio, straight, thirds)) for onset in struck]
    return places


def file_of(places: list[float], tempo_bpm: float, offsets: np.ndarray, delay: float = 0.0) -> bytes:
    track = mido.MidiTrack([mido.MetaMessage("set_tempo", tempo=round(60e6 / tempo_bpm))])
    timed = []
    for place, offset in zip(places, offsets, strict=True):
        tick = round((place + 4 + (offset + delay) * tempo_bpm / 60) * TICKS)  # an empty bar in front
        timed += [(tick, 1, "note_on"), (tick + 60, 0, "note_off")]
    now = 0
    for tick, _, kind in sorted(timed):
        track.append(mido.Message(kind, note=38, velocity=90, channel=9, time=tick - now))
        now = tick
    file = mido.MidiFile(ticks_per_beat=TICKS, tracks=[track])
    data = io.BytesIO()
    file.save(file=data)
    return data.getvalue()


def struck_places(bars: tuple[Bar, ...]) -> list[tuple[int, Fraction]]:
    return [(note.bar, note.onset) for note in line_notes(bars)]


def is_wrong(level: int, tempo_bpm: float, ratio: float, noise: str, seed: int, delay: float = 0.0) -> bool:
    bars = lines(level, 8, seed)
    places = played_places(bars, ratio)
    offsets = NOISES[noise](np.random.default_rng(seed), places, seed)
    try:
        read = bars_from_midi(file_of(places, tempo_bpm, offsets, delay), FOUR).bars
    except LessonError:
        return True
    written = struck_places(bars)
    first = written[0][0]
    return struck_places(read) != [(bar - first, onset) for bar, onset in written]


CELLS = [
    *((f"swung 1.5, level {level}", level, 1.5, (180, 220)) for level in (3, 5, 7)),
    *((f"swung 2.5, level {level}", level, 2.5, (140, 180)) for level in (3, 5, 7)),
    ("straight eighths, level 7", 7, 1.0, (100, 140, 180, 220, 260)),
    ("straight triplets, level 8", 8, 1.0, (100, 140, 180, 220)),
    ("straight sixteenths, level 9", 9, 1.0, (100, 140, 180, 220)),
    ("straight both, level 10", 10, 1.0, (100, 140, 180, 220)),
    ("swung 2.0, level 7", 7, 2.0, (60, 100, 140, 180)),
    ("swung 1.5 triplets, level 8", 8, 1.5, (140, 180)),
    ("swung 1.8 both, level 10", 10, 1.8, (100, 140, 180)),
]


def main(first: int = 9000, files: int = 20) -> None:
    for noise in NOISES:
        for name, level, ratio, tempos in CELLS:
            found = []
            for tempo in tempos:
                wrong = sum(is_wrong(level, tempo, ratio, noise, first + n) for n in range(files))
                found.append(f"{tempo}: {wrong}")
            print(f"{noise:11} {name:30} wrong of {files} at  " + "  ".join(found))
    delayed = [
        sum(is_wrong(level, tempo, 1.0, "normal", first + n, 0.050) for n in range(files))
        for level, tempo in ((3, 120), (3, 180), (9, 100), (8, 140))
    ]
    print(f"50 ms late, normal: levels 3 at 120, 3 at 180, 9 at 100, 8 at 140: {delayed} of {files}")


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
