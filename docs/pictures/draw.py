"""Draw the pictures of the README from what the program makes: `make pictures`.

The chart's first page is the program's own PNG; the lesson page and the take are looked at in Chromium, as people do.
"""

import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from PIL import Image
from playwright.sync_api import Browser

ROOT = Path(__file__).parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests")]

from page_browser import chromium  # noqa: E402

from render.command.cli import main as fourlimb  # noqa: E402
from render.lesson.made_up_take import write_made_up_take  # noqa: E402

LESSON = ROOT / "examples" / "upbeats.toml"
PICTURES = ("chart.png", "page.png", "take.png")
PHONE = {"width": 390, "height": 844}
PAPER = {"width": 820, "height": 1160}
WIDE, A4 = 820, 297 / 210  # pixels, on paper; height by width
SHADES = 16


def draw(folder: Path) -> None:
    """Draw all pictures into a folder: `draw(Path("docs/pictures"))`."""
    with tempfile.TemporaryDirectory() as made, chromium() as browser:
        _chart(Path(made), folder / "chart.png")
        _page(browser, Path(made), folder / "page.png")
        _take(browser, Path(made), folder / "take.png")


def _chart(made: Path, target: Path) -> None:
    _run("chart", LESSON, "-o", made / "chart.png")
    with Image.open(made / "chart.png") as pages:  # one below the other
        first = pages.convert("L").crop((0, 0, pages.width, round(pages.width * A4)))
    _keep(first.resize((WIDE, round(WIDE * A4)), Image.Resampling.LANCZOS), target)


def _page(browser: Browser, made: Path, target: Path) -> None:
    """The page on a phone held upright, in the second bar of the line."""
    _run("page", LESSON, "-o", made / "page.html")
    with _looking(browser, made / "page.html", PHONE, 2) as page:
        page.wait_for_selector("body.ready")
        page.click("#play")
        for _ in range(600):
            if "bar 2" in page.inner_text("#where").lower():
                break
            page.wait_for_timeout(25)
        page.screenshot(path=made / "page.png")
    with Image.open(made / "page.png") as picture:
        _keep(
            picture.convert("L").resize((PHONE["width"] * 3 // 2, PHONE["height"] * 3 // 2), Image.Resampling.LANCZOS),
            target,
        )


def _take(browser: Browser, made: Path, target: Path) -> None:
    take = write_made_up_take(LESSON, made).path
    _run("check", LESSON, take, "-o", made / "take")
    drawn = min((made / "take").glob("*-check*.svg"))
    with _looking(browser, drawn, PAPER, 1) as page:
        page.screenshot(path=made / "take.png")
    with Image.open(made / "take.png") as picture:
        _keep(picture.convert("L"), target)


@contextmanager
def _looking(browser: Browser, path: Path, size: dict[str, int], scale: int) -> Iterator[Any]:
    context = browser.new_context(viewport=size, device_scale_factor=scale)
    page = context.new_page()
    page.goto(path.as_uri())
    yield page
    context.close()


def _run(*words: object) -> None:
    assert fourlimb([str(word) for word in words]) == 0, words


def _keep(picture: Image.Image, target: Path) -> None:
    """A small file: paper and ink need few shades of grey."""
    picture.quantize(SHADES).save(target, optimize=True)


if __name__ == "__main__":
    draw(Path(__file__).parent)
