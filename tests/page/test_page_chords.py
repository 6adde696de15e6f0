"""Chord symbols above the staff of the lesson page, in a real browser."""

import pytest
from music import lesson_of
from page_browser import html_of, kit_and_balance, opened

BAND = '[band]\nchords = "F7 | Bb7 - - D7b9 | - | F#m7b5 C7/E"'
BOXES = """(name) => [...document.querySelectorAll(name)].filter(one => one.getClientRects().length).map(one => {
  const box = one.getBoundingClientRect(), bar = one.closest('svg').getBoundingClientRect();
  return {text: one.textContent, left: box.left - bar.left, right: box.right - bar.left,
          top: box.top - bar.top, bottom: box.bottom - bar.top, bar: Math.round(bar.left) + ' ' + Math.round(bar.top)};
})"""


@pytest.fixture
def sheet(chrome, tmp_path):
    html = html_of(lesson_of("4 8 8 4 4 | 4 4 4 4 | 8 8 8 8 2 | 4 4 4 4", tracks=BAND), *kit_and_balance())
    with opened(chrome, html, tmp_path, viewport={"width": 1280, "height": 800}) as found:
        yield found
        assert found.errors == []


def test_each_bar_shows_its_chords_also_one_that_goes_on(sheet):
    said = [one["text"] for one in sheet.page.evaluate(BOXES, "text.chord")]
    assert said == ["F7", "Bb7", "D7b9", "D7b9", "F#m7b5", "C7/E"]


def test_chords_stand_over_their_notes_and_touch_neither_staff_nor_stems_nor_each_other(sheet):
    chords = sheet.page.evaluate(BOXES, "text.chord")
    notes = sheet.page.evaluate(BOXES, "g.note")
    assert len(notes) == 18
    for chord in chords:
        own = [note for note in notes if note["bar"] == chord["bar"]]
        assert min(abs(note["left"] - chord["left"]) for note in own) < 8  # px
        assert chord["top"] >= 0 and all(chord["bottom"] <= note["top"] + 1 for note in own)
        beside = [one for one in chords if one["bar"] == chord["bar"] and one["left"] > chord["left"]]
        assert all(chord["right"] < one["left"] for one in beside)


def test_without_a_band_the_page_has_no_chords():
    assert 'class="chord"' not in html_of(lesson_of(), *kit_and_balance())
