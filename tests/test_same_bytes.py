"""The files of the examples and of thirty lessons made here stay as they are, byte for byte.

`python tests/test_same_bytes.py` writes the hashes anew.
"""

import hashlib
import json
import random
import subprocess
import sys
import tempfile
from pathlib import Path

import pytest

HERE = Path(__file__).parent
KNOWN = HERE / "same_bytes.json"
EXAMPLES = sorted((HERE.parent / "examples").glob("*.toml"))
GROOVES = {
    "4/4": [
        "swing",
        "fast-swing",
        "two-feel",
        "shuffle",
        "bossa-nova",
        "jazz-samba",
        "second-line",
        "straight-eighths",
    ],
    "3/4": ["jazz-waltz"],
    "5/4": ["five-four-swing"],
    "6/8": ["six-eight"],
    "12/8": ["twelve-eight"],
}
READERS = [
    '"snare"',
    '"bass drum"',
    '"hi-hat"',
    '{ long = "bass drum", short = "snare" }',
    '{ hands = "alternate" }',
    '{ notes = "bass drum", gaps = "snare" }',
    '{ each_chorus = ["snare", "bass drum"] }',
]
TRACKS = [
    'without = ["snare"]\ntimes = 2',
    'ladder = { from = "60%", to = "90%", step = 10, times_each = 1 }',
    "fade = { times = 3, to = -20 }",
    'bars = "1"\ntempo = "70%"\ntimes = 3\nclick = "2 and 4"',
]
BARS = {
    "4/4": [
        "4 4 8 8 4",
        "8 4 4 8 4r",
        "4. 8 2",
        "12 12 12 4 8 8 4",
        "4r 4 8 [8 4]",
        "8 16 16 4 4r 8 8",
        "2r 4 4",
        "[4 4] 8. 16 4",
    ],
    "3/4": ["4 8 8 4", "4. 8 4", "2r 4", "8 8 8 8 4"],
    "5/4": ["4 8 8 4 4 4", "2 4 4. 8", "4 4r 4 8 8 4"],
    "6/8": ["4. 4 8", "8 8 8 4.", "4 8 4r 8"],
    "12/8": ["4. 4 8 8 8 8 4.", "4 8 4 8 4. 4.r", "4. 4. 8 8 8 4 8"],
}


def lessons(folder: Path) -> list[Path]:
    dice = random.Random(20261127)
    made = []
    for number in range(30):
        meter = dice.choice(["4/4", "4/4", "4/4", *GROOVES])
        bars = [dice.choice(BARS[meter]) for _ in range(dice.choice((1, 2, 4)))]
        text = f'title = "Harbour Street {number}"\ntempo = {dice.choice((60, 96, 120, 180, 240))}\n'
        text += f'groove = "{dice.choice(GROOVES[meter])}"\nchoruses = {dice.choice((1, 2))}\ncount_in = {dice.choice((0, 1, 2))}\n'
        text += f'[line]\nvalues = "{" | ".join(bars)}"\nplayed_on = {dice.choice(READERS)}\n'
        text += f"[feel]\ntiming_ms = {dice.choice((0, 6))}\nlevel_lu = {dice.choice((0, 1))}\nseed = {number}\n"
        text += f'[[track]]\nname = "full"\n[[track]]\nname = "own"\n{dice.choice(TRACKS)}\n'
        path = folder / f"made-{number:02}.toml"
        path.write_text(text)
        made.append(path)
    return made


def hashes(lesson: Path, folder: Path) -> dict[str, str]:
    fourlimb = [sys.executable, "-m", "render"]
    subprocess.run([*fourlimb, "render", lesson, "-o", folder], check=True, capture_output=True)
    subprocess.run([*fourlimb, "chart", lesson, "-o", folder / f"{lesson.stem}.svg"], check=True, capture_output=True)
    kinds = {".mid", ".wav", ".svg", ".musicxml"}
    files = sorted(path for path in folder.iterdir() if path.suffix in kinds and path.name.startswith(lesson.stem))
    return {path.name: hashlib.sha256(path.read_bytes()).hexdigest()[:16] for path in files}


@pytest.mark.parametrize("lesson", EXAMPLES, ids=lambda path: path.stem)
def test_an_example_keeps_its_bytes(lesson: Path, tmp_path: Path) -> None:
    assert hashes(lesson, tmp_path) == json.loads(KNOWN.read_text())[lesson.stem]


@pytest.mark.parametrize("number", range(30))
def test_a_made_lesson_keeps_its_bytes(number: int, tmp_path: Path) -> None:
    lesson = lessons(tmp_path)[number]
    assert hashes(lesson, tmp_path) == json.loads(KNOWN.read_text())[lesson.stem]


def main() -> None:
    with tempfile.TemporaryDirectory() as made:
        known = {}
        for lesson in [*EXAMPLES, *lessons(Path(made))]:
            with tempfile.TemporaryDirectory() as folder:
                known[lesson.stem] = hashes(lesson, Path(folder))
    KNOWN.write_text(json.dumps(known, indent=1) + "\n")


if __name__ == "__main__":
    main()
