"""The lesson page as a student meets it: in a real browser, from a file, with thumb, keys and screen reader."""

import json
import re

import pytest
from axe_playwright_python.sync_playwright import Axe
from music import lesson_of, parse_text
from page_browser import data_of, html_of, kit_and_balance, opened, until

from grooves.errors import LessonError
from render.page.page import Entry, entry, index_page, page
from render.sound.balance import plain_balance
from render.soundfont.soundfont import open_kit

LINE = "4 8 8 4 4 | 8 4 4 [8 4] | 12 12 12 4 8r 8 4 | 16 16 16 16 8 8 4 4"
PHONE = {"viewport": {"width": 360, "height": 740}, "has_touch": True}
HOSTILE = '</script><img src=x onerror="boom()"> "quoted" & \'single\' 🥁 תרגול ראשון'


@pytest.fixture(scope="module")
def kit():
    return kit_and_balance()


@pytest.fixture(scope="module")
def html(kit):
    return html_of(lesson_of(LINE, feel="timing_ms = 6"), *kit)


@pytest.fixture
def sheet(chrome, html, tmp_path):
    """A lesson, freshly opened on a desk."""
    with opened(chrome, html, tmp_path, viewport={"width": 1280, "height": 800}) as found:
        yield found
        assert found.errors == []


def settings(sheet):
    return sheet.page.evaluate("settings")


def set_up(sheet, **choices):
    """Choose what a round is like without opening the sheet."""
    sheet.page.evaluate("(choices) => controls.practice.set(choices)", choices)


def open_sheet(sheet):
    """Everything else, above the dock."""
    if sheet.page.locator("#sheet").is_hidden():
        sheet.page.click("#more")


# --- one file, alone -----------------------------------------------------------------------------


def test_the_page_asks_for_nothing_and_complains_of_nothing_while_it_plays(sheet):
    sheet.page.click("#play")
    until(sheet, "transport.context.state === 'running' && transport.player.sent > 1")
    sheet.page.click("#play")
    assert sheet.page.evaluate("transport.playing") is False
    addresses = [address.split(":")[0] for address in sheet.requests]
    assert addresses == ["file", "blob"], "its own file, and the timer that it carries itself"


def test_the_policy_allows_its_own_style_and_script_only(chrome, html, tmp_path):
    policy = re.search(r'Content-Security-Policy" content="([^"]*)"', html)[1]
    assert policy.startswith("default-src 'none'; style-src 'sha256-")
    assert "unsafe" not in policy and "http" not in policy and "*" not in policy
    with opened(chrome, html.replace("</body>", "<script>var stranger = 1</script></body>"), tmp_path) as found:
        assert found.page.evaluate("typeof stranger") == "undefined"
        assert any("Content Security Policy" in error for error in found.errors)


def test_the_same_lesson_gives_the_same_bytes(kit, html):
    assert html_of(lesson_of(LINE, feel="timing_ms = 6"), *kit) == html


def test_a_lesson_of_32_bars_stays_under_one_megabyte(kit):
    html = html_of(lesson_of(" | ".join([LINE] * 8), feel="timing_ms = 6"), *kit)
    assert len(html.encode()) < 1_000_000


def test_nothing_in_the_page_points_outside(html):
    outside = re.findall(r'(?:src|href|action)="([^"#][^"]*)"', html)
    assert outside == []
    assert set(re.findall(r"https?://[^\s\"'<]+", html)) == set()


@pytest.mark.parametrize("dangerous", [HOSTILE, "<b>bold</b>", "{{ 7 * 7 }}", "a\u2028b", "]]>"])
def test_a_title_is_shown_as_the_text_it_is(chrome, kit, tmp_path, dangerous):
    text = f'title = {json.dumps(dangerous, ensure_ascii=False)}\ntempo = 120\ngroove = "swing"\n[line]\nvalues = "4 4 4 4"\n'
    with opened(chrome, html_of(parse_text(text), *kit), tmp_path) as found:
        assert found.page.inner_text("h1") == dangerous
        assert found.page.locator("h1 *").count() == 0
        assert found.page.locator("img").count() == 0
        assert found.errors == []
        assert found.page.get_attribute("h1", "dir") == "auto"


def test_a_right_to_left_title_runs_from_the_right(chrome, kit, tmp_path):
    text = 'title = "תרגול ראשון"\ntempo = 120\ngroove = "swing"\n[line]\nvalues = "4 4 4 4"\n'
    with opened(chrome, html_of(parse_text(text), *kit), tmp_path) as found:
        assert found.page.evaluate("getComputedStyle(document.querySelector('h1')).direction") == "rtl"


def test_the_hits_and_their_loudness_are_those_of_the_kit_and_balance_given(kit):
    lesson = lesson_of()
    plain = page(lesson, kit[0], plain_balance())
    mine = page(lesson, *kit)
    sounds = [json.loads(one.split('id="sounds">')[1].split("</script>")[0]) for one in (plain, mine)]
    assert sounds[0]["loudness"]["36"][90] == 0
    assert sounds[1]["loudness"]["36"][90] == pytest.approx(kit[1].level_of(36, 90), abs=1e-4)
    assert sounds[0]["hits"] == sounds[1]["hits"], "the recordings are the kit's"


def test_a_kit_that_lacks_a_drum_says_which(tmp_path, kit):
    damaged = tmp_path / "no.sf2"
    damaged.write_bytes(b"RIFF")
    with pytest.raises(LessonError, match=r"no\.sf2"):
        page(lesson_of(), open_kit(damaged), kit[1])


# --- play and stop -------------------------------------------------------------------------------


def test_no_sound_is_opened_before_somebody_presses_play(chrome, html, tmp_path):
    with opened(chrome, html, tmp_path) as found:
        assert found.page.evaluate("transport.context") is None
        assert found.page.is_enabled("#play")


def test_stop_leaves_silence_also_of_what_was_already_handed_over(sheet):
    loudest = sheet.page.evaluate("""async () => {
        const context = new OfflineAudioContext(2, 3 * RATE, RATE);
        const sound = new Sound(context, lesson, await decodeHits(context, lesson));
        for (const stroke of new Player(lesson, firstSettings(lesson)).pump(3)) sound.strike(stroke);
        context.suspend(1.5).then(() => { sound.silence(); context.resume(); });
        const played = (await context.startRendering()).getChannelData(0);
        const peak = (from, to) => played.slice(from * RATE, to * RATE).reduce((top, x) => Math.max(top, Math.abs(x)), 0);
        return [peak(1, 1.5), peak(1.56, 3)];
    }""")
    assert loudest[0] > 0.01
    assert loudest[1] == 0


def test_hands_on_the_controls_while_it_plays_make_no_stroke_late_or_double(sheet):
    set_up(sheet, countIn=0)
    sheet.page.click("#play")
    for key in ["+", "+", "-", "s", "w"]:
        sheet.page.keyboard.press(key)
        sheet.page.wait_for_timeout(120)
    sheet.page.locator(".choose").nth(2).click()
    for wait in (300, 600, 0):
        sheet.page.locator(".touch[data-limb='right foot']").click()
        sheet.page.wait_for_timeout(wait)
    until(sheet, "transport.strokes.length > 40")
    handed = sheet.page.evaluate("transport.strokes.map(({ id, dropped }) => ({ id, dropped }))")
    assert len([one for one in handed if one["dropped"]]) < 3, "none, unless this machine does other work"
    names = [one["id"] for one in handed]
    assert len(names) == len(set(names))


def test_each_written_stroke_tells_when_it_is_due_in_the_context_s_time_though_it_is_silent(sheet):
    sheet.page.evaluate(
        "transport.change(() => Object.assign(settings, { countIn: 0, alone: false, limbs: { line: 'off' } }))"
    )
    sheet.page.click("#play")
    until(sheet, "transport.strokes.length > 12")
    due = sheet.page.evaluate("""() => transport.strokes.filter(({ voice }) => voice.part === "snare").map(
        ({ when, nominal, heard, cell, onset }) => [when - transport.sound.origin - nominal, heard, cell.position, onset])""")
    assert [place for *_, place in due[:3]] == [0, 1, 1.5]
    assert {heard for _, heard, *_ in due} == {False}
    assert max(abs(off) for off, *_ in due) < 0.001 + 2.5 * 6 / 1000  # the deviations of the feel, nothing else


@pytest.mark.parametrize(("hidden", "seconds"), [("false", 0.8), ("true", 1.8)])
def test_strokes_are_handed_over_well_ahead_and_further_while_the_page_is_hidden(sheet, hidden, seconds):
    sheet.page.evaluate(f"Object.defineProperty(document, 'hidden', {{ get: () => {hidden} }})")
    sheet.page.click("#play")
    ahead = """() => {
        transport.tick();
        return transport.sound.origin + transport.player.sent - transport.context.currentTime;
    }"""
    assert sheet.page.evaluate(ahead) > seconds


def test_without_a_worker_the_page_s_own_timer_plays(chrome, html, tmp_path):
    with opened(chrome, html, tmp_path, ready=False) as found:
        found.page.add_init_script("globalThis.Worker = class { constructor() { throw new Error('none here'); } }")
        found.page.reload()
        found.page.wait_for_selector("body.ready")
        found.page.click("#play")
        until(found, "transport.player.sent > 0.6")


# --- tempo ---------------------------------------------------------------------------------------


def test_tempo_by_keys_by_buttons_by_number_and_by_slider(sheet):
    sheet.page.keyboard.press("+")
    sheet.page.keyboard.press("=")
    sheet.page.keyboard.press("-")
    assert settings(sheet)["tempo"] == 121
    sheet.page.click("#faster")
    sheet.page.click("#slower")
    sheet.page.click("#slower")
    assert settings(sheet)["tempo"] == 120
    sheet.page.fill("#tempo", "87.5")
    sheet.page.keyboard.press("Enter")
    assert settings(sheet)["tempo"] == 87.5
    open_sheet(sheet)
    sheet.page.locator("#slider").fill("200")
    assert (settings(sheet)["tempo"], sheet.page.input_value("#tempo")) == (200, "200")
    sheet.page.click("#slow")
    assert settings(sheet)["tempo"] == 72
    assert sheet.page.get_attribute("#slow", "aria-pressed") == "true"
    sheet.page.click("#slow")
    assert settings(sheet)["tempo"] == 120
    sheet.page.click("#slow")
    sheet.page.click("#written")
    assert settings(sheet)["tempo"] == 120


def test_a_held_button_runs_on_and_faster_and_stops_when_it_is_let_go(sheet):
    sheet.page.hover("#faster")
    sheet.page.mouse.down()
    sheet.page.wait_for_timeout(2200)
    sheet.page.mouse.up()
    tempo = settings(sheet)["tempo"]
    assert tempo > 130, "more than ten steps in two seconds"
    sheet.page.wait_for_timeout(300)
    assert settings(sheet)["tempo"] == tempo
    sheet.page.click("#slower")
    assert settings(sheet)["tempo"] == tempo - 1


@pytest.mark.parametrize(("typed", "tempo"), [("9999", 400), ("1", 30), ("", 120)])
def test_a_tempo_out_of_range_stops_at_its_end_and_no_number_changes_nothing(sheet, typed, tempo):
    sheet.page.fill("#tempo", typed)
    sheet.page.locator("#tempo").blur()
    assert settings(sheet)["tempo"] == tempo
    assert sheet.page.input_value("#tempo") == str(tempo)


def test_taps_set_the_tempo_and_a_long_pause_begins_anew(sheet):
    tempos = sheet.page.evaluate("""() => [0, 0.5, 1.0, 1.5, 9, 10].map((second) => {
        controls.tempo.tap(second);
        return settings.tempo;
    })""")
    assert tempos == [120, 120, 120, 120, 120, 60]


# --- who plays -----------------------------------------------------------------------------------


def test_the_steps_lead_from_the_time_to_your_turn(sheet):
    steps = data_of(sheet.page.content())["steps"]
    assert [(step["name"], step["off"], step["alone"], step["yours"]) for step in steps] == [
        ("The time", [], True, False),
        ("Ride and line", ["right foot", "left foot"], False, False),
        ("And the feet", [], False, False),
        ("Your turn", ["line"], False, True),
    ]
    sheet.page.locator(".steps label").nth(1).click()
    assert settings(sheet)["limbs"] == {"right foot": "off", "left foot": "off"}
    assert sheet.page.locator(".bar").first.locator("[data-part='bass drum'].silent").count() == 4
    sheet.page.locator(".steps label").nth(0).click()
    assert settings(sheet)["alone"] is True
    assert sheet.page.locator(".head[data-part=snare]").count() == 0


def test_in_your_turn_your_notes_are_drawn_boldly_and_the_others_stay(sheet):
    sheet.page.locator(".steps label", has_text="Your turn").click()
    bar = sheet.page.locator(".bar").first
    assert bar.locator(".head.yours[data-part=snare]").count() == 5
    assert bar.locator(".head.silent, .head.yours:not([data-part=snare])").count() == 0
    widths = bar.evaluate("""(bar) => ["snare", "bass drum"].map((part) =>
        parseFloat(getComputedStyle(bar.querySelector(`[data-part="${part}"]`)).strokeWidth))""")
    assert widths[0] > 2 * widths[1]
    assert bar.locator(".signs.yours").count() == 1


def test_each_limb_goes_softer_off_and_on_by_repeated_touch_and_leaves_the_steps(sheet):
    open_sheet(sheet)
    words = sheet.page.locator(".who .limb-name").all_inner_texts()[1].split()
    assert words == ["Left", "hand", "snare,", "the", "line"]
    sheet.page.locator(".steps label", has_text="And the feet").click()
    foot = sheet.page.locator(".touch[data-limb='left foot']")
    foot.click()
    assert settings(sheet)["limbs"] == {"left foot": "softer"}
    assert foot.get_attribute("aria-label") == "Left foot, hi-hat: softer"
    hand = sheet.page.locator(".touch[data-limb='left hand']")
    hand.click()
    hand.click()
    assert settings(sheet)["limbs"] == {"left foot": "softer", "line": "off"}
    assert sheet.page.locator("[name=step]:checked").count() == 0
    sheet.page.locator(".who .limb[data-limb='left hand'] input[value=on] + span").click()
    assert hand.inner_text().split() == ["LH", "on"]
    assert settings(sheet)["limbs"]["line"] == "on"


def test_a_line_read_by_the_foot_has_its_own_switch_and_steps(chrome, kit, tmp_path):
    lesson = lesson_of(LINE, line='played_on = "bass drum"', groove="bossa-nova")
    html = html_of(lesson, *kit)
    steps = data_of(html)["steps"]
    assert [step["name"] for step in steps] == ["The time", "Ride and line", "And the feet", "Everyone", "Your turn"]
    assert steps[1]["off"] == ["left hand", "left foot"]
    with opened(chrome, html, tmp_path) as found:
        names = found.page.evaluate("controls.limbs.switches.map((one) => one.name)")
        assert names == ["right hand", "left hand", "right foot", "left foot"]
        assert found.page.inner_text("#reads") == "The right foot reads on the bass drum."


def test_click_count_in_fade_swing_and_rising_tempo_are_set(sheet):
    open_sheet(sheet)
    sheet.page.locator("[name=click][value='2 and 4'] + span").click()
    sheet.page.select_option("#count-in", "1")
    sheet.page.select_option("#fade", "8")
    sheet.page.select_option("#swing", "as measured")
    sheet.page.select_option("#every", "2")
    sheet.page.select_option("#by", "5")
    sheet.page.fill("#to", "150")
    sheet.page.locator("#to").blur()
    now = settings(sheet)
    assert (now["click"], now["countIn"], now["swing"]) == ("2 and 4", 1, "as measured")
    assert now["fade"] == {"times": 8, "to": -30, "names": ["line"]}
    assert now["rise"] == {"every": 2, "by": 5, "to": 150, "waits": False}
    sheet.page.select_option("#swing", "lesson")
    sheet.page.select_option("#fade", "0")
    sheet.page.select_option("#every", "0")
    now = settings(sheet)
    assert (now["swing"], now["fade"], now["rise"]) == ("by tempo", None, None)


def test_trade_silence_and_fade_give_way_to_one_another(sheet):
    def chosen():
        now = settings(sheet)
        return (
            now["trade"],
            now["silence"],
            now["fade"],
            *(sheet.page.input_value(f"#{name}") for name in ("trade", "silence", "fade")),
        )

    open_sheet(sheet)
    four = {"first": 4, "second": 4, "swap": True}
    sheet.page.select_option("#trade", "4 4")
    assert chosen() == (four, None, None, "4 4", "", "0")
    sheet.page.select_option("#silence", "6 2")
    assert chosen() == (None, {"first": 6, "second": 2, "swap": True}, None, "", "6 2", "0")
    sheet.page.select_option("#fade", "4")
    assert chosen() == (
        None,
        {"first": 6, "second": 2, "swap": True},
        {"times": 4, "to": -30, "names": ["line"]},
        "",
        "6 2",
        "4",
    )
    sheet.page.select_option("#trade", "4 4")
    assert chosen() == (four, None, None, "4 4", "", "0")
    sheet.page.select_option("#fade", "8")
    assert chosen() == (None, None, {"times": 8, "to": -30, "names": ["line"]}, "", "", "8")
    sheet.page.select_option("#fade", "0")
    sheet.page.select_option("#silence", "3 1")
    sheet.page.select_option("#silence", "")
    assert chosen() == (None, None, None, "", "", "0")


@pytest.mark.parametrize(
    ("turns", "words"),
    [
        ({"trade": {"first": 1, "second": 1}}, ["", "yours", "", "yours"]),
        ({"silence": {"first": 1, "second": 2}}, ["", "silence", "silence", ""]),
        ({}, ["", "", "", ""]),
    ],
)
def test_the_page_says_whose_bar_it_is(sheet, turns, words):
    said = sheet.page.evaluate(
        """(turns) => {
            Object.assign(settings, turns);
            transport.player.countIn = 0;
            transport.player.pump(30);
            return [0, 1, 2, 3].map((bar) => {
                view.draw(((4 * bar + 2) * 60) / settings.tempo);
                return ui.where.textContent;
            });
        }""",
        turns,
    )
    assert [text.split(" · ")[2:] for text in said] == [[word] if word else [] for word in words]


# --- for everyone --------------------------------------------------------------------------------


@pytest.mark.parametrize(("width", "scheme"), [(360, "light"), (768, "light"), (1280, "light"), (360, "dark")])
def test_axe_finds_nothing_and_nothing_runs_off_the_screen(chrome, html, tmp_path, width, scheme):
    with opened(
        chrome, html, tmp_path, viewport={"width": width, "height": 800}, color_scheme=scheme, reduced_motion="reduce"
    ) as found:
        found.page.locator(".choose").nth(1).click()
        for state in ("lesson", "sheet", "stand"):
            if state == "sheet":
                open_sheet(found)
            if state == "stand":
                found.page.click("#play")
                found.page.wait_for_selector(".now")
            results = Axe().run(found.page)
            assert results.violations_count == 0, f"{state}: {results.generate_report()}"
            assert found.page.evaluate("document.documentElement.scrollWidth") <= width


def test_everything_to_press_is_48_pixels_or_more_on_a_phone(chrome, html, tmp_path):
    with opened(chrome, html, tmp_path, **PHONE) as found:
        open_sheet(found)
        wanted = "button, select, input[type=number], input[type=range], .steps span, .states label span, .tick, .check"
        sizes = found.page.evaluate(
            """(wanted) => [...document.querySelectorAll(wanted)].map((one) => {
                const box = one.getBoundingClientRect();
                return [one.id || one.className || one.textContent, box.width, box.height];
            }).filter(([, width]) => width)""",
            wanted,
        )
        assert len(sizes) > 40
        assert [size for size in sizes if min(size[1:]) < 47.9] == []


def test_a_screen_reader_hears_each_bar_and_who_sounds_in_it(sheet):
    first = sheet.page.get_by_role("button", name="Bar 1", exact=True)
    told = sheet.page.evaluate(
        "(id) => document.getElementById(id).textContent", first.get_attribute("aria-describedby")
    )
    assert told.startswith("1 both hands and right foot together; 2 all four limbs; 2& both hands")
    assert sheet.page.get_by_role("button", name="Left foot, hi-hat: on").count() == 1
    open_sheet(sheet)
    assert sheet.page.get_by_role("radiogroup", name="Left foot").get_by_role("radio", name="softer").count() == 1
    assert sheet.page.get_by_role("button", name="Play").count() == 1
    assert sheet.page.get_by_role("checkbox", name="Bar 2 clean at 120").count() == 1


def test_printed_it_is_the_full_score_whatever_was_open(sheet):
    sheet.page.locator(".steps label", has_text="Ride and line").click()
    sheet.page.locator(".steps label", has_text="The time").click()
    open_sheet(sheet)
    sheet.page.evaluate("dispatchEvent(new Event('beforeprint'))")
    sheet.page.emulate_media(media="print")
    assert sheet.page.locator(".dock").is_hidden()
    assert sheet.page.locator("#sheet").is_hidden()
    assert sheet.page.locator(".staff").first.is_visible()
    assert sheet.page.locator(".bar").last.locator(".head[data-part=snare]").count() == 8
    pale = "[...document.querySelectorAll('.head')].filter((head) => getComputedStyle(head).opacity < 1).length"
    assert sheet.page.evaluate(pale) == 0


def test_the_cautions_name_warm_up_rest_pain_numbness_ringing_and_a_clinician_and_promise_nothing(html):
    text = re.sub(r"<[^>]*>", " ", html.split('class="care"')[1].split("</section>")[0]).lower()
    for word in ("warm up", "hurts", "numb", "ring", "clinician", "rules"):
        assert word in text
    assert "safe" not in text


# --- the index -----------------------------------------------------------------------------------


def test_the_index_lists_lessons_with_title_groove_tempo_and_bars(chrome, tmp_path):
    lesson = lesson_of(LINE, line="repeat_each = 2", tempo=133.5)
    listed = [entry(lesson, "first.html"), Entry("b c.html", HOSTILE, 90, "Jazz waltz", 1)]
    with opened(chrome, index_page(listed, "Tuesday evening"), tmp_path, ready=False) as found:
        assert found.page.inner_text("h1") == "Tuesday evening"
        assert found.page.title() == "Tuesday evening"
        lines = found.page.locator(".lessons a").all_inner_texts()
        assert [line.split("\n")[-1].strip() for line in lines] == ["Swing, 133.5, 4 bars", "Jazz waltz, 90, 1 bar"]
        assert lines[0].startswith("Harbour Street, test page")
        assert lines[1].startswith(HOSTILE)
        assert found.page.locator(".lessons a").nth(1).get_attribute("href") == "b%20c.html"
        assert Axe().run(found.page).violations_count == 0
        assert found.errors == []


def test_an_index_of_nothing_says_so():
    assert "No lessons yet." in index_page([])
