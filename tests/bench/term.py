"""Print how long a term takes, and the ratio to the sum of single commands: `python tests/bench/term.py`.

Twelve weeks, three groups, two lines a week: lessons, pages, indexes, handouts and zip files. The single commands are
those that a teacher would type for each lesson, `page` and `chart`; a few are timed, and their mean taken for all.
Then the tracks of one group, as WAV, beside `render` of the same folder of lessons. Load averages are printed, since
a busy machine takes longer by the clock.
"""

import os
import subprocess
import sys
from pathlib import Path
from tempfile import TemporaryDirectory
from time import perf_counter

ROOT = Path(__file__).parents[2]
GROUPS = (("Monday", 1, 3), ("Tuesday", 3, 5), ("Wednesday", 2, 6))
TERM = 'title = "Harbour Street, autumn"\nweeks = 12\n' + "".join(
    f'[[group]]\nname = "{name}"\nlevel = [{first}, {last}]\ntempo = [80, 110]\nlines = 2\nreview = 1\n'
    f'[[group.week]]\nweek = 5\nnote = "bring brushes"\n'
    for name, first, last in GROUPS
)
ONE = TERM[: TERM.index('[[group]]\nname = "Tuesday"')]
TIMED = 3  # lessons


def timed(*words: str) -> tuple[float, float]:
    """Seconds by the clock, and of processors, that a command takes."""
    before, start = os.times(), perf_counter()
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    subprocess.run([sys.executable, "-m", "render", *words], check=True, capture_output=True, env=environment)
    after, end = os.times(), perf_counter()
    return end - start, sum(after[2:4]) - sum(before[2:4])


def main() -> None:
    """Make a term, make it again, change one week; then time single commands, and tracks."""
    print(f"load {os.getloadavg()[0]:.1f} before")
    without_tracks()
    tracks()
    print(f"load {os.getloadavg()[0]:.1f} after")


def without_tracks() -> None:
    """Three groups, beside single commands."""
    with TemporaryDirectory() as folder:
        term, out = Path(folder, "autumn.toml"), Path(folder, "autumn")
        term.write_text(TERM)
        words = ("term", str(term), "-o", str(out))
        whole = timed(*words)
        lessons = sorted(out.rglob("week-*.toml"))
        print(f"{len(lessons)} lessons: {whole[0]:.1f} s by the clock, {whole[1]:.1f} s of processors")
        again = timed(*words)
        print(f"again, nothing changed: {again[0]:.1f} s, {again[1]:.1f} s of processors")
        term.write_text(TERM.replace("bring brushes", "bring sticks", 1))
        week = timed(*words)
        print(f"again, one week's note changed: {week[0]:.1f} s, {week[1]:.1f} s of processors")
        single = [0.0, 0.0]
        for lesson in lessons[:TIMED]:
            for one in (("page", "-o", f"{folder}/a.html"), ("chart", "-o", f"{folder}/a.pdf")):
                clock, processors = timed(one[0], str(lesson), *one[1:])
                single[0], single[1] = single[0] + clock / TIMED, single[1] + processors / TIMED
        ratio = [each * len(lessons) / all_of_it for each, all_of_it in zip(single, whole, strict=True)]
        print(
            f"single commands: {single[0]:.1f} s a lesson, so {ratio[0]:.1f} times as long ({ratio[1]:.1f} of processors)"
        )


def tracks() -> None:
    """One group with its tracks, beside `render` of its lessons."""
    with TemporaryDirectory() as folder:
        term, out = Path(folder, "autumn.toml"), Path(folder, "autumn")
        term.write_text(ONE)
        words = ("term", str(term), "-o", str(out))
        timed(*words)
        ours = timed(*words, "--tracks", "--format", "wav")
        minutes = sum(wave.stat().st_size for wave in out.rglob("*.wav")) / (44100 * 4 * 60)
        for wave in out.rglob("*.wav"):
            wave.unlink()
        (Path(folder) / "lessons").mkdir()
        for lesson in sorted((out / "monday").glob("week-*.toml")):
            lesson.rename(Path(folder, "lessons", lesson.name))
        beside = timed("render", f"{folder}/lessons", "-o", f"{folder}/out", "--no-documents")
        print(
            f"{minutes:.0f} minutes of tracks and the zip file: {ours[0]:.1f} s by the clock, {ours[1]:.1f} of processors"
        )
        ratio = [each / all_of_it for each, all_of_it in zip(beside, ours, strict=True)]
        print(f"render of the same folder: {ratio[0]:.2f} times as long by the clock ({ratio[1]:.2f} of processors)")


if __name__ == "__main__":
    main()
