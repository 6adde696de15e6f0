"""Print size, writing time and opening time of a page of 32 bars: `python tests/bench/page.py`."""

import sys
from pathlib import Path
from tempfile import TemporaryDirectory
from time import perf_counter

sys.path.insert(0, str(Path(__file__).parents[1]))

from music import lesson_of
from page_browser import chromium, html_of, kit_and_balance, opened

LINE = "4 8 8 4 4 | 8 4 4 [8 4] | 12 12 12 4 8r 8 4 | 16 16 16 16 8 8 4 4"
OPENINGS = 5


def main() -> None:
    """Write the page, then open it a few times: from navigation to the play button being ready."""
    kit, balance = kit_and_balance()
    lesson = lesson_of(" | ".join([LINE] * 8), feel="timing_ms = 6")
    html_of(lesson, kit, balance)
    start = perf_counter()
    html = html_of(lesson, kit, balance)
    print(f"32 bars: {len(html.encode()) / 1000:.0f} kB, written in {perf_counter() - start:.2f} s")
    with TemporaryDirectory() as folder, chromium() as browser:
        times = []
        for _ in range(OPENINGS):
            with opened(browser, html, Path(folder)) as found:
                times.append(float(found.page.get_attribute("body", "data-ready")))
        print(f"ready to play {sorted(times)[OPENINGS // 2]:.0f} ms after it is opened")


if __name__ == "__main__":
    main()
