"""The page's band plays what `perform` performs: notes, velocities, times and sound, in a real browser."""

import json

import numpy as np
import pytest
from music import lesson_of
from page_browser import RATE, data_of, html_of, kit_and_balance, opened

from grooves.passages import Track, track_passages
from grooves.performance import perform
from render.sound.balance import velocities

LINE = "4 8 8 4 4 | 8 4 4 [8 4] | 12 12 12 4 8r 8 4 | 16 16 16 16 8 8 [4 8] 8"
HUMAN = "timing_ms = 6\nlevel_lu = 1\nseed = 7"
BLUES = '[band]\nform = "blues"\n'
NOTES = """([own, seconds, step]) => {
    if (step !== null) controls.steps.take(step);
    const player = new Player(lesson, { ...firstSettings(lesson), ...(step === null ? {} : settings), ...own });
    return player.pump(seconds).filter((one) => one.voice.band).map((one) => (
        { seconds: one.seconds, until: one.until, part: one.voice.part, key: one.key, level: one.level, velocity: one.velocity }));
}"""


@pytest.fixture(scope="module")
def kit():
    return kit_and_balance()


@pytest.fixture(scope="module")
def shown(chrome, kit, tmp_path_factory):
    """Three choruses of a blues with a bass that walks and a piano that comps, open in the browser."""
    lesson = lesson_of(LINE, feel=HUMAN, top="choruses = 9", tracks=BLUES)
    with opened(chrome, html_of(lesson, *kit), tmp_path_factory.mktemp("page")) as page:
        yield lesson, page
        assert page.errors == []


def played(page, own, seconds, step=None):
    """The notes that the page gives out before a moment."""
    found = page.page.evaluate(NOTES, [own, seconds, step])
    return sorted(found, key=lambda note: (note["seconds"], note["part"], note["key"]))


def expected(lesson, kit, track, seconds):
    """The notes of a performance that begin before a moment, with their velocities."""
    passages = track_passages(track, lesson.score, lesson.choruses, lesson.count_in)
    performance = perform(lesson.score, passages, lesson.feel, lesson.balance_lu)
    pairs = zip(performance.notes, velocities(performance, kit[1])[len(performance.hits) :], strict=True)
    return [(note, velocity) for note, velocity in pairs if note.onset_seconds < seconds]


def assert_same(found, wanted, ends=True):
    """Same notes, beginning and ending within half a sample, same velocities."""
    assert [(one["part"], one["key"]) for one in found] == [(note.part, note.key) for note, _ in wanted]
    times = np.array([one["seconds"] for one in found]) - np.array([note.onset_seconds for note, _ in wanted])
    assert np.abs(times).max() < 0.5 / RATE
    if ends:
        until = [one["until"] for one in found]
        lasts = np.array(until) - np.array([note.onset_seconds + note.length_seconds for note, _ in wanted])
        assert np.abs(lasts).max() < 0.5 / RATE
    levels = np.array([one["level"] for one in found]) - np.array([note.level_lu for note, _ in wanted])
    assert np.abs(levels).max() < 1e-4
    assert [one["velocity"] for one in found] == [velocity for _, velocity in wanted]


def test_the_page_plays_the_notes_of_the_performance_through_all_choruses(shown, kit):
    lesson, page = shown
    wanted = expected(lesson, kit, Track("x"), 75)
    assert len(wanted) > 300 and {note.part for note, _ in wanted} == {"bass", "piano"}
    assert_same(played(page, {}, 75), wanted)


@pytest.mark.parametrize("tempo", [48, 207])
def test_at_another_tempo_the_same_notes_come_sooner_or_later(shown, kit, tempo):
    lesson, page = shown
    assert_same(played(page, {"tempo": tempo}, 40), expected(lesson, kit, Track("x", tempo_bpm=tempo), 40))
