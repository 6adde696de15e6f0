"""Bars by touch, keys and pedals, and a page that comes back as it was, in a real browser."""

import pytest
from music import lesson_of
from page_browser import html_of, opened, until
from test_page_use import SMALL_PHONE, take


def settings(found):
    return found.page.evaluate("settings")


def words(found):
    return found.page.inner_text("#loop-words")


def bar(found, number):
    return found.page.locator(".choose").nth(number - 1)


# --- bars ----------------------------------------------------------------------------------------


def test_the_first_touch_says_from_where_and_the_second_up_to_where(chrome, html, tmp_path):
    with opened(chrome, html, tmp_path, **SMALL_PHONE) as found:
        assert words(found) == "The whole line"
        bar(found, 2).tap()
        assert (words(found), settings(found)["loop"], settings(found)["from"]) == ("From bar 2", [], 1)
        bar(found, 4).tap()
        assert (words(found), settings(found)["loop"]) == ("Over and over: bars 2 to 4", [1, 2, 3])
        assert found.page.locator(".choose[aria-pressed=true]").count() == 3
        bar(found, 3).tap()
        assert (words(found), settings(found)["loop"]) == ("From bar 3", [])
        bar(found, 1).tap()
        assert settings(found)["loop"] == [0, 1, 2], "backwards too"
        found.page.locator("#whole").tap()
        assert (words(found), settings(found)["loop"]) == ("The whole line", [])


def test_a_drag_over_bars_takes_all_of_them(sheet):
    boxes = [bar(sheet, number).bounding_box() for number in (1, 3)]
    middles = [(box["x"] + box["width"] / 2, box["y"] + 40) for box in boxes]
    sheet.page.mouse.move(*middles[0])
    sheet.page.mouse.down()
    sheet.page.mouse.move(*middles[1], steps=8)
    sheet.page.mouse.up()
    assert settings(sheet)["loop"] == [0, 1, 2]
    assert words(sheet) == "Over and over: bars 1 to 3"


def test_without_the_loop_playing_begins_at_the_chosen_bar_and_goes_on(sheet):
    bar(sheet, 3).click()
    places = sheet.page.evaluate("""() => {
        const player = new Player(lesson, { ...settings, countIn: 1 });
        player.pump(20);
        return player.cells.filter((cell) => cell.score && cell.from === 0).map((cell) => cell.position);
    }""")
    assert places[:7] == [2, 3, 0, 1, 2, 3, 0]


def test_the_loop_is_a_switch_and_takes_the_bar_in_view(sheet):
    sheet.page.click("#loop")
    assert settings(sheet)["loop"] == [0], "on a fresh page the first in view"
    assert sheet.page.get_attribute("#loop", "aria-pressed") == "true"
    sheet.page.click("#loop")
    assert (settings(sheet)["loop"], words(sheet)) == ([], "The whole line")
    bar(sheet, 2).click()
    sheet.page.click("#loop")
    assert words(sheet) == "Over and over: bar 2"


def test_from_here_takes_the_bar_that_sounds(sheet):
    sheet.page.evaluate("controls.practice.set({ countIn: 0 }); controls.tempo.set(240)")
    sheet.page.click("#play")
    sheet.page.wait_for_selector(".bar:nth-child(3).now", state="attached")
    sheet.page.click("#here")
    assert words(sheet) == "From bar 3"


def test_a_bar_played_twice_in_a_row_loops_both_times(chrome, kit, tmp_path):
    html = html_of(lesson_of("4 8 8 4 4 | 8 4 4 4 8", line="repeat_each = 2"), *kit)
    with opened(chrome, html, tmp_path) as found:
        assert found.page.locator(".bar").count() == 2
        bar(found, 2).click()
        found.page.click("#loop")
        assert settings(found)["loop"] == [2, 3]


# --- keys ----------------------------------------------------------------------------------------


def test_bars_are_chosen_by_keyboard_alone(sheet):
    bar(sheet, 1).focus()
    sheet.page.keyboard.press("ArrowRight")
    sheet.page.keyboard.press("Enter")
    sheet.page.keyboard.press("ArrowRight")
    sheet.page.keyboard.press("ArrowRight")
    sheet.page.keyboard.press("Enter")
    assert settings(sheet)["loop"] == [1, 2, 3]
    sheet.page.keyboard.press("Escape")
    assert settings(sheet)["loop"] == []
    sheet.page.keyboard.press("l")
    assert settings(sheet)["loop"] == [3], "the one that has the focus"


def test_play_is_the_first_stop_of_tab(sheet):
    sheet.page.keyboard.press("Tab")
    assert sheet.page.evaluate("document.activeElement.id") == "play"


def test_space_plays_from_anywhere_but_a_button_and_keys_leave_typing_alone(sheet):
    sheet.page.keyboard.press(" ")
    assert sheet.page.evaluate("transport.playing")
    assert sheet.page.inner_text("#play-word") == "Stop"
    sheet.page.keyboard.press(" ")
    sheet.page.locator("#tempo").focus()
    sheet.page.keyboard.press("s")
    assert not sheet.page.evaluate("transport.playing")
    assert settings(sheet)["tempo"] == 132


def test_space_after_a_touched_bar_plays_and_leaves_the_bar_chosen(sheet):
    bar(sheet, 2).click()
    sheet.page.keyboard.press(" ")
    assert sheet.page.evaluate("transport.playing")
    assert words(sheet) == "From bar 2"
    sheet.page.keyboard.press(" ")
    bar(sheet, 2).focus()
    sheet.page.keyboard.press("ArrowRight")
    sheet.page.keyboard.press(" ")
    assert not sheet.page.evaluate("transport.playing")
    assert settings(sheet)["loop"] == [1, 2], "reached by keyboard, a bar is pressed by Space as any button"


def test_letters_can_be_switched_off_and_space_goes_on_working(sheet):
    sheet.page.click("#more")
    sheet.page.locator("#letters").uncheck()
    sheet.page.click("#close")
    sheet.page.locator("h1").click()
    sheet.page.keyboard.press("s")
    sheet.page.keyboard.press("+")
    assert settings(sheet)["tempo"] == 132
    sheet.page.keyboard.press(" ")
    assert sheet.page.evaluate("transport.playing")


@pytest.mark.parametrize(("right", "left"), [("ArrowRight", "ArrowLeft"), ("PageDown", "PageUp")])
def test_a_pedal_plays_and_stops_and_begins_again(sheet, right, left):
    sheet.page.keyboard.press(right)
    assert not sheet.page.evaluate("transport.playing"), "only once it is said that there is one"
    sheet.page.evaluate("ui.pedal.checked = true")
    sheet.page.keyboard.press(right)
    until(sheet, "transport.player.sent > 1.2")
    sheet.page.keyboard.press(left)
    assert sheet.page.evaluate("transport.playing && transport.player.cells[0].seconds") == 0
    sheet.page.keyboard.press(right)
    assert not sheet.page.evaluate("transport.playing")


def test_where_the_tempo_waits_a_pedal_says_clean_and_again(sheet):
    sheet.page.evaluate("""() => {
        ui.pedal.checked = true;
        controls.practice.set({ rise: { every: 1, by: 4, to: 200, waits: true } });
        controls.practice.lowest = 120;
        controls.toggle();
    }""")
    sheet.page.keyboard.press("ArrowRight")
    assert sheet.page.inner_text("#said") == "Clean. It rises at the end of this round."
    assert sheet.page.evaluate("transport.playing && transport.player.clean.length") == 1
    sheet.page.keyboard.press("ArrowLeft")
    assert settings(sheet)["tempo"] == 128


def test_the_place_of_playing_is_not_announced_bar_by_bar(sheet):
    live = (
        "[...document.querySelectorAll('[aria-live], [role=status], output:not([aria-hidden])')].map((one) => one.id)"
    )
    assert set(sheet.page.evaluate(live)) == {
        "said",
        "heard-said",
        "listen-said",
        "log-said",
        "step-text",
        "loop-words",
    }


# --- put away and taken out again ----------------------------------------------------------------


def set_up(found):
    """What is set, and what the controls show of it."""
    return found.page.evaluate(
        """() => [
        settings.tempo, settings.loop, settings.from, settings.limbs, settings.alone, settings.click, settings.countIn,
        settings.volumes, settings.rise, settings.trade, settings.swing, lesson.line || 0, controls.mirrored,
        ui.tempo.value, words(), ui["count-in"].value, ui.swing.value, ui.trade.value, ui.reads.textContent,
        document.querySelector("[name=click]:checked").value, ui["beat-large"].checked,
        [...document.querySelectorAll("[name=step]")].findIndex((one) => one.checked),
        [...document.querySelectorAll(".touch:not([hidden])")].map((one) => one.getAttribute("aria-label")),
        [...document.querySelectorAll(".who .limb:not([hidden])")].map((one) => one.querySelector(":checked").value),
    ]""".replace("words()", 'ui["loop-words"].textContent')
    )


def change_everything(sheet, by_hand):
    sheet.page.fill("#tempo", "91")
    bar(sheet, 2).click()
    bar(sheet, 3).click()
    take(sheet, "Your turn")
    if by_hand:
        sheet.page.locator(".touch[data-limb='right foot']").click()
    sheet.page.click("#more")
    sheet.page.locator("[name=click][value='every beat'] + span").click()
    sheet.page.select_option("#count-in", "1")
    sheet.page.select_option("#swing", "1")
    sheet.page.select_option("#trade", "2 2")
    sheet.page.select_option("#every", "2")
    sheet.page.select_option("#line", "1")
    sheet.page.locator("#mirror").check()
    sheet.page.locator("#beat-large").check()
    sheet.page.locator(".volume[data-limb='left foot']").fill("-6")
    sheet.page.click("#close")


@pytest.mark.parametrize("by_hand", [False, True], ids=["a step", "by hand"])
@pytest.mark.parametrize("way", ["reload", "back"])
def test_a_page_that_was_put_away_comes_back_as_it_was(sheet, by_hand, way):
    fresh = set_up(sheet)
    change_everything(sheet, by_hand)
    before = set_up(sheet)
    if way == "reload":
        sheet.page.reload()
    else:
        sheet.page.goto("about:blank")
        sheet.page.go_back()
    sheet.page.wait_for_selector("body.ready")
    assert set_up(sheet) == before
    assert all(one != other for one, other in zip(before[:13], fresh[:13], strict=True) if one is not False)
    assert before[-3] == (-1 if by_hand else 3)


@pytest.mark.parametrize(
    "kept",
    [
        "no JSON",
        "[1]",
        '{"tempo":"fast","bars":{"from":99,"to":-1,"loop":true},"step":42,"limbs":{"tail":"off","left hand":7},'
        '"click":1,"countIn":77,"volumes":{"click":99},"rise":{"every":0},"line":9,"trade":[],"swing":"wild"}',
        '{"tempo":1e9,"bars":"all","step":-3,"limbs":[],"alone":"yes","fade":7,"only":"x","mirrored":"no"}',
    ],
)
def test_whatever_was_kept_the_page_opens_and_plays(sheet, kept):
    sheet.page.evaluate("(kept) => localStorage.setItem(`${lesson.name} set`, kept)", kept)
    sheet.page.reload()
    sheet.page.wait_for_selector("body.ready")
    now = settings(sheet)
    assert (now["tempo"], now["loop"], now["limbs"], now["volumes"], now["rise"]) == (132, [], {}, {}, None)
    sheet.page.click("#play")
    until(sheet, "transport.player.sent > 0.5")
