"""Ticks, minutes and the practice log that can be given away, in a real browser and as a file."""

import json
from pathlib import Path

import pytest
from music import lesson_of
from page_browser import Opened, html_of, opened, until

from grooves.errors import LessonError
from render.page.practice_log import PracticeLog, lesson_hash, read_log

ROOT = Path(__file__).parents[2]


def best(sheet, number):
    return sheet.page.locator(".best").nth(number).inner_text()


# --- ticks ---------------------------------------------------------------------------------------


def test_a_tick_holds_up_to_its_tempo_and_is_there_the_next_day(sheet):
    box = sheet.page.locator(".clean-box").nth(1)
    box.check()
    assert best(sheet, 1) == "best 132"
    sheet.page.fill("#tempo", "100")
    sheet.page.locator("#tempo").blur()
    assert box.is_checked()
    sheet.page.reload()
    sheet.page.wait_for_selector("body.ready")
    assert box.is_checked()
    sheet.page.keyboard.press("w")
    sheet.page.keyboard.press("+")
    assert not box.is_checked(), "it was ticked at 132, not at 133"
    box.check()
    assert best(sheet, 1) == "best 133"
    box.uncheck()
    assert best(sheet, 1) == "best 132"


def test_two_tabs_add_their_ticks(sheet):
    other = sheet.page.context.new_page()
    other.goto(sheet.page.url)
    other.wait_for_selector("body.ready")
    sheet.page.locator(".clean-box").nth(0).check()
    until(Opened(other), "document.querySelectorAll('.clean-box:checked').length === 1")  # a browser takes its moment
    other.locator(".clean-box").nth(2).check()
    for page in (sheet.page, other):
        until(Opened(page), "document.querySelectorAll('.clean-box:checked').length === 2")


@pytest.mark.parametrize("kept", ["null", "17", '{"1": "x", "2": [1e999, null]}', "not JSON"])
def test_whatever_lies_in_the_storage_the_page_opens(sheet, kept):
    sheet.page.evaluate("""(kept) => {
        localStorage.setItem(lesson.name, kept);
        localStorage.setItem(`${lesson.name} minutes`, kept);
    }""", kept)  # fmt: skip
    sheet.page.reload()
    sheet.page.wait_for_selector("body.ready")
    sheet.page.locator(".clean-box").nth(0).check()
    assert best(sheet, 0) == "best 132"
    assert sheet.errors == []


def test_without_storage_the_page_works_all_the_same(chrome, html, tmp_path):
    with opened(chrome, html, tmp_path, ready=False) as found:
        found.page.add_init_script(
            "Object.defineProperty(globalThis, 'localStorage', { get() { throw new DOMException('no', 'SecurityError'); } })"
        )
        found.page.reload()
        found.page.wait_for_selector("body.ready")
        found.page.locator(".clean-box").nth(0).check()
        assert best(found, 0) == "best 132"


# --- minutes, and what comes next ----------------------------------------------------------------


def test_minutes_of_the_day_are_counted_while_it_plays(sheet):
    sheet.page.clock.install(time="2026-11-27T18:00:00")
    sheet.page.evaluate("controls.diary.changed(true)")
    sheet.page.clock.run_for(150_000)
    sheet.page.evaluate("controls.diary.changed(false)")
    sheet.page.clock.run_for(600_000)
    assert sheet.page.evaluate("controls.log.minutes") == {"2026-11-27": 2.5}
    assert sheet.page.evaluate("ui.minutes.textContent") == "Today 3 min; in all 3 min on 1 day."


def test_the_hardest_bar_that_is_not_clean_yet_comes_next(sheet):
    hardest = sheet.page.evaluate("lesson.difficulty.indexOf(Math.max(...lesson.difficulty))")
    sheet.page.click("#more")
    assert sheet.page.inner_text("#next") == f"Hardest next: bar {hardest + 1}"
    sheet.page.click("#next")
    assert sheet.page.evaluate("settings.loop") == [hardest]
    sheet.page.click("#close")
    sheet.page.locator(".clean-box").nth(hardest).check()
    assert sheet.page.evaluate("ui.next.textContent") != f"Hardest next: bar {hardest + 1}"
    for number in range(4):
        sheet.page.locator(".clean-box").nth(number).check()
    assert sheet.page.evaluate("ui.next.hidden")


# --- the file ------------------------------------------------------------------------------------


def given(sheet):
    """The log as the page gives it away."""
    with sheet.page.expect_download() as waiting:
        sheet.page.click("#export")
    return waiting.value


def test_a_log_goes_out_as_a_file_and_comes_in_again(sheet, tmp_path):
    sheet.page.locator(".clean-box").nth(1).check()
    sheet.page.evaluate("controls.log.write(`${lesson.name} minutes`, { '2026-11-24': 12.5 })")
    sheet.page.click("#more")
    file = given(sheet)
    assert file.suggested_filename.startswith("fourlimb-practice-")
    path = tmp_path / "log.json"
    file.save_as(path)
    log = read_log(path.read_text(encoding="utf-8"))
    assert log == PracticeLog(
        "Harbour Street, test page", sheet.page.evaluate("lesson.hash"), {"2026-11-24": 12.5}, {"2": (132.0,)}
    )
    sheet.page.evaluate("localStorage.clear(); controls.diary.show()")
    sheet.page.set_input_files("#import", path)
    until(sheet, "ui['log-said'].textContent !== ''")
    assert sheet.page.inner_text("#log-said") == "The log is taken in."
    assert best(sheet, 1) == "best 132"
    assert sheet.page.evaluate("controls.log.minutes") == {"2026-11-24": 12.5}


GOOD = {"format": "fourlimb-practice", "version": 1, "lesson": {"title": "x", "hash": "h"}, "minutes": {}, "bars": {}}


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"format": "other"}, "not a practice log"),
        ({"version": 2}, "of version 2"),
        ({"lesson": {"title": "Another line", "hash": "0"}}, "belongs to another lesson: Another line"),
    ],
)
def test_a_file_that_is_not_this_lesson_s_log_is_refused_in_words(sheet, change, says):
    own = GOOD | {"lesson": {"title": "x", "hash": sheet.page.evaluate("lesson.hash")}} | change
    assert says in sheet.page.evaluate("(text) => controls.log.take(text)", json.dumps(own))
    assert "not JSON" in sheet.page.evaluate("controls.log.take('{')")


def test_what_a_log_says_wrongly_is_passed_over_on_the_page(sheet):
    own = GOOD | {
        "lesson": {"title": "x", "hash": sheet.page.evaluate("lesson.hash")},
        "minutes": {"yesterday": 5, "2026-11-20": -3, "2026-11-21": 30},
        "bars": {"1": [5, "x", 120], "99": [100], "2": "x"},
    }
    assert sheet.page.evaluate("(text) => controls.log.take(text)", json.dumps(own)) == "The log is taken in."
    assert sheet.page.evaluate("[controls.log.minutes, controls.log.read(lesson.name)]") == [
        {"2026-11-21": 30},
        {"1": [120]},
    ]


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"format": "other"}, 'its format is not "fourlimb-practice"'),
        ({"version": 2}, "this log is of version 2; version 1 can be read"),
        ({"lesson": {}}, "does not say which lesson"),
        ({"minutes": {"yesterday": 3}}, "'yesterday' is not a day"),
        ({"minutes": {"2026-11-20": 1500}}, "2026-11-20: 1500 is out of range"),
        ({"bars": {"1": 120}}, "bar 1: 120 is not a list of tempos"),
        ({"bars": {"1": ["fast"]}}, "bar 1: 'fast' is not a number"),
        ({"bars": []}, r"bars: \[\] is not a table"),
        ({"listened": {"today": {"tempo_bpm": 90}}}, "listened: 'today' is not a day"),
        ({"listened": {"2026-11-20": 5}}, "listened: 2026-11-20: 5 is not a table"),
        ({"listened": {"2026-11-20": {"tempo_bpm": 9}}}, "tempo_bpm: 9 is out of range"),
        (
            {"listened": {"2026-11-20": {"tempo_bpm": 90, "lateness_ms": {"left hnad": 3}}}},
            "'left hnad' is no limb; did you mean 'left hand'",
        ),
    ],
)
def test_a_log_is_read_strictly_and_says_what_is_wrong(change, says):
    assert read_log(json.dumps(GOOD)).lesson_hash == "h"
    with pytest.raises(LessonError, match=says):
        read_log(json.dumps(GOOD | change))
    with pytest.raises(LessonError, match="not JSON"):
        read_log("{")


def test_the_hash_holds_title_and_notes_and_nothing_else(kit):
    plain = lesson_hash(lesson_of("4 8 8 4 4"))
    assert plain == lesson_hash(lesson_of("4 8 8 4 4", tempo=90, groove="bossa-nova", feel="timing_ms = 2"))
    assert plain != lesson_hash(lesson_of("4 4 8 8 4"))
    assert f'"hash":"{plain}"' in html_of(lesson_of("4 8 8 4 4"), *kit)


def test_the_example_in_the_documents_can_be_read():
    text = (ROOT / "docs" / "formats.md").read_text(encoding="utf-8")
    log = read_log(text.split("```json\n")[1].split("```")[0])
    assert log.bars == {"1": (96.0, 120.0), "3": (72.0,)} and log.word == "heron"
    assert log.listened["2026-11-26"].lateness_ms == {"right hand": -2.0, "left hand": 14.5}
