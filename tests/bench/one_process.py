"""One whole process from pickled performances to WAV files: `one_process.py PERFORMANCES SOUNDFONT FOLDER`.

Prints the seconds of each step after the interpreter has started, and the most memory held, in KB.
"""

import gc
import os
import pickle
import sys
import time
from itertools import pairwise
from pathlib import Path
from resource import RUSAGE_CHILDREN, getrusage

STEPS = ("import", "recording and balance", "gain", "mix and write")


def most_kilobytes() -> int:
    """The most memory this process has held, and the largest of those it forked: too much, what they share counts twice.

    Not its own ru_maxrss, which would count what its parent held before it.
    """
    status = Path("/proc/self/status").read_text()
    return int(status.split("VmHWM:")[1].split()[0]) + getrusage(RUSAGE_CHILDREN).ru_maxrss


def main(performances: str, soundfont: str, folder: str) -> None:
    """Render them as tracks of one lesson, the first of which is the full one."""
    times = [time.perf_counter()]
    from render.files.parallel import processes
    from render.sound.audio import write_tracks
    from render.sound.balance import calibrate, velocities
    from render.sound.events import Rendition
    from render.sound.gain import gain_for
    from render.sound.recordings import record
    from render.sound.tracks import side_by_side
    from render.soundfont.soundfont import open_kit

    times.append(time.perf_counter())
    tracks = pickle.loads(Path(performances).read_bytes())
    kit = open_kit(Path(soundfont), processes=processes())
    record(tracks, kit)
    balance = calibrate(kit, {hit.key for track in tracks for hit in track.hits})
    renditions = [Rendition(track, velocities(track, balance)) for track in tracks]
    times.append(time.perf_counter())
    together = side_by_side(renditions, kit)
    gain = gain_for(together, processes())
    times.append(time.perf_counter())
    targets = [Path(folder) / f"{number}.wav" for number in range(len(renditions))]
    write_tracks(targets, together, gain, processes=processes())
    times.append(time.perf_counter())
    kit.close()
    memory = most_kilobytes()
    print(*(later - sooner for sooner, later in pairwise(times)), memory)


if __name__ == "__main__":
    gc.disable()  # these four as in render/command/cli.py
    os.environ["OPENBLAS_NUM_THREADS"] = "1"
    main(*sys.argv[1:])
    sys.stdout.flush()
    os._exit(0)
