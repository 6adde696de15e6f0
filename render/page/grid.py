"""The grid of one bar on the lesson page: columns of spoken counts, a row for each limb, heads as on the staff.

An SVG of fixed width that a style sheet colours; every head tells its column and part, so that a script can light it.
Places lie across as they follow in time, so a cursor needs no more than the grid's left edge and width.
"""

from collections.abc import Iterator, Sequence
from html import escape
from itertools import pairwise

from grooves.score import Score
from render.paper.grids import Column, Grid, Mark, Row, grid_of

WIDTH, LEFT, RIGHT = 320.0, 46.0, 8.0  # units of the drawing, about CSS pixels on a phone
ROW, TOP, COUNTS = 24.0, 14.0, 22.0
SMALL, LARGE = 14.0, 16.0  # counts between the beats, and on them
_LETTER, _NARROW = 0.55, 0.37  # width of a letter against its height, in the widest of the page's fonts
_FIGURE = 0.64  # and of a figure, where figures stand side by side
_APART = {"trip": -1.5, "let": 1.5}  # moved towards the numbers, which are narrow, so as not to read as one word
_GAP = 3.0  # between two counts
_SHORT = {"closed hi-hat": "hat", "open hi-hat": "hat", "ride bell": "bell"}


def grid_svg(score: Score, index: int, limbs: Sequence[str]) -> str:
    """Draw a bar's grid, a row for each limb: `grid_svg(score, 0, score.limbs)`; `index` counts `score.bars` from 0."""
    drawn = grid_of(score, index, limbs)
    first = LEFT + (WIDTH - LEFT - RIGHT) / (2 * len(drawn.columns))
    width = WIDTH - RIGHT - first
    across = [first + width * column.across for column in drawn.columns]
    rows = [TOP + ROW * number for number in range(len(drawn.rows))]
    height = TOP + ROW * len(rows) + COUNTS - ROW / 2
    sizes = _sizes([column.says for column in drawn.columns], across)
    pieces = [
        *(piece for row, y in zip(drawn.rows, rows, strict=True) for piece in _thread(row, y)),
        *(piece for number in range(len(across)) for piece in _column(number, drawn, across, rows, height, sizes)),
        *(_head(mark, across[mark.column], rows[mark.row]) for mark in drawn.marks),
    ]
    columns = " ".join(f"{column.across * float(score.meter.length):.5g}" for column in drawn.columns)
    edges = f'data-left="{first / WIDTH:.5f}" data-width="{width / WIDTH:.5f}" data-columns="{columns}"'
    return f'<svg class="grid" viewBox="0 0 {WIDTH:g} {height:g}" {edges}>{"".join(pieces)}</svg>'


def _thread(row: Row, y: float) -> Iterator[str]:
    """A thin line for a limb, with the short name of what it plays."""
    name = " ".join(dict.fromkeys(_SHORT.get(part, part) for part in row.instruments))
    size = min(12.0, (LEFT - 4) / (_LETTER * max(len(name), 1)))
    yield f'<text class="name" x="0" y="{y + size / 3:.1f}" font-size="{size:.1f}">{escape(name)}</text>'
    yield f'<path class="thread" d="M{LEFT:g} {y:g}H{WIDTH:g}"/>'


def _column(
    number: int, drawn: Grid, across: Sequence[float], rows: Sequence[float], height: float, sizes: tuple[float, float]
) -> Iterator[str]:
    """What is said at a place, the beat's upright, and a stroke that joins the limbs which sound together."""
    x, column = across[number], drawn.columns[number]
    if column.beat:
        yield f'<path class="thread" d="M{x:.1f} {TOP - 8:g}V{max(rows) + 8:g}"/>'
    if len(column.rows) > 1:
        low, high = rows[column.rows[0]], rows[column.rows[-1]]
        yield f'<path class="together" data-column="{number}" d="M{x:.1f} {low:g}V{high:g}"/>'
    yield _says(column, x, height, sizes)


def _says(column: Column, x: float, height: float, sizes: tuple[float, float]) -> str:
    small, large = sizes
    size = large if column.beat else small
    kind = f"says{'' if column.beat else ' between'}{'' if column.rows else ' rest'}"
    return (
        f'<text class="{kind}" x="{x + _APART.get(column.says, 0.0):.1f}" y="{height - 4:g}" '
        f'font-size="{size:.1f}" text-anchor="middle">{escape(column.says)}</text>'
    )


def _sizes(says: Sequence[str], across: Sequence[float]) -> tuple[float, float]:
    """The sizes of the counts between the beats and of those on them, at which no two neighbours touch."""
    small, large = [SMALL], [LARGE]
    for (left, x), (right, y) in pairwise(zip(says, across, strict=True)):
        room = y + _APART.get(right, 0.0) - x - _APART.get(left, 0.0) - _GAP
        beats = sum(_width(one) for one in (left, right) if one.isdigit())
        between = sum(_width(one) for one in (left, right) if not one.isdigit())
        if between:
            small.append((2 * room - beats * LARGE) / between)
        else:
            large.append(2 * room / (_FIGURE * len(left + right)))
    return min(small), min(large)


def _width(word: str) -> float:
    """About how wide a word is at size 1: `_width("let")` is 1.29."""
    return sum(_NARROW if letter in "iltr" else _LETTER for letter in word)


def _head(mark: Mark, x: float, y: float) -> str:
    """One head as on the staff: black for drums, a cross for cymbals and sticks; the line's are larger."""
    stroke = mark.stroke
    size = 5.0 if stroke.role == "time" else 6.2
    kind = f"head {'reads' if stroke.role == 'line' else 'keeps'}"
    who = f'data-part="{stroke.part}" data-limb="{stroke.limb}" data-role="{stroke.role}"'
    where = f'class="{kind}" data-column="{mark.column}" {who}'
    size = 5.0 if stroke.role == "time" else 6.2
    kind = f"head {'reads' if stroke.role == 'line' else 'keeps'}"
    who = f'data-part="{stroke.part}" data-limb="{stroke.limb}" data-role="{stroke.role}"'
    where = f'class="{kind}" data-column="{mark.column}" {who}'
    if mark.head == "normal":
        return f'<ellipse {where} cx="{x:.1f}" cy="{y:g}" rx="{size:g}" ry="{size * 0.8:g}"/>'
    cross = f"M{x - size:.1f} {y - size:g}l{2 * size:g} {2 * size:g}m0 {-2 * size:g}l{-2 * size:g} {2 * size:g}"
    wide = size + 2
    arc = f"a{wide:g} {wide:g} 0 1 0"
    ring = f"M{x - wide:.1f} {y:g}{arc} {2 * wide:g} 0{arc} {-2 * wide:g} 0"
    diamond = f"M{x - size:.1f} {y:g}L{x:.1f} {y - size:g}L{x + size:.1f} {y:g}L{x:.1f} {y + size:g}Z"
    drawn = {"x": cross, "circle-x": cross + ring, "diamond": diamond}[mark.head]
    return f'<path {where} d="{drawn}"/>'
