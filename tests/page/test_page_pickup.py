"""The pickup on the lesson page: drawn before bar 1, and played where MIDI and sound files play it, in a real browser."""

import numpy as np
import pytest
from music import lesson_of
from page_browser import RATE, data_of, html_of, kit_and_balance, opened, until

from grooves.passages import Alternation, Fade, Ladder, Track, track_passages
from grooves.performance import perform
from render.page.readers import moved_to
from render.sound.balance import velocities

HUMAN = "timing_ms = 6\nlevel_lu = 1\nseed = 7"
ROOMY = "4 8 8 4 4 | 8 4 4 8 4 | 12 12 12 4 4 4r | 4 8 8 4 4r"
PICKUP = 'pickup = "4r 8 8"'
BAND = '[band]\nform = "minor-blues"\npiano = "line"\nhorns = "line"\n'
GIVEN = """([own, seconds]) => new Player(lesson, { ...firstSettings(lesson), ...own }).pump(seconds).map((one) => (
    { seconds: one.seconds, part: one.voice.part, key: one.key, level: one.level, velocity: one.velocity }))"""


@pytest.fixture(scope="module")
def kit():
    return kit_and_balance()


@pytest.fixture(scope="module")
def shown(chrome, kit, tmp_path_factory):
    lesson = lesson_of(ROOMY, line=PICKUP, feel=HUMAN, top="choruses = 6", tracks=BAND)
    with opened(chrome, html_of(lesson, *kit), tmp_path_factory.mktemp("page")) as page:
        yield lesson, page
        assert page.errors == []


def given(page, own, seconds):
    found = page.page.evaluate(GIVEN, [own, seconds])
    return sorted(found, key=lambda one: (one["seconds"], one["part"], one["key"]))


def expected(lesson, kit, track, seconds):
    passages = track_passages(track, lesson.score, lesson.choruses, lesson.count_in)
    performance = perform(lesson.score, passages, lesson.feel, lesson.balance_lu)
    sounds = [*performance.hits, *performance.notes]
    pairs = zip(sounds, velocities(performance, kit[1]), strict=True)
    found = [(one, velocity) for one, velocity in pairs if one.onset_seconds < seconds]
    return sorted(found, key=lambda pair: (pair[0].onset_seconds, pair[0].part, pair[0].key))


def assert_same(found, wanted):
    assert [(one["part"], one["key"]) for one in found] == [(one.part, one.key) for one, _ in wanted]
    times = np.array([one["seconds"] for one in found]) - np.array([one.onset_seconds for one, _ in wanted])
    assert np.abs(times).max() < 0.5 / RATE
    levels = np.array([one["level"] for one in found]) - np.array([one.level_lu for one, _ in wanted])
    assert np.abs(levels).max() < 1e-4
    assert [one["velocity"] for one in found] == [velocity for _, velocity in wanted]


CASES = {
    "counted in": ({}, Track("x")),
    "slow": ({"tempo": 71}, Track("x", tempo_bpm=71)),
    "line off": ({"limbs": {"line": "off"}}, Track("x", without=frozenset({"line"}))),
    "alone": ({"alone": True}, Track("x", groove_alone=True)),
    "loop of the first bars": ({"loop": [0, 1, 2]}, Track("x", bars=(0, 1, 2), times=8)),
    "loop of others": ({"loop": [1, 2]}, Track("x", bars=(1, 2), times=8)),
    "trade": ({"trade": {"first": 4, "second": 4}}, Track("x", trade=Alternation(4, 4))),
    "fade": ({"fade": {"times": 6, "to": -30, "names": ["line"]}}, Track("x", fade=Fade(6, -30))),
    "rise": ({"rise": {"every": 1, "by": 20, "to": 160}, "tempo": 100}, Track("x", ladder=Ladder(100, 160, 20))),
}


@pytest.mark.parametrize("case", CASES)
def test_the_page_plays_the_pickup_where_the_performance_does(shown, kit, case):
    lesson, page = shown
    own, track = CASES[case]
    wanted = expected(lesson, kit, track, 24)
    found = given(page, own, 24)
    if "loop" in own:  # by hand each bar has notes of its own
        wanted = [pair for pair in wanted if not hasattr(pair[0], "program")]
        found = [one for one in found if one["part"] not in ("bass", "piano", "horns")]
    assert_same(found, wanted)


def test_without_a_count_in_a_bar_of_the_groove_comes_first_with_the_band_s_last_chords(chrome, kit, tmp_path):
    lesson = lesson_of(ROOMY, line=PICKUP, feel=HUMAN, top="choruses = 2\ncount_in = 0", tracks=BAND)
    with opened(chrome, html_of(lesson, *kit), tmp_path) as page:
        wanted = expected(lesson, kit, Track("x"), 16)
        assert_same(given(page, {}, 16), wanted)
        before = [one for one, _ in wanted if one.onset_seconds < 2 - 0.05]
        assert {one.part for one in before} >= {"ride", "snare", "bass", "piano", "horns"}
        assert page.errors == []


def test_the_line_on_another_drum_and_choruses_read_in_turn_have_their_own_pickup(chrome, kit, tmp_path):
    turns = 'played_on = { each_chorus = ["snare", "bass drum"] }'
    lesson = lesson_of("4 8 8 4 4 | 2 4 4r", line=f"{PICKUP}\n{turns}", feel=HUMAN, top="choruses = 6")
    with opened(chrome, html_of(lesson, *kit), tmp_path) as page:
        assert_same(given(page, {}, 20), expected(lesson, kit, Track("x"), 20))
        assert page.errors == []
    lesson = lesson_of("4 8 8 4 4 | 2 4 4r", line=PICKUP, feel=HUMAN, top="choruses = 6")
    with opened(chrome, html_of(lesson, *kit), tmp_path) as page:
        number = page.page.evaluate("[...ui.line.options].findIndex((one) => one.textContent === 'hi-hat')")
        page.page.evaluate("(number) => moveLine(lesson, number)", number)
        assert_same(given(page, {}, 20), expected(moved_to(lesson, "hi-hat"), kit, Track("x"), 20))
        assert page.errors == []


def test_the_pickup_is_drawn_before_bar_1_in_its_place_of_the_bar_and_stays_in_sight_until_bar_1(shown):
    _, page = shown
    sheet = page.page
    sheet.reload()
    sheet.wait_for_selector("body.ready")
    box = sheet.locator(".pickup").bounding_box()
    first = sheet.locator(".bar").first.bounding_box()
    assert box["y"] + box["height"] <= first["y"] + 2
    assert sheet.locator(".pickup .signs .note").count() == 2
    assert sheet.locator(".pickup .grid .head").count() == 2
    sheet.evaluate("controls.steps.take(3)")
    sheet.click("#play")
    seen = """() => new Promise((done) => { const found = []; const look = () => {
        const [cell] = transport.player.cells;
        found.push([cell.score ? cell.position : -1, document.querySelector(".pickup").getClientRects().length > 0]);
        if (transport.now() > 5.5) done(found); else setTimeout(look, 100); }; look(); })"""
    places = sheet.evaluate(seen)
    assert any(shown for place, shown in places if place == -1) and not any(
        shown for place, shown in places if place == 0
    )
    sheet.click("#play")


def test_without_a_count_in_the_cursor_runs_through_the_pickup_first(shown):
    _, page = shown
    sheet = page.page
    sheet.evaluate("controls.steps.take(3)")
    sheet.evaluate("settings.countIn = 0")
    sheet.click("#play")
    until(page, "document.querySelector('.pickup.now .cursor') && ui.where.textContent === 'Pickup'")
    until(page, "document.querySelector('.bar.now') && !document.querySelector('.pickup.now')")
    assert sheet.evaluate("ui.where.textContent").startswith("Bar 1")
    sheet.click("#play")


def test_a_lesson_without_a_pickup_carries_nothing_of_it(kit):
    html = html_of(lesson_of(ROOMY), *kit)
    assert "pickup" not in data_of(html) and "pickupCard" not in html and 'class="pickup' not in html
