"""Using the lesson page: who plays, what the view does while it plays, and a narrow screen, in a real browser."""

import pytest
from music import lesson_of
from page_browser import chromium, html_of, kit_and_balance, opened

LINE = "4 8 8 4 4 | 12 12 12 4 8r 8 4 | 16 16 16 16 8 8 4 4 | 8 8 12 12 12 4 4"
SMALL_PHONE = {"viewport": {"width": 375, "height": 667}, "has_touch": True}


@pytest.fixture(scope="module")
def chrome():
    with chromium() as running:
        yield running


@pytest.fixture(scope="module")
def kit():
    return kit_and_balance()


@pytest.fixture(scope="module")
def html(kit):
    return html_of(lesson_of(LINE, tempo=132), *kit)


@pytest.fixture
def sheet(chrome, html, tmp_path):
    with opened(chrome, html, tmp_path, viewport={"width": 1280, "height": 800}) as found:
        yield found
        assert found.errors == []


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
