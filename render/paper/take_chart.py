"""A take on paper: how late each limb was along the take, then bar by bar what was played over what is written.

Bars stand on the chart's grid. A dot is a stroke: left of its line it was early, right of it late, one row of dots for
each round of the bar; the larger, the louder. An open ring was missed, an open diamond is only just heard, a cross was
not written. Black on white, nothing told by colour. Lengths in millimetres.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from html import escape

from grooves.kit import LIMBS
from grooves.score import Score
from grooves.takes.findings import Findings, Judged
from grooves.takes.sheet import Sheet, SheetBar
from render.paper.cautions import CAUTIONS
from render.paper.grids import Grid, grid_of
from render.paper.text_metrics import FONTS, fitted_mm, printable, set_wide, width_ems, wrapped

WIDTH_MM, HEIGHT_MM, MARGIN_MM = 210.0, 297.0, 14.0  # ISO 216 A4
MUSIC_MM = WIDTH_MM - 2 * MARGIN_MM
NAME_MM = 30.0
WORDS_MM, SMALL_MM, TITLE_MM = 4.6, 3.6, 7.0
AHEAD_MM = 8.0  # from a bar's left edge to its first column
MOST_MM_PER_MS = 0.12
SCALE_MS = 50.0  # that the legend shows
STRIP_MM, STRIP_MS = 24.0, 60.0  # a strip along the take: its height, and how far it reaches each way
ROUND_MM, LEAST_ROW_MM, MOST_ROW_MM = 1.3, 8.0, 17.0
COUNTS_MM, HEAD_MM, BELOW_MM = 5.5, 6.5, 5.0
DOTS_MM = (0.42, 0.95)  # radius of the softest and of the loudest stroke
GREY = "#999"


@dataclass(frozen=True)
class Extra:
    """A stroke that is not written: its bar, where in it (0 to 1), and who would have played it."""

    bar: int
    across: float
    limb: str


@dataclass(frozen=True)
class Piece:
    """One piece of the pages: how high it is, what is drawn from its top left corner, what it says."""

    height_mm: float
    svg: str
    words: str = ""


def take_pages(
    score: Score, sheet: Sheet, found: Findings, sentences: Sequence[str], extras: Sequence[Extra] = ()
) -> list[str]:
    """The pages of a take as SVG texts: `take_pages(score, sheet, findings, said)[0]`; all is drawn from findings."""
    pieces = [
        *_head(f"{score.title}: a take", sentences),
        *_strips(sheet, found),
        _legend(),
        *_bars(score, sheet, found, extras),
        *_paragraphs(CAUTIONS, SMALL_MM),
    ]
    pages: list[list[tuple[float, Piece]]] = [[]]
    y = MARGIN_MM
    for piece in pieces:
        if y + piece.height_mm > HEIGHT_MM - MARGIN_MM and pages[-1]:
            pages.append([])
            y = MARGIN_MM
        pages[-1].append((y, piece))
        y += piece.height_mm
    return [_page(score.title, number, len(pages), placed) for number, placed in enumerate(pages, 1)]


def _page(title: str, number: int, total: int, placed: Sequence[tuple[float, Piece]]) -> str:
    name = escape(printable(f"{title}: a take, page {number} of {total}"))
    words = escape(printable(" ".join(piece.words for _, piece in placed if piece.words)))
    drawn = "\n".join(f'<g transform="translate({MARGIN_MM:g} {y:.2f})">{piece.svg}</g>' for y, piece in placed)
    size = f'width="{WIDTH_MM:g}mm" height="{HEIGHT_MM:g}mm" viewBox="0 0 {WIDTH_MM:g} {HEIGHT_MM:g}"'
    foot = _text(WIDTH_MM / 2, HEIGHT_MM - 7, f"{number} / {total}", SMALL_MM, "middle") if total > 1 else ""
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" {size} role="img" font-family="{FONTS}" fill="#000">'
        f"<title>{name}</title><desc>{words}</desc>"
        f'<rect width="{WIDTH_MM:g}" height="{HEIGHT_MM:g}" fill="#fff"/>\n{drawn}\n{foot}</svg>'
    )


# --- signs ----------------------------------------------------------------------------------------


def _text(x: float, y: float, words: str, size: float, anchor: str = "start", bold: bool = False) -> str:
    weight = ' font-weight="bold"' if bold else ""
    return (
        f'<text x="{x:.2f}" y="{y:.2f}" font-size="{size:.2f}" text-anchor="{anchor}"{weight}'
        f"{set_wide(words, size, bold)}>{escape(printable(words))}</text>"
    )


def _line(x1: float, y1: float, x2: float, y2: float, width: float, colour: str = "#000", dashes: str = "") -> str:
    dashed = f' stroke-dasharray="{dashes}"' if dashes else ""
    return f'<path d="M{x1:.2f} {y1:.2f} L{x2:.2f} {y2:.2f}" stroke="{colour}" stroke-width="{width}"{dashed}/>'


def _dot(x: float, y: float, radius: float) -> str:
    return f'<circle class="hit" cx="{x:.2f}" cy="{y:.2f}" r="{radius:.2f}"/>'


def _ring(x: float, y: float) -> str:
    return f'<circle class="missed" cx="{x:.2f}" cy="{y:.2f}" r="0.8" fill="#fff" stroke="#000" stroke-width="0.25"/>'


def _diamond(x: float, y: float) -> str:
    path = f"M{x - 1:.2f} {y:.2f} l1 -1 l1 1 l-1 1 z"
    return f'<path class="unsure" d="{path}" fill="#fff" stroke="#000" stroke-width="0.25"/>'


def _cross(x: float, y: float) -> str:
    path = f"M{x - 0.7:.2f} {y - 0.7:.2f} l1.4 1.4 m0 -1.4 l-1.4 1.4"
    return f'<path class="extra" d="{path}" stroke="#000" stroke-width="0.3" fill="none"/>'


def _legend() -> Piece:
    x, drawn = 0.0, []
    signs = (
        (_dot(1, 0, 0.8), "played: left of its line early, right late"),
        (_ring(1, 0), "missed"),
        (_diamond(1, 0), "only just heard"),
        (_cross(1, 0), "not written"),
    )
    for sign, words in signs:
        drawn.append(f'<g transform="translate({x:.2f} 3.4)">{sign}</g>{_text(x + 3.2, 4.6, words, SMALL_MM)}')
        x += 3.2 + width_ems(words) * SMALL_MM + 5.0
    return Piece(9.0, "".join(drawn))


def _head(title: str, sentences: Sequence[str]) -> Iterator[Piece]:
    size = fitted_mm(title, MUSIC_MM, TITLE_MM, bold=True)
    yield Piece(TITLE_MM * 1.6, _text(0, TITLE_MM, title, size, bold=True))
    yield from _paragraphs(sentences, WORDS_MM)


def _paragraphs(sentences: Sequence[str], size: float) -> Iterator[Piece]:
    for sentence in sentences:
        lines = wrapped(sentence, MUSIC_MM, size)
        drawn = "".join(_text(0, size * (1 + 1.25 * n), line, size) for n, line in enumerate(lines))
        yield Piece(size * (1.25 * len(lines) + 0.25), drawn, sentence)


# --- along the take ---------------------------------------------------------------------------------


def _strips(sheet: Sheet, found: Findings) -> Iterator[Piece]:
    """A strip for each limb: lateness against all limbs from the first bar to the last."""
    heard = [limb for limb in LIMBS if any(one.stroke.limb == limb for one in found.judged)]
    if heard:
        yield Piece(9.0, _text(0, 6.5, "How late, along the take", 5.2, bold=True))
    for limb in heard:
        own = [one for one in found.judged if one.stroke.limb == limb]
        yield Piece(STRIP_MM + 4, _strip(limb, own, sheet, found, last=limb == heard[-1]))


def _strip(limb: str, own: Sequence[Judged], sheet: Sheet, found: Findings, last: bool) -> str:
    middle, half = STRIP_MM / 2, STRIP_MM / 2
    begin, end = sheet.bars[0].onset_seconds, sheet.end_seconds
    room = MUSIC_MM - NAME_MM

    def x(seconds: float) -> float:
        return NAME_MM + room * (seconds - begin) / (end - begin)

    drawn = [_text(0, middle - 1, limb, WORDS_MM, bold=True)]
    drawn.append(_text(0, middle + 4, ", ".join(dict.fromkeys(one.stroke.part for one in own)), SMALL_MM))
    for ms, dashes in ((0.0, ""), (20.0, "0.6 1.2"), (-20.0, "0.6 1.2")):
        y = middle - half * ms / STRIP_MS
        drawn.append(_line(NAME_MM, y, MUSIC_MM, y, 0.2, "#000" if not ms else GREY, dashes))
    drawn.append(_text(NAME_MM - 1, 3.2, f"+{STRIP_MS:g} ms late", SMALL_MM * 0.8, "end"))
    drawn.append(_text(NAME_MM - 1, STRIP_MM, f"-{STRIP_MS:g} ms early", SMALL_MM * 0.8, "end"))
    drawn += [_begins(bar, x(bar.onset_seconds), last) for bar in sheet.bars if bar.number == sheet.bars[0].number]
    for one in own:
        late = max(-STRIP_MS, min(STRIP_MS, one.late_ms - found.zero_ms))
        y = middle - half * late / STRIP_MS
        sign = {"hit": _dot(x(one.stroke.onset_seconds), y, 0.5), "unsure": _diamond(x(one.stroke.onset_seconds), y)}
        drawn.append(sign.get(one.state) or _ring(x(one.stroke.onset_seconds), STRIP_MM))
    return "".join(drawn)


def _begins(bar: SheetBar, x: float, last: bool) -> str:
    """Where a round begins."""
    said = _text(x + 0.8, STRIP_MM + 3.6, f"round {bar.round}", SMALL_MM * 0.8) if last else ""
    return _line(x, 0, x, STRIP_MM, 0.2, GREY) + said


# --- bar by bar -------------------------------------------------------------------------------------


def _bars(score: Score, sheet: Sheet, found: Findings, extras: Sequence[Extra]) -> Iterator[Piece]:
    loud = sorted(one.level_db for one in found.judged if one.state == "hit")
    levels = (loud[len(loud) // 10], loud[-len(loud) // 10]) if len(loud) >= 10 else (0.0, 0.0)
    for bar in found.bars:
        turns = [place for place in found.kept if sheet.bars[place].number == bar.bar]
        own = [one for one in found.judged if one.stroke.bar in turns and one.stroke.place >= 0]  # no pickup to it
        limbs = [limb for limb in LIMBS if any(one.stroke.limb == limb for one in own)]
        grid = grid_of(score, sheet.bars[turns[0]].score_bar, limbs)
        rows = max(LEAST_ROW_MM, min(MOST_ROW_MM, ROUND_MM * len(turns) + 2))
        height = HEAD_MM + COUNTS_MM + rows * len(limbs) + BELOW_MM
        lost = [
            f"{lag:+d} in round {sheet.bars[place].round}"
            for place, lag in zip(turns, bar.lost_beats, strict=True)
            if lag
        ]
        said = f"Bar {bar.bar}" + (f" (beats off: {', '.join(lost)})" if lost else "")
        drawn = [_text(0, 5, said, 5.2, bold=True)]
        drawn += [_scale(grid), _grid(grid, limbs, rows)]
        drawn += [_stroke(one, grid, limbs, rows, turns, found, levels) for one in own]
        drawn += [_extra(one, limbs, rows, turns) for one in extras if one.bar in turns and one.limb in limbs]
        yield Piece(height, "".join(drawn), f"Bar {bar.bar}: {bar.hit} of {bar.written} strokes hit.")


def _scale(grid: Grid) -> str:
    """How long 50 ms are drawn in this bar."""
    end, wide = MUSIC_MM, SCALE_MS * mm_per_ms(grid)
    ticks = "".join(_line(x, 3.2, x, 4.8, 0.25) for x in (end - wide, end))
    words = _text(end - wide - 1.5, 5, f"{SCALE_MS:g} ms", SMALL_MM, "end")
    return f'<g class="scale">{_line(end - wide, 4, end, 4, 0.25)}{ticks}{words}</g>'


def _x(across: float) -> float:
    return NAME_MM + AHEAD_MM + (MUSIC_MM - NAME_MM - AHEAD_MM - 2) * across


def _top(limb: str, limbs: Sequence[str], row_mm: float) -> float:
    return HEAD_MM + COUNTS_MM + row_mm * limbs.index(limb)


def _grid(grid: Grid, limbs: Sequence[str], row_mm: float) -> str:
    """Counts, names and the lines that strokes are held against."""
    drawn = []
    for column in grid.columns:
        if column.says:
            size = WORDS_MM if column.beat else SMALL_MM
            drawn.append(_text(_x(column.across), HEAD_MM + COUNTS_MM - 2, column.says, size, "middle", column.beat))
    for row in grid.rows:
        top = _top(row.limb, limbs, row_mm)
        drawn.append(_text(0, top + row_mm / 2 - 0.6, row.limb, SMALL_MM, bold=True))
        drawn.append(_text(0, top + row_mm / 2 + 2.6, ", ".join(row.instruments), SMALL_MM * 0.9))
        drawn.append(_line(NAME_MM, top + row_mm, MUSIC_MM, top + row_mm, 0.15, GREY))
    for mark in grid.marks:
        x, top = _x(grid.columns[mark.column].across), _top(limbs[mark.row], limbs, row_mm)
        drawn.append(_line(x, top + 0.6, x, top + row_mm - 0.6, 0.3, GREY))
    return "".join(drawn)


def _places(grid: Grid, limbs: Sequence[str]) -> Mapping[tuple[str, Fraction], float]:
    return {
        (limbs[mark.row], mark.stroke.onset): grid.columns[mark.column].across for mark in grid.marks if mark.stroke
    }


def _stroke(
    one: Judged,
    grid: Grid,
    limbs: Sequence[str],
    row_mm: float,
    turns: Sequence[int],
    found: Findings,
    levels: tuple[float, float],
) -> str:
    """One written stroke in one round: a dot beside its line, or what became of it."""
    x = _x(_places(grid, limbs).get((one.stroke.limb, one.stroke.place), 0.0))
    y = _round_y(one.stroke.bar, one.stroke.limb, limbs, row_mm, turns)
    if one.state == "missed":
        return _ring(x, y)
    scale = mm_per_ms(grid)
    x += max(-SCALE_MS, min(SCALE_MS, one.late_ms - found.zero_ms)) * scale
    return _diamond(x, y) if one.state == "unsure" else _dot(x, y, _radius(one.level_db, levels))


def mm_per_ms(grid: Grid) -> float:
    """How far a millisecond is drawn: so that 50 of them stay nearer to their own line than to the next."""
    return min(MOST_MM_PER_MS, grid.closest * (MUSIC_MM - NAME_MM - AHEAD_MM - 2) / 2 / SCALE_MS)


def _radius(level_db: float, levels: tuple[float, float]) -> float:
    low, high = levels
    share = 0.5 if high <= low else max(0.0, min(1.0, (level_db - low) / (high - low)))
    return DOTS_MM[0] + share * (DOTS_MM[1] - DOTS_MM[0])


def _round_y(bar: int, limb: str, limbs: Sequence[str], row_mm: float, turns: Sequence[int]) -> float:
    """Rounds from the top of a row down."""
    step = (row_mm - 2) / max(len(turns), 1)
    return _top(limb, limbs, row_mm) + 1 + step * (turns.index(bar) + 0.5)


def _extra(one: Extra, limbs: Sequence[str], row_mm: float, turns: Sequence[int]) -> str:
    return _cross(_x(one.across), _round_y(one.bar, one.limb, limbs, row_mm, turns))
