"""What is seen on the lesson page is what sounds, and hands and large letters get on with it, in a real browser."""

from itertools import pairwise

import pytest
from music import lesson_of
from page_browser import html_of, opened, until
from test_page_use import SMALL_PHONE, take

# --- what is seen is what sounds -----------------------------------------------------------------


def cursors_at_heads(found, bars):
    """For each note of some bars of the staff and each head of the grid: how far the cursor is when it sounds, in px."""
    return found.page.evaluate(
        """(bars) => {
            const { player } = transport;
            player.rewind();
            player.countIn = 0;
            player.pump(600 * bars.length / settings.tempo);
            view.cards.forEach((card) => card.draw());
            const far = { staff: [], grid: [], apart: [] };
            for (const bar of bars) for (const stroke of player.strokesOf(lesson.bars[bar]).flat()) {
                const beat = bar * lesson.meter.length + player.swung(stroke, settings.tempo * lesson.beat);
                view.draw(((beat + 1e-7) * 60) / (settings.tempo * lesson.beat));
                const card = view.current;
                const cursor = card.picture.getBoundingClientRect().left + card.pointed;
                const middle = (head) => { const box = head.getBoundingClientRect(); return box.left + box.width / 2; };
                const [head, note] = card.heads(stroke);
                if (head) far.grid.push(cursor - middle(head));
                if (note) far.staff.push(cursor - middle(note.querySelector(".notehead")));
                if (head && note) far.apart.push(middle(head) - middle(note.querySelector(".notehead")));
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
        found.page.evaluate("(choice) => controls.practice.setSwing(choice)", choice)
        far = cursors_at_heads(found, list(range(len(lesson.score.bars))))
    assert len(far["staff"]) >= 7 and len(far["grid"]) > 15
    assert max(map(abs, far["apart"])) < 0.7, "a note stands above its own place on the grid"
    if "line_swing" not in feel:  # or ride and line, which share a column, sound one after the other
        assert max(map(abs, far["staff"])) < 1
        assert max(map(abs, far["grid"])) < 1


def unseen_strokes(found):
    """Of all strokes that sound: those without a head to be seen, or with a pale one."""
    return found.page.evaluate("""() => lesson.bars.flatMap((bar) => {
        const card = view.cards[bar.card];
        card.show(bar, settings.alone);
        card.draw();
        const heard = transport.player.strokesOf(bar).flat().filter((stroke) => sounds(stroke.voice, settings));
        const isSeen = (head) => head && head.getBoundingClientRect().width > 0 && !head.classList.contains("silent");
        return heard.filter((stroke) => !isSeen(card.heads(stroke)[0])).map(({ voice }) => voice.part);
    })""")


@pytest.mark.parametrize(
    ("groove", "drum"),
    [("swing", "bass drum"), ("jazz-waltz", "bass drum"), ("bossa-nova", "cross-stick"), ("swing", "ride")],
)
def test_the_time_alone_is_drawn_as_it_sounds(chrome, kit, tmp_path, groove, drum):
    lesson = lesson_of("4 4 4" if groove == "jazz-waltz" else "4 8 8 2", groove=groove, line=f'played_on = "{drum}"')
    with opened(chrome, html_of(lesson, *kit), tmp_path) as found:
        alone, counts = unseen_strokes(found), found.page.locator(".grid .says").first.text_content()
        take(found, "And the feet")
        together = unseen_strokes(found)
    assert alone == together == []
    assert counts == "1"


def test_a_limb_that_takes_turns_with_the_line_is_not_bold_where_it_keeps_time(chrome, kit, tmp_path):
    lesson = lesson_of("4 4 2 | 2 4 4", line='played_on = { each_bar = ["snare", "bass drum"] }')
    with opened(chrome, html_of(lesson, *kit), tmp_path) as found:
        take(found, "Your turn")
        bold = found.page.locator(".grid .yours[data-part='bass drum']")
        assert {head.get_attribute("data-role") for head in bold.all()} == {"line"}
        assert found.page.locator(".grid .silent").count() == 0


def test_through_a_bar_that_rests_the_cursor_goes_from_left_to_right(chrome, kit, tmp_path):
    with opened(chrome, html_of(lesson_of("4 4 4 4 | 1r | 2r 4 4"), *kit), tmp_path) as found:
        places = found.page.evaluate("""() => {
            transport.player.countIn = 0;
            transport.player.pump(30);
            return [1, 2].map((bar) => [0.1, 0.5, 1.5, 2.5, 3.9].map((beat) => {
                view.draw(((4 * bar + beat) * 60) / transport.player.settings.tempo);
                return view.current.pointed / view.current.pixels;
            }));
        }""")
    for across in places:
        assert across == sorted(across)
        assert across[0] < 0.3
        assert across[-1] > 0.9


def test_what_sounds_together_lights_up_together_on_grid_and_staff(sheet):
    lit = sheet.page.evaluate("""() => {
        const beat = 60 / lesson.tempo;
        const player = new Player(lesson, { ...firstSettings(lesson), countIn: 0 });
        view.cards.forEach((card, at) => card.show(lesson.bars[at], false));
        view.hear(player.pump(4 * beat));
        const at = (now) => {
            view.light(now * beat);
            return [...document.querySelectorAll(".lit")].map((head) => head.dataset.place ?? head.dataset.part).sort();
        };
        return [at(0.02), at(1.04), at(1.7), at(2.6), at(3.55)];
    }""")
    assert lit == [
        ["0", "bass drum", "ride", "snare"],
        ["1", "bass drum", "hi-hat", "ride", "snare"],
        ["3/2", "ride", "snare"],
        [],
        [],
    ]


def test_while_it_plays_the_cursor_moves_by_transform_alone_and_few_nodes_change(chrome, kit, tmp_path):
    with opened(chrome, html_of(lesson_of("8 8 4 8 8 4 | 4 4 4 8 8"), *kit), tmp_path) as found:
        found.page.evaluate("controls.practice.set({ countIn: 0 }); controls.steps.take(2); controls.toggle()")
        found.page.wait_for_selector(".now", state="attached")
        changed = found.page.evaluate("""() => new Promise((resolve) => {
            const nodes = new Set(), styles = new Set();
            const watch = new MutationObserver((all) => all.forEach(({ target, attributeName }) => {
                if (attributeName === "style") styles.add(`${target.className.baseVal ?? target.className}: ${target.getAttribute("style")}`);
                nodes.add(target);
            }));
            watch.observe(document.body, { subtree: true, attributes: true, childList: true, characterData: true });
            setTimeout(() => resolve([nodes.size, [...styles]]), 1000);
        })""")
    nodes, styles = changed
    assert nodes <= 60
    assert len(styles) > 10
    assert all(style.startswith("cursor: transform: translateX(") for style in styles)


def test_with_reduced_motion_the_cursor_steps_by_the_beats_that_are_felt(chrome, kit, tmp_path):
    lesson = lesson_of("8 8 8 8 8 8 8 8 8 8 8 8", groove="twelve-eight", tempo=60)
    with opened(chrome, html_of(lesson, *kit), tmp_path, reduced_motion="reduce") as found:
        places = found.page.evaluate("""() => {
            transport.player.countIn = 0;
            transport.player.pump(4);
            return [...Array(12).keys()].map((eighth) => {
                view.draw((eighth + 0.5) / 3);
                return view.current.pointed;
            });
        }""")
    assert [places.index(place) for place in places] == [0, 0, 0, 3, 3, 3, 6, 6, 6, 9, 9, 9]


def test_counts_of_two_figures_stand_apart(chrome, kit, tmp_path):
    lesson = lesson_of("8 8 8 8 8 8 8 8 8 8 8 8", groove="twelve-eight")
    with opened(chrome, html_of(lesson, *kit), tmp_path, **SMALL_PHONE) as found:
        boxes = [count.bounding_box() for count in found.page.locator(".grid .says").all()]
    assert len(boxes) == 12
    assert min(after["x"] - before["x"] - before["width"] for before, after in pairwise(boxes)) > 1.5


def test_the_feel_says_how_the_eighths_are_played_now(sheet):
    written = sheet.page.inner_text("#feel")
    sheet.page.click("#more")
    sheet.page.select_option("#swing", "1")
    assert sheet.page.inner_text("#feel") == "straight"
    sheet.page.select_option("#swing", "lesson")
    assert sheet.page.inner_text("#feel") == written


# --- hands on it while it plays ------------------------------------------------------------------


def test_a_tempo_that_rises_leaves_the_field_alone_while_somebody_types(sheet):
    sheet.page.fill("#tempo", "1")
    sheet.page.evaluate("settings.tempo = 140; controls.tempo.show()")  # as at the end of a time through
    assert sheet.page.input_value("#tempo") == "1"
    assert sheet.page.input_value("#slider") == "140"
    sheet.page.locator("#tempo").press("Enter")
    assert sheet.page.input_value("#tempo") == "30"  # the slowest
    sheet.page.locator("#tempo").press("1")
    sheet.page.locator("#tempo").press("Backspace")
    sheet.page.locator("#tempo").blur()
    assert sheet.page.input_value("#tempo") == "30"


def test_the_tempo_rises_past_the_one_it_begins_at(sheet):
    sheet.page.click("#more")
    sheet.page.select_option("#every", "1")
    assert sheet.page.input_value("#to") == "152"  # 20 above
    assert sheet.page.evaluate("settings.rise") == {"every": 1, "by": 4, "to": 152, "waits": False}
    sheet.page.fill("#to", "100")
    sheet.page.locator("#to").blur()
    assert sheet.page.evaluate("settings.rise.to") == 100  # asked for


def test_a_tempo_that_rose_shows_when_it_sounds_and_not_when_it_is_laid_out(sheet):
    sheet.page.evaluate("""() => {
        controls.practice.set({ countIn: 0, rise: { every: 1, by: 10, to: 300 } });
        controls.bars.choose({ from: 0, to: 0, loop: true });
        controls.tempo.set(200);
        controls.toggle();
    }""")
    until(sheet, "transport.player.tempo === 210")
    assert sheet.page.evaluate("[settings.tempo, ui.tempo.value]") == [200, "200"]
    until(sheet, "settings.tempo === 210")
    assert sheet.page.input_value("#tempo") == "210"


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
        assert found.page.evaluate("document.documentElement.scrollWidth") <= width
        found.page.click("#more")
        assert found.page.evaluate("ui.sheet.scrollWidth <= ui.sheet.clientWidth")


def test_the_view_leaves_out_what_the_dock_covers(sheet):
    height = sheet.page.locator(".dock").bounding_box()["height"]
    covered = sheet.page.evaluate("getComputedStyle(document.documentElement).scrollPaddingBottom")
    assert float(covered.removesuffix("px")) == pytest.approx(height, abs=1)


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_nothing_shows_through_the_dock(chrome, html, tmp_path, scheme):
    with opened(chrome, html, tmp_path, color_scheme=scheme, **SMALL_PHONE) as found:
        colour = found.page.evaluate("getComputedStyle(document.querySelector('.dock')).backgroundColor")
    assert colour.startswith("rgb("), "no share of transparency"
