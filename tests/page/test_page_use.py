"""Using the lesson page: who plays, and a narrow screen, in a real browser."""

from itertools import pairwise

import pytest
from music import lesson_of
from page_browser import LINE, html_of, opened

SMALL_PHONE = {"viewport": {"width": 375, "height": 667}, "has_touch": True}


# --- who plays -----------------------------------------------------------------------------------


def rows(found):
    """The switches in the dock, as the eye reads them: whose, and state."""
    words = {"left hand": "Left hand", "right hand": "Right hand", "left foot": "Left foot", "right foot": "Right foot"}
    found_rows = found.page.evaluate("""() => [...document.querySelectorAll(".touch:not([hidden])")].map(
        (touch) => [touch.dataset.limb, touch.querySelector(".state").textContent])""")
    return {words.get(limb, "The line"): state for limb, state in found_rows}


def heard(found):
    """The parts that sound for some bars with the page's settings as they are."""
    hits = found.player_hits(found.page.evaluate("({ ...settings, countIn: 0 })"), 16)
    return {hit["part"] for hit in hits}


def press(found, limb, state):
    """Touch a switch until it says a state."""
    own = "" if limb == "The line" else limb.lower()
    for _ in range(3):
        if rows(found)[limb] == state:
            return
        found.page.click(f".touch[data-limb='{own}']")


def take(found, step):
    found.page.locator(".steps label", has_text=step).click()


def test_the_page_opens_on_the_first_step(sheet):
    assert sheet.page.locator("[name=step]:checked").input_value() == "0"
    assert sheet.page.inner_text("#step-text").startswith("Only the groove.")
    assert sheet.page.evaluate("settings.alone") is True


def test_the_steps_say_who_reads_and_on_which_drum(sheet):
    take(sheet, "Ride and line")
    assert sheet.page.inner_text("#step-text").startswith("The left hand reads on the snare. Nothing else yet.")
    sheet.page.click("#more")
    sheet.page.select_option("#line", label="bass drum")
    assert sheet.page.inner_text("#step-text").startswith("The right foot reads on the bass drum. Nothing else yet.")
    assert sheet.page.inner_text("#reads") == "The right foot reads on the bass drum."


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
        words = found.page.get_attribute(f".touch[data-limb='{limb.lower()}']", "aria-label")
        assert words == f"{limb}, {drum}, the line: on"
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


# --- narrow screens ------------------------------------------------------------------------------


@pytest.fixture(scope="module", params=["swing", "bossa-nova", "twelve-eight"])
def narrow(request, kit):
    values = {"swing": LINE, "bossa-nova": "8 8 4 8 4 8", "twelve-eight": "4. 4 8 8 8 8 4."}[request.param]
    return html_of(lesson_of(values, groove=request.param), *kit)


@pytest.mark.parametrize("width", [320, 344, 375, 520])
def test_nothing_runs_off_a_narrow_screen(chrome, narrow, tmp_path, width):
    with opened(chrome, narrow, tmp_path, viewport={"width": width, "height": 640}, has_touch=True) as found:
        found.page.locator("#more").tap()
        assert found.page.evaluate("document.documentElement.scrollWidth") <= width
        assert found.page.evaluate("ui.sheet.scrollWidth <= ui.sheet.clientWidth")
        beyond = found.page.evaluate("""() => [...document.querySelectorAll("button, select, input, label, output")].filter(
            (one) => !one.matches(".unseen, .unseen *, [type=radio]") && one.getClientRects().length && one.getBoundingClientRect().right > innerWidth
        ).map((one) => one.outerHTML)""")
        assert beyond == []


@pytest.mark.parametrize("width", [320, 375])
def test_on_a_narrow_screen_no_label_is_torn_from_its_control(chrome, narrow, tmp_path, width):
    with opened(chrome, narrow, tmp_path, viewport={"width": width, "height": 640}, has_touch=True) as found:
        found.page.locator("#more").tap()
        rows = found.page.evaluate("""() => [...document.querySelectorAll(".who .limb:not([hidden])")].map((row) => [
            row.querySelector(".limb-name").getBoundingClientRect().bottom,
            ...[...row.querySelectorAll(".states label span")].map((word) => word.getBoundingClientRect().top)])""")
        assert len(rows) >= 4
        for name_bottom, *tops in rows:
            assert len(set(tops)) == 1 and tops[0] < name_bottom, "on, softer and off stand beside the limb's name"
        fields = found.page.evaluate("""() => [...document.querySelectorAll(".settings select, .settings [type=number]")].map(
            (field) => [field.id, field.labels[0].getBoundingClientRect().bottom, field.getBoundingClientRect().top,
                field.getBoundingClientRect().left - field.labels[0].getBoundingClientRect().right])""")
        assert len(fields) >= 5
        for name, label_bottom, top, between in fields:
            assert top < label_bottom and 0 <= between < 20, name


def test_counts_are_14_pixels_tall_on_a_small_phone_and_do_not_touch(chrome, html, tmp_path):
    with opened(chrome, html, tmp_path, **SMALL_PHONE) as found:
        found.page.evaluate("view.cards.forEach((card) => card.draw())")
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
