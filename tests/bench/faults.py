"""Kill, interrupt and fill the disk of renders at random moments, and look at every file that is left.

`python tests/bench/faults.py 200 1` is two hundred times with the seed 1. After each, every file is the old one or the
new one, nobody shows a traceback, and a run that is left in peace makes the right files and removes what was left.
"""

import hashlib
import os
import random
import signal
import subprocess
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path

ROOT = Path(__file__).parents[2]
LESSON = 'title = "x"\ntempo = 300\ngroove = "swing"\nchoruses = {choruses}\n[line]\nvalues = "{line}"\n'
TOLD = (signal.SIGKILL, signal.SIGINT, signal.SIGTERM)


def command(lesson: Path, out: Path, form: str) -> list[str]:
    words = ["render", str(lesson), "-o", str(out), "--stems", "--format", form, "--jobs", "2"]
    return [sys.executable, "-m", "render", *words]


def hashes(folder: Path) -> dict[str, str]:
    return {path.name: _content(path) for path in sorted(folder.iterdir())}


def _content(path: Path) -> str:
    """What a file holds; of Ogg and MP3, which differ from run to run, how many frames can be read."""
    if path.suffix not in (".ogg", ".mp3"):
        return hashlib.sha256(path.read_bytes()).hexdigest()
    import soundfile

    try:
        return f"{len(soundfile.read(path)[0])} frames"
    except RuntimeError as error:
        return str(error)


def render(lesson: Path, out: Path, form: str) -> dict[str, str]:
    subprocess.run(command(lesson, out, form), check=True, capture_output=True, cwd=ROOT)
    return hashes(out)


def disturbed(lesson: Path, out: Path, form: str, dice: random.Random, seconds: float) -> tuple[str, int, str]:
    """One render that is told to end, or whose files may not grow, at a random moment."""
    told = dice.choice((*TOLD, None))
    limit = f"ulimit -f {dice.randint(1, 400)}; " if told is None else ""
    words = ["bash", "-c", f'{limit}exec "$@"', "bash", *command(lesson, out, form)]
    process = subprocess.Popen(words, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True, cwd=ROOT)
    if told is not None:
        time.sleep(dice.uniform(0, 1.1 * seconds) * dice.choice((0.15, 1)))  # often while modules load
        for _ in range(dice.choice((1, 1, 2, 5))):
            process.send_signal(told)
            time.sleep(dice.choice((0, 0.003)))
    return (told.name if told else "full"), process.wait(), process.stderr.read() if process.stderr else ""


def main(times: int, seed: int) -> None:
    dice, seen, wrong = random.Random(seed), Counter[str](), 0
    for form in ("wav", "flac", "ogg", "mp3"):
        with tempfile.TemporaryDirectory() as made:
            folder, out = Path(made), Path(made) / "out"
            old, new = folder / "old" / "x.toml", folder / "new" / "x.toml"
            for path, choruses, line in ((old, 4, "4 8 8 4 4"), (new, 5, "8 4 4 4 8")):
                path.parent.mkdir()
                path.write_text(LESSON.format(choruses=choruses, line=line))
            began = time.monotonic()
            good = {path: render(path, folder / path.parent.name / "out", form) for path in (old, new)}
            seconds = (time.monotonic() - began) / 2
            render(old, out, form)
            for number in range(times // 4):
                what, code, said = disturbed(new if number % 2 else old, out, form, dice, seconds)
                left = {name: one for name, one in hashes(out).items() if not name.startswith(".")}
                whole = all(one in (good[old].get(name), good[new].get(name)) for name, one in left.items())
                ours = "render/" in said or "fourlimb:" in said  # else Python itself was still beginning
                clean = not ours or ("Traceback" not in said and len(said.splitlines()) <= 1)
                seen[
                    f"{what}: exit {code}{'' if whole else ', a file that is neither'}{'' if clean else ', noise'}"
                ] += 1
                wrong += not (whole and clean)
                if not clean:
                    print(said, file=sys.stderr)
            assert render(new, out, form) == good[new], f"{form}: the run that was left in peace went wrong"
    for what, count in sorted(seen.items()):
        print(f"{count:5} {what}")
    print(f"{wrong} of {sum(seen.values())} left something damaged or said more than a line")


if __name__ == "__main__":
    os.environ["PYTHONPATH"] = str(ROOT)
    main(*(int(word) for word in [*sys.argv[1:], "30", "1"][:2]))
