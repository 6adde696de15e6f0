"""Print what a minute on a slow and busy machine does to the beat: `python tests/bench/page_time.py [seconds]`."""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))
sys.path.insert(0, str(Path(__file__).parents[1] / "page"))

from music import lesson_of
from page_browser import chromium, html_of, kit_and_balance
from page_recording import recording
from test_page_time import LINE, TEMPO, compare

SLOW, STALL_MS = 6, 400


def main() -> None:
    """Play on a processor six times slower that is held up for 400 ms every two seconds; compare what is recorded."""
    seconds = int(sys.argv[1]) if len(sys.argv) > 1 else 60
    kit = kit_and_balance()
    lesson = lesson_of(LINE, tempo=TEMPO, feel="timing_ms = 6\nlevel_lu = 1\nseed = 7")
    with chromium() as browser, recording(browser, html_of(lesson, *kit), SLOW, STALL_MS) as found:
        found.page.evaluate("Object.assign(settings, { alone: false, limbs: {}, countIn: 0 }) && controls.toggle()")
        found.page.wait_for_timeout(1000 * seconds + 2000)
        kept, dropped = compare(lesson, kit, found, seconds)
    print(f"{seconds} s: {kept} strokes on their samples, {dropped} left out and counted")


if __name__ == "__main__":
    main()
