"""Kill the desk, or fill its disk, while it saves, keeps and makes; look at every file that is left, and open it anew.

`python tests/bench/desk_faults.py 40 15 1` is forty kills and fifteen full disks, with the seed 1. A lesson is the old
text or the new one, whole; a page is absent or right; the next desk opens, saves and makes the right page byte for byte.
"""

import os
import random
import shutil
import signal
import subprocess
import sys
import tempfile
import threading
import time
from collections import Counter
from pathlib import Path

import httpx
from faults import LESSON, ROOT, mount, size_disk, used

TEXTS = [LESSON.format(choruses=choruses, line="4 8 8 4 4") + "#" * 9000 for choruses in (3, 4)]
NAME = "x.toml"


class Opened:
    """A desk over a folder, and a browser's way of asking it."""

    def __init__(self, folder: Path) -> None:
        self.process = subprocess.Popen(
            [sys.executable, "-m", "render", "desk", str(folder), "--no-browser"], cwd=ROOT, text=True,
            stdout=subprocess.PIPE, stderr=subprocess.PIPE,
        )  # fmt: skip
        told = iter(self.process.stdout.readline, "")
        address = next((row.strip() for row in told if row.startswith("http")), "")
        assert address, self.process.stderr.read()
        base = address.partition("/open/")[0]
        self.client = httpx.Client(base_url=base, headers={"origin": base}, timeout=60)
        self.client.get(address)

    def ask(self, what: str, /, **body: object) -> dict:
        return self.client.post(f"/do/{what}", json=body).json()

    def work(self) -> None:
        """Save the two texts in turn, keep unsaved work, make pages, until nobody answers any more."""
        try:
            for turn in range(10**6):
                opened, text = self.ask("open", name=NAME), TEXTS[turn % 2]
                self.ask("keep", name=NAME, text=text, base=opened.get("base", ""))
                self.ask("save", name=NAME, text=text, base=opened.get("base", ""))
                if turn % 5 == 0:
                    self.ask("make", name=NAME, what="page")
        except (httpx.HTTPError, ValueError):
            return

    def end(self, told: signal.Signals) -> tuple[int, str]:
        self.process.send_signal(told)
        said = self.process.communicate(timeout=60)[1]
        return self.process.returncode, said

    def page(self, text: str) -> bytes:
        """Save a text and make its page."""
        assert "base" in self.ask("save", name=NAME, text=text, base=self.ask("open", name=NAME)["base"])
        made = self.folder_page()
        made.unlink(missing_ok=True)
        number = self.ask("make", name=NAME, what="page")["number"]
        while not self.ask("making", number=number)["done"]:
            time.sleep(0.05)
        return made.read_bytes()

    def folder_page(self) -> Path:
        folder = Path(self.process.args[4])
        return next(iter(folder.rglob("*.html")), folder / "x.html")


def pages_of(folder: Path) -> list[bytes]:
    found = []
    for text in TEXTS:
        (folder / NAME).write_text(text)
        opened = Opened(folder)
        opened.page(text)
        found.append(opened.folder_page().read_bytes())
        opened.end(signal.SIGTERM)
    return found


def trial(folder: Path, right: list[bytes], dice: random.Random, full: bool) -> tuple[str, list[str]]:
    opened = Opened(folder)
    if full:
        size_disk(folder, used(folder) + dice.randint(0, 60) * 1024)
    worker = threading.Thread(target=opened.work)
    worker.start()
    time.sleep(dice.uniform(0.05, 2.5))
    told = signal.SIGTERM if full else dice.choice((signal.SIGKILL, signal.SIGINT, signal.SIGTERM))
    code, said = opened.end(told)
    worker.join()
    if full:
        size_disk(folder, 1 << 28)
    faults = [] if (folder / NAME).read_text() in TEXTS else ["the lesson is neither"]
    faults += [f"{path.name} is not whole" for path in folder.rglob("*.html") if path.read_bytes() not in right]
    faults += ["a traceback is shown"] * ("Traceback" in said)
    anew = Opened(folder)
    turn = dice.randrange(2)
    faults += ["the next page is another"] * (anew.page(TEXTS[turn]) != right[turn])
    anew.end(signal.SIGTERM)
    faults += [f"{path.name} is left over" for path in folder.rglob("*.part")]
    return f"{'full, then ' if full else ''}{told.name}: exit {code}", faults


def main(kills: int, fulls: int, seed: int) -> None:
    dice, seen, wrong = random.Random(seed), Counter[str](), 0
    with tempfile.TemporaryDirectory() as made:
        os.environ |= {"PYTHONPATH": str(ROOT), "FOURLIMB_CACHE": f"{made}/cache"}
        folder = Path(made) / "lessons"
        folder.mkdir()
        disk = mount(folder, "-o", "size=256m")
        try:
            right = pages_of(folder)
            for full in [False] * kills + [True] * (fulls if disk else 0):
                what, faults = trial(folder, right, dice, full)
                seen[what] += 1
                wrong += bool(faults)
                if faults:
                    print(what, faults, flush=True)
        finally:
            subprocess.run(["umount", str(folder)], capture_output=True)
            shutil.rmtree(folder, ignore_errors=True)
    for what, count in sorted(seen.items()):
        print(f"{count:5} {what}")
    print(f"{wrong} of {seen.total()} left something damaged")


if __name__ == "__main__":
    main(*(int(word) for word in sys.argv[1:] or ["6", "3", "1"]))
