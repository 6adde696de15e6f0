"""Texts and signs of a chart keep clear of one another: texts where the PDF prints them, signs from the SVG."""

import re
from dataclasses import dataclass
from itertools import combinations
from pathlib import Path

import pypdfium2
import pytest
from drawn import chart_svg_pages
from lxml import etree
from written import GROOVES, groove, score

from grooves.line import PlayedOn
from grooves.score import Score
from render.lesson.load import load_lesson
from render.paper.pdf import chart_pdf

SVG = "{http://www.w3.org/2000/svg}"
POINTS_PER_MM = 72 / 25.4
LEFT_MM, RIGHT_MM = 14.0, 196.0  # the music's edges on A4
EXAMPLES = Path(__file__).parents[2] / "examples"
CROSS_STICK = PlayedOn("cross-stick", "cross-stick")
LONG = "Harbour Street, an evening class line with a rather long title that says all it is for"
ENDLESS = " ".join(f"Harbour Street {number}" for number in range(1, 40))
Printed = tuple[etree._Element, pypdfium2.PdfTextPage, float]


@dataclass(frozen=True)
class Box:
    """What a text or sign covers, in millimetres from the page's top left corner."""

    what: str
    left: float
    top: float
    right: float
    bottom: float

    def meets(self, other: "Box") -> bool:
        across = self.left < other.right and other.left < self.right
        return across and self.top < other.bottom and other.top < self.bottom


def upbeats() -> Score:
    return load_lesson(EXAMPLES / "upbeats.toml").lesson.score


def bossa() -> Score:
    return score("4^ 8 8 4 4 | 8 8 4 4r 4 | 4 8 4 8 4", "bossa-nova", played_on=CROSS_STICK, title=LONG)


def printed(written: Score, **options) -> list[Printed]:
    """Each page as drawn, its text as printed, and its height in points."""
    pages = chart_svg_pages(written, **options)
    document = pypdfium2.PdfDocument(chart_pdf(pages))
    drawn = zip(pages, document, strict=True)
    return [(etree.fromstring(page), sheet.get_textpage(), sheet.get_height()) for page, sheet in drawn]


def offset(element: etree._Element) -> tuple[float, float]:
    """How far the groups around an element move it."""
    moves = [re.match(r"translate\(([-\d.]+) ([-\d.]+)\)", up.get("transform", "")) for up in element.iterancestors()]
    return sum(float(move[1]) for move in moves if move), sum(float(move[2]) for move in moves if move)


def text_box(text: etree._Element, page: Printed) -> Box:
    """Where a text is printed: of all its copies on the page, the one on its line and nearest to its anchor."""
    _, words, height = page
    x, y = (float(text.get(axis)) + moved for axis, moved in zip("xy", offset(text), strict=True))
    search = words.search(text.text, match_case=True)
    copies = []
    while found := search.get_next():
        start, count = found
        boxes = [words.get_charbox(index) for index in range(start, start + count)]
        left, bottom, right, top = (
            pick(edges) / POINTS_PER_MM
            for pick, edges in zip((min, min, max, max), zip(*boxes, strict=True), strict=True)
        )
        copies.append(Box(text.text, left, height / POINTS_PER_MM - top, right, height / POINTS_PER_MM - bottom))
    anchors = {"end": 1.0, "middle": 0.5}
    share = anchors.get(text.get("text-anchor"), 0.0)
    return min(copies, key=lambda box: abs(box.left + share * (box.right - box.left) - x) + abs(box.bottom - y))


def sign_box(sign: etree._Element) -> Box:
    """What a sign covers, strokes' own thickness left out."""
    kind, (x, y) = sign.get("class"), offset(sign)
    if sign.get("cx"):
        rx, ry = (float(sign.get(name) or sign.get("r")) for name in ("rx", "ry"))
        x, y = x + float(sign.get("cx")), y + float(sign.get("cy"))
        return Box(kind, x - rx, y - ry, x + rx, y + ry)
    first, second = (float(number) for number in re.findall(r"-?[\d.]+", sign.get("d"))[:2])
    wide, high = {"x": (3.0, 3.0), "accent": (2.4, 1.5), "diamond": (4.0, 3.6)}.get(kind, (0.0, 6.0))
    return Box(kind, x + first, y + second, x + first + wide, y + second + high)


def inside(group: etree._Element, page: Printed) -> list[Box]:
    """Texts and signs of a legend."""
    signs = [sign for sign in group.iter() if sign.get("class") in ("black", "x", "empty", "joined", "accent")]
    return [text_box(text, page) for text in group.iter(f"{SVG}text")] + [sign_box(sign) for sign in signs]


def groups(page: Printed, kind: str) -> list[etree._Element]:
    return [found for found in page[0].iter(f"{SVG}g") if found.get("class") == kind]


@pytest.mark.parametrize("lesson", [upbeats, bossa])
def test_the_legends_words_and_signs_keep_apart_and_within_the_margins(lesson):
    (page, legend) = next((page, found) for page in printed(lesson()) for found in groups(page, "legend"))
    boxes = inside(legend, page)
    assert len(boxes) >= 17
    assert [(one.what, other.what) for one, other in combinations(boxes, 2) if one.meets(other)] == []
    assert [box.what for box in boxes if box.left < LEFT_MM - 0.5 or box.right > RIGHT_MM + 0.5] == []
    # The first grid's labels begin below.
    assert max(box.bottom for box in boxes) < text_box(groups(page, "grid")[0].find(f"{SVG}text"), page).top


def row_faults(grid: etree._Element, page: Printed) -> list[str]:
    """Labels of a grid that pass the margins, or come nearer than 0.5 mm to a sign or another text."""
    texts = [text_box(text, page) for text in grid.iter(f"{SVG}text")]
    signs = [
        sign_box(sign) for sign in grid.iter() if sign.get("class") in ("black", "x", "diamond", "accent", "empty")
    ]
    near = [Box(box.what, box.left - 0.5, box.top, box.right + 0.5, box.bottom) for box in texts]
    faults = [f"{text.what} meets {sign.what}" for text in near for sign in signs if text.meets(sign)]
    faults += [f"{one.what} meets {other.what}" for one, other in combinations(texts, 2) if one.meets(other)]
    return faults + [box.what for box in texts if box.left < LEFT_MM - 0.5 or box.right > RIGHT_MM + 0.5]


@pytest.mark.parametrize("lesson", [upbeats, bossa])
def test_labels_and_counts_of_the_grids_keep_clear(lesson):
    faults = [row_faults(grid, page) for page in printed(lesson()) for grid in groups(page, "grid")]
    assert len(faults) >= 2
    assert [fault for grid in faults for fault in grid] == []


def test_the_names_of_a_limb_with_two_instruments_stand_on_two_lines():
    page = printed(score("2 8 8 4", played_on=PlayedOn("snare", "cross-stick")))[0]
    (grid,) = groups(page, "grid")
    names = [text for text in grid.iter(f"{SVG}text") if text.get("class") == "row"]
    assert [name.text for name in names] == ["ride", "snare,", "cross-stick", "bass drum", "hi-hat"]
    assert min(float(name.get("font-size")) for name in names) >= 3.7
    assert row_faults(grid, page) == []


@pytest.mark.parametrize("name", GROOVES)
def test_labels_and_counts_keep_clear_in_every_groove_where_all_is_accented(name):
    line = " ".join(["8^"] * int(groove(name).meter.length * 2))
    written = score(line, name, played_on=CROSS_STICK)
    faults = [row_faults(grid, page) for page in printed(written) for grid in groups(page, "grid")]
    assert len(faults) >= 1
    assert [fault for grid in faults for fault in grid] == []


@pytest.mark.parametrize("values", ["16^ " * 16, "12^ " * 12, "16^ 16^ 8^ 12^ 12^ 12^ 4^ 16^ 16^ 16^ 16^"])
def test_accents_keep_clear_of_the_heads_beside_them_and_above(values):
    for page in printed(score(values.strip(), played_on=CROSS_STICK)):
        for grid in groups(page, "grid"):
            heads = [sign_box(sign) for sign in grid.iter() if sign.get("class") in ("black", "x", "diamond", "circle")]
            accents = [sign_box(sign) for sign in grid.iter() if sign.get("class") == "accent"]
            assert len(accents) >= 11
            assert [
                one.what for one in accents for other in [*heads, *accents] if one is not other and one.meets(other)
            ] == []


def test_counts_too_close_to_be_read_leave_the_beats_alone():
    page = printed(score("32 32 16 8 4 24 24 24 24 24 24 4"))[0]
    (grid,) = groups(page, "grid")
    counts = [text for text in grid.iter(f"{SVG}text") if text.get("class") == "count"]
    assert min(float(count.get("font-size")) for count in counts) >= 3.2
    assert {"1", "2", "3", "4"} <= {count.text for count in counts}
    assert row_faults(grid, page) == []


@pytest.mark.parametrize("title", [LONG, "Harbour Street, upbeats with ties", ENDLESS])
def test_a_long_title_stays_within_the_margins_and_above_the_next_line(title):
    written = score("4 4 4 4", title=title)
    page = printed(written, feel="laid back, with a long skip note and a lazy left foot " * 2)[0]
    texts = [text for text in page[0].iter(f"{SVG}text") if text.get("class") in ("title", "groove", "tempo", "feel")]
    boxes = [text_box(text, page) for text in texts]
    assert [box.what for box in boxes if box.left < LEFT_MM - 0.5 or box.right > RIGHT_MM + 0.5] == []
    assert [(one.what, other.what) for one, other in combinations(boxes, 2) if one.meets(other)] == []


def test_a_title_cut_short_says_so():
    page = printed(score("4 4 4 4", title=ENDLESS))[0]
    lines = [text.text for text in page[0].iter(f"{SVG}text") if text.get("class") == "title"]
    assert len(lines) == 3
    assert re.search(r"[a-z\d]…$", lines[-1])
    assert ENDLESS.startswith(" ".join(lines)[:-1])
