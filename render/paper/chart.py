"""The printed chart: the line, all limbs in drum notation, and for each rhythm the triplet grid.

Pages are SVG in millimetres. They are for a music stand at one metre: staves are 8 mm high, as orchestral parts
have them (7 mm and more; from memory), and see `render.letters` for the letters. Black on white, nothing told by
colour. Several pages make one PDF of pages, and one SVG or PNG with the pages below one another.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import cache
from html import escape
from importlib.resources import files
from typing import TYPE_CHECKING

from grooves.errors import LessonError, nearest
from grooves.feel import swing_ratio
from grooves.score import Score
from render.paper.layout import MUSIC_MM, Block, flow, kept_together
from render.paper.notation import musicxml
from render.paper.pdf import chart_pdf, chart_png, document_title, page_size_mm
from render.paper.text_metrics import FONTS, LETTER_MM, balanced, fitted_mm, printable, width_ems, wrapped

if TYPE_CHECKING:
    from jinja2 import Template

PAPERS_MM = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}  # ISO 216; ANSI A
FORMATS = ("pdf", "svg", "png", "musicxml")
MARGIN_MM = 14.0
BEATS = {Fraction(1): "quarter", Fraction(3, 2): "dotted quarter", Fraction(2): "half", Fraction(1, 2): "eighth"}
TITLES_MM = (10.0, 8.5, 7.0)  # the largest in which a title stands on one line; the last one is wrapped
TITLE_LINES = 3
RUNNING_TITLE_MM = 4.4
RUNNING_MM = 10.0  # running title above
FOOT_MM = 16.0  # free below, page number included
MOST_BARS = 2000  # printed bars of one chart


@dataclass(frozen=True)
class Head:
    """What stands at the top of the first page."""

    title: tuple[str, ...]
    size_mm: float
    groove: str
    groove_mm: float
    beat: str  # in words
    beat_dotted: bool
    beat_open: bool
    tempo: str
    feel: str
    feel_mm: float


def chart(
    score: Score,
    form: str = "pdf",
    paper: str = "a4",
    bars: Sequence[int] = (),
    feel: str = "",
) -> bytes:
    """The chart as one file: `chart(score, "svg", bars=[6])`.

    `bars` chooses whose drum notation and grid are drawn (none: all); `feel` replaces the words about the feel.
    Raises LessonError for another form, paper or bar.
    """
    if form not in FORMATS:
        raise LessonError(f"'{form}' is not a form of chart; {nearest(form, FORMATS)}")
    if form == "musicxml":
        return musicxml(_for_paper(score, bars))
    pages = chart_svg_pages(score, feel, bars, paper)
    if form == "svg":
        return stacked(pages).encode()
    return chart_pdf(pages) if form == "pdf" else chart_png(pages)


def chart_svg_pages(score: Score, feel: str = "", bars: Sequence[int] = (), paper: str = "a4") -> list[str]:
    """The pages of a chart as SVG texts: `len(chart_svg_pages(score))` is the number of pages."""
    if paper not in PAPERS_MM:
        raise LessonError(f"paper '{paper}' is not known; {nearest(paper, list(PAPERS_MM))}")
    score = _for_paper(score, bars)
    head = _head(score, printable(feel))
    blocks = list(flow(score, set(bars)))
    return _pages(score, head, blocks, PAPERS_MM[paper])


def _for_paper(score: Score, bars: Sequence[int]) -> Score:
    """The score with texts that can be printed; raises LessonError for bars that are not there or are too many."""
    known = sorted({bar.number for bar in score.bars})
    for number in bars:
        if number not in known:
            raise LessonError(f"bar {number} is not in this line; it has bars {known[0]} to {known[-1]}")
    printed = sum(not bars or bar.number in bars for bar in score.bars) // score.repeat_each
    if printed > MOST_BARS:
        raise LessonError(f"a chart of {printed} bars would not end; it holds {MOST_BARS} at most, so choose bars")
    groove = replace(score.groove, title=printable(score.groove.title))
    return replace(score, title=printable(score.title), groove=groove)


# --- what is on the chart -----------------------------------------------------------------------


def _quarters_per_minute(score: Score) -> float:
    return float(Fraction(score.tempo_bpm) * score.groove.beat)


def _head(score: Score, feel: str) -> Head:
    size_mm, title = _title_lines(score.title)
    beat = score.groove.beat
    tempo = f"= {score.tempo_bpm:g}"
    feel = feel or feel_words(score)
    tempo_mm = width_ems(tempo) * LETTER_MM
    return Head(
        title,
        size_mm,
        score.groove.title,
        fitted_mm(score.groove.title, MUSIC_MM / 2 - 14, LETTER_MM, bold=True),  # the tempo's note is 11 before
        BEATS.get(beat, "beat"),
        beat.numerator == 3,
        beat >= 2,
        tempo,
        feel,
        fitted_mm(feel, MUSIC_MM / 2 - tempo_mm, LETTER_MM),
    )


def _title_lines(title: str) -> tuple[float, tuple[str, ...]]:
    """The title's size and lines; what is too long for three lines is cut."""
    width = width_ems(title, bold=True)
    size_mm = next((size for size in TITLES_MM if width * size <= MUSIC_MM), TITLES_MM[-1])
    lines = balanced(title, MUSIC_MM, size_mm, bold=True)
    if len(lines) <= TITLE_LINES:
        return size_mm, tuple(lines)
    last = _shortened(" ".join(lines[TITLE_LINES - 1 :]), MUSIC_MM, size_mm, bold=True)
    return size_mm, (*lines[: TITLE_LINES - 1], last)


def _shortened(text: str, room_mm: float, size_mm: float, bold: bool = False) -> str:
    """A text on one line, cut after a word where it is too long."""
    if width_ems(text, bold) * size_mm <= room_mm:
        return text
    return wrapped(text, room_mm - width_ems("…", bold) * size_mm, size_mm, bold)[0] + "…"


def feel_words(score: Score) -> str:
    """The feel in words: "straight", or "swing 2 : 1" at this tempo."""
    ratio = swing_ratio(score.groove.swing, _quarters_per_minute(score))
    return "straight" if score.meter.unit >= 8 or ratio < 1.05 else f"swing {ratio:.2g} : 1"


# --- pages --------------------------------------------------------------------------------------


def _pages(score: Score, head: Head, blocks: Sequence[Block], size_mm: tuple[float, float]) -> list[str]:
    """Blocks laid on pages, then each page drawn with its number of all."""
    width, height = size_mm
    top = MARGIN_MM + head.size_mm * 1.2 * len(head.title) + LETTER_MM * 2.2
    pages: list[list[tuple[float, Block]]] = [[]]
    y = top
    for group in kept_together(blocks):
        needed = sum(block.height_mm for block in group)
        if y + needed > height - FOOT_MM and pages[-1]:
            pages.append([])
            y = MARGIN_MM + RUNNING_MM
        for block in group:
            pages[-1].append((y, block))
            y += block.height_mm
    return [
        _draw(score, head if number == 0 else None, placed, number + 1, len(pages), (width, height))
        for number, placed in enumerate(pages)
    ]


def _draw(
    score: Score,
    head: Head | None,
    placed: Sequence[tuple[float, Block]],
    number: int,
    total: int,
    size_mm: tuple[float, float],
) -> str:
    svg = _template().render(
        title=f"{score.title}, page {number} of {total}",
        description=_description(placed),
        running=_shortened(score.title, MUSIC_MM * 0.8, RUNNING_TITLE_MM),
        running_mm=RUNNING_TITLE_MM,
        head=head,
        placed=placed,
        number=number,
        total=total,
        width=size_mm[0],
        height=size_mm[1],
        left=(size_mm[0] - MUSIC_MM) / 2,
        music=MUSIC_MM,
        letter=LETTER_MM,
        fonts=FONTS,
        glyphs=_glyphs_of(placed),
    )
    return svg.replace("glyph-", f"page-{number}-glyph-")  # pages may stand together in one document


@cache
def _template() -> "Template":
    from jinja2 import Environment, StrictUndefined

    environment = Environment(autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True)
    environment.filters["mm"] = lambda value: f"{value:.2f}".rstrip("0").rstrip(".")
    return environment.from_string(_text("chart.svg"))


def _text(name: str) -> str:
    return files("render.paper").joinpath(name).read_text(encoding="utf-8")


def _description(placed: Sequence[tuple[float, Block]]) -> str:
    """What the page shows, in words."""
    words = [" ".join(block.lines) for _, block in placed if block.lines]
    return ". ".join([*words, *(block.grid.words for _, block in placed if block.grid)])


def _glyphs_of(placed: Sequence[tuple[float, Block]]) -> list[str]:
    glyphs = dict(glyph for _, block in placed for glyph in block.glyphs)
    return [glyphs[name] for name in sorted(glyphs)]


# --- one file -----------------------------------------------------------------------------------


def stacked(pages: Sequence[str]) -> str:
    """All pages in one SVG, one below the other: `stacked(pages)`; one page stays as it is."""
    if len(pages) == 1:
        return pages[0]
    width, height = page_size_mm(pages[0])
    whole = f'width="{width}mm" height="{height * len(pages)}mm" viewBox="0 0 {width} {height * len(pages)}"'
    space = 'xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink"'
    own = f'width="{width:g}mm" height="{height:g}mm"'
    placed = [
        page.replace(own, f'y="{height * number:g}" width="{width:g}" height="{height:g}"', 1)
        for number, page in enumerate(pages)
    ]
    return f'<svg {space} {whole} role="img"><title>{escape(document_title(pages))}</title>{"".join(placed)}</svg>'
