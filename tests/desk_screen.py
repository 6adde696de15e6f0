"""The desk on a screen, for the tests of it: opened as a teacher opens it, and what stands there."""

import time
from contextlib import contextmanager

from playwright.sync_api import Error

DESK = {"viewport": {"width": 1440, "height": 900}}


@contextmanager
def opened(chrome, desk, init="", **context):
    """The desk on a screen, with a script that comes before its own; what it must not do is a failure."""
    screen = chrome.new_context(**{**DESK, **context})
    page = screen.new_page()
    page.add_init_script(init)
    page.wrong = []
    page.on("pageerror", lambda error: page.wrong.append(str(error)))
    page.on("console", lambda said: page.wrong.append(said.text) if said.type in ("error", "warning") else None)
    page.on(
        "request",
        lambda asked: (
            page.wrong.append(asked.url) if not asked.url.startswith((desk.origin, "blob:", "data:")) else None
        ),
    )
    page.goto(desk.own.address)
    page.wait_for_selector("body.ready")
    yield page
    screen.close()
    refusals = "Failed to load resource: the server responded with a status of 4"  # what a browser says of each
    assert [words for words in page.wrong if not words.startswith(refusals)] == []


def write(page, name="Harbour Street, first line"):
    """Open a lesson from its card."""
    page.click(f".card h2 a:text-is('{name}')")
    page.wait_for_selector("body.ready #bars .one-place")


def place(bar, tick):
    return f".one-bar:nth-child({bar}) .one-place[data-tick='{tick}']"


def values(page):
    return [box.input_value() for box in page.locator("[id^=values-]").all()]


def enter(page, where, text):
    """Write into a field and leave it."""
    page.fill(where, text)
    page.press(where, "Tab")


def until(page, true, seconds=20):
    """Wait until something holds; the desk's policy forbids the browser's own way of waiting."""
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        if page.evaluate(true) if isinstance(true, str) else true():
            return
        page.wait_for_timeout(20)
    raise AssertionError(f"never came true: {true}")


def of_the_page(page, what):
    """What the student's page that is shown says; nothing while another takes its place."""
    try:
        return page.query_selector("#page iframe:not(.next, .old)").content_frame().evaluate(what)
    except (AttributeError, Error):
        return None


def saved(page):
    until(page, "document.querySelector('#saved').textContent === 'saved'")
