"""The printed chart: what stands on it is read from its SVG and from the PDF's own text."""

import re
import struct
from itertools import pairwise

import pypdfium2
import pytest
from drawn import SVG, chart, chart_svg_pages, of_class, texts
from lxml import etree
from written import FEET_READ, GROOVES, SNARE, groove, score

from grooves.errors import LessonError
from grooves.line import PlayedOn
from render.paper.pdf import chart_pdf
from render.paper.text_metrics import width_ems

EIGHT_LINES = " | ".join(["4 8 8 4 4", "8 4 4 4 8", "4 4r 8 8 4", "8r 8 4 4. 8"] * 8)


def only_page(*args, **options) -> etree._Element:
    (page,) = chart_svg_pages(*args, **options)
    return etree.fromstring(page)


def whole(*args, **options) -> etree._Element:
    return etree.fromstring(chart(*args, form="svg", **options))


def grids(root: etree._Element) -> list[etree._Element]:
    return of_class(root, "grid")


# --- the grid -----------------------------------------------------------------------------------


def test_a_swing_bar_has_a_triplet_grid_with_its_counts_and_rows():
    (grid,) = grids(whole(score("4 4 4 4")))
    assert texts(grid, "count") == ["1", "trip", "let", "2", "trip", "let", "3", "trip", "let", "4", "trip", "let"]
    assert texts(grid, "row") == ["ride", "snare", "bass drum", "hi-hat"]
    assert texts(grid, "limb") == ["RH", "LH", "RF", "LF"]


def test_a_written_upbeat_stands_with_the_rides_skip_note():
    (grid,) = grids(whole(score("4 8 8 4 4")))
    joined = {path.get("data-place"): path[0].text for path in of_class(grid, "joined")}
    assert joined == {
        "1": "1: both hands and right foot together",
        "2": "2: all four limbs",
        "2&": "2&: both hands",
        "3": "3: both hands and right foot together",
        "4": "4: all four limbs",
    }


def test_a_stroke_that_is_alone_is_not_joined():
    (grid,) = grids(whole(score("8 8 4 4 4")))
    assert "1&" not in {path.get("data-place") for path in of_class(grid, "joined")}


def test_every_stroke_has_its_head_and_crosses_are_cymbals():
    (grid,) = grids(whole(score("4 8 8 4 4")))
    assert len(of_class(grid, "black")) == 5 + 4  # snare and bass drum
    assert len(of_class(grid, "x")) == 6 + 2  # ride and foot


def test_a_joining_stroke_runs_from_the_upper_to_the_lower_head():
    (grid,) = grids(whole(score("1r")))
    on_two = next(path for path in of_class(grid, "joined") if path.get("data-place") == "2")
    _, top, bottom = (float(number) for number in re.findall(r"[\d.]+", on_two.get("d")))
    rows = {row.text: float(row.get("y")) - 1.6 for row in of_class(grid, "row")}
    assert (top, bottom) == (pytest.approx(rows["ride"]), pytest.approx(rows["hi-hat"]))


def test_the_limb_that_reads_is_bold():
    (grid,) = grids(whole(score("4 4 4 4", played_on=FEET_READ)))
    assert [row.text for row in of_class(grid, "row") if row.get("font-weight") == "bold"] == ["bass drum"]


def test_sixteenths_stand_on_a_grid_of_sixteenths():
    (grid,) = grids(whole(score("16 16 16 16 4 4 4")))
    assert texts(grid, "count")[:5] == ["1", "e", "&", "a", "2"]


def test_a_straight_groove_has_a_straight_grid():
    (grid,) = grids(whole(score("4 4 4 4", "straight-eighths")))
    assert texts(grid, "count") == ["1", "&", "2", "&", "3", "&", "4", "&"]


def test_a_lessons_own_feel_overrules_the_grooves_grid():
    (grid,) = grids(whole(score("4 4 4 4", swing="straight")))
    assert texts(grid, "count") == ["1", "&", "2", "&", "3", "&", "4", "&"]


@pytest.mark.parametrize("name", GROOVES)
def test_every_groove_has_one_head_for_every_stroke(name):
    meter = groove(name).meter
    written = score(" ".join(["8"] * int(meter.length * 2)), name)
    (grid,) = grids(whole(written))
    heads = [of_class(grid, kind) for kind in ("black", "x", "diamond")]
    assert sum(map(len, heads)) == len(written.bars[0].strokes)


@pytest.mark.parametrize("name", GROOVES)
def test_counts_keep_clear_of_each_other(name):
    meter = groove(name).meter
    (grid,) = grids(whole(score(" ".join(["16"] * int(meter.length * 4)), name)))
    counts = [(float(text.get("x")), float(text.get("font-size")), text.text) for text in of_class(grid, "count")]
    for (x, size, word), (next_x, _, next_word) in pairwise(counts):
        # 0.5 em a letter on average in Times; as they are printed: test_chart_room
        assert next_x - x > size * 0.45 * (len(word) + len(next_word)) / 2


# --- which bars ---------------------------------------------------------------------------------


def test_bars_of_one_rhythm_are_drawn_once_and_referred_to():
    root = whole(score("4 4 4 4 | 2 2 | 4 4 4 4 | 2 2 | 2 2"))
    assert texts(root, "bar") == ["Bars 1, 2"]
    assert texts(of_class(root, "words")[0]) == ["Bars 3–4: as bars 1–2. Bar 5: as bar 2."]


def test_chosen_bars_alone_have_drum_notation_and_a_grid_but_the_line_stays_whole():
    root = whole(score("4 4 4 4 | 2 2 | 1"), bars=[2])
    assert texts(root, "bar") == ["Bar 2"]
    measures = of_class(root, "measure")
    assert [measure.get("id").split("-")[0] for measure in measures] == ["line", "line", "line", "drums"]


def test_a_bar_that_is_not_there_is_refused():
    with pytest.raises(LessonError, match="bar 6 is not in this line; it has bars 1 to 2"):
        chart(score("1 | 1"), "svg", bars=[6])


def test_a_bar_repeated_in_a_row_has_one_grid_and_no_reference():
    root = whole(score("4 4 4 4 | 2 2", repeat_each=4))
    assert texts(root, "bar") == ["Bars 1, 2"]
    assert of_class(root, "words") == []


def test_each_way_of_reading_has_its_notation_and_grids():
    root = whole(score("4 4 4 4", played_on=[SNARE, PlayedOn("bass drum", "bass drum")]))
    assert [heading for heading in texts(root) if heading.startswith("All limbs")] == [
        "All limbs, the line on the snare",
        "All limbs, the line on the bass drum",
    ]
    assert texts(root, "bar") == ["Bar 1", "Bar 1"]
    assert [heading for heading in texts(root) if heading.startswith("The line on")] == [
        "The line on the snare",
        "The line on the bass drum",
    ]


def test_a_bar_that_is_alike_in_another_reading_says_which():
    root = whole(score("4 4 4 4 | 1r", played_on=[SNARE, PlayedOn("cross-stick", "cross-stick")]))
    assert texts(of_class(root, "words")[-1]) == ["Bar 2: as bar 2 on the snare."]


def test_many_alike_bars_are_referred_to_in_runs():
    root = whole(score(" | ".join(["4 4 4 4", "2 2"] * 3 + ["2 2"] * 3)))
    (words,) = of_class(root, "words")
    assert texts(words) == ["Bars 3–4: as bars 1–2. Bars 5–6: as bars 1–2. Bars 7–9: as bar 2."]


def test_a_bar_whose_second_playing_differs_is_drawn_twice():
    root = whole(score("4 4 4 4", "second-line", played_on=FEET_READ, repeat_each=2))
    assert texts(root, "bar") == ["Bar 1", "Bar 1, round 2"]


# --- the page -----------------------------------------------------------------------------------


def test_the_first_page_says_title_groove_tempo_and_feel():
    root = only_page(score("4 4 4 4"))
    assert texts(root, "title") == ["Harbour Street"]
    assert (texts(root, "groove"), texts(root, "tempo"), texts(root, "feel")) == (["Swing"], ["= 120"], ["swing 2 : 1"])


def test_the_beat_of_six_eight_is_a_dotted_quarter():
    root = only_page(score("4. 4.", "six-eight", tempo_bpm=80))
    assert of_class(root, "tempo")[0][0].text == "dotted quarter"
    assert texts(root, "tempo") == ["= 80"]


def test_words_about_the_feel_can_be_given():
    assert texts(only_page(score("4 4 4 4"), feel="laid back"), "feel") == ["laid back"]


def test_eight_lines_of_four_bars_fill_one_page_and_the_rest_flows_with_running_title_and_numbers():
    pages = [etree.fromstring(page) for page in chart_svg_pages(score(EIGHT_LINES))]
    first = [measure for measure in of_class(pages[0], "measure") if measure.get("id").startswith("line")]
    assert len(first) == 32
    assert [texts(page, "page") for page in pages] == [[f"{n} / {len(pages)}"] for n in range(1, len(pages) + 1)]
    assert [texts(page, "running") for page in pages] == [[], *[["Harbour Street"]] * (len(pages) - 1)]


@pytest.mark.parametrize(("paper", "size"), [("a4", ("210mm", "297mm")), ("letter", ("215.9mm", "279.4mm"))])
def test_everything_stands_on_the_paper(paper, size):
    for page in chart_svg_pages(score(EIGHT_LINES), paper=paper):
        root = etree.fromstring(page)
        assert (root.get("width"), root.get("height")) == size
        for kind in ("music", "grid", "words", "heading", "legend"):
            for block in of_class(root, kind):
                y = float(re.search(r" ([\d.]+)\)", block.get("transform"))[1])
                assert 10 < y < float(size[1][:-2]) - 30


def test_a_long_title_is_set_in_lines_and_an_odd_one_is_text():
    title = 'Harbour Street <evening> & "class" \U0001f941 ' + "again and " * 12
    root = etree.fromstring(chart_svg_pages(score("4 4 4 4", title=title))[0])
    lines = texts(root, "title")
    assert len(lines) == 3
    assert " ".join(lines).startswith('Harbour Street <evening> & "class" \U0001f941')


def test_each_page_has_a_title_and_a_description_in_words():
    root = only_page(score("4 4 4 4"))
    assert root.findtext(f"{SVG}title") == "Harbour Street, page 1 of 1"
    assert "Bar 1: 1 both hands and right foot together" in root.findtext(f"{SVG}desc")
    named = root.get("aria-labelledby").split()
    assert [root.xpath(f"//*[@id='{name}']")[0].tag for name in named] == [f"{SVG}title", f"{SVG}desc"]


def test_nothing_is_told_by_colour():
    pages = "".join(chart_svg_pages(score("4 8 8 12 12 12 4^")))
    painted = set(re.findall(r'(?:fill|stroke|color)="([^"]+)"', pages))
    assert painted == {"#000", "#fff", "#707070", "#8a8a8a", "none", "currentColor"}  # black, white, two greys


def test_the_same_score_gives_the_same_bytes():
    assert chart(score("4 8 8 [4. 8_ | 8] 8 4 2"), "svg") == chart(score("4 8 8 [4. 8_ | 8] 8 4 2"), "svg")


# --- forms --------------------------------------------------------------------------------------


def test_one_svg_holds_all_pages_below_one_another_with_every_id_once():
    root = whole(score(EIGHT_LINES))
    pages = [child for child in root if child.tag == f"{SVG}svg"]
    assert [float(page.get("y")) for page in pages] == [297.0 * number for number in range(len(pages))]
    assert root.findtext(f"{SVG}title") == "Harbour Street"
    ids = root.xpath("//@id")
    assert len(ids) == len(set(ids))


def pdf_text(pdf: bytes) -> str:
    document = pypdfium2.PdfDocument(pdf)
    return " ".join(page.get_textpage().get_text_range() for page in document)


@pytest.mark.parametrize(("paper", "points"), [("a4", (595.3, 841.9)), ("letter", (612, 792))])
def test_the_pdf_has_pages_of_that_paper_and_its_text_is_text(paper, points):
    pages = chart_svg_pages(score(EIGHT_LINES), paper=paper)
    document = pypdfium2.PdfDocument(chart_pdf(pages))
    assert len(document) == len(pages)
    assert document[0].get_size() == pytest.approx(points, abs=0.5)
    words = pdf_text(chart(score("4 4 4 4"), paper=paper))
    for expected in ("Harbour Street", "bass drum", "right hand", "trip", "All limbs", "swing 2 : 1"):
        assert expected in words


def test_the_pdf_draws_the_staves():
    """A nested SVG may stay empty: the rows that are dark from edge to edge are staff lines."""
    document = pypdfium2.PdfDocument(chart(score("4 4 4 4 | 4 4 4 4")))
    picture = document[0].render(scale=6, grayscale=True).to_numpy()
    dark = (picture[:, :, 0] if picture.ndim == 3 else picture) < 160
    lines = [row for row, share in enumerate(dark.mean(axis=1)) if share > 0.7]
    assert sum(after - before > 1 for before, after in pairwise([0, *lines])) == 10


@pytest.mark.parametrize("line", ["4 4 4 4", "4 4 4 4 | 8 8 8 8 4 4 | 8 4. 2 | 4. 8 2"])
def test_the_png_is_grey_and_ends_below_the_last_row(line):
    png = chart(score(line), "png")
    pages = [etree.fromstring(page) for page in chart_svg_pages(score(line))]
    last = grids(pages[-1])[-1]
    row = max(float(row.get("y")) for row in of_class(last, "row")) - 1.6
    ends_mm = 297 * (len(pages) - 1) + float(re.search(r" ([\d.]+)\)", last.get("transform"))[1]) + row
    width, height, depth, colour = struct.unpack(">IIBB", png[16:26])
    assert (depth, colour) == (8, 0)
    assert width == pytest.approx(210 * 6, abs=2)
    assert height / 6 == pytest.approx(ends_mm + 14, abs=3)  # a head reaches below its row


def test_the_pdf_is_tagged_and_tells_title_language_and_each_page_in_words():
    pdf = chart(score(EIGHT_LINES, title='Harbour Street "evening" #1 \\ [x]'))
    document = pypdfium2.PdfDocument(pdf)
    assert document.get_metadata_value("Title") == 'Harbour Street "evening" #1 \\ [x]'
    assert document.is_tagged()
    assert b"/Lang(en)" in pdf
    assert len(re.findall(rb"/Alt[(<]", pdf)) == len(document)
    spoken = [bytes.fromhex(words.decode()).decode("utf-16") for words in re.findall(rb"/Alt<([0-9A-F]+)>", pdf)]
    assert any("Bar 1: 1 both hands and right foot together" in words for words in spoken)


def test_a_pdf_brings_its_own_letters_and_is_the_same_bytes_again():
    pdf = chart(score("4 8 8 12 12 12 4^"))
    fonts = set(re.findall(rb"/BaseFont\s*/\w+\+([A-Za-z]+)", pdf))
    assert fonts == {b"LibertinusSerif"}
    assert pdf.count(b"/FontFile") >= 3  # plain, bold, italic
    assert b"CreationDate" not in pdf
    assert chart(score("4 8 8 12 12 12 4^")) == pdf


@pytest.mark.parametrize("title", ["Harbour\x01Street", "Harbour\ufffeStreet", "Harbour\ud800Street"])
@pytest.mark.parametrize("form", ["svg", "pdf", "png", "musicxml"])
def test_what_xml_forbids_is_shown_as_a_sign_of_its_own(title, form):
    # W3C XML 1.0, production Char
    made = chart(score("4 4 4 4", title=title), form)
    if form in ("svg", "musicxml"):
        assert "Harbour\ufffdStreet" in made.decode()
    if form == "pdf":
        assert "Harbour\ufffdStreet" in pdf_text(made)


def test_a_title_in_another_script_is_drawn():
    assert "Барабан, Τύμπανο" in pdf_text(chart(score("4 4 4 4", title="Барабан, Τύμπανο")))


def test_two_thousand_bars_are_the_most_and_the_number_is_said():
    endless = score(" | ".join(["4 4 4 4"] * 1001), played_on=[SNARE, FEET_READ])
    for form in ("svg", "musicxml"):
        with pytest.raises(LessonError, match="a chart of 2002 bars would not end; it holds 2000 at most"):
            chart(endless, form)
    assert chart(endless, "musicxml", bars=[1001])


def test_music_xml_carries_the_lessons_own_swing():
    assert b"<straight/>" in chart(score("4 4 4 4", swing="straight"), "musicxml")


def test_another_form_or_paper_is_refused():
    with pytest.raises(LessonError, match="'pfd' is not a form of chart; did you mean 'pdf'"):
        chart(score("1"), "pfd")
    with pytest.raises(LessonError, match="paper 'a5' is not known; choose from a4, letter"):
        chart(score("1"), "svg", paper="a5")


def test_every_text_keeps_its_room_whatever_font_a_viewer_has():
    root = only_page(score("4 8 8 12 12 12 4^"))
    upright = [
        text
        for text in root.iter(f"{SVG}text")
        if text.get("font-style") != "italic" and not text.xpath("ancestor::*[@class='system']")
    ]
    assert len(upright) > 20
    for text in upright:
        bold = text.get("font-weight") == "bold"
        expected = width_ems(text.text, bold) * float(text.get("font-size"))
        assert float(text.get("textLength")) == pytest.approx(expected, abs=0.01)
        assert text.get("lengthAdjust") == "spacingAndGlyphs"
