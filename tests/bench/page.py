"""Print size, writing time, opening time, frames and changes of a page of 64 bars: `python tests/bench/page.py`.

Opened and played on a processor four times slower than this one.
"""

import sys
from pathlib import Path
from tempfile import TemporaryDirectory
from time import perf_counter

sys.path.insert(0, str(Path(__file__).parents[1]))

from music import lesson_of
from page_browser import chromium, html_of, kit_and_balance, opened

LINE = "4 8 8 4 4 | 8 4 4 [8 4] | 12 12 12 4 8r 8 4 | 16 16 16 16 8 8 4 4"
OPENINGS, SLOW, SECONDS = 5, 4, 8
WATCH = """(seconds) => new Promise((resolve) => {
    let frames = 0, nodes = new Set();
    const perSecond = [];
    const watch = new MutationObserver((all) => all.forEach(({ target }) => nodes.add(target)));
    watch.observe(document.body, { subtree: true, attributes: true, childList: true, characterData: true });
    const count = () => { frames += 1; requestAnimationFrame(count); };
    requestAnimationFrame(count);
    const timer = setInterval(() => { perSecond.push(nodes.size); nodes = new Set(); }, 1000);
    setTimeout(() => { clearInterval(timer); resolve([frames / seconds, perSecond]); }, seconds * 1000 + 100);
})"""


def main() -> None:
    """Write the page, open it a few times, from navigation to the play button being ready, and play it."""
    kit, balance = kit_and_balance()
    lesson = lesson_of(" | ".join([LINE] * 16), feel="timing_ms = 6")
    html_of(lesson, kit, balance)
    start = perf_counter()
    html = html_of(lesson, kit, balance)
    print(f"64 bars: {len(html.encode()) / 1000:.0f} kB, written in {perf_counter() - start:.2f} s")
    with TemporaryDirectory() as folder, chromium() as browser:
        times = {1: [], SLOW: []}
        for slow in times:
            for _ in range(OPENINGS):
                with opened(browser, "<title>empty</title>", Path(folder), ready=False) as found:
                    path = Path(folder) / "lesson.html"
                    path.write_text(html, encoding="utf-8")
                    session = found.page.context.new_cdp_session(found.page)
                    session.send("Emulation.setCPUThrottlingRate", {"rate": slow})
                    found.page.reload()
                    found.page.wait_for_selector("body.ready")
                    times[slow].append(float(found.page.get_attribute("body", "data-ready")))
            middle = sorted(times[slow])[OPENINGS // 2]
            print(f"ready to play {middle:.0f} ms after it is opened, on a processor {slow} times slower")
        with opened(browser, html, Path(folder), viewport={"width": 844, "height": 390}) as found:
            session = found.page.context.new_cdp_session(found.page)
            session.send("Emulation.setCPUThrottlingRate", {"rate": SLOW})
            found.page.evaluate("Object.assign(settings, { countIn: 0 }) && controls.steps.take(2)")
            found.page.click("#play")
            found.page.wait_for_selector(".now", state="attached")
            frames, nodes = found.page.evaluate(WATCH, SECONDS)
            print(
                f"{frames:.0f} frames a second, {sum(nodes) / len(nodes):.0f} nodes changed a second (at most {max(nodes)})"
            )


if __name__ == "__main__":
    main()
