"""The student's page beside the writing: it takes changes in while it is looked at and heard, and is the page that is given."""

import re
from pathlib import Path

import numpy as np
from desk_screen import enter, of_the_page, place, until, write
from page_browser import Opened
from page_browser import opened as as_given

from render.lesson.documents import page_data
from render.lesson.load import lesson_of_text
from render.soundfont.soundfont import kit_for

EVERYTHING = """() => {
    view.forPaper();
    view.refresh();
    const inside = [...document.body.children].filter((one) => one.localName !== "script");
    const { hits, ...rest } = JSON.parse(document.querySelector("#sounds").textContent);
    const named = hits.map(({ flac, ...hit }) => hit);
    return [document.title, document.body.className, inside.map((one) => one.outerHTML), JSON.stringify(lesson, (key, value) => (key === "hits" ? null : value)),
        JSON.stringify(settings), document.querySelector("#score").textContent, JSON.stringify([rest, named])];
}"""


def shown(page):
    return page.query_selector("#page iframe:not(.next, .old)").content_frame()


def counted(page):
    return page.evaluate("Number(document.body.dataset.pages || 0)")


def changed(page, change):
    """The page that is looked at, once it has taken a change in and can be played."""
    before = counted(page)
    change()
    until(page, lambda: counted(page) > before and of_the_page(page, "document.body.classList.contains('ready')"))
    until(page, "document.querySelectorAll('#page iframe.next').length === 1")
    until(page, lambda: of_the_page(page, "Object.keys(untouched).length > 0"))
    return shown(page)


def looked_at(page):
    """A lesson opened, and its page looked at."""
    write(page)
    page.click("#see-page")
    until(page, lambda: counted(page))
    return changed(page, lambda: page.click(place(1, 48)))


def given(text):
    lesson = lesson_of_text(text, Path("lesson.toml")).lesson
    with kit_for(Path("lesson.toml"), lesson, None, 44100, True) as kit:
        return page_data(lesson, kit).decode()


def test_a_page_that_took_a_change_in_is_the_page_that_is_given_away(chrome, desk, page, tmp_path):
    """Element by element, number by number, sample by sample; also where a change brings other scripts and sounds in."""
    frame = looked_at(page)
    for change in (lambda: page.click(place(2, 144)), lambda: page.select_option("#form", "blues")):
        frame = changed(page, change)
        html = given(page.input_value("#text"))
        with as_given(chrome, html, tmp_path, viewport={"width": 1440, "height": 900}) as fresh:
            assert frame.evaluate(EVERYTHING) == fresh.page.evaluate(EVERYTHING)
            heard = [Opened(one).samples({"countIn": 1}, 3.6) for one in (frame, fresh.page)]
            assert np.abs(heard[0]).max() > 0.1
            assert np.abs(heard[0] - heard[1]).max() < 1e-5  # a browser adds voices up in no fixed order
        sources = frame.evaluate("[...document.scripts].filter((one) => one.src).map((one) => one.src)")
        own = [desk.client.get(one).text for one in sources if "shown.js" not in one]
        assert "\n".join(own) == re.findall(r"<script>(.*?)</script>", html, re.DOTALL)[0]
        style = desk.client.get(frame.get_attribute("link[rel=stylesheet]", "href")).text
        assert style == re.findall(r"<style>(.*?)</style>", html, re.DOTALL)[0]


def test_what_stays_the_same_is_fetched_once(desk, page, monkeypatch):
    asked, get = [], desk.desk.pieces.get
    monkeypatch.setattr(desk.desk.pieces, "get", lambda name: asked.append(name.rpartition(".")[2]) or get(name))
    looked_at(page)
    assert asked.count("flac") > 3 and asked.count("js") == 2
    changed(page, lambda: page.click(place(2, 144)))
    assert sorted(asked) == sorted(["html", "css", "js", "js", *["flac"] * asked.count("flac")])


BARLINES = """() => transport.player.cells.filter((cell) => cell.from === 0 && cell.score).map(({ seconds, position }) =>
    [performance.timeOrigin + performance.now() + (seconds - transport.now()) * 1000, position])"""


def test_a_change_while_it_plays_is_heard_from_the_next_bar_on(page):
    """The bar before is played to its end, and nothing is counted in anew. What a teacher expects: ours, no source."""
    looked_at(page)
    changed(page, lambda: enter(page, "#tempo", "400"))
    page.click("#hear")
    until(page, lambda: of_the_page(page, "view.current && transport.player.cells[0].position === 1"))
    frame = changed(page, lambda: page.click(place(1, 144)))
    until(page, lambda: frame.evaluate("transport.playing && transport.strokes.length > 2"))
    leaving = page.query_selector("#page iframe.old")
    old = leaving.content_frame()
    before, (first, *_) = old.evaluate(BARLINES), frame.evaluate(BARLINES)
    near = min(before, key=lambda one: abs(one[0] - first[0]))
    assert abs(near[0] - first[0]) < 40  # milliseconds, of a bar of 600
    assert near[1] == first[1]
    assert old.evaluate(
        "transport.ticker.worker === null && [...transport.sound.voices].every(({ seconds }) => seconds < transport.player.cells.at(-1).seconds)"
    )
    strokes = frame.evaluate("transport.strokes.map(({ voice, cell }) => [voice.part, cell.position])")
    assert "count-in" not in [part for part, _ in strokes] and frame.evaluate("transport.dropped") == 0
    assert page.inner_text("#hear-word") == "Stop"
    for _ in range(2):  # bars that are no more
        frame = changed(page, lambda: page.click("[data-bar='remove bar']"))
        until(page, lambda frame=frame: frame.evaluate("transport.playing && transport.strokes.length > 2"))
        assert frame.evaluate("transport.strokes.every(({ cell }) => cell.position < lesson.chorus)")
    until(page, lambda: not leaving.evaluate("(one) => one.isConnected"))  # once nothing of it rings
    page.click("#hear")
    until(page, "document.querySelector('#hear-word').textContent === 'Hear it'")
    assert page.locator("#page iframe.old").count() == 0


def test_a_change_while_it_is_counted_in_waits_for_the_first_bar_and_stop_stops_at_once(page):
    looked_at(page)
    page.click("#hear")
    until(page, lambda: of_the_page(page, "transport.strokes.length > 0"))
    frame = changed(page, lambda: page.click(place(1, 144)))
    until(page, lambda: frame.evaluate("transport.playing"))
    assert frame.evaluate("transport.now() < 0 && transport.player.countIn === 0")
    assert page.inner_text("#hear-word") == "Stop"
    assert page.locator("#page iframe.old").count() == 1
    page.click("#hear")
    until(page, "document.querySelector('#hear-word').textContent === 'Hear it'")
    assert page.locator("#page iframe.old").count() == 0


def test_what_was_set_on_the_page_stays_and_nothing_of_it_is_kept_on_this_computer(page):
    frame = looked_at(page)
    frame.evaluate(
        "() => { controls.bars.choose({ from: 1, to: 2, loop: true }); controls.tempo.set(66); ui.mirror.click(); }"
    )
    for number in range(2):  # also what was set before the last change but one
        frame = changed(page, lambda number=number: page.click(place(3, 48 + 96 * number)))
        assert frame.evaluate("[settings.loop, settings.tempo, controls.mirrored]") == [[1, 2], 66, True]
    frame = changed(page, lambda: enter(page, "#tempo", "150"))
    assert frame.evaluate("[settings.loop, settings.tempo]") == [[1, 2], 150]
    frame.evaluate(
        "() => { controls.bars.choose({ from: null, to: null, loop: false }); controls.diary.tick([0], true); }"
    )
    frame = changed(page, lambda: page.click(place(3, 48)))
    assert frame.evaluate("[settings.loop, settings.tempo]") == [[], 150]
    until(page, "Object.keys(localStorage).length === 0")
    page.click("#back a")
    page.wait_for_selector(".card")
    until(page, "Object.keys(localStorage).length === 0 && !document.querySelector('#page iframe:not(.next)')")


def test_a_page_that_cannot_be_shown_is_a_sentence_and_the_next_change_shows_it(page):
    looked_at(page)
    frames = "**/kept/*.html"
    page.route(frames, lambda route: route.fulfill(status=404, body="gone"))
    changed_before = counted(page)
    for tick in (48, 144):  # the first takes the frame that stands ready
        page.click(place(2, tick))
        page.wait_for_timeout(400)
    until(page, "!document.querySelector('#see-wrong').hidden")
    assert page.inner_text("#see-wrong") == (
        "The page cannot be shown just now; change something, or load the desk's window anew."
    )
    assert counted(page) == changed_before + 1
    page.unroute(frames)
    frame = changed(page, lambda: page.click(place(2, 240)))
    assert frame.evaluate("lesson.bars[1].strokes.flat().some(({ onset }) => onset === 2.5)")


def test_what_is_wrong_with_the_page_alone_stays_in_sight_beside_a_chart_that_is_right(page, folder):
    looked_at(page)
    (folder / "empty.sf2").write_bytes(b"RIFF")
    text = page.input_value("#text").replace("groove = ", 'soundfont = "empty.sf2"\ngroove = ', 1)
    page.click("#as-text summary")
    page.fill("#text", text.replace('"8 8 4 8 8 4 |', '"1 |'))
    page.click("#text-take")
    until(page, "document.querySelector('#chart img')?.alt.includes('bar 1: 1 (4);')")
    assert "empty.sf2" in page.inner_text("#see-wrong")
    page.click("#undo")
    until(page, "document.querySelector('#see-wrong').hidden")
