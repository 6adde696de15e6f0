"""What is seen on the lesson page is what sounds, and hands and large letters get on with it, in a real browser."""

from itertools import pairwise

import pytest
from music import lesson_of
from page_browser import html_of, opened, until
from test_page_use import SMALL_PHONE, take, wait_for_bar


@pytest.fixture
def phone(chrome, html, tmp_path):
    """A lesson on a small phone, at a second a bar, playing its second bar."""
    with opened(chrome, html, tmp_path, **SMALL_PHONE) as found:
        found.page.select_option("#count-in", "0")
        found.page.fill("#tempo", "240")
        found.page.locator("#play").tap()
        wait_for_bar(found, 2)
        yield found
        assert found.errors == []


# --- what is seen is what sounds -----------------------------------------------------------------


def cursors_at_heads(found, bars):
    """For each note of some bars of the staff and each head of the grid: how far the cursor is when it sounds, in px."""
    return found.page.evaluate(
        """(bars) => {
            const { player } = transport;
            player.rewind();
            player.countIn = 0;
            player.pump(600 * bars.length / settings.tempo);
            const far = { staff: [], grid: [] };
            for (const bar of bars) for (const stroke of player.strokesOf(lesson.bars[bar]).flat()) {
                const beat = bar * lesson.meter.length + player.swung(stroke, settings.tempo * lesson.beat);
                view.draw(((beat + 1e-7) * 60) / (settings.tempo * lesson.beat));
                const card = view.current;
                const at = (number, element) => {
                    const box = element.getBoundingClientRect();
                    return box.left + card.pointed[number] * box.width;
                };
                const middle = (head) => { const box = head.getBoundingClientRect(); return box.left + box.width / 2; };
                const [head, note] = card.heads(stroke, lesson.divisions);
                if (head) far.grid.push(at(1, card.shown) - middle(head));
                if (note) far.staff.push(at(0, card.staff) - middle(note.querySelector(".notehead") || note));
            }
            return far;
        }""",
        bars,
    )


@pytest.mark.parametrize(
    ("values", "feel", "choice"),
    [
        ("12 12 12 4 12 12r 12 4 | 8 8 8 8 12 12 12 4", "", "lesson"),
        ("16 16 8 8 16 16 4 4 | 8 8 16 16 16 16 8 8 4", "", "lesson"),
        ("8 4 4 8 8 [8 | 8] 4 8 8r 8 4", "line_swing = 1.0", "lesson"),
        ("8 8 8 8 4 8 8", "", "1"),
        ("8 8 8 8 4 8 8", "", "by tempo"),
    ],
    ids=["triplets", "sixteenths", "ties and a straight line", "straight", "fast"],
)
def test_the_cursors_stand_at_each_head_as_it_sounds(chrome, kit, tmp_path, values, feel, choice):
    tempo = 280 if choice == "by tempo" or "straight" in feel else 96
    lesson = lesson_of(values, tempo=tempo, feel=feel)
    with opened(chrome, html_of(lesson, *kit), tmp_path, **SMALL_PHONE) as found:
        take(found, "And the feet")
        found.page.select_option("#swing", choice)
        far = cursors_at_heads(found, list(range(len(lesson.score.bars))))
    assert len(far["staff"]) >= 7 and len(far["grid"]) > 15
    assert max(map(abs, far["staff"])) < 1
    if "line_swing" not in feel:  # or ride and line, which share a column, sound one after the other
        assert max(map(abs, far["grid"])) < 1


def unseen_strokes(found):
    """Of all strokes that sound: those without a head to be seen, or with a pale one."""
    return found.page.evaluate("""() => lesson.bars.flatMap((bar) => {
        const card = view.cards[bar.card];
        card.show(0, settings.alone);
        const heard = transport.player.strokesOf(bar).flat().filter((stroke) => sounds(stroke.voice, settings));
        const isSeen = (head) => head && head.getBoundingClientRect().width > 0 && !head.classList.contains("silent");
        return heard.filter((stroke) => !isSeen(card.heads(stroke, lesson.divisions)[0])).map(({ voice }) => voice.part);
    })""")


@pytest.mark.parametrize(
    ("groove", "drum"),
    [("swing", "bass drum"), ("jazz-waltz", "bass drum"), ("bossa-nova", "cross-stick"), ("swing", "ride")],
)
def test_the_time_alone_is_drawn_as_it_sounds(chrome, kit, tmp_path, groove, drum):
    lesson = lesson_of("4 4 4" if groove == "jazz-waltz" else "4 8 8 2", groove=groove, line=f'played_on = "{drum}"')
    with opened(chrome, html_of(lesson, *kit), tmp_path) as found:
        alone, counts = unseen_strokes(found), found.page.locator(".grid:visible .says").first.text_content()
        take(found, "And the feet")
        together = unseen_strokes(found)
        assert found.page.locator(".grid[data-alone]:visible").count() == 0
    assert alone == together == []
    assert counts == "1"


def test_a_limb_that_takes_turns_with_the_line_is_not_pale_where_it_keeps_time(chrome, kit, tmp_path):
    lesson = lesson_of("4 4 2 | 2 4 4", line='played_on = { each_bar = ["snare", "bass drum"] }')
    with opened(chrome, html_of(lesson, *kit), tmp_path) as found:
        take(found, "Your turn")
        assert unseen_strokes(found) == []
        pale = found.page.locator(".grid:not([data-alone]) .silent[data-part='bass drum']")
        assert {head.get_attribute("data-role") for head in pale.all()} == {"line"}


def test_through_a_bar_that_begins_with_a_rest_the_cursor_begins_at_the_rest(chrome, kit, tmp_path):
    with opened(chrome, html_of(lesson_of("4r 4 4 4"), *kit), tmp_path) as found:
        off = found.page.evaluate("""() => {
            transport.player.countIn = 0;
            transport.player.pump(3);
            view.draw(0.001);
            const [staff, rest] = [view.current.staff, view.current.staff.querySelector(".rest")].map((one) => one.getBoundingClientRect());
            const [across] = view.current.pointed;
            return staff.left + across * staff.width - (rest.left + rest.width / 2);
        }""")
    assert abs(off) < 1


def test_with_reduced_motion_the_cursor_steps_by_the_beats_that_are_felt(chrome, kit, tmp_path):
    lesson = lesson_of("8 8 8 8 8 8 8 8 8 8 8 8", groove="twelve-eight", tempo=60)
    with opened(chrome, html_of(lesson, *kit), tmp_path, reduced_motion="reduce") as found:
        places = found.page.evaluate("""() => {
            transport.player.countIn = 0;
            transport.player.pump(4);
            return [...Array(12).keys()].map((eighth) => {
                view.draw((eighth + 0.5) / 3);
                return view.current.pointed[1];
            });
        }""")
    assert [places.index(place) for place in places] == [0, 0, 0, 3, 3, 3, 6, 6, 6, 9, 9, 9]


def test_counts_of_two_figures_stand_apart(chrome, kit, tmp_path):
    lesson = lesson_of("8 8 8 8 8 8 8 8 8 8 8 8", groove="twelve-eight")
    with opened(chrome, html_of(lesson, *kit), tmp_path, **SMALL_PHONE) as found:
        boxes = [count.bounding_box() for count in found.page.locator(".grid:visible .says").all()]
    assert len(boxes) == 12
    assert min(after["x"] - before["x"] - before["width"] for before, after in pairwise(boxes)) > 1.5


def test_the_feel_says_how_the_eighths_are_played_now(sheet):
    written = sheet.page.inner_text("#feel")
    sheet.page.select_option("#swing", "1")
    assert sheet.page.inner_text("#feel") == "straight"
    sheet.page.select_option("#swing", "lesson")
    assert sheet.page.inner_text("#feel") == written


# --- hands on it while it plays ------------------------------------------------------------------


def test_a_tempo_that_rises_leaves_the_field_alone_while_somebody_types(sheet):
    sheet.page.fill("#tempo", "1")
    sheet.page.evaluate("settings.tempo = 140; controls.showTempo()")  # as at the end of a time through
    assert sheet.page.input_value("#tempo") == "1"
    assert sheet.page.input_value("#slider") == "140"
    sheet.page.locator("#tempo").press("Enter")
    assert sheet.page.input_value("#tempo") == "30"  # the slowest
    sheet.page.locator("#tempo").press("1")
    sheet.page.locator("#tempo").press("Backspace")
    sheet.page.locator("#tempo").blur()
    assert sheet.page.input_value("#tempo") == "30"


def test_the_tempo_rises_past_the_one_it_begins_at(sheet):
    sheet.page.select_option("#every", "1")
    assert sheet.page.input_value("#to") == "152"  # 20 above
    assert sheet.page.evaluate("settings.rise") == {"every": 1, "by": 4, "to": 152}
    sheet.page.fill("#to", "100")
    sheet.page.locator("#to").blur()
    assert sheet.page.evaluate("settings.rise.to") == 100  # asked for


def test_this_bar_is_the_one_that_sounded_last(phone):
    phone.page.locator("#play").tap()
    bar = phone.page.inner_text("#where").split(" · ")[0].lower()
    phone.page.locator("#here").tap()
    assert phone.page.inner_text("#loop-words") == f"Over and over: {bar}"
    assert bar != "bar 1"


def test_the_whole_line_again_takes_the_view_along(phone):
    phone.page.locator(".choose").first.tap()
    assert phone.page.evaluate("view.follow.following") is False
    phone.page.locator("#whole").tap()
    assert phone.page.evaluate("view.follow.following") is True


def test_the_screen_stays_awake_while_it_plays(sheet):
    sheet.page.click("#play")
    until(sheet, "transport.lock && !transport.lock.released")
    sheet.page.evaluate("globalThis.held = transport.lock")
    sheet.page.click("#play")
    until(sheet, "transport.lock === null && held.released")


# --- large letters -------------------------------------------------------------------------------


@pytest.mark.parametrize(("width", "size"), [(360, "225%"), (180, "112.5%")], ids=["large letters", "zoomed in"])
def test_at_twice_the_size_nothing_runs_off_the_screen(chrome, html, tmp_path, width, size):
    with opened(chrome, html, tmp_path, viewport={"width": width, "height": 640}) as found:
        found.page.evaluate(f"document.documentElement.style.fontSize = '{size}'")
        found.page.locator(".keys summary").click()
        assert found.page.evaluate("document.documentElement.scrollWidth") <= width


def test_the_view_leaves_out_what_the_dock_covers(phone):
    height = phone.page.locator(".dock").bounding_box()["height"]
    covered = phone.page.evaluate("getComputedStyle(document.documentElement).scrollPaddingBottom")
    assert float(covered.removesuffix("px")) == pytest.approx(height, abs=1)


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_nothing_shows_through_the_dock(chrome, html, tmp_path, scheme):
    with opened(chrome, html, tmp_path, color_scheme=scheme, **SMALL_PHONE) as found:
        colour = found.page.evaluate("getComputedStyle(document.querySelector('.dock')).backgroundColor")
    assert colour.startswith("rgb("), "no share of transparency"


# --- put away and taken out again ----------------------------------------------------------------


def set_up(found):
    """What is set, and what the controls show of it."""
    return found.page.evaluate("""() => [
        settings.tempo, settings.loop, settings.limbs, settings.alone, settings.click, settings.countIn,
        ui.tempo.value, ui["loop-words"].textContent, ui["count-in"].value,
        document.querySelector("[name=click]:checked").value,
        [...document.querySelectorAll("[name=step]")].findIndex((one) => one.checked),
        [...document.querySelectorAll(".who :checked")].map((one) => one.value),
    ]""")


@pytest.mark.parametrize("by_hand", [False, True], ids=["a step", "by hand"])
def test_a_page_that_was_put_away_comes_back_as_it_was(sheet, by_hand):
    fresh = set_up(sheet)
    sheet.page.fill("#tempo", "91")
    sheet.page.locator(".choose").nth(2).click()
    take(sheet, "Your turn")
    if by_hand:
        sheet.page.locator("[data-name='right foot'][value=softer] + span").click()
    sheet.page.locator("[name=click][value='every beat'] + span").click()
    sheet.page.select_option("#count-in", "1")
    before = set_up(sheet)
    sheet.page.reload()
    sheet.page.wait_for_selector("body.ready")
    assert set_up(sheet) == before
    assert all(one != other for one, other in zip(before[:3], fresh[:3], strict=True))
    assert before[-2] == (-1 if by_hand else 3)


@pytest.mark.parametrize(
    "kept",
    [
        "no JSON",
        "[1]",
        '{"tempo":"fast","bars":[99,-1,"a"],"step":42,"limbs":{"tail":"off","left hand":7},"click":1,"countIn":77}',
        '{"tempo":1e9,"bars":"all","step":-3,"limbs":[],"alone":"yes"}',
    ],
)
def test_whatever_was_kept_the_page_opens_and_plays(sheet, kept):
    sheet.page.evaluate("(kept) => localStorage.setItem(`${lesson.name} set`, kept)", kept)
    sheet.page.reload()
    sheet.page.wait_for_selector("body.ready")
    tempo, loop, limbs, *_ = set_up(sheet)
    assert tempo in (132, 400)
    assert (loop, limbs) == ([], {})
    sheet.page.click("#play")
    until(sheet, "transport.player.sent > 0.5")
