"""The printed chart: the line, all limbs in drum notation, and for each rhythm the triplet grid.

Pages are SVG in millimetres. They are for a music stand at one metre: staves are 8 mm high, as orchestral parts
have them (7 mm and more; from memory), and see `render.paper.text_metrics` for the letters. Black on white, nothing
told by colour. Several pages make one PDF of pages, and one SVG or PNG with the pages below one another.
"""

from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import cache
from html import escape
from importlib.resources import files
from typing import TYPE_CHECKING

from grooves.errors import LessonError, nearest
from grooves.feel import swing_ratio
from grooves.rhythm import value_name
from grooves.score import Score
from render.paper import strips
from render.paper.cautions import CAUTIONS
from render.paper.layout import DENSE, MANY_BARS, MUSIC_MM, PIECES, ROOMY, Block, Wish, chosen_bars, flow
from render.paper.notation import musicxml
from render.paper.pages import MARGIN_MM, NUMBER_FOOT_MM, Placed, Room, on_pages
from render.paper.pdf import chart_pdf, chart_png, document_title, page_size_mm
from render.paper.text_metrics import (
    FONTS,
    LETTER_MM,
    balanced,
    fitted_mm,
    packed,
    printable,
    room_mm,
    width_ems,
    wrapped,
)

if TYPE_CHECKING:
    from jinja2 import Template

PAPERS_MM = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}  # ISO 216; ANSI A
FORMATS = ("pdf", "svg", "png", "musicxml")
UNDER = ("counts", "sticking")  # what may stand below the line
WHOLE = Wish()
MOST_BARS = 2000  # printed bars of one chart
TITLES_MM = (10.0, 8.5, 7.0)  # the largest in which a title stands on one line; the last one is wrapped
TITLE_LINES = 3
RUNNING_TITLE_MM = 4.4
CAUTIONS_MM = 3.9
NAMES = {"1": "whole", "2": "half", "4": "quarter", "8": "eighth", "16": "sixteenth", "32": "thirty-second"}


@dataclass(frozen=True)
class PageTop:
    """What stands at the top of the first page."""

    title: tuple[str, ...]
    size_mm: float
    groove: str
    groove_mm: float
    beat: str  # the tempo's note in words
    open: bool
    stem: bool
    flags: int
    dots: int
    tempo: str
    feel: str
    feel_mm: float


def chart(score: Score, form: str = "pdf", wish: Wish = WHOLE) -> bytes:
    """The chart as one file: `chart(score, "svg", Wish(bars=[6], show=["line"], under=["counts"]))`.

    Raises LessonError for another form, paper, bar, piece, or sign below the line.
    """
    if form not in FORMATS:
        raise LessonError(f"'{form}' is not a form of chart; {nearest(form, FORMATS)}")
    if form == "musicxml":
        _check_words(wish.under, UNDER, "stands below no line")
        return musicxml(chosen_bars(_for_paper(score, wish.bars), wish.bars), under=wish.under)
    pages = chart_svg_pages(score, wish)
    if form == "svg":
        return stacked(pages).encode()
    return chart_pdf(pages) if form == "pdf" else chart_png(pages)


def chart_svg_pages(score: Score, wish: Wish = WHOLE) -> list[str]:
    """The pages of a chart as SVG texts: `len(chart_svg_pages(score))` is the number of pages."""
    if wish.paper not in PAPERS_MM:
        raise LessonError(f"paper '{wish.paper}' is not known; {nearest(wish.paper, list(PAPERS_MM))}")
    _check_words(wish.show or ("",), PIECES, "is no piece of a chart")
    _check_words(wish.under, UNDER, "stands below no line")
    score = _for_paper(score, wish.bars)
    note = "\n".join(map(printable, wish.note.splitlines()))
    blocks = flow(score, replace(wish, note=note), DENSE if _printed(score, wish.bars) > MANY_BARS else ROOMY)
    return _pages(score, _top(score, printable(wish.feel)), list(blocks), PAPERS_MM[wish.paper])


def _check_words(words: Sequence[str], known: Sequence[str], wrong: str) -> None:
    for word in words:
        if word not in known:
            raise LessonError(f"'{word}' {wrong}; {nearest(word, known)}")


def _for_paper(score: Score, bars: Collection[int]) -> Score:
    """The score with texts that can be printed; raises LessonError for bars that are not there or are too many."""
    known = sorted({bar.number for bar in score.bars})
    for number in bars:
        if number not in known:
            raise LessonError(f"bar {number} is not in this line; it has bars {known[0]} to {known[-1]}")
    printed = _printed(score, bars)
    if printed > MOST_BARS:
        raise LessonError(f"a chart of {printed} bars would not end; it holds {MOST_BARS} at most, so choose bars")
    groove = replace(score.groove, title=printable(score.groove.title))
    return replace(score, title=printable(score.title), groove=groove)


def _printed(score: Score, bars: Collection[int]) -> int:
    """How many bars stand in the drum score, all ways to read the line together."""
    return sum(not bars or bar.number in bars for bar in score.bars) // score.repeat_each


# --- what is on the chart -----------------------------------------------------------------------


def _quarters_per_minute(score: Score) -> float:
    return float(Fraction(score.tempo_bpm) * score.groove.beat)


def _top(score: Score, feel: str) -> PageTop:
    size_mm, title = _title_lines(score.title)
    beat = score.groove.beat
    value = value_name(beat) or "4"
    plain = value.rstrip(".")
    tempo = f"= {score.tempo_bpm:g}"
    feel = feel or feel_words(score)
    tempo_mm = width_ems(tempo) * LETTER_MM
    return PageTop(
        title,
        size_mm,
        score.groove.title,
        fitted_mm(score.groove.title, MUSIC_MM / 2 - 14, LETTER_MM, bold=True),  # the tempo's note is 11 before
        "dotted " * value.count(".") + NAMES.get(plain, "beat"),
        beat >= 2,
        beat < 4,
        {"8": 1, "16": 2, "32": 3}.get(plain, 0),
        value.count("."),
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


def _pages(score: Score, top: PageTop, blocks: Sequence[Block], size_mm: tuple[float, float]) -> list[str]:
    """Blocks laid on pages, then each page drawn with its number of all."""
    first = MARGIN_MM + top.size_mm * 1.2 * len(top.title) + LETTER_MM * 2.0
    pages = on_pages(blocks, Room(first, size_mm[1], _cautions()))
    return [
        _draw(score, top if number == 0 else None, placed, (number + 1, len(pages)), size_mm)
        for number, placed in enumerate(pages)
    ]


def sheet_pages(
    score: Score, blocks: Callable[[float], Sequence[Block]], cautions: bool, paper: str
) -> list[tuple[PageTop | None, Sequence[Placed]]]:
    """Pieces laid below a score's title: each page's top, where it has one, and what is placed on it.

    `blocks` is told how high the room below the title is; with `cautions` they stand on the last of these pages.
    Example: `sheet_pages(score, lambda _: list(flow(score, Wish())), True, "a4")`.
    """
    score = _for_paper(score, ())
    top, height = _top(score, ""), PAPERS_MM[paper][1]
    first = MARGIN_MM + top.size_mm * 1.2 * len(top.title) + LETTER_MM * 2.0
    said = _cautions() if cautions else Block(0.0, "words")
    pieces = blocks(height - NUMBER_FOOT_MM - first - said.height_mm)
    pages = on_pages(pieces, Room(first, height, said))
    return [(None if number else top, placed) for number, placed in enumerate(pages)]


def sheet_svg(score: Score, top: PageTop | None, placed: Sequence[Placed], number: tuple[int, int], paper: str) -> str:
    """One page of `sheet_pages` as SVG, with its number of all: `sheet_svg(score, top, placed, (1, 12), "a4")`."""
    return _draw(_for_paper(score, ()), top, placed, number, PAPERS_MM[paper])


def _cautions() -> Block:
    lines = [line for caution in CAUTIONS for line in packed(caution.split(), MUSIC_MM, CAUTIONS_MM)]
    return Block(CAUTIONS_MM * 1.25 * len(lines) + 4.0, "cautions", tuple(lines), CAUTIONS_MM)


def _draw(
    score: Score,
    top: PageTop | None,
    placed: Sequence[Placed],
    number: tuple[int, int],
    size_mm: tuple[float, float],
) -> str:
    svg = _template().render(
        title=f"{score.title}, page {number[0]} of {number[1]}",
        description=_description(placed),
        running=_shortened(score.title, MUSIC_MM * 0.8, RUNNING_TITLE_MM),
        running_mm=RUNNING_TITLE_MM,
        top=top,
        placed=placed,
        number=number[0],
        total=number[1],
        width=size_mm[0],
        height=size_mm[1],
        left=(size_mm[0] - MUSIC_MM) / 2,
        music=MUSIC_MM,
        letter=LETTER_MM,
        fonts=FONTS,
        strips=strips,
        glyphs=_glyphs_of(placed),
    )
    return svg.replace("glyph-", f"page-{number[0]}-glyph-")  # pages may stand together in one document


@cache
def _template() -> "Template":
    from jinja2 import Environment, StrictUndefined

    environment = Environment(autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True)
    environment.filters["mm"] = lambda value: f"{value:.2f}".rstrip("0").rstrip(".")
    environment.globals["room"] = room_mm
    return environment.from_string(files("render.paper").joinpath("chart.svg").read_text(encoding="utf-8"))


def _description(placed: Sequence[Placed]) -> str:
    """What the page shows, in words."""
    words = [" ".join(piece.block.lines) for piece in placed if piece.block.lines]
    return ". ".join([*words, *(piece.block.strip.words for piece in placed if piece.block.strip)])


def _glyphs_of(placed: Sequence[Placed]) -> list[str]:
    glyphs = dict(glyph for piece in placed for glyph in piece.block.glyphs)
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
