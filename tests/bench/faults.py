"""Kill commands, fill their disks and forbid their folders at random moments, and look at every file that is left.

`python tests/bench/faults.py 500 200 50 1` is five hundred kills, two hundred full disks, fifty forbidden folders, with
the seed 1; a fifth word names the commands, such as "term,page". After each, every file is the old one or the new one,
nobody shows a traceback or says more than a line, and the next run, left in peace, makes the right files byte for byte
and removes what was left half written. As root on Linux the disks are small ones of their own; else only the size of
files is limited, and nothing is forbidden.
"""

import hashlib
import json
import os
import random
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import mido

ROOT = Path(__file__).parents[2]
LESSON = 'title = "x"\ntempo = 300\ngroove = "swing"\nchoruses = {choruses}\n[line]\nvalues = "{line}"\n'
TERM = 'title = "Harbour Street"\nweeks = 1\n[[group]]\nname = "Monday"\nlevel = 3\ntempo = {tempo}\nbars = 4\n'
LOCK = ".fourlimb-term.lock"
RECORD = "fourlimb-term.json"  # it says how far a term has come, so it has more than two states
TOLD = (signal.SIGKILL, signal.SIGINT, signal.SIGTERM)
SAID = "fourlimb: interrupted; nothing half-written was left\n"
TURNS = ("a", "b")  # what is made turns about, so that every run replaces files of the other


@dataclass(frozen=True)
class Command:
    """What is disturbed: the words of a command line, for either of two things to make; with a cold cache or not."""

    words: tuple[str, ...]
    share: int = 1  # of the trials
    cold: bool = False

    def line(self, turn: str) -> list[str]:
        return [sys.executable, "-m", "render", *(word.replace("TURN", turn) for word in self.words)]


def rendered(form: str) -> tuple[str, ...]:
    return ("render", "TURN/x.toml", "-o", "out", "--stems", "--format", form, "--jobs", "2")


COMMANDS = {
    **{f"render {form}": Command(rendered(form)) for form in ("wav", "flac", "ogg", "mp3")},
    "term": Command(("term", "TURN/autumn.toml", "-o", "out", "--tracks", "--format", "ogg", "--jobs", "2"), 2),
    "page": Command(("page", "TURN/x.toml", "-o", "out/x.html"), 2),
    "check": Command(("check", "a/x.toml", "TURN/TURN.mid", "-o", "out"), 2),
    "cache": Command(rendered("wav"), 2, cold=True),
}


@dataclass
class Bench:
    """A folder with what commands are made of, their disks, and what was seen."""

    folder: Path
    dice: random.Random
    disks: bool = False
    seen: Counter[str] = field(default_factory=Counter)
    wrong: int = 0
    good: dict[str, dict[str, str]] = field(default_factory=dict)  # by turn: the files that are right
    bytes: dict[str, int] = field(default_factory=dict)  # by turn: what they need on a disk, or the cache does
    seconds: float = 0.0

    @property
    def out(self) -> Path:
        return self.folder / "out"

    @property
    def cache(self) -> Path:
        return self.folder / "cache"

    def start(self, words: Sequence[str], limit: str = "") -> "subprocess.Popen[str]":
        """Begin a command in a group of processes of its own."""
        return subprocess.Popen(
            ["bash", "-c", f'{limit}exec "$@"', "bash", *words], cwd=self.folder, text=True, start_new_session=True,
            stdout=subprocess.DEVNULL, stderr=subprocess.PIPE,
            env={**os.environ, "PYTHONPATH": str(ROOT), "FOURLIMB_CACHE": str(self.cache)},
        )  # fmt: skip

    def in_peace(self, command: Command, turn: str) -> None:
        """Run a command that nobody disturbs."""
        process = self.start(command.line(turn))
        said = process.communicate()[1]
        assert process.returncode == 0, said

    def found(self) -> dict[str, str]:
        files = sorted(path for path in self.out.rglob("*") if path.is_file() and path.name != LOCK)
        return {str(path.relative_to(self.out)): hash_of(path) for path in files}


def hash_of(path: Path) -> str:
    """What a file holds; of a term's record whether it can be read."""
    if path.name == RECORD:
        return "whole" if json.loads(path.read_text()) else ""
    return hashlib.sha256(path.read_bytes()).hexdigest()


def hidden(name: str) -> bool:
    return Path(name).name.startswith(".")


# --- disks ----------------------------------------------------------------------------------------


def mount(place: Path, *options: str) -> bool:
    words = ["mount", "-t", "tmpfs", *options, "tmpfs", str(place)]
    return sys.platform == "linux" and not os.geteuid() and not subprocess.run(words, capture_output=True).returncode


def used(place: Path) -> int:
    """The bytes that files take on a disk of pages."""
    return sum(-(-path.stat().st_size // 4096) * 4096 for path in place.rglob("*") if path.is_file())


def size_disk(place: Path, size: int) -> None:
    subprocess.run(["mount", "-o", f"remount,size={max(size // 1024, 4)}k", str(place)], check=True)


# --- faults ---------------------------------------------------------------------------------------


def kill(bench: Bench, command: Command, turn: str) -> tuple[str, int, str]:
    """Tell a command to end at a random moment, often while modules load; or all processes of it, as a terminal does."""
    told, process = bench.dice.choice(TOLD), bench.start(command.line(turn))
    tell = bench.dice.choice((process.send_signal, lambda number: os.killpg(process.pid, number)))
    time.sleep(bench.dice.uniform(0, 1.1 * bench.seconds) * bench.dice.choice((0.15, 1, 1)))
    for _ in range(bench.dice.choice((1, 1, 2, 5))):
        if process.poll() is None:
            tell(told)
        time.sleep(bench.dice.choice((0, 0.003)))
    said = process.communicate()[1]
    time.sleep(0.05)  # those that it forked end with it
    return told.name, process.returncode, said


def fill(bench: Bench, command: Command, turn: str) -> tuple[str, int, str]:
    """Run a command on a disk that has too little room, or in a process whose files may not grow."""
    place, needed = bench.cache if command.cold else bench.out, bench.bytes[turn]
    if not bench.disks or bench.dice.random() < 0.2:
        process = bench.start(command.line(turn), f"ulimit -f {bench.dice.randint(1, max(needed // 2048, 2))}; ")
        return "file limit", process.wait(), process.communicate()[1]
    size_disk(place, used(place) + int(bench.dice.uniform(0, 1.05) * needed))
    process = bench.start(command.line(turn))
    said = process.communicate()[1]
    size_disk(place, 1 << 30)
    return f"full {place.name}", process.returncode, said


def forbid(bench: Bench, command: Command, turn: str) -> tuple[str, int, str]:
    """Have nothing written into the folder from a random moment on."""
    process = bench.start(command.line(turn))
    time.sleep(bench.dice.uniform(0, bench.seconds))
    subprocess.run(["chattr", "+i", str(bench.out)], check=True)
    said = process.communicate()[1]
    subprocess.run(["chattr", "-i", str(bench.out)], check=True)
    return "forbidden", process.returncode, said


# --- what is left ---------------------------------------------------------------------------------


def trial(bench: Bench, name: str, turn: str, fault: Callable[[Bench, Command, str], tuple[str, int, str]]) -> None:
    """One fault, what it leaves, and the run after it."""
    command = COMMANDS[name]
    if command.cold:
        empty(bench.cache)
    what, code, said = fault(bench, command, turn)
    left = {path: one for path, one in bench.found().items() if not hidden(path)}
    faults = [f"{path} is neither" for path, one in left.items() if one not in states(bench, path)]
    if code == 0:
        faults += [f"{path} is not new" for path, one in bench.good[turn].items() if left.get(path) != one]
    faults += unfit(code, said)
    bench.in_peace(command, turn)
    after = bench.found()
    faults += [f"{path} is wrong after it" for path, one in bench.good[turn].items() if after.get(path) != one]
    faults += [f"{path} is left over" for path in after if hidden(path) and path.endswith((".part", ".old"))]
    bench.seen[f"{name}: {what}: exit {code}{', Python was still beginning' if early(said) else ''}"] += 1
    if faults:
        bench.wrong += 1
        print(f"{name}: {what}: exit {code}: {faults}\n{said}", flush=True)


def states(bench: Bench, path: str) -> set[str | None]:
    return {bench.good[turn].get(path) for turn in TURNS}


def early(said: str) -> bool:
    """Whether Python itself was told to end, before a line of ours was read."""
    return "Traceback" in said and "render/" not in said and "fourlimb:" not in said


def unfit(code: int, said: str) -> list[str]:
    if early(said):
        return []
    allowed = {0: "", 130: SAID, -9: "", -2: SAID, -15: "", 137: ""}
    if code == 2:
        return [] if said.startswith("fourlimb: ") and said.count("\n") == 1 else ["it says more than a line"]
    if code not in allowed:
        return [f"the exit code is {code}"]
    return [] if said in ("", allowed[code]) else ["it says something else"]


# --- all of it ------------------------------------------------------------------------------------


def prepare(bench: Bench, command: Command) -> None:
    """Write what is made of, and learn what is right and how long it takes."""
    for turn, choruses, line, tempo in (("a", 4, "4 8 8 4 4", 96), ("b", 5, "8 4 4 4 8", 92)):
        place = bench.folder / turn
        place.mkdir()
        (place / "x.toml").write_text(LESSON.format(choruses=choruses, line=line))
        (place / "autumn.toml").write_text(TERM.format(tempo=tempo))
    if command.words[0] == "check":
        write_takes(bench)
    bench.out.mkdir()
    bench.cache.mkdir(exist_ok=True)
    bench.disks = mount(bench.out) and mount(bench.cache)
    bench.in_peace(command, "b")  # the cache is full, unless it is to be cold
    for turn in ("b", "a"):
        empty(bench.out)
        if command.cold:
            empty(bench.cache)
        began = time.monotonic()
        bench.in_peace(command, turn)
        bench.seconds = time.monotonic() - began
        bench.good[turn], bench.bytes[turn] = bench.found(), used(bench.cache if command.cold else bench.out)


def empty(folder: Path) -> None:
    for path in folder.iterdir():
        if path.is_dir():
            shutil.rmtree(path)
        else:
            path.unlink()


def write_takes(bench: Bench) -> None:
    """Two takes of a lesson, each with other strokes missing."""
    bench.in_peace(Command(("render", "a/x.toml", "-o", "played", "--no-audio", "--no-documents")), "a")
    for turn, every in (("a", 5), ("b", 7)):
        song = mido.MidiFile(bench.folder / "played" / "x-full.mid")
        for place, message in enumerate(one for track in song.tracks for one in track):
            if message.type == "note_on" and place % every == 0:
                message.velocity = 0
        song.save(bench.folder / turn / f"{turn}.mid")


def run(name: str, counts: dict[str, int], seed: int) -> Bench:
    """All faults of one command."""
    with tempfile.TemporaryDirectory() as made:
        bench = Bench(Path(made), random.Random(f"{seed} {name}"))
        try:
            prepare(bench, COMMANDS[name])
            kinds = (
                [kill] * counts["kill"] + [fill] * counts["fill"] + [forbid] * (counts["forbid"] if bench.disks else 0)
            )
            bench.dice.shuffle(kinds)
            for number, fault in enumerate(kinds):
                trial(bench, name, TURNS[(number + 1) % 2], fault)
        finally:
            for place in (bench.out, bench.cache):
                subprocess.run(["umount", str(place)], capture_output=True)
    return bench


def main(kills: int, fulls: int, forbids: int, seed: int, names: str) -> None:
    chosen = {name: one for name, one in COMMANDS.items() if not names or name.split()[0] in names.split(",")}
    shares, wrong, trials = sum(one.share for one in chosen.values()), 0, 0
    for name, one in chosen.items():
        counts = {
            kind: round(total * one.share / shares)
            for kind, total in (("kill", kills), ("fill", fulls), ("forbid", forbids))
        }
        bench = run(name, counts, seed)
        for what, count in sorted(bench.seen.items()):
            print(f"{count:5} {what}", flush=True)
        wrong, trials = wrong + bench.wrong, trials + bench.seen.total()
    print(f"{wrong} of {trials} left something damaged or said more than a line")


if __name__ == "__main__":
    signal.signal(
        signal.SIGINT, signal.default_int_handler
    )  # or a run in the background, deaf to it, has deaf commands
    said = sys.argv[1:] or ["24", "12", "6", "1"]
    main(*map(int, said[:4]), "".join(said[4:]))
