"""Takes: the whole table of what is heard, over tempos, rooms and seeds, and what it costs in time and memory.

Run it as a program: `python tests/bench/takes.py [seeds [the first]]` or `python tests/bench/takes.py minutes 60`, which listens to
one long take and says the most memory that it had. Takes are made here from FluidR3, strokes varied in tone and level;
templates are those of the bundled soundfont, or of four strokes of each part in the same room. F is mir_eval's at 30 ms.
Lateness is held against that of the strokes where their sound begins, of the parts that were heard clearly.
"""

import resource
import sys
import tempfile
import time
from collections import defaultdict
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context
from pathlib import Path

import beside  # noqa: F401 - finds the tests' own modules
import mir_eval
import numpy as np
from takes_made import Student, played, sheet
from takes_sound import CLEAN, LARGE, RATE, SMALL, Drums, begun_at, calibration, mixed, plain_levels, recorded, saved

from grooves.takes.align import nearest_gaps
from grooves.takes.check import check_take
from render.hearing.drums import kit_templates
from render.hearing.features import open_recording
from render.hearing.single_strokes import own_kit
from render.hearing.sound_take import listen
from render.soundfont.soundfont import default_soundfont, open_kit

TEMPOS = (60, 100, 140, 180, 220)
ROOMS = {"clean": CLEAN, "0.3 s, 30 dB, phone": SMALL, "0.6 s, 20 dB, phone": LARGE}
FLOORS = {True: (0.98, 0.95, 0.99, 0.98), False: (0.97, 0.90, 0.98, 0.95)}  # ride, hi-hat, snare, bass drum
PARTS = ("ride", "hi-hat", "snare", "bass drum")
SECONDS = 40


def one_take(drums, usual, folder, tempo, room, seed, known):
    """What one take gave: for each part F, times off, lateness off, heard or not; and the processor time a minute."""
    written = sheet(tempo=tempo, choruses=max(2, round(SECONDS * tempo / 60 / 16)))
    late = {"right foot": float(np.random.default_rng(seed).uniform(-25, 25))}
    sound, made = recorded(written, Student(seed, limb_ms=late, missing=0.04, extra=0.02), drums, room)
    recording = open_recording(saved(folder / "take.wav", sound))
    own = None
    if known:
        strokes = calibration(written.parts, drums, plain_levels(written), room)
        own = own_kit(open_recording(saved(folder / "kit.wav", strokes)), written.parts)
    began = time.process_time()
    take = listen(recording, written, usual, own)
    cost = (time.process_time() - began) * 60 / recording.seconds
    real = begun_at(made.take, drums, take.unclear)
    told, meant = ({one.part: one for one in check_take(of, written).findings.limbs} for of in (take, real))
    found = {}
    for part in {*PARTS} - {*take.unclear}:
        own_moments, moments = (
            np.sort([one.onset_seconds for one in of.strokes if one.part == part]) for of in (real, take)
        )
        gaps = 1000 * nearest_gaps(own_moments, moments)
        gaps = gaps[np.abs(gaps) < 30]
        middle = float(np.median(gaps))
        off = abs((told[part].lateness_ms or 0) - (meant[part].lateness_ms or 0)) if told[part].heard else np.nan
        f = mir_eval.onset.f_measure(own_moments, moments, window=0.03)[0]
        found[part] = (f, float(np.median(np.abs(gaps - middle))), off, abs(middle))
    return found, cost


def table(seeds: int = 1, first: int = 0) -> None:
    """Print F by part and room and in how many takes, with the floors beside."""
    drums, usual = Drums(), kit_templates(open_kit(default_soundfont()), PARTS)
    with tempfile.TemporaryDirectory() as folder:
        for known in (True, False):
            print("with the kit's own strokes" if known else "with a soundfont alone")
            every, costs = defaultdict(list), []
            for name, room in ROOMS.items():
                here = defaultdict(list)
                for tempo in TEMPOS:
                    for seed in range(first, first + seeds):
                        found, cost = one_take(drums, usual, Path(folder), tempo, room, 1000 + 10 * tempo + seed, known)
                        costs.append(cost)
                        for part, values in found.items():
                            here[part].append(values)
                            every[part].append(values)
                print(
                    f"  {name:24}",
                    *(f"{part} {np.mean([v[0] for v in here[part]] or [0]):.3f} ({len(here[part])})" for part in PARTS),
                )
            takes = len(ROOMS) * len(TEMPOS) * seeds
            for part, floor in zip(PARTS, FLOORS[known], strict=True):
                f, error, off, bias = np.array(every[part]).T
                print(
                    f"  {part:10} F {f.mean():.3f} (floor {floor}), heard in {len(f)} of {takes}, time off "
                    f"{np.median(error):.1f} ms, lateness off {np.nanmedian(off):.1f} / {np.nanquantile(off, 0.9):.1f} ms, "
                    f"a part's middle off {np.median(bias):.1f} / {np.quantile(bias, 0.9):.1f} ms"
                )
            print(f"  {np.median(costs):.2f} s of processor time a minute of sound")


def write_long(path: Path, minutes: float) -> None:
    """Write a long clean take, minute by minute."""
    import soundfile

    drums, written = Drums(), long_sheet(minutes)
    plain, strokes = plain_levels(written), played(written, Student(1)).take.strokes
    over = np.zeros(RATE)
    with soundfile.SoundFile(str(path), "w", RATE, 1, "PCM_16") as file:
        for start in range(0, int(written.end_seconds), 60):
            here = [
                (one.onset_seconds - start, one.part, plain[one.part])
                for one in strokes
                if start <= one.onset_seconds < start + 60
            ]
            sound = mixed(here, drums, 60, start)
            sound[:RATE] += over
            over = sound[60 * RATE :]
            file.write(0.3 * sound[: 60 * RATE] + 1e-4 * np.random.default_rng(start).standard_normal(60 * RATE))


def long_sheet(minutes: float):
    """The sheet of so many minutes."""
    return sheet(tempo=140, choruses=round(minutes * 140 / 16))


def long_take(minutes: float) -> None:
    """Listen to a long take, written by a process of its own, and say time and memory."""
    written = long_sheet(minutes)
    usual = kit_templates(open_kit(default_soundfont()), PARTS)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "long.wav"
        with ProcessPoolExecutor(1, get_context("spawn")) as pool:
            pool.submit(write_long, path, minutes).result()
        before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
        recording = open_recording(path)
        began = time.process_time()
        take = listen(recording, written, usual)
        cost = (time.process_time() - began) * 60 / recording.seconds
        most = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
        print(
            f"{recording.seconds / 60:.0f} minutes: {cost:.2f} s a minute, {most:.0f} MB at most ({before:.0f} before), "
            f"not heard clearly: {', '.join(take.unclear) or 'no part'}"
        )


def pads() -> None:
    """Ten minutes of pads at 220 with 15 % missing and 15 % too many."""
    written = sheet(tempo=220, choruses=137)
    made = played(written, Student(1, missing=0.15, extra=0.15))
    began = time.process_time()
    check_take(made.take, written)
    print(f"{written.end_seconds / 60:.0f} minutes of pads: {time.process_time() - began:.2f} s of processor time")


if __name__ == "__main__":
    pads()
    if "minutes" in sys.argv:
        long_take(float(sys.argv[sys.argv.index("minutes") + 1]))
    else:
        table(*(int(one) for one in sys.argv[1:3]))
