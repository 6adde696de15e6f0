"""A group's handout: one sheet a week, with the lines and their counts, the hardest bars, and room to write.

Set as charts are, black on white; the cautions stand once, on the first sheet. Lengths in millimetres.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from grooves.score import Score
from grooves.teaching.coordination import difficulty, hardest_first
from render.paper.chart import sheet_pages, sheet_svg
from render.paper.grids import Grid, grid_of
from render.paper.layout import DENSE, MUSIC_MM, ROOMY, Block, Density, Wish, flow
from render.paper.legend import legend_entries
from render.paper.pdf import chart_pdf
from render.paper.strips import most_abreast, strip
from render.paper.text_metrics import LETTER_MM, fitted_mm, printable, wrapped

HARDEST = 2  # bars of a week whose grids are drawn
RULES_MM = 9.0  # from one ruled line to the next; common practice, no source
LEAST_ROOM_MM = 24.0  # less is no room to write
NOTE_MM = 5.6
_SIZES = ((ROOMY, 1.0), (ROOMY, 0.75), (DENSE, DENSE.scale))  # of lines and grids, the largest that fits


@dataclass(frozen=True)
class HandoutSheet:
    """One week on paper: `HandoutSheet("Monday, week 5", (("Line 1", score),), "bring brushes")`."""

    title: str
    lines: tuple[tuple[str, Score], ...]  # what each is called, and its score
    note: str = ""


def handout(title: str, sheets: Sequence[HandoutSheet], paper: str = "a4") -> bytes:
    """The sheets as one PDF: `handout("Monday, first year", sheets)[:4]` is b"%PDF"; raises LessonError."""
    return chart_pdf(handout_svg_pages(sheets, paper), printable(title))


def handout_svg_pages(sheets: Sequence[HandoutSheet], paper: str = "a4") -> list[str]:
    """The pages of a handout as SVG texts: `len(handout_svg_pages(sheets))` is 12 where every week has one."""
    pages = [
        (score, *page)
        for number, sheet in enumerate(sheets)
        for score in [replace(sheet.lines[0][1], title=sheet.title)]
        for page in sheet_pages(score, _Pieces(sheet), number == 0, paper)
    ]
    return [
        sheet_svg(score, top, placed, (number, len(pages)), paper)
        for number, (score, top, placed) in enumerate(pages, 1)
    ]


@dataclass(frozen=True)
class _Pieces:
    """What stands on a sheet, with ruled lines below: room to write comes before size."""

    sheet: HandoutSheet

    def __call__(self, room_mm: float) -> list[Block]:
        found: list[list[Block]] = []
        for density, scale in _SIZES:
            blocks = [*_note(self.sheet.note), *_lines(self.sheet, density), *_hardest(self.sheet, scale)]
            free_mm = room_mm - sum(block.height_mm for block in blocks)
            if free_mm >= LEAST_ROOM_MM:
                return [*blocks, *_ruled(free_mm)]
            found += [blocks] if free_mm >= 0 else []
        return found[0] if found else blocks


def _note(note: str) -> Iterator[Block]:
    if note.strip():
        told = [row for line in note.splitlines() for row in wrapped(printable(line), MUSIC_MM, NOTE_MM)]
        yield Block(NOTE_MM * (1.25 * len(told) + 0.6), "words", tuple(told), NOTE_MM)


def _heading(words: str) -> Block:
    return Block(
        LETTER_MM * 1.8, "heading", (words,), fitted_mm(words, MUSIC_MM, LETTER_MM * 1.15, bold=True), keep=True
    )


def _lines(sheet: HandoutSheet, density: Density) -> Iterator[Block]:
    """Each line with its counts, below what it is called and who reads it."""
    wish = Wish(show=("line",), under=("counts",))
    for number, (name, score) in enumerate(sheet.lines, 1):
        for block in flow(score, wish, density):
            if block.kind == "heading":
                yield _heading(f"{name}, {block.lines[0].removeprefix('The line ')}")
            else:  # ids once on a page, whatever stands on it
                yield replace(block, svg=block.svg.replace(' id="', f' id="line-{number}-'))


# --- the hardest bars ---------------------------------------------------------------------------


def _hardest(sheet: HandoutSheet, scale: float) -> Iterator[Block]:
    """The grids of the hardest bars of all lines that differ, abreast where there is but one line."""
    chosen = sorted(_chosen(sheet))
    grids = [grid_of(sheet.lines[line][1], index) for line, index in chosen]
    labels = [_label(sheet, line, index) for line, index in chosen]
    yield _heading("The hardest bars" if len(grids) > 1 else "The hardest bar")
    entries = legend_entries(grids, MUSIC_MM)
    yield Block(entries[-1].y + 8.5, "legend", legend=entries, keep=True)
    abreast = len(sheet.lines) == 1 and len({tuple(row.limb for row in one.rows) for one in grids}) == 1
    abreast = abreast and min(most_abreast(one, MUSIC_MM / scale) for one in grids) >= len(grids)
    each = len(grids) if abreast else 1
    for first in range(0, len(grids), each):
        made = strip(grids[first : first + each], labels[first : first + each], MUSIC_MM / scale, HARDEST)
        yield Block(made.height_mm * scale, "grid", strip=made, scale=scale, bars=each)


def _chosen(sheet: HandoutSheet) -> list[tuple[int, int]]:
    """The hardest bars as line and index, each rhythm once."""
    ranked = sorted(
        (-found.total, line, found.bar_index)
        for line, (_, score) in enumerate(sheet.lines)
        for found in hardest_first(score)
    )
    seen: list[Grid] = []
    chosen: list[tuple[int, int]] = []
    for _, line, index in ranked:
        grid = grid_of(sheet.lines[line][1], index)
        if len(chosen) < HARDEST and grid not in seen:
            seen.append(grid)
            chosen.append((line, index))
    return chosen


def _label(sheet: HandoutSheet, line: int, index: int) -> str:
    name, score = sheet.lines[line]
    bar = f"bar {difficulty(score, index).number}"
    return f"{name}, {bar}" if len(sheet.lines) > 1 else bar.capitalize()


def _ruled(free_mm: float) -> Iterator[Block]:
    """Ruled lines down to the foot of the sheet."""
    if free_mm < LEAST_ROOM_MM:
        return
    rows = int((free_mm - 2.0) // RULES_MM)
    rules = "".join(f"M0 {number * RULES_MM:g} H{MUSIC_MM:g} " for number in range(1, rows + 1))
    drawn = f'<path class="ruled" d="{rules.strip()}" stroke="#8a8a8a" stroke-width="0.2" fill="none"/>'
    yield Block(rows * RULES_MM + 2.0, "music", svg=drawn)
