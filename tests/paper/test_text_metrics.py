"""The room that text is given, against the room it takes in the PDF."""

from html import escape

import pypdfium2
import pytest

from render.paper.pdf import chart_pdf
from render.paper.text_metrics import FONTS, balanced, fitted_mm, packed, width_ems, wrapped

POINTS_PER_MM = 72 / 25.4
SIZE_MM = 10.0
WORDS = (
    "cross-stick, bass drum, hi-hat, ride, snare",
    "right hand left foot",
    "The quick brown fox jumps over a lazy dog",
    "PACK MY BOX WITH FIVE DOZEN JUGS QV",
    "0123456789 : = / + (&) [%] 'x' #*!?",
    "Café Ærø, Grüße, Ångström",
)


def printed_ems(words: str, weight: str) -> float:
    """How wide the PDF sets a text, from its first letter's left edge to its last one's right."""
    text = f'<text x="10" y="20" font-family="{FONTS}" font-size="{SIZE_MM}" font-weight="{weight}">'
    size = 'width="400mm" height="40mm" viewBox="0 0 400 40"'
    svg = f'<svg xmlns="http://www.w3.org/2000/svg" {size}>{text}{escape(words)}</text></svg>'
    page = pypdfium2.PdfDocument(chart_pdf([svg]))[0].get_textpage()
    boxes = [page.get_charbox(index) for index in range(page.count_chars())]
    return (max(box[2] for box in boxes) - min(box[0] for box in boxes)) / POINTS_PER_MM / SIZE_MM


@pytest.mark.parametrize("weight", ["normal", "bold"])
@pytest.mark.parametrize("words", WORDS)
def test_a_text_is_no_wider_than_its_room_and_not_much_narrower(words, weight):
    room = width_ems(words, weight == "bold")
    # Ink from the first letter to the last: the advances of both ends, and kerning, are a little more than it.
    assert 0.94 * room < printed_ems(words, weight) <= room


def test_a_letter_with_an_accent_is_as_wide_as_without():
    assert width_ems("é") == width_ems("e")
    assert width_ems("\U0001f941") > 1


def test_a_text_that_does_not_fit_is_set_smaller():
    assert fitted_mm("snare", 30.0, 5.6) == 5.6
    assert fitted_mm("cross-stick", 20.0, 5.6) * width_ems("cross-stick") == pytest.approx(20.0)


def test_lines_fit_and_lose_no_word():
    words = "again and again " * 8
    lines = wrapped(words, 60.0, 5.0)
    assert " ".join(lines).split() == words.split()
    assert max(width_ems(line) * 5.0 for line in lines) <= 60.0


def test_balanced_lines_are_as_few_and_leave_no_word_alone():
    words = "an evening class line with a rather long title that says what it is and that it is for you"
    greedy = wrapped(words, 180.0, 5.6)
    lines = balanced(words, 180.0, 5.6)
    assert len(lines) == len(greedy) == 2
    assert len(greedy[-1].split()) <= 2
    assert len(lines[-1].split()) > 5


def test_pieces_stay_whole_on_a_line():
    assert packed(["Bars 3–4: as bars 1–2.", "Bar 7: as bar 2."], 70.0, 5.6) == [
        "Bars 3–4: as bars 1–2.",
        "Bar 7: as bar 2.",
    ]
