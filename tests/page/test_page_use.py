"""Using the lesson page: who plays, what the view does while it plays, and a narrow screen, in a real browser."""

from itertools import pairwise

import pytest
from music import lesson_of
from page_browser import LINE, html_of, opened

SMALL_PHONE = {"viewport": {"width": 375, "height": 667}, "has_touch": True}


# --- who plays -----------------------------------------------------------------------------------


def rows(found):
    """The list of who plays, as the eye reads it: label and state."""
    return dict(
        found.page.evaluate("""() => [...document.querySelectorAll(".who .limb")].map(
            (row) => [row.getAttribute("aria-label"), row.querySelector(":checked").value])""")
    )


def heard(found):
    """The parts that sound for some bars with the page's settings as they are."""
    hits = found.player_hits(found.page.evaluate("({ ...settings, countIn: 0 })"), 16)
    return {hit["part"] for hit in hits}


def press(found, limb, state):
    found.page.locator(f".who .limb[aria-label='{limb}'] input[value={state}] + span").click()


def take(found, step):
    found.page.locator(".steps label", has_text=step).click()


def test_the_page_opens_on_the_first_step(sheet):
    assert sheet.page.locator("[name=step]:checked").input_value() == "0"
    assert sheet.page.inner_text("#step-text").startswith("Only the groove.")
    assert sheet.page.evaluate("settings.alone") is True


def test_what_a_step_silences_shows_as_off(sheet):
    on = {"Right hand": "on", "Left hand": "on", "Right foot": "on", "Left foot": "on"}
    take(sheet, "The time")
    assert rows(sheet) == on | {"Left hand": "off"}
    take(sheet, "Ride and line")
    assert rows(sheet) == on | {"Right foot": "off", "Left foot": "off"}
    take(sheet, "And the feet")
    assert rows(sheet) == on
    take(sheet, "Your turn")
    assert rows(sheet) == on | {"Left hand": "off"}


def test_in_the_time_alone_a_limb_that_goes_off_does_not_bring_the_line_in(sheet):
    take(sheet, "The time")
    press(sheet, "Left foot", "off")
    assert rows(sheet) == {"Right hand": "on", "Left hand": "off", "Right foot": "on", "Left foot": "off"}
    assert heard(sheet) == {"ride", "bass drum"}
    press(sheet, "Left hand", "on")
    assert rows(sheet)["Left hand"] == "on"
    assert heard(sheet) == {"ride", "bass drum", "snare"}


def test_where_two_limbs_read_by_turns_the_one_that_only_reads_is_off_with_the_line(chrome, kit, tmp_path):
    lesson = lesson_of(LINE, line='played_on = { each_bar = ["snare", "bass drum"] }')
    with opened(chrome, html_of(lesson, *kit), tmp_path) as found:
        silent = {"Left hand": "off", "The line": "off"}
        others = {"Right hand": "on", "Right foot": "on", "Left foot": "on"}
        assert rows(found) == silent | others
        take(found, "Your turn")
        assert rows(found) == silent | others
        press(found, "Left hand", "softer")
        assert rows(found) == others | {"Left hand": "softer", "The line": "on"}
        assert "snare" in heard(found)


@pytest.mark.parametrize(
    ("groove", "drum", "limb"), [("bossa-nova", "cross-stick", "Left hand"), ("swing", "bass drum", "Right foot")]
)
def test_a_limb_that_only_reads_while_the_line_is_read_has_one_row(chrome, kit, tmp_path, groove, drum, limb):
    with opened(chrome, html_of(lesson_of(groove=groove, line=f'played_on = "{drum}"'), *kit), tmp_path) as found:
        assert "The line" not in rows(found)
        words = found.page.locator(f".who .limb[aria-label='{limb}'] .limb-name").inner_text()
        assert words.split() == [*limb.split(), *f"{drum}, the line".split()]
        assert (rows(found)[limb], drum in heard(found)) == ("on", True), "the groove's own strokes"
        press(found, limb, "off")
        assert (rows(found)[limb], drum in heard(found)) == ("off", False)
        take(found, "Your turn")
        assert (rows(found)[limb], drum in heard(found)) == ("off", False)
        press(found, limb, "on")
        assert (rows(found)[limb], drum in heard(found)) == ("on", True)


def test_the_snare_over_a_groove_where_its_hand_plays_cross_stick_is_off_in_the_time_alone(chrome, kit, tmp_path):
    with opened(chrome, html_of(lesson_of(groove="bossa-nova", line='played_on = "snare"'), *kit), tmp_path) as found:
        assert rows(found)["Left hand"] == "on"
        assert {"cross-stick"} == heard(found) & {"cross-stick", "snare"}
        take(found, "Everyone" if found.page.locator(".steps", has_text="Everyone").count() else "And the feet")
        assert {"snare"} == heard(found) & {"cross-stick", "snare"}


# --- what the view does while it plays -----------------------------------------------------------


@pytest.fixture
def phone(chrome, html, tmp_path):
    """A lesson on a small phone, at a second a bar, playing its first bar, which the view has gone to."""
    with opened(chrome, html, tmp_path, **SMALL_PHONE) as found:
        found.page.select_option("#count-in", "0")
        found.page.fill("#tempo", "240")
        found.page.evaluate("scrollTo(0, 0)")
        found.page.wait_for_timeout(200)
        found.page.locator("#play").tap()
        wait_for_bar(found, 2)
        yield found
        assert found.errors == []


def wait_for_bar(found, number):
    found.page.wait_for_selector(f".bar:nth-child({number}).now", state="attached", timeout=15_000)


def place(found):
    return found.page.evaluate("Math.round(scrollY)")


def wait_for_rest(found):
    """Wait until nothing scrolls, and return where the view stands."""
    seen = [place(found)]
    while len(seen) < 4 or len(set(seen[-4:])) > 1:
        found.page.wait_for_timeout(60)
        seen.append(place(found))
    return seen[-1]


def sounding_in_sight(found):
    """Say whether the sounding bar comes into sight, however slow the machine."""
    found.page.wait_for_function("""() => {
        const box = document.querySelector(".now").getBoundingClientRect();
        return box.top >= 0 && box.bottom <= document.querySelector(".dock").getBoundingClientRect().top;
    }""", timeout=5000)  # fmt: skip
    return True


def scroll_by(found, pixels):
    """Scroll as the reader does, with the wheel."""
    found.page.mouse.move(180, 200)
    found.page.mouse.wheel(0, pixels)
    return wait_for_rest(found)


def finger(found):
    """Swipe up six times, as far as the list of who plays."""
    session = found.page.context.new_cdp_session(found.page)
    for _ in range(6):
        for kind, y in [("touchStart", 450), *(("touchMove", y) for y in range(440, 60, -20))]:
            session.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": [{"x": 180, "y": y}]})
            found.page.wait_for_timeout(8)
        session.send("Input.dispatchTouchEvent", {"type": "touchEnd", "touchPoints": []})


WAYS = {
    "wheel": lambda found: scroll_by(found, 2000),
    "finger": finger,
    "keys": lambda found: [found.page.keyboard.press("PageDown") for _ in range(4)],
    "scrollbar": lambda found: found.page.evaluate("document.querySelector('.who').scrollIntoView()"),  # as dragging it
}


def test_the_view_goes_along_with_the_music_from_bar_to_bar(phone):
    for number in (3, 4, 1, 2, 3):
        wait_for_bar(phone, number)
        wait_for_rest(phone)
        assert sounding_in_sight(phone), number


@pytest.mark.parametrize("way", WAYS)
def test_once_the_reader_scrolls_the_view_stays_where_they_went(phone, way):
    wait_for_rest(phone)
    WAYS[way](phone)
    left = wait_for_rest(phone)
    assert phone.page.evaluate("document.querySelector('.who').getBoundingClientRect().top < innerHeight")
    for number in (4, 1, 2):
        wait_for_bar(phone, number)
        assert wait_for_rest(phone) == left


def test_a_touched_control_on_the_sheet_stays_where_it_is(phone):
    wait_for_rest(phone)
    phone.page.evaluate("document.querySelector('.now .clean').closest('.tick').focus()")
    phone.page.locator(".now .tick").tap()
    left = wait_for_rest(phone)
    for number in (4, 1, 3):
        wait_for_bar(phone, number)
        assert wait_for_rest(phone) == left


def test_a_touch_amid_the_page_s_own_scrolling_ends_it(chrome, html, tmp_path):
    with opened(chrome, html, tmp_path, **SMALL_PHONE) as found:
        touched, came, height = found.page.evaluate("""async () => {
            const wait = (ms) => new Promise((resolve) => setTimeout(resolve, ms));
            view.follow.show(document.querySelector(".bar:last-child"));
            await wait(120);
            document.querySelector(".clean").dispatchEvent(new PointerEvent("pointerdown", { bubbles: true }));
            const touched = scrollY;
            await wait(900);
            return [touched, scrollY, document.querySelector(".bar:last-child").offsetTop];
        }""")
        assert height > 1000
        assert touched < came + 1 < height / 2, "no more than the browser had already scrolled by then"


def test_controls_in_the_dock_leave_the_view_with_the_music(phone):
    phone.page.locator("#slower").tap()
    phone.page.keyboard.press("-")
    for number in (4, 1):
        wait_for_bar(phone, number)
        wait_for_rest(phone)
        assert sounding_in_sight(phone), number


def test_play_pressed_again_takes_the_view_back_to_the_music(phone):
    wait_for_rest(phone)
    scroll_by(phone, 3000)
    phone.page.locator("#play").tap()
    phone.page.locator("#play").tap()
    wait_for_bar(phone, 1)
    wait_for_rest(phone)
    assert sounding_in_sight(phone)


def test_a_reader_who_comes_back_to_the_bar_that_sounds_is_taken_along_again(phone):
    wait_for_rest(phone)
    scroll_by(phone, 3000)
    phone.page.evaluate("controls.setTempo(60)")
    wait_for_bar(phone, 4)
    wait_for_bar(phone, 1)
    top = phone.page.evaluate("document.querySelector('.now').getBoundingClientRect().top")
    scroll_by(phone, top - 5)
    phone.page.wait_for_timeout(700)
    phone.page.evaluate("controls.setTempo(240)")
    for number in (2, 3, 4):
        wait_for_bar(phone, number)
        wait_for_rest(phone)
        assert sounding_in_sight(phone), number


# --- narrow screens ------------------------------------------------------------------------------


@pytest.fixture(scope="module", params=["swing", "bossa-nova", "twelve-eight"])
def narrow(request, kit):
    values = {"swing": LINE, "bossa-nova": "8 8 4 8 4 8", "twelve-eight": "4. 4 8 8 8 8 4."}[request.param]
    return html_of(lesson_of(values, groove=request.param), *kit)


@pytest.mark.parametrize("width", [320, 344, 375, 520])
def test_nothing_runs_off_a_narrow_screen(chrome, narrow, tmp_path, width):
    with opened(chrome, narrow, tmp_path, viewport={"width": width, "height": 640}, has_touch=True) as found:
        found.page.locator(".keys summary").tap()
        assert found.page.evaluate("document.documentElement.scrollWidth") <= width
        beyond = found.page.evaluate("""() => [...document.querySelectorAll("button, select, input, label, output")].filter(
            (one) => !one.matches(".unseen, .unseen *, [type=radio]") && one.getBoundingClientRect().right > innerWidth
        ).map((one) => one.outerHTML)""")
        assert beyond == []


@pytest.mark.parametrize("width", [320, 375])
def test_on_a_narrow_screen_no_label_is_torn_from_its_control(chrome, narrow, tmp_path, width):
    with opened(chrome, narrow, tmp_path, viewport={"width": width, "height": 640}, has_touch=True) as found:
        rows = found.page.evaluate("""() => [...document.querySelectorAll(".limb")].map((row) => [
            row.querySelector(".limb-name").getBoundingClientRect().bottom,
            ...[...row.querySelectorAll("label span")].map((word) => word.getBoundingClientRect().top)])""")
        assert len(rows) >= 4
        for name_bottom, *tops in rows[:-1]:
            assert len(set(tops)) == 1 and tops[0] < name_bottom, "on, softer and off stand beside the limb's name"
        assert len(set(rows[-1][1:])) == 1, "the click's three stand together"
        fields = found.page.evaluate("""() => [...document.querySelectorAll(".settings select, .settings [type=number]")].map(
            (field) => [field.id, field.labels[0].getBoundingClientRect().bottom, field.getBoundingClientRect().top,
                field.getBoundingClientRect().left - field.labels[0].getBoundingClientRect().right])""")
        assert len(fields) >= 5
        for name, label_bottom, top, between in fields:
            assert top < label_bottom and 0 <= between < 20, name


def test_the_words_of_the_loop_have_a_line_of_their_own_on_a_narrow_screen(chrome, html, tmp_path):
    with opened(chrome, html, tmp_path, viewport={"width": 320, "height": 640}, has_touch=True) as found:
        found.page.locator(".choose").nth(1).tap()
        found.page.locator(".choose").nth(2).tap()
        box = found.page.locator("#loop-words").bounding_box()
        assert found.page.inner_text("#loop-words") == "Over and over: bar 2, 3"
        assert box["width"] > 250 and box["height"] < 30


def test_counts_are_14_pixels_tall_on_a_small_phone_and_do_not_touch(chrome, html, tmp_path):
    with opened(chrome, html, tmp_path, **SMALL_PHONE) as found:
        bars = found.page.evaluate("""() => [...document.querySelectorAll(".grid")].map((grid) =>
            [...grid.querySelectorAll(".says")].map((word) => {
                const box = word.getBoundingClientRect();
                const scale = grid.getBoundingClientRect().width / grid.viewBox.baseVal.width;
                return [word.textContent, parseFloat(word.getAttribute("font-size")) * scale, box.left, box.right];
            }))""")
        assert {"trip", "let", "e", "a"} <= {word for bar in bars for word, *_ in bar}
        for bar in bars:
            assert min(size for _, size, *_ in bar) >= 14
            for (_, _, _, right), (_, _, left, _) in pairwise(bar):
                assert left > right
