"""The desk in a real browser, as a teacher uses it."""

import itertools
import shutil
import subprocess
import sys
import tomllib

import pytest
from axe_playwright_python.sync_playwright import Axe
from desk_lessons import LESSON
from desk_screen import enter, of_the_page, opened, place, saved, until, values, write
from desk_server import served
from page_midi import FAKE

TITLE = "Harbour Street, tapped"


# --- a teacher's story ----------------------------------------------------------------------------


def tap(page, beats, quarter_ms):
    """Taps on the space bar at these quarters from bar 1; the browser is told their moments, so none comes late."""
    page.click("#tap-begin")
    until(page, "!document.querySelector('#tapping').hidden")
    origin = page.evaluate("performance.timeOrigin + Number(document.querySelector('#tapping').dataset.origin)")
    keys = page.context.new_cdp_session(page)
    space = {"key": " ", "code": "Space", "windowsVirtualKeyCode": 32}
    for beat in beats:
        moment = (origin + beat * quarter_ms) / 1000
        keys.send("Input.dispatchKeyEvent", {"type": "keyDown", "timestamp": moment, **space})
    until(page, "document.querySelector('#tapping').hidden")


def command_line(*words, cwd):
    subprocess.run([sys.executable, "-m", "render", *words], cwd=cwd, check=True, capture_output=True)


def test_from_an_empty_folder_to_a_page_without_typing_notation(chrome, tmp_path, monkeypatch):
    folder = tmp_path / "lessons"
    with served(folder) as desk, opened(chrome, desk) as page:
        assert "There is no lesson in this folder yet" in page.inner_text("#empty")
        page.fill("#new-title", TITLE)
        page.click("#new button")
        page.wait_for_selector("body.ready #bars .one-place")
        enter(page, "#tempo", "200")
        page.wait_for_timeout(100)

        line = [0, 1, 2, 2.5, 3, 4, 4.5, 5.5, 6, 7, 8, 9, 10, 11, 12, 13, 13.5, 14, 15]
        hand = [0.011, -0.008, 0.004, 0.0, -0.012, 0.009, 0.006, -0.004]  # seconds: a hand is not exact
        tapped = [beat + off / 0.3 for beat, off in zip(line, itertools.cycle(hand), strict=False)]
        tap(page, tapped, 300)
        until(page, "document.querySelector('#values-1').value.startsWith('8 ')")
        assert [text.split()[0] for text in values(page)] == ["4", "8", "4", "4"]
        struck = page.evaluate(
            "[...document.querySelectorAll('.one-place.struck')].map((one) => one.getAttribute('aria-label').split(':')[0])"
        )
        assert len(struck) == len(line)
        assert struck[:4] == ["Bar 1, 1", "Bar 1, 2", "Bar 1, 3", "Bar 1, 3 and"]
        assert "read as" in page.inner_text("#report") or page.locator("#report li").count()

        until(page, lambda: of_the_page(page, "lesson.bars[1].strokes.flat().some(({ onset }) => onset === 0.5)"))
        until(page, "!document.querySelector('#hear').disabled")
        page.click("#hear")
        until(page, lambda: of_the_page(page, "transport.playing && transport.strokes.some(({ heard }) => heard)"))
        assert of_the_page(page, "lesson.title") == TITLE
        assert page.inner_text("#hear-word") == "Stop"
        page.click("#hear")
        until(page, "document.querySelector('#hear-word').textContent === 'Hear it'")

        page.click(place(1, 240))  # one note too many
        until(page, "document.querySelector('#values-0').value === '4 4 8 8r 4'")
        page.click("#save")
        saved(page)
        name = "harbour-street-tapped"
        assert tomllib.loads((folder / f"{name}.toml").read_text())["line"]["values"].startswith("4 4 8 8r 4 |")

        for what, link in (
            ("page", f"{name}.html"),
            ("everything", f"{name}/{name}-full.wav"),
            ("chart", f"{name}-chart.pdf"),
            ("tracks", f"{name}-tracks.zip"),
        ):
            page.click(f"[data-make={what}]")
            until(page, f"document.querySelector('#made').textContent.includes('{link}')", 60)
            until(page, "document.querySelector('#making').hidden", 60)
            assert page.locator("#giving-wrong").is_hidden(), page.inner_text("#giving-wrong")
        page.click("[data-make=page]")
        until(page, "document.querySelector('#making').hidden", 60)
        with page.context.expect_page() as shown:
            page.click(f"#made a[href='/made/{name}.html']")
        shown.value.wait_for_selector("body.ready")
        assert shown.value.title() == TITLE

    beside = tmp_path / "by hand"
    beside.mkdir()
    shutil.copy(folder / f"{name}.toml", beside)
    monkeypatch.setenv("PYTHONPATH", ":".join(sys.path))
    command_line("page", f"{name}.toml", cwd=beside)
    command_line("render", f"{name}.toml", "-o", name, cwd=beside)
    command_line("chart", f"{name}.toml", "-o", f"{name}-chart.pdf", cwd=beside)
    made = sorted(path.relative_to(beside) for path in beside.rglob("*") if path.is_file())
    assert len(made) == 2 + 1 + 8 + 3
    for path in made:
        assert (folder / path).read_bytes() == (beside / path).read_bytes(), path
    zipped = folder / f"{name}-tracks.zip"
    shutil.unpack_archive(zipped, tmp_path / "unpacked")
    for path in (tmp_path / "unpacked" / name).iterdir():
        assert path.read_bytes() == (beside / name / path.name).read_bytes(), path


def test_a_line_is_tapped_on_a_midi_pad_that_is_connected_late(chrome, desk, folder):
    """The pad stands where W3C's Web MIDI API puts one: `MIDIAccess.inputs`, `onmidimessage` with `data` and `timeStamp`.

    A note-on with velocity 0 is a note-off (MIDI 1.0, running status); clock, pedals and note-offs are no taps.
    """
    with opened(chrome, desk, init=f"{FAKE} kit.pull();") as page:
        write(page)
        enter(page, "#tempo", "300")
        page.select_option("#tap-bars", "2")
        page.click("#pad")
        until(page, "document.querySelector('#pad').getAttribute('aria-pressed') === 'true'")
        until(page, "document.querySelector('#said').textContent === 'No pad is connected; it is heard once one is'")
        page.evaluate("kit.plug()")
        until(page, "document.querySelector('#said').textContent === 'The pad is heard'")
        page.click("#tap-begin")
        until(page, "!document.querySelector('#tapping').hidden")
        page.evaluate("""(beats) => {
            const origin = Number(document.querySelector("#tapping").dataset.origin);
            beats.forEach((beat, number) => {
                const moment = origin + beat * 200 + [6, -5, 3, -7][number % 4];
                kit.send([0x99, 38, 90], moment);
                kit.send([0xf8], moment + 10);
                kit.send([0xb9, 4, 127], moment + 12);
                kit.send([0x99, 38, 0], moment + 15);
                kit.send([0x89, 38, 64], moment + 20);
            });
        }""", [0, 1, 1.5, 2, 3, 4, 5.5, 6, 7])  # fmt: skip
        until(page, "document.querySelector('#tapping').hidden")
        until(page, "document.querySelectorAll('.one-bar').length === 2")
        assert page.evaluate(
            "[...document.querySelectorAll('.one-place.struck')].map((one) => one.getAttribute('aria-label').split(':')[0])"
        ) == [f"Bar 1, {at}" for at in ("1", "2", "2 and", "3", "4")] + [
            f"Bar 2, {at}" for at in ("1", "2 and", "3", "4")
        ]
        page.click("#pad")
        until(page, "document.querySelector('#pad').getAttribute('aria-pressed') === 'false'")
        assert page.evaluate("kit.input.onmidimessage === null && kit.access.onstatechange === null")


# --- the pencil -----------------------------------------------------------------------------------


def test_a_touch_strikes_a_second_rests_and_all_three_say_so(page):
    write(page)
    page.click(place(1, 48))
    until(page, "document.querySelector('#values-0').value === '8 8 4 8 8 4'")
    assert page.input_value("#counts-0") == "1 & 2 3 & 4"
    assert page.get_attribute(place(1, 48), "aria-label") == "Bar 1, 1 and: note"
    page.click(place(1, 48))
    until(page, "document.querySelector('#values-0').value === '8 8r 4 8 8 4'")
    page.click(place(1, 48), modifiers=["Alt"])
    until(page, "document.querySelector('#values-0').value === '4 4 8 8 4'")


def test_a_stroke_is_drawn_on_by_hand(page):
    write(page)
    page.locator(place(4, 288)).scroll_into_view_if_needed()
    page.mouse.wheel(0, 200)
    page.wait_for_timeout(200)
    start, end = page.locator(place(4, 48)).bounding_box(), page.locator(place(4, 288)).bounding_box()
    page.mouse.move(start["x"] + 8, start["y"] + 30)
    page.mouse.down()
    page.mouse.move(end["x"] + 8, end["y"] + 30, steps=6)
    page.mouse.up()
    until(page, "document.querySelector('#values-3').value === '8 [4. 4.] 8r'")


def test_the_keys_do_all_that_the_hand_does(page):
    write(page)
    page.focus(place(1, 0))
    for key, written in (
        ("ArrowRight", "4 4 8 8 4"), (" ", "8 8 4 8 8 4"), ("a", "8 8^ 4 8 8 4"), ("r", "8 8r 4 8 8 4"),
        ("t", "4 4 8 8 4"), ("3", "4 4 8 8 4"), ("ArrowRight", "4 4 8 8 4"), ("Enter", "6 12 4 8 8 4"), ("2", "8 8 4 8 8 4"),
        ("Home", "8 8 4 8 8 4"), ("Shift+ArrowRight", "4 4 8 8 4"), ("Control+z", "8 8 4 8 8 4"), ("Control+Shift+z", "4 4 8 8 4"),
    ):  # fmt: skip
        page.keyboard.press(key)
        until(page, f"document.querySelector('#values-0').value === '{written}'")
        page.wait_for_timeout(60)
        assert page.evaluate("document.activeElement.matches('.one-bar:first-child .one-place')"), key
    page.keyboard.press("ArrowDown")
    assert page.evaluate("document.activeElement.closest('.one-bar') === document.querySelector('#bars').children[1]")
    page.keyboard.press("Control+s")
    saved(page)


def test_rest_tie_and_accent_can_be_touched_too(page):
    write(page)
    page.click(place(1, 48))
    for kind, written in (("accent", "8 8^ 4 8 8 4"), ("rest", "8 8r 4 8 8 4"), ("tie", "4 4 8 8 4")):
        page.click(f"[data-place={kind}]")
        until(page, f"document.querySelector('#values-0').value === '{written}'")
    assert page.inner_text("#which-place") == "on 1 and"


def test_values_and_counts_are_typed_and_what_is_wrong_stands_beneath_them(page):
    write(page)
    page.fill("#values-1", "4 4 4")
    page.press("#values-1", "Enter")
    until(page, "document.querySelector('#values-1').getAttribute('aria-invalid') === 'true'")
    told = page.locator(f"#{page.get_attribute('#values-1', 'aria-describedby')}")
    assert told.inner_text() == "line: bar 2 holds 3 beats; 4/4 needs 4 (1 too few)"
    page.fill("#values-1", "4 4 4 4r")
    page.press("#values-1", "Enter")
    until(page, "document.querySelector('#counts-1').value === '1 2 3 4r'")
    assert page.get_attribute("#values-1", "aria-invalid") is None
    page.fill("#counts-2", "1 trip let 2 3 4")
    page.press("#counts-2", "Enter")
    until(page, "document.querySelector('#values-2').value === '12 12 12 4 4 4'")


def test_bars_come_and_go_and_undo_brings_every_one_back(page):
    write(page)
    before = values(page)
    page.focus(place(2, 0))
    for kind, number in (("copy bar", 5), ("clear bar", 5), ("add bar", 6), ("remove bar", 5), ("harder", 5)):
        page.click(f"[data-bar='{kind}']")
        until(page, f"document.querySelectorAll('.one-bar').length === {number}")
        assert page.locator("#line-wrong").is_hidden()
    for _ in range(5):
        page.click("#undo")
    until(page, "document.querySelector('#undo').disabled")
    assert values(page) == before
    assert page.inner_text("#saved") == "saved"


def test_lines_come_and_go_by_hand_and_by_keys_and_undo_brings_every_one_back(page, folder):
    write(page)
    assert page.locator("#which-line").is_hidden() and page.locator("#remove-line").is_hidden()
    page.focus("#add-line")
    page.keyboard.press("Enter")
    until(page, "document.querySelector('#line-number').value === '1'")
    assert values(page) == ["1r"] * 4
    assert page.get_attribute("[role=group]:has(> #add-line)", "aria-label") == "Lines"
    assert page.evaluate("document.activeElement.matches('.one-bar:first-child .one-place')")
    until(page, "document.querySelector('#said').textContent === 'Line B is added, with rests to write in'")
    page.keyboard.press(" ")
    until(page, "document.querySelector('#values-0').value === '4 4r 2r'")
    until(page, lambda: of_the_page(page, "lesson.bars.length === 8"))
    page.select_option("#line-number", "0")
    until(page, "document.querySelector('#values-0').value === '4 4 8 8 4'")
    assert page.inner_text("#remove-line") == "remove line A"
    page.click("#remove-line")
    until(page, "document.querySelector('#values-0').value === '4 4r 2r'")
    until(page, "document.querySelector('#said').textContent === 'Line A is removed; line A is shown'")
    assert page.locator("#remove-line").is_hidden()
    for _ in range(2):
        page.click("#undo")
    until(
        page,
        "document.querySelector('#values-0').value === '1r' && document.querySelector('#line-number').value === '1'",
    )
    page.select_option("#line-number", "0")
    until(page, "document.querySelector('#values-0').value === '4 4 8 8 4'")
    page.click("#redo")  # which leads to the line where the change is
    until(page, "document.querySelector('#values-0').value === '4 4r 2r'")
    page.click("#save")
    saved(page)
    text = (folder / "first.toml").read_text()
    assert [one["values"].split(" | ")[0] for one in tomllib.loads(text)["line"]] == ["4 4 8 8 4", "4 4r 2r"]
    assert "# mine" in text and "# to be read aloud first" in text and "# by ear" in text


# --- setting --------------------------------------------------------------------------------------


def test_each_setting_stands_in_the_file_and_what_is_wrong_beside_it(page, folder):
    write(page)
    enter(page, "#tempo", "10")
    page.wait_for_selector("#tempo[aria-invalid=true]")
    told = page.inner_text(f"#{page.get_attribute('#tempo', 'aria-describedby')}")
    assert told == "tempo: 10 is out of range; a tempo runs from 30 to 400"
    enter(page, "#tempo", "96")
    enter(page, "#note", "Count aloud.")
    page.select_option("#reads", '{"long":"bass drum","short":"snare"}')
    page.select_option("#swing", '"straight"')
    page.focus("#timing")
    page.keyboard.press("ArrowRight")
    page.check("#left")
    page.select_option("#form", "blues")
    enter(page, "#choruses", "3")
    page.focus("#balance-line")
    page.keyboard.press("ArrowRight")
    page.click("#add-track")
    page.wait_for_selector("#track-0-tempo")
    enter(page, "#track-0-tempo", "60%")
    page.check("#track-0-out-left-foot")
    page.wait_for_timeout(200)
    page.click("#save")
    saved(page)
    text = (folder / "first.toml").read_text()
    table = tomllib.loads(text)
    assert table["tempo"] == 96 and table["note"] == "Count aloud." and table["choruses"] == 3
    assert table["line"]["played_on"] == {"long": "bass drum", "short": "snare"}
    assert table["feel"] == {"timing_ms": 4.5, "swing": "straight"}
    assert table["kit"] == "left-handed" and table["band"] == {"form": "blues"}
    assert isinstance(table["balance"]["line"], int | float)
    (track,) = table["track"]
    assert track["tempo"] == "60%" and "left foot" in track["without"]
    assert "# mine" in text and "# on every page" in text and "# by ear" in text


def test_a_groove_in_another_meter_is_taken_with_the_line_fitted_to_it(page):
    write(page)
    page.select_option("#groove", "jazz-waltz")
    page.wait_for_selector("#groove[aria-invalid=true]")
    page.click("#fit")
    until(page, "document.querySelector('#meter').textContent.startsWith('3/4')")
    assert values(page)[0] == "4 4 8 8"


def test_a_score_is_read_and_a_line_of_a_level_written(page, tmp_path):
    from music import lesson_of

    from render.paper.notation import line_musicxml

    score = tmp_path / "line.musicxml"
    score.write_bytes(line_musicxml(lesson_of("8 8 4 2 | 1").score))
    write(page)
    page.set_input_files("#score", score)
    until(page, "document.querySelectorAll('.one-bar').length === 2")
    assert values(page) == ["8 8 4 2", "1"]
    (tmp_path / "line.mid").write_bytes(b"MThd")
    page.set_input_files("#score", tmp_path / "line.mid")
    until(page, "!document.querySelector('#score-wrong').hidden")
    assert "line.mid" in page.inner_text("#score-wrong")
    page.select_option("#level", "3")
    page.click("#level-go")
    until(page, "document.querySelectorAll('.one-bar').length === 8")


# --- what else may happen to a file -----------------------------------------------------------------


def test_what_another_program_changes_is_shown_at_once(page, folder):
    write(page)
    (folder / "first.toml").write_text(LESSON.replace("4 4 8 8 4 |", "1 |"))
    until(page, "document.querySelector('#values-0').value === '1'")
    assert "Another program has changed this lesson" in page.inner_text("#notice")
    page.click("#undo")
    until(page, "document.querySelector('#values-0').value === '4 4 8 8 4'")


def test_where_both_changed_the_difference_is_shown_and_nothing_is_written(page, folder):
    write(page)
    page.click(place(1, 48))
    until(page, "document.querySelector('#saved').textContent === 'not saved yet'")
    theirs = LESSON.replace("tempo  = 100", "tempo  = 88")
    (folder / "first.toml").write_text(theirs)
    page.wait_for_selector("#notice pre.difference")
    assert "-tempo  = 88" in page.inner_text("#notice") and "+tempo  = 100" in page.inner_text("#notice")
    page.click("#save")
    page.wait_for_timeout(200)
    assert (folder / "first.toml").read_text() == theirs
    page.click("#notice button:has-text('Save mine')")
    page.fill("#ask-word", "Mine")
    page.click("#ask-yes")
    until(page, "document.querySelector('#head').textContent === 'Mine'")
    assert (folder / "first.toml").read_text() == theirs
    assert 'values = "8 8 4 8 8 4' in (folder / "mine.toml").read_text()


def test_unsaved_work_outlives_the_server_and_the_browser(chrome, tmp_path):
    folder = tmp_path
    (folder / "first.toml").write_text(LESSON)
    with served(folder) as desk, opened(chrome, desk) as page:
        write(page)
        page.click(place(1, 48))
        until(page, "document.body.dataset.kept === '1'")
    assert (folder / "first.toml").read_text() == LESSON
    with served(folder) as desk, opened(chrome, desk) as page:
        write(page)
        assert "Unsaved work was found" in page.inner_text("#notice")
        page.click("#notice button:has-text('Go on with it')")
        until(page, "document.querySelector('#values-0').value === '8 8 4 8 8 4'")
        page.click("#save")
        saved(page)
    assert sorted(path.name for path in folder.iterdir()) == ["first.toml"]


def test_a_lesson_that_cannot_be_read_is_put_right_as_text(page, folder):
    (folder / "broken.toml").write_text(LESSON.replace("tempo  = 100", "tempo = slow"))
    page.wait_for_selector(".card .wrong")
    assert "line 3: tempo = slow: words are written between quotes" in page.inner_text(".card .wrong")
    page.click(".card h2 a:text-is('broken.toml')")
    page.wait_for_selector("#notice:not([hidden])")
    page.fill("#text", LESSON)
    page.click("#text-take")
    page.wait_for_selector("#bars .one-place")
    page.click("#save")
    saved(page)
    assert (folder / "broken.toml").read_text() == LESSON


def test_lessons_are_copied_renamed_and_deleted_from_their_cards(page, folder, monkeypatch):
    monkeypatch.setattr("send2trash.send2trash", lambda path: path.unlink())  # the trash itself has its own test
    page.click("[aria-label='Copy Harbour Street, first line']")
    page.fill("#ask-word", "Second")
    page.click("#ask-yes")
    page.wait_for_selector(".card h2 a:text-is('Second')")
    page.click("[aria-label='Rename Second']")
    page.fill("#ask-word", "Third")
    page.keyboard.press("Enter")
    page.wait_for_selector(".card h2 a:text-is('Third')")
    assert sorted(path.name for path in folder.glob("*.toml")) == ["first.toml", "third.toml"]
    page.click("[aria-label='Delete Third']")
    page.click("#ask-yes")
    page.wait_for_selector(".card h2 a:text-is('Third')", state="detached")
    assert [path.name for path in folder.glob("*.toml")] == ["first.toml"]


def test_chart_and_page_follow_every_change(page):
    write(page)
    until(page, "document.body.dataset.charts && document.body.dataset.pages")
    charts, pages = page.evaluate("[Number(document.body.dataset.charts), Number(document.body.dataset.pages)]")
    page.click(place(1, 48))
    until(page, f"Number(document.body.dataset.charts) > {charts} && Number(document.body.dataset.pages) > {pages}")
    assert "bar 1: 1 & 2 3 & 4" in page.get_attribute("#chart img", "alt")
    assert of_the_page(page, "lesson.bars[0].strokes.flat().some((stroke) => stroke.onset === 0.5)")


def test_a_making_that_is_broken_off_leaves_nothing(page, folder):
    write(page)
    page.click("[data-make=everything]")
    page.click("#making-stop")
    until(page, "document.querySelector('#making').hidden", 30)
    assert not [path for path in folder.rglob("*") if path.is_file() and path.name != "first.toml"]


# --- for everybody --------------------------------------------------------------------------------


@pytest.mark.parametrize(("width", "scheme"), [(390, "light"), (768, "dark"), (1440, "light")])
def test_axe_finds_nothing_and_nothing_runs_off_the_screen(chrome, desk, folder, width, scheme):
    fits = "document.documentElement.scrollWidth <= innerWidth"
    with opened(
        chrome, desk, viewport={"width": width, "height": 800}, color_scheme=scheme, has_touch=width < 800
    ) as page:
        page.wait_for_selector(".card")
        found = Axe().run(page)
        assert found.violations_count == 0, found.generate_report()
        assert page.evaluate(fits)
        write(page)
        page.click("#how")
        page.click("#add-track")
        page.click("#as-text summary")
        enter(page, "#tempo", "10")
        page.wait_for_selector("#tempo[aria-invalid=true]")
        until(page, "document.body.dataset.pages")
        found = Axe().run(page, options={"iframes": False})
        assert found.violations_count == 0, found.generate_report()
        assert page.evaluate(fits)
        small = page.evaluate("""() => [...document.querySelectorAll("button, input, select, a, summary")].filter((one) => {
            const { width, height } = one.getBoundingClientRect();
            return width && (width < 24 || height < 24) && !one.matches("input[type=checkbox], input[type=file]");
        }).map((one) => one.outerHTML.slice(0, 90))""")
        assert small == []


def test_at_two_hundred_percent_everything_is_still_there(chrome, desk, folder):
    with opened(chrome, desk, viewport={"width": 640, "height": 400}, device_scale_factor=2) as page:
        write(page)
        assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
        for shown in ("#save", "#undo", "#hear", place(1, 0), "#tempo", "#chart"):
            page.locator(shown).scroll_into_view_if_needed()
            assert page.locator(shown).is_visible(), shown
