"""A handout: one sheet a week, its lines with counts, the hardest bars once each, a note, room to write; cautions once."""

import io

import pypdfium2
import pytest
from lxml import etree
from music import lesson_of

from grooves.teaching.coordination import hardest_first
from render.paper.cautions import CAUTIONS
from render.paper.handout import HandoutSheet, handout, handout_svg_pages

EASY = "4 4 4 4 | 4 4 4r 4 | 2 2 | 4 4 2"
HARD = "8r 4 4 4 8 | 8 4 8 8r 8 4 | 8r 4 4 4 8 | 4 8 8 2"
SVG = {"s": "http://www.w3.org/2000/svg"}


def sheet(week: int, *lines: str, note: str = "") -> HandoutSheet:
    scores = [(f"Line {number}", lesson_of(line, tempo=96).score) for number, line in enumerate(lines, 1)]
    return HandoutSheet(f"Monday, week {week}", tuple(scores), note)


def words_of(page: str) -> str:
    return " ".join(etree.fromstring(page).xpath("//s:text//text()", namespaces=SVG))


def test_every_week_has_one_sheet_with_its_title_and_cautions_stand_on_the_first_alone():
    pages = handout_svg_pages([sheet(1, EASY, HARD), sheet(2, HARD), sheet(3, EASY)])
    assert [f"Monday, week {week}" in words_of(page) for week, page in enumerate(pages, 1)] == [True] * 3
    caution = CAUTIONS[0].split(".")[0]
    assert [caution[:30] in words_of(page) for page in pages] == [True, False, False]


def test_a_sheet_shows_its_note_its_lines_with_counts_and_who_reads():
    (page,) = handout_svg_pages([sheet(5, EASY, HARD, note="bring brushes")])
    said = words_of(page)
    assert "bring brushes" in said and "Line 1, on the snare" in said and "Line 2, on the snare" in said
    counts = etree.fromstring(page).xpath("//s:g[contains(@class, 'verse')]", namespaces=SVG)
    assert counts, "the line's counts are engraved as a verse below it"


def test_the_two_hardest_rhythms_of_the_week_are_drawn_each_once():
    one = sheet(1, EASY, HARD)
    (page,) = handout_svg_pages([one])
    said = words_of(page)
    ranked = [found.number for found in hardest_first(one.lines[1][1])]
    # Bars 1 and 3 of the hard line are one rhythm.
    first, second = ranked[0], next(bar for bar in ranked[1:] if {bar, ranked[0]} != {1, 3})
    assert f"Line 2, bar {first}" in said and f"Line 2, bar {second}" in said
    assert len(etree.fromstring(page).xpath("//s:g[@class='grid']", namespaces=SVG)) == 2


def test_one_line_alone_has_its_grids_abreast():
    (page,) = handout_svg_pages([sheet(1, HARD)])
    assert len(etree.fromstring(page).xpath("//s:g[@class='grid']", namespaces=SVG)) == 1
    assert "Bars " in words_of(page)


@pytest.mark.parametrize("lines", [1, 2, 3])
def test_there_is_room_to_write_above_the_foot(lines):
    (page,) = handout_svg_pages([sheet(2, *[HARD] * lines, note="Count aloud.")])
    drawn = etree.fromstring(page)
    (rules,) = drawn.xpath("//s:path[@class='ruled']", namespaces=SVG)
    assert rules.get("d").count("M") >= 2
    block = rules.getparent().getparent()
    top = float(block.get("transform").removeprefix("translate(0 ").rstrip(")"))
    lowest = top + max(float(step.split()[1]) for step in rules.get("d").split("M")[1:])
    assert lowest <= 297 - 14


def test_what_does_not_fit_on_one_sheet_goes_on():
    pages = handout_svg_pages([sheet(1, *[" | ".join([HARD] * 4)] * 6)])
    assert len(pages) > 1
    assert f"1 / {len(pages)}" in words_of(pages[0])


def test_no_id_stands_twice_on_a_sheet():
    (page,) = handout_svg_pages([sheet(1, HARD, HARD)])
    ids = etree.fromstring(page).xpath("//@id")
    assert len(ids) == len(set(ids))


def test_the_pdf_has_a_title_and_only_shades_of_grey():
    document = pypdfium2.PdfDocument(handout("Autumn: Monday", [sheet(1, EASY, note="Grüße"), sheet(2, HARD)]))
    assert (len(document), document.get_metadata_dict()["Title"]) == (2, "Autumn: Monday")
    picture = document[0].render(scale=0.5).to_pil().convert("RGB")
    assert all(max(colour) - min(colour) <= 2 for _, colour in picture.getcolors(1 << 20))
    assert io.BytesIO(handout("a", [sheet(1, EASY)])).getvalue() == handout("a", [sheet(1, EASY)])
