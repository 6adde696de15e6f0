"""Pages of a chart as PDF and as PNG, both set by typst from the pages' SVG.

typst brings its own fonts, so that a chart has the same letters on every machine; only a title in a script that these
lack (they have Latin, Greek, Cyrillic and Hebrew) is drawn with the machine's. The PDF is tagged, has title and
language, and each page tells in words what it shows. Same pages, same bytes: no date.
"""

import json
from collections.abc import Sequence
from io import BytesIO
from typing import TYPE_CHECKING, Any, Literal

from lxml import etree

from grooves.errors import LessonError
from render.paper.text_metrics import FONT

if TYPE_CHECKING:
    from PIL import Image

PNG_DOTS_PER_MM = 6.0  # about 150 to the inch
BELOW_MM = 14.0  # of paper under the last mark of a PNG
PAPER_GREY = 250  # as light or lighter: nothing drawn
SVG = "{http://www.w3.org/2000/svg}"
_OWN_LETTERS = (range(0x05F5), range(0x2000, 0x2300), range(0x266D, 0x2670), range(0xFFFD, 0xFFFE))
_DOCUMENT = f"""
#let chart = json("chart.json")
#set document(title: chart.title, date: none)
#set text(lang: "en", font: "{FONT}")
#set page(width: chart.width * 1mm, height: chart.height * 1mm, margin: 0mm)
#for (number, words) in chart.pages.enumerate() {{
  if number > 0 {{ pagebreak() }}
  image(str(number) + ".svg", width: 100%, height: 100%, alt: words)
}}
"""


def chart_pdf(pages: Sequence[str], title: str = "") -> bytes:
    """The pages as a PDF, text as text: `chart_pdf(chart_svg_pages(score))`; raises LessonError where that fails.

    `title` is the document's; left out, what its pages are called.
    """
    return _compiled(pages, "pdf", title)[0]


def chart_png(pages: Sequence[str]) -> bytes:
    """The pages as one PNG in shades of grey, one below the other: `chart_png(pages)`; 6 dots to the millimetre.

    It ends one margin below the last mark, not at the foot of the last page. Raises LessonError where that fails.
    """
    from PIL import Image

    pages_png = [_compiled([page], "png")[0] for page in pages]  # one by one: all at once take much memory
    last = _grey(pages_png[-1])
    marks = last.point([255 if grey < PAPER_GREY else 0 for grey in range(256)]).getbbox()
    ends = min((marks[3] if marks else 0) + round(BELOW_MM * PNG_DOTS_PER_MM), last.height)
    whole = Image.new("L", (last.width, last.height * (len(pages_png) - 1) + ends), 255)
    for number, page in enumerate(pages_png):
        whole.paste(_grey(page), (0, last.height * number))
    written, dots_per_inch = BytesIO(), PNG_DOTS_PER_MM * 25.4
    whole.save(written, "png", dpi=(dots_per_inch, dots_per_inch))
    return written.getvalue()


def _grey(png: bytes) -> "Image.Image":
    from PIL import Image

    return Image.open(BytesIO(png)).convert("L")


def page_size_mm(page: str) -> tuple[float, float]:
    """Width and height that a page gives itself: `page_size_mm(pages[0])` is (210.0, 297.0) on A4."""
    found = etree.fromstring(page)
    width, height = (float(found.get(side, "").removesuffix("mm")) for side in ("width", "height"))
    return width, height


def page_title(page: str) -> str:
    """What a page is called: "Harbour Street, page 1 of 2"."""
    return etree.fromstring(page).findtext(f"{SVG}title", "")


def document_title(pages: Sequence[str]) -> str:
    """What all pages are called: "Harbour Street"."""
    return page_title(pages[0]).rpartition(", page ")[0]


def _compiled(pages: Sequence[str], form: Literal["pdf", "png"], title: str = "") -> list[bytes]:
    import typst

    width, height = page_size_mm(pages[0])
    words = [". ".join(filter(None, (page_title(page), _description(page)))) for page in pages]
    chart = {"title": title or document_title(pages), "width": width, "height": height, "pages": words}
    files: Any = {"main.typ": _DOCUMENT.encode(), "chart.json": json.dumps(chart).encode()}
    files |= {f"{number}.svg": page.encode() for number, page in enumerate(pages)}
    try:
        made: Any = typst.compile(
            files, format=form, ppi=PNG_DOTS_PER_MM * 25.4, ignore_system_fonts=all(map(_has_letters, pages))
        )
    except typst.TypstError as error:
        raise LessonError(f"the {form.upper()} could not be drawn ({error.message}); ask for svg") from None
    return made if isinstance(made, list) else [made]


def _description(page: str) -> str:
    return etree.fromstring(page).findtext(f"{SVG}desc", "")


def _has_letters(page: str) -> bool:
    """Whether typst's own fonts have every letter of a page."""
    return page.isascii() or all(any(ord(letter) in known for known in _OWN_LETTERS) for letter in {*page})
