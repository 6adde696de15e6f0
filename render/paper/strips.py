"""Grids as they stand on paper: one bar across the page, or several abreast that share the names of their rows.

Lengths in millimetres from the strip's top left corner. Type sizes are the same in every strip of a chart; a count that
finds no room is left out, first the syllables, then the numbers between felt beats. Heads are those of the staff.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from render.paper.grids import Column, Grid, GridMark, Row, grid_words
from render.paper.text_metrics import fitted_mm, width_ems

NAME_MM = 29.0  # room for an instrument's name and for the number of the bar
LIMB_MM = 9.5  # and for the limb's, on the right
BETWEEN_MM = 5.0  # two bars apart
AHEAD_MM = 3.5  # from a bar's left edge to its first column
WORDS_MM, TWO_LINES_MM = 5.0, 3.7  # type size of names, and of those on two lines
NUMBER_MM, SYLLABLE_MM = 5.0, 3.5  # type size of counts: on the beats, and between them
COUNT_GAP_MM = 0.9  # between two counts
HEAD_MM = 4.1  # a head: sixteenths stand two bars abreast
GHOST_MM = 5.4  # and one in parentheses
ASIDE = 1.12  # parentheses side by side are drawn smaller by this, so that they do not look like one sign
SMALLEST = 0.6  # of a head's size
ROW_MM, COUNTS_MM, BELOW_MM = 7.8, 7.4, 3.2  # a row, the counts above the rows, free room below them
LIMB_NAMES = {"right hand": "RH", "left hand": "LH", "right foot": "RF", "left foot": "LF"}


@dataclass(frozen=True)
class Panel:
    """One bar of a strip: where its columns stand, and how large its heads are."""

    grid: Grid
    left: float
    width: float
    scale: float
    said: tuple[str, ...]  # at each column, "" where there is no room

    def x(self, across: float) -> float:
        """Where a share of the bar lies: `panel.x(0.0)` is its first column."""
        return self.left + AHEAD_MM + (self.width - AHEAD_MM) * across


@dataclass(frozen=True)
class Name:
    """The names of one row, and whether it reads in a bar of this strip."""

    y: float
    lines: tuple[str, ...]
    limb: str
    reads: bool
    size_mm: float


@dataclass(frozen=True)
class Strip:
    """Bars abreast: `strip([grid_of(score, 0)], ["Bar 1"], 182.0).height_mm`."""

    label: str
    label_mm: float
    height_mm: float
    words: str  # the same in words, for those who do not see it
    panels: tuple[Panel, ...]
    names: tuple[Name, ...]
    limb_x: float  # where the limbs' names end

    def y(self, row: int) -> float:
        """How far down a row lies."""
        return self.names[row].y


def most_abreast(grid: Grid, width_mm: float) -> int:
    """How many bars like this one stand side by side with their heads and counts apart, 1 to 3."""
    return max((number for number in (2, 3) if _fits(grid, _panel_mm(width_mm, number))), default=1)


def _fits(grid: Grid, width: float) -> bool:
    said = tuple(column.says for column in grid.columns)
    heads = grid.closest * (width - AHEAD_MM) >= _needed_mm(grid)
    return heads and _apart(Panel(grid, 0.0, width, 1.0, said), said)


def strip(grids: Sequence[Grid], labels: Sequence[str], width_mm: float, most: int = 2) -> Strip:
    """Set bars side by side, each as wide as where `most` stand: `strip([grid_of(score, 0)], ["Bar 1"], 182.0)`."""
    each = _panel_mm(width_mm, min(most, *(most_abreast(grid, width_mm) for grid in grids)))
    label = _label(labels)
    return Strip(
        label,
        fitted_mm(label, NAME_MM - 1.0, WORDS_MM, bold=True),
        COUNTS_MM + ROW_MM * len(grids[0].rows) + BELOW_MM,
        ". ".join(f"{label}: {grid_words(grid.columns)}" for label, grid in zip(labels, grids, strict=True)),
        tuple(_panel(grid, NAME_MM + number * (each + BETWEEN_MM), each) for number, grid in enumerate(grids)),
        tuple(_name(rows, COUNTS_MM + ROW_MM * (at + 0.5)) for at, rows in enumerate(_rows_of(grids))),
        NAME_MM + len(grids) * (each + BETWEEN_MM) - BETWEEN_MM + LIMB_MM,
    )


def _label(labels: Sequence[str]) -> str:
    """The strip's name: "Bar 5", or "Bars 5, 6"."""
    return labels[0] if len(labels) == 1 else f"Bars {', '.join(label.removeprefix('Bar ') for label in labels)}"


def _panel_mm(width_mm: float, bars: int) -> float:
    return (width_mm - NAME_MM - LIMB_MM - BETWEEN_MM * (bars - 1)) / bars


def _needed_mm(grid: Grid) -> float:
    return GHOST_MM if any(mark.ghost for mark in grid.marks) else HEAD_MM


def _panel(grid: Grid, left: float, width: float) -> Panel:
    closest_mm = grid.closest * (width - AHEAD_MM)
    roomy_mm = _needed_mm(grid) * (ASIDE if any(mark.ghost for mark in grid.marks) else 1.0)
    scale = max(SMALLEST, min(1.0, closest_mm / roomy_mm))
    panel = Panel(grid, left, width, scale, tuple(column.says for column in grid.columns))
    return Panel(grid, left, width, scale, _said(panel))


# --- counts ---------------------------------------------------------------------------------------


def count_mm(column: Column) -> float:
    """The type size of a count: numbers on felt beats are large and bold."""
    return NUMBER_MM if column.beat and column.felt else SYLLABLE_MM


def _said(panel: Panel) -> tuple[str, ...]:
    """What is said at each column: first all, then less, until no two counts touch; the felt beats always stay."""
    columns = panel.grid.columns
    keeps = (
        lambda column: bool(column.says),
        lambda column: column.beat or column.says == "&",
        lambda column: column.beat,
        lambda column: column.beat and column.felt,
    )
    chosen = tuple(column.says for column in columns)
    for keep in keeps:
        chosen = tuple(column.says if keep(column) else "" for column in columns)
        if _apart(panel, chosen):
            break
    return chosen


def _apart(panel: Panel, said: Sequence[str]) -> bool:
    edges = [
        (panel.x(column.across), width_ems(word, column.felt) * count_mm(column) / 2)
        for column, word in zip(panel.grid.columns, said, strict=True)
        if word
    ]
    return all(x + half + COUNT_GAP_MM <= after - other for (x, half), (after, other) in pairwise(edges))


# --- names ----------------------------------------------------------------------------------------


def _rows_of(grids: Sequence[Grid]) -> list[tuple[Row, ...]]:
    return list(zip(*(grid.rows for grid in grids), strict=True))


def _name(rows: Sequence[Row], y: float) -> Name:
    names = list(dict.fromkeys(name for row in rows for name in row.instruments))
    reads = any(row.reads for row in rows)
    size_mm, lines = _name_lines(names, reads)
    return Name(y, lines, LIMB_NAMES[rows[0].limb], reads, size_mm)


def _name_lines(names: Sequence[str], bold: bool) -> tuple[float, tuple[str, ...]]:
    """A row's names on one line, or on two where one would be too long."""
    one, room_mm = ", ".join(names), NAME_MM - 2.0
    if len(names) < 2 or width_ems(one, bold) * WORDS_MM <= room_mm:
        return fitted_mm(one, room_mm, WORDS_MM, bold), (one,)
    half = (len(names) + 1) // 2
    two = (", ".join(names[:half]) + ",", ", ".join(names[half:]))
    return min(fitted_mm(line, room_mm, TWO_LINES_MM, bold) for line in two), two


# --- heads ----------------------------------------------------------------------------------------


def unstruck(grid: Grid) -> list[tuple[int, int]]:
    """Columns and rows where nothing is struck and no joining stroke passes, for the light points."""
    struck = {(mark.column, mark.row) for mark in grid.marks}
    return [
        (number, row)
        for number, column in enumerate(grid.columns)
        for row in range(len(grid.rows))
        if (number, row) not in struck and not (column.rows and min(column.rows) < row < max(column.rows))
    ]


def joined(grid: Grid) -> list[tuple[Column, int, int]]:
    """Where two limbs or more meet, from the upper row to the lower one."""
    return [(column, column.rows[0], column.rows[-1]) for column in grid.columns if len(column.rows) > 1]


def shape(mark: GridMark) -> str:
    """A head's name on paper: a drum's is black."""
    return "black" if mark.head == "normal" else mark.head


def threads(panel: Panel) -> list[tuple[float, float]]:
    """Where a row's thin line runs: through each felt beat, broken between them."""
    closest_mm = panel.grid.closest * (panel.width - AHEAD_MM)
    over = min(2.4, 0.42 * closest_mm)
    found = []
    for low, high in panel.grid.groups:
        inside = [column.across for column in panel.grid.columns if low <= column.across < high - 1e-9]
        found.append((panel.x(inside[0]) - over, panel.x(inside[-1]) + over))
    return found
