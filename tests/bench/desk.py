"""How soon chart and page follow a change at the desk, in a real browser: the median of many touches.

`python tests/bench/desk.py [touches]` prints milliseconds from the touch to the painted chart, where that is in sight,
and to the student's page, where that is, and what one processor is busy with each. The aim is a median of 150 ms on a machine that does nothing else.
"""

import os
import statistics
import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))
sys.path.insert(0, str(Path(__file__).parents[2]))

from desk_lessons import LESSON
from desk_server import served
from page_browser import chromium

from render.desk.edits import edited
from render.desk.preview import chart_svg, page_pieces

TOUCHES = int(sys.argv[1]) if len(sys.argv) > 1 else 40


def median(values):
    return f"{statistics.median(values):5.0f} ms (of {len(values)}: {min(values):.0f} to {max(values):.0f})"


def busy(act, times=10):
    """Milliseconds of processor time, the least of some."""
    found = []
    for _ in range(times):
        before = time.process_time()
        act()
        found.append((time.process_time() - before) * 1000)
    return f"{min(found):5.0f} ms"


def followed(page, what, touch):
    """Touch, and how long it took until the touch was seen."""
    count = page.evaluate(f"Number(document.body.dataset.{what}s || 0)")
    touch()
    while page.evaluate(f"Number(document.body.dataset.{what}s || 0)") == count:
        page.wait_for_timeout(5)
    return float(page.evaluate(f"document.body.dataset.{what}"))


def touched(page, what, number):
    """What is in sight follows a touch; then all comes to rest."""
    place = f".one-bar:nth-child({number % 4 + 1}) .one-place[data-tick='{48 + 96 * (number % 3)}']"
    took = followed(page, what, lambda: page.click(place))
    page.wait_for_timeout(500)
    return took


def main():
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        (folder / "first.toml").write_text(LESSON)
        with served(folder) as desk, chromium() as browser:
            page = browser.new_page(viewport={"width": 1440, "height": 900})
            page.goto(desk.own.address)
            page.click(".card h2 a")
            page.wait_for_selector("body.ready #bars .one-place")
            page.wait_for_timeout(3000)
            charts = [touched(page, "chart", number) for number in range(TOUCHES)]
            page.click("#see-page")
            pages = [touched(page, "page", number) for number in range(TOUCHES)]
    path = Path("lesson.toml")
    print(f"load average {os.getloadavg()[0]:.1f} on {os.cpu_count()} processors")
    print(f"chart seen after {median(charts)}")
    print(f"page seen after  {median(pages)}")
    print(f"busy: edit {busy(lambda: edited(LESSON, path, {'kind': 'touch', 'bar': 0, 'tick': 48}))}", end="")
    print(f", chart {busy(lambda: chart_svg(LESSON, path))}, page {busy(lambda: page_pieces(LESSON, path))}")


if __name__ == "__main__":
    main()
