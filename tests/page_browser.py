"""A real browser for the tests of the lesson page: Chromium as the system installs it, without a window."""

import base64
import json
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
from playwright.sync_api import Browser, Page, sync_playwright

from grooves.lesson import Lesson
from render.page.page import page as lesson_page
from render.sound.balance import Balance, calibrate
from render.soundfont.samples import DrumKit
from render.soundfont.soundfont import default_soundfont, open_kit

QUIET = [
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
RATE = 44100


@contextmanager
def chromium() -> Iterator[Browser]:
    """A browser for a module's tests."""
    found = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
    assert found, "the tests of the page need Chromium: apt install chromium"
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=found, args=QUIET)
        yield browser
        browser.close()


def kit_and_balance(path: Path | None = None) -> tuple[DrumKit, Balance]:
    """The default kit, or another, with its measured loudness."""
    kit = open_kit(path or default_soundfont())
    return kit, calibrate(kit)


LINE = "4 8 8 4 4 | 12 12 12 4 8r 8 4 | 16 16 16 16 8 8 4 4 | 8 8 12 12 12 4 4"


@dataclass
class Opened:
    """A page on the screen, and what it did that it should not."""

    page: Page
    errors: list[str] = field(default_factory=list)
    requests: list[str] = field(default_factory=list)

    def player_hits(self, settings: dict[str, Any], seconds: float) -> list[dict[str, Any]]:
        """What the page's player gives out before a moment, in order of time."""
        script = """([own, seconds]) => new Player(lesson, { ...firstSettings(lesson), ...own }).pump(seconds).map(
            (hit) => ({ seconds: hit.seconds, part: hit.voice.part, key: hit.key, level: hit.level, velocity: hit.velocity }))"""
        return list(self.page.evaluate(script, [settings, seconds]))

    def samples(self, settings: dict[str, Any], seconds: float) -> np.ndarray:
        """What the page sounds like, rendered offline by the browser: float32, shape (frames, 2)."""
        script = """async ([own, seconds]) => {
            const buffer = await renderOffline(lesson, { ...firstSettings(lesson), ...own }, seconds);
            return [0, 1].map((side) => {
              const bytes = new Uint8Array(buffer.getChannelData(side).buffer);
              let text = "";
              for (let at = 0; at < bytes.length; at += 32768) text += String.fromCharCode(...bytes.subarray(at, at + 32768));
              return btoa(text);
            });
        }"""
        sides = self.page.evaluate(script, [settings, seconds])
        return np.stack([np.frombuffer(base64.b64decode(side), "<f4") for side in sides], axis=1)


@contextmanager
def opened(browser: Browser, html: str, folder: Path, ready: bool = True, **context: Any) -> Iterator[Opened]:
    """A page opened from a file, as a student opens it, ready to play."""
    path = folder / "lesson.html"
    path.write_text(html, encoding="utf-8")
    screen = browser.new_context(**context)
    found = Opened(screen.new_page())
    found.page.on("pageerror", lambda error: found.errors.append(str(error)))
    found.page.on("console", lambda message: found.errors.append(message.text) if message.type == "error" else None)
    found.page.on("request", lambda request: found.requests.append(request.url))
    found.page.goto(path.as_uri())
    if ready:
        found.page.wait_for_selector("body.ready")
    yield found
    screen.close()


def html_of(lesson: Lesson, kit: DrumKit, balance: Balance) -> str:
    """The page of a lesson."""
    return lesson_page(lesson, kit, balance)


def data_of(html: str) -> dict[str, Any]:
    """The score that a page carries."""
    text = html.split('<script type="application/json" id="score">')[1].split("</script>")[0]
    return dict(json.loads(text))


def until(sheet, true):
    """Wait until an expression holds on the page; its policy forbids the browser's own way of waiting."""
    for _ in range(800):
        if sheet.page.evaluate(true):
            return
        sheet.page.wait_for_timeout(25)
    raise AssertionError(f"never came true: {true}")
