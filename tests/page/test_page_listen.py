"""The page listens to an electronic kit: Web MIDI as a page sees it, from the cable to the summary, in a real browser."""

import json
import re
from pathlib import Path

import jsonschema
import pytest
from axe_playwright_python.sync_playwright import Axe
from music import lesson_of, text_of
from page_browser import html_of, opened, until
from page_midi import ALONG, EVERYBODY, FAKE, KEYS

from grooves.errors import LessonError
from grooves.takes.sheet import sheet_of
from render.command.cli import main
from render.lesson.check import CheckOptions, check_lesson
from render.lesson.load import load_lesson
from render.page.practice_log import read_log

SCHEMAS = Path(__file__).parents[2] / "docs" / "schemas"
LINE = "4 8 8 4 4 | 12 12 12 4 8r 8 4"
DESK = {"viewport": {"width": 1280, "height": 800}}


@pytest.fixture(scope="module")
def lesson_text():
    return text_of(LINE, tempo=280, feel="timing_ms = 5", top="choruses = 4")


@pytest.fixture(scope="module")
def fast(kit, lesson_text, tmp_path_factory):
    """A fast lesson of two bars, as file and as page."""
    path = tmp_path_factory.mktemp("lesson") / "evening.toml"
    path.write_text(lesson_text)
    return path, html_of(load_lesson(path).lesson, *kit)


def plug_in(found):
    """A kit on the cable, listened to, everyone playing."""
    found.page.add_init_script(FAKE)
    found.page.reload()
    found.page.wait_for_selector("body.ready")
    found.page.evaluate("transport.change(() => Object.assign(settings, { alone: false, limbs: {}, countIn: 1 }))")
    found.page.evaluate("ui['by-cable'].click()")
    until(found, "controls.listen.kind === 'cable'")


@pytest.fixture
def cable(chrome, fast, tmp_path):
    """The page with a kit on the cable, listened to, everyone playing."""
    with opened(chrome, fast[1], tmp_path, ready=False, **DESK) as found:
        plug_in(found)
        yield found
        assert found.errors == []


def along(sheet, **how):
    sheet.page.evaluate(ALONG, {**EVERYBODY, **how})


def rounds(sheet, count):
    """Play until so many rounds are over, and their sentences said."""
    sheet.page.evaluate("controls.toggle()")
    until(sheet, f"controls.listen.session?.bars.at(-1)?.round >= {count}")
    sheet.page.wait_for_timeout(700)


def stop(sheet):
    sheet.page.evaluate("controls.toggle()")
    until(sheet, "!controls.listen.session")


# --- strokes on the screen ------------------------------------------------------------------------

SEEN = """async () => {
    const found = [];
    for (let turn = 0; turn < 5; turn++) {
        const stroke = await new Promise((resolve) => {
            const look = () => {
                const { currentTime } = transport.context;
                const next = transport.strokes.find((one) => one.voice.part === "ride" && one.cell.score && one.when > currentTime && one.when < currentTime + 0.02);
                if (next) resolve(next);
                else setTimeout(look, 4);
            };
            look();
        });
        const before = document.querySelectorAll(".dot").length;
        performance.mark("struck");
        kit.send([0x99, 51, 90]);
        await new Promise((resolve) => requestAnimationFrame(() => requestAnimationFrame(resolve)));
        performance.mark("seen");
        found.push([performance.measure("stroke", "struck", "seen").duration, document.querySelectorAll(".dot").length - before]);
        await new Promise((resolve) => setTimeout(resolve, 300));
    }
    return found;
}"""


def test_a_stroke_is_on_the_screen_within_sixty_milliseconds(cable):
    cable.page.evaluate("settings.tempo = 120")
    cable.page.evaluate("controls.toggle()")
    until(cable, "controls.listen.session && controls.listen.session.bars.length > 0")
    seen = cable.page.evaluate(SEEN)
    assert sorted(length for length, _ in seen)[1] < 60, "from the message to the second frame after it"
    assert sum(more for _, more in seen) >= 2, "a stroke in its place has a dot at once"


def test_dots_lie_left_of_their_heads_where_early_and_right_where_late(cable):
    cable.page.evaluate("controls.listen.log.device = { delays: { cable: 0 } }")
    along(cable, late={"right hand": -40, "left hand": 40})
    rounds(cable, 1)
    sides = cable.page.evaluate("""() => [...document.querySelectorAll(".dot")].map((dot) => {
        const heads = [...dot.parentElement.querySelectorAll(".head")].map((head) => head.getBBox());
        const own = dot.getBBox(), x = own.x + own.width / 2, y = own.y;
        const row = heads.filter((head) => head.y > y - 1 && head.y < y + 3.2);
        const gaps = row.map((head) => x - head.x - head.width / 2);
        return [y < 4, gaps.reduce((best, gap) => Math.abs(gap) < Math.abs(best) ? gap : best, 9)];
    })""")
    hands = [gap for top, gap in sides if top]
    assert len(sides) > 12 and len(hands) > 4
    assert sum(gap < -1 for gap in hands) > 0.6 * len(hands), "40 ms are 2 mm; the right hand's row is on top"
    assert sum(gap > 1 for top, gap in sides if not top) >= 3


# --- what is said ---------------------------------------------------------------------------------


def test_the_summary_is_that_of_check_for_the_take_that_is_saved_at_280_a_minute(cable, fast, tmp_path, capsys):
    along(cable, late={"all": 60, "left hand": 95}, spread=12, skip=[["2", 1.0]])
    rounds(cable, 2)
    assert re.fullmatch(r"Missing: \d+ strokes; look at bar 2\.", cable.page.inner_text("#said"))
    assert cable.page.evaluate(
        "[...document.querySelectorAll('.bar')].map((bar) => bar.classList.contains('look'))"
    ) == [False, True]
    stop(cable)
    said = cable.page.evaluate("[...ui['heard-says'].children].map((one) => one.textContent)")
    path = tmp_path / "take.json"
    with cable.page.expect_download() as waiting:
        cable.page.click("#save")
    assert waiting.value.suggested_filename.startswith("take-")
    waiting.value.save_as(path)
    jsonschema.validate(json.loads(path.read_text()), json.loads((SCHEMAS / "kept-take.json").read_text()))
    report = check_lesson(fast[0], path, CheckOptions())
    assert said == list(report.sentences)
    assert "Your left hand (snare) came" in said[0]
    assert any(one.startswith("In bar 2 the ride was missing on 2 in ") for one in said)
    snare = next(one for one in report.limbs if one.part == "snare")
    assert snare.lateness_ms == pytest.approx(35, abs=5)
    assert report.tempo_bpm == 280 and report.lesson["title"] == "Harbour Street, test page"
    row = cable.page.evaluate("[...ui['heard-limbs'].rows[2].cells].map((cell) => cell.textContent)")
    assert row[:5] == ["left hand (snare)", *(str(n) for n in (snare.written, snare.hit, snare.missed, snare.extra))]
    assert [float(one) for one in row[5:]] == pytest.approx([snare.lateness_ms, snare.spread_ms], abs=0.56)
    assert main(["check", str(fast[0]), str(path)]) == 0
    assert said[0] in " ".join(capsys.readouterr().out.split())


WRITTEN = """() => {
    const { strokes, bars, swing } = controls.listen.session.sheet();
    return [strokes.map(({ seconds, limb, part, role, bar, place }) => [seconds, limb, part, role, bar, place / lesson.divisions]),
        bars.map(({ number, score, seconds, length, beat }) => [number, score, seconds, length, beat]), swing];
}"""


def assert_written(found, lesson, count):
    """The page's first bars, stroke by stroke, are those of the lesson's last track."""
    own_strokes, own_bars, swing = found.page.evaluate(WRITTEN)
    of = sheet_of(lesson, lesson.tracks[-1])
    lead = of.bars[0].onset_seconds - own_bars[0][2]  # the file's count-in is longer
    assert len(own_bars) > count
    for row, bar in zip(own_bars[:count], of.bars, strict=False):
        meant = [bar.number, bar.score_bar, bar.onset_seconds - lead, bar.seconds, bar.beat_seconds]
        assert row == pytest.approx(meant, abs=1e-6)
    mine = sorted((row for row in own_strokes if row[4] < count), key=lambda row: (round(row[0], 5), row[2]))
    written = sorted((s for s in of.strokes if s.bar < count), key=lambda s: (round(s.onset_seconds - lead, 5), s.part))
    for row, one in zip(mine, written, strict=True):
        assert row[1:5] == [one.limb, one.part, one.role, one.bar]
        assert row[0] == pytest.approx(one.onset_seconds - lead, abs=1e-6) and row[5] == pytest.approx(float(one.place))
    assert swing == pytest.approx(of.swing)


def test_what_the_page_calls_written_is_the_track_that_python_writes(cable, fast):
    rounds(cable, 2)
    assert_written(cable, load_lesson(fast[0]).lesson, 4)


def test_a_pickup_is_written_before_its_bar_and_a_band_is_heard_back(chrome, kit, tmp_path):
    text = {"line": 'pickup = "8 8"', "tempo": 280, "feel": "timing_ms = 5", "top": "choruses = 4"}
    lesson = lesson_of("4 8 8 4 4 | 8 8 4 4 4r", tracks='[band]\nform = "one-chord"\npiano = "line"\n', **text)
    with opened(chrome, html_of(lesson, *kit), tmp_path, ready=False, **DESK) as found:
        plug_in(found)
        along(found)
        rounds(found, 2)
        assert min(row[5] for row in found.page.evaluate(WRITTEN)[0]) == -1, "the first stroke of the pickup"
        assert_written(found, lesson, 4)
        stop(found)
        found.page.evaluate("ui['hear-back'].click()")
        assert found.page.evaluate("controls.listen.heard.back.sound.voices.size") > 4
        found.page.evaluate("ui['hear-back'].click(); ui.eight.click()")
        until(found, "controls.listen.delay.running")
        assert found.errors == []


def test_doubles_crosstalk_hung_notes_sysex_and_clock_change_nothing(cable):
    cable.page.evaluate("""() => {
        const send = kit.send;
        kit.send = (data, at) => {
            send([0xf8], at);
            send([0xfe], at);
            send([0xf0, 0x7e, 0x7f, 0x06, 0x01, 0xf7], at);
            send([0xb9, 4, 90], at);
            send(data, at);
            send([0x99, data[1], 0], at + 1);
            send([0x89, data[1], 64], at + 2);
            if (data[1] === 38) { send([0x99, 38, 40], at + 22); send([0x99, 51, 12], at + 3); }
            send([0xa9, data[1], 80], at + 3);
        };
    }""")
    along(cable)
    rounds(cable, 3)
    stop(cable)
    limbs = cable.page.evaluate("controls.listen.heard.taken.limbs")
    assert [row[4] for row in limbs] == ["0"] * 4, "none too many"
    assert all(int(row[3]) <= 0.2 * int(row[1]) for row in limbs), "none lost, unless this machine does other work"
    dots = cable.page.evaluate("struck.length >= document.querySelectorAll('.dot').length")
    assert dots, "an echo has no dot"


def test_a_pad_that_is_not_known_is_guessed_and_can_be_told(cable):
    along(cable, keys={**KEYS, "hi-hat": 22, "ride": 23})
    rounds(cable, 2)
    stop(cable)
    assert "Key 22 was taken for the hi-hat." in cable.page.inner_text("#heard-says")
    cable.page.evaluate("clearInterval(along); ui['strike-each'].click()")
    order = []
    for key in (23, 38, 38, 36, 22):
        order.append(
            cable.page.inner_text("#listen-said")
            if cable.page.locator("#sheet").is_visible()
            else cable.page.evaluate("ui['listen-said'].textContent")
        )
        cable.page.evaluate("(key) => kit.send([0x99, key, 90])", key)
    assert order == [f"Strike once: {part}." for part in ("ride", "snare", "bass drum", "bass drum", "hi-hat")]
    assert cable.page.evaluate("Object.fromEntries(controls.listen.told)") == {
        "22": "hi-hat",
        "23": "ride",
        "36": "bass drum",
        "38": "snare",
    }


# --- by itself ------------------------------------------------------------------------------------


def test_three_clean_rounds_tick_and_the_tempo_rises_two_bad_ones_and_it_falls(cable):
    cable.page.evaluate("""() => {
        ui["by-itself"].checked = true;
        ui.width.value = "30";
        transport.change(() => transport.player.loop([0]));
        controls.practice.set({ rise: { every: 1, by: 8, to: 300, waits: true } });
        controls.practice.lowest = 264;
        globalThis.tempos = [];
        const set = controls.tempo.set.bind(controls.tempo);
        controls.tempo.set = (tempo) => { tempos.push(tempo); set(tempo); };
    }""")
    along(cable, late={"all": 40}, spread=16)
    rounds(cable, 3)
    until(cable, "settings.tempo === 288")
    assert cable.page.evaluate("controls.log.best('1')") in (280, 288)
    cable.page.evaluate("clearInterval(along); tempos.length = 0")
    along(cable, late={"all": 40, "left hand": 110}, spread=0, seed=2)
    until(cable, "tempos.length > 0")
    assert cable.page.evaluate("tempos[0]") == 280


def test_how_near_is_near_enough_is_the_student_s_choice(cable):
    cable.page.evaluate("transport.player.loop([0]); ui['by-itself'].checked = true; ui.width.value = '20'")
    along(cable, late={"all": 0, "left hand": 36})
    rounds(cable, 3)
    assert not cable.page.evaluate("controls.log.best('1')")
    cable.page.evaluate("ui.width.value = '50'")
    until(cable, "controls.log.best('1') === 280")


# --- the delay, the log, and all of it deleted ----------------------------------------------------


def test_eight_clicks_tell_the_delay_and_it_is_taken_off(cable):
    cable.page.evaluate("""() => {
        const strike = Sound.prototype.strike;
        const clicks = [];
        const clock = new HeardClock();
        Sound.prototype.strike = function (stroke) {
            strike.call(this, stroke);
            clicks.push(this.when(stroke.seconds) + 0.062);
        };
        setInterval(() => {
            if (transport.context) clock.read(transport.context);
            if (clicks.length && clock.at(performance.now()) > clicks[0]) kit.send([0x99, 38, 90], (clicks.shift() - clock.at(performance.now())) * 1000 + performance.now());
        }, 10);
    }""")
    cable.page.evaluate("ui.eight.click()")
    until(cable, "controls.listen.late !== null")
    assert cable.page.evaluate("controls.listen.late") == pytest.approx(62, abs=6)
    assert "delay is" in cable.page.evaluate("ui['delay-said'].textContent")
    assert cable.page.evaluate("delayOf([0.05, 0.8], [0, 0.75, 1.5]).trouble").startswith("Only 2 of 8 clicks")
    uneven = "delayOf([0.2, 0.6, 1.7, 2.1, 3.2, 3.6], [0, 0.75, 1.5, 2.25, 3, 3.75]).trouble"
    assert "too uneven" in cable.page.evaluate(uneven)


def test_a_tap_while_the_clicks_sound_is_a_tap_and_nothing_else(sheet):
    sheet.page.click("#more")
    sheet.page.click("#eight")
    until(sheet, "controls.listen.delay.running")
    sheet.page.keyboard.press("Space")
    sheet.page.click("#tap-along")
    assert sheet.page.evaluate("[controls.listen.delay.strokes.length, transport.playing]") == [2, False]
    assert sheet.page.inner_text("#listen-said") == "Tap along to the clicks."


def test_the_log_takes_tempo_and_lateness_of_limbs_and_a_word_and_the_hardest_bar_follows(cable, tmp_path):
    along(cable, late={"left hand": 45}, skip=[["1", 2.0]])
    rounds(cable, 3)
    stop(cable)
    assert cable.page.evaluate("controls.log.trouble")["1"] > cable.page.evaluate("controls.log.trouble")["2"]
    cable.page.click("#more")
    assert cable.page.inner_text("#next") == "Hardest next: bar 1"
    cable.page.fill("#word", "  heron  ")
    with cable.page.expect_download() as waiting:
        cable.page.click("#export")
    waiting.value.save_as(tmp_path / "log.json")
    jsonschema.validate(
        json.loads((tmp_path / "log.json").read_text()), json.loads((SCHEMAS / "practice-log.json").read_text())
    )
    log = read_log((tmp_path / "log.json").read_text())
    (day,) = log.listened.values()
    assert log.word == "heron" and day.tempo_bpm == 280
    assert day.lateness_ms["left hand"] == pytest.approx(45, abs=6)


def test_one_button_deletes_everything_that_is_kept(cable):
    along(cable)
    rounds(cable, 1)
    stop(cable)
    cable.page.click("#keep")
    until(cable, "ui['heard-said'].textContent.startsWith('This take is kept')")
    cable.page.evaluate("controls.log.word = 'heron'; controls.log.tick('1', 100, true); controls.log.add(60)")
    cable.page.reload()
    cable.page.wait_for_selector("body.ready")
    until(cable, "!ui.heard.hidden")
    assert cable.page.inner_text("#heard-said") == "This take is kept on this device."
    cable.page.click("#more")
    cable.page.click("#delete-all")
    assert cable.page.evaluate("localStorage.length") > 0
    cable.page.click("#delete-all")
    until(cable, "ui['log-said'].textContent.startsWith('All is deleted')")
    assert cable.page.evaluate("localStorage.length") == 0
    assert cable.page.evaluate("keptTake(lesson)") is None
    assert cable.page.evaluate("ui.heard.hidden && ui.word.value === ''")


def test_nothing_that_is_heard_is_kept_unless_asked_for(cable):
    along(cable)
    rounds(cable, 1)
    stop(cable)
    assert cable.page.evaluate("keptTake(lesson)") is None
    cable.page.evaluate("ui['let-go'].click()")
    until(cable, "ui.heard.hidden")
    addresses = {address.split(":")[0] for address in cable.requests}
    assert addresses <= {"file", "blob"}


# --- what may go wrong ----------------------------------------------------------------------------


def test_a_kit_that_is_pulled_out_and_plugged_in_again_is_told_in_words(cable):
    said = "ui['listen-said'].textContent"
    assert cable.page.evaluate(said) == "Listening to a kit."
    cable.page.evaluate("kit.pull()")
    assert cable.page.evaluate(said).startswith("The kit is unplugged.")
    cable.page.evaluate("kit.plug()")
    assert cable.page.evaluate(said) == "Listening to a kit."
    cable.page.evaluate("ui['stop-listening'].click()")
    assert cable.page.evaluate("kit.input.onmidimessage") is None


NO_MIDI = {
    "() => { navigator.requestMIDIAccess = async () => { throw new DOMException('no', 'NotAllowedError'); }; }": "told not to use MIDI",
    "() => { navigator.requestMIDIAccess = async () => { throw new DOMException('no', 'InvalidStateError'); }; }": "finds no MIDI on this device",
    "() => { navigator.requestMIDIAccess = async () => ({ inputs: new Map() }); }": "No kit is found",
    "() => { delete navigator.requestMIDIAccess; delete Navigator.prototype.requestMIDIAccess; }": "This browser has no MIDI. Chrome, Edge",
}


def test_a_browser_without_midi_or_without_leave_says_so_and_the_page_plays(sheet):
    for script, says in NO_MIDI.items():
        sheet.page.evaluate(script)
        sheet.page.evaluate("ui['listen-said'].textContent = ''; ui['by-cable'].click()")
        until(sheet, "ui['listen-said'].textContent !== ''")
        assert says in sheet.page.evaluate("ui['listen-said'].textContent")
    sheet.page.evaluate("controls.toggle()")
    until(sheet, "transport.player.sent > 1")
    sheet.page.evaluate("controls.toggle()")
    assert sheet.page.evaluate("ui.heard.hidden")


WIDE = """[...document.querySelectorAll("#sheet *, .heard > *")].filter((one) => one.getBoundingClientRect().right > innerWidth + 1)
    .map((one) => one.id || one.className)"""


def test_the_sheet_and_the_summary_have_nothing_that_axe_complains_of(cable):
    along(cable, skip=[["2", 1.0]])
    rounds(cable, 1)
    stop(cable)
    for scheme, width, height in (("light", 1280, 800), ("dark", 360, 740)):
        cable.page.set_viewport_size({"width": width, "height": height})
        cable.page.emulate_media(color_scheme=scheme)
        assert Axe().run(cable.page).response["violations"] == []
        cable.page.click("#more")
        assert Axe().run(cable.page).response["violations"] == []
        assert cable.page.evaluate(WIDE) == []
        cable.page.click("#close")


# --- the file, read strictly ----------------------------------------------------------------------


PAPER = {
    "format": "fourlimb-take",
    "version": 1,
    "lesson": {"title": "x", "hash": "h"},
    "kind": "cable",
    "tempo_bpm": 120,
    "step": "Everyone",
    "delay_ms": None,
    "swing": 2.0,
    "divisions": 2,
    "voices": [["right hand", "ride", "time"]],
    "bars": [[1, 0, 0.0, 2.0, 0.5]],
    "written": [[0.5, 0, 0, 2, 0]],
    "played": [[0.51, 51, 90]],
}
FAULTS = [
    ({"format": "other"}, 'its format is not "fourlimb-take"'),
    ({"version": 2}, "this take is of version 2; 1 can be read"),
    ({"lesson": {"title": "x"}}, "lesson, hash is missing"),
    ({"kind": "spoon"}, "kind: 'spoon' does not fit"),
    ({"tempo_bpm": 5}, "tempo_bpm: 5 does not fit"),
    ({"delay_ms": 5000}, "delay_ms: 5000 does not fit"),
    ({"divisions": 0}, "divisions: 0 does not fit"),
    ({"bars": []}, "bars: .* does not fit"),
    ({"bars": [[1, 0, 2.0, 2.0, 0.5], [2, 1, 1.0, 2.0, 0.5]]}, "its bars are not in order of time"),
    ({"written": [[0.5, 3, 0, 2, 0]]}, "a stroke is of no voice or bar"),
    ({"written": [[0.5, 0, 7, 2, 0]]}, "a stroke is of no voice or bar"),
    ({"written": [["soon", 0, 0, 2, 0]]}, "written, 1, 1: 'soon' does not fit"),
    ({"voices": [["third hand", "ride", "time"]]}, "third hand, ride, time is nobody who plays"),
    ({"played": [[0.5, 200, 90]]}, "played, 1, 2: 200 does not fit"),
    ({"pads": {"300": "ride"}}, "pads: 300 = ride is no pad"),
]


@pytest.mark.parametrize(("change", "says"), FAULTS)
def test_a_kept_take_is_read_strictly_and_says_what_is_wrong(tmp_path, change, says):
    from grooves.rhythm import Meter
    from render.hearing.kept_take import kept_take

    path = tmp_path / "take.json"
    path.write_text(json.dumps(PAPER))
    assert kept_take(path, Meter(4, 4)).struck[0].key == 51
    path.write_text(json.dumps(PAPER | change))
    with pytest.raises(LessonError, match=says):
        kept_take(path, Meter(4, 4))
    path.write_text("{")
    with pytest.raises(LessonError, match="not JSON"):
        kept_take(path, Meter(4, 4))


def test_a_take_of_another_lesson_or_of_a_changed_line_is_refused_by_name(fast, tmp_path):
    path = tmp_path / "take.json"
    path.write_text(json.dumps(PAPER))
    with pytest.raises(LessonError, match="was played to 'x', and this lesson is 'Harbour Street, test page'"):
        check_lesson(fast[0], path, CheckOptions())
    path.write_text(json.dumps(PAPER | {"lesson": {"title": "Harbour Street, test page", "hash": "0"}}))
    with pytest.raises(LessonError, match="before its line was changed"):
        check_lesson(fast[0], path, CheckOptions())
    without = {key: value for key, value in PAPER.items() if key != "played"}
    lesson = load_lesson(fast[0]).lesson
    from render.page.practice_log import lesson_hash

    path.write_text(json.dumps(without | {"lesson": {"title": lesson.title, "hash": lesson_hash(lesson)}}))
    with pytest.raises(LessonError, match="name the recording it lies beside"):
        check_lesson(fast[0], path, CheckOptions())
