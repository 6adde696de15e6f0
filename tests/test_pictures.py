"""The README's pictures show what the program draws today, are small, and are told in words."""

import re
import sys
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

FOLDER = Path(__file__).parents[1] / "docs" / "pictures"
sys.path.append(str(FOLDER))

from draw import PICTURES, draw  # noqa: E402

MOST_BYTES = 300_000
ALIKE = 0.9  # ours: other letters of another system stay above it, another page falls below


@pytest.fixture(scope="module")
def drawn(tmp_path_factory) -> Path:
    folder = tmp_path_factory.mktemp("drawn")
    draw(folder)
    return folder


def greys(path: Path, wide: int = 60) -> np.ndarray:
    """A picture from afar: where there is ink, and how much."""
    with Image.open(path) as picture:
        small = picture.convert("L").resize((wide, round(wide * picture.height / picture.width)), Image.Resampling.BOX)
        return 255.0 - np.asarray(small, dtype=float)


@pytest.mark.parametrize("name", PICTURES)
def test_a_picture_looks_as_it_is_drawn_today(name, drawn):
    kept, now = greys(FOLDER / name), greys(drawn / name)
    assert kept.shape == now.shape
    assert np.corrcoef(kept.ravel(), now.ravel())[0, 1] > ALIKE


def test_the_pictures_are_no_stand_ins_for_each_other():
    kept = [greys(FOLDER / name).ravel() for name in PICTURES]
    shortest = min(map(len, kept))
    for number, one in enumerate(kept):
        for other in kept[number + 1 :]:
            assert np.corrcoef(one[:shortest], other[:shortest])[0, 1] < ALIKE


def test_the_pictures_are_small_and_told_in_words():
    assert sum((FOLDER / name).stat().st_size for name in PICTURES) <= MOST_BYTES
    text = (FOLDER.parents[1] / "README.md").read_text()
    shown = dict(re.findall(r'<img src="docs/pictures/(\S+?)"[^>]* alt="([^"]+)"', text))
    assert set(shown) == set(PICTURES) and all(len(words) > 60 for words in shown.values())
