"""The grid of one bar on the lesson page: columns of spoken counts, a row for each limb, heads as on the staff.

An SVG of fixed width that a style sheet colours; every head tells its column and part, so that a script can light it.
Places lie across as they follow in time, so a cursor needs no more than the grid's left edge and width.
"""

from collections.abc import Iterator, Sequence
from html import escape
from itertools import pairwise

from grooves.kit import INSTRUMENTS, PARTS
from grooves.score import Score, ScoreBar, Stroke
from grooves.teaching.coordination import Place, grid
from render.page.score import column_of

WIDTH, LEFT, RIGHT = 320.0, 46.0, 8.0  # units of the drawing, about CSS pixels on a phone
ROW, TOP, COUNTS = 24.0, 14.0, 22.0
SMALL, LARGE = 14.0, 16.0  # counts between the beats, and on them
_LETTER, _NARROW = 0.55, 0.37  # width of a letter against its height, in the widest of the page's fonts
_FIGURE = 0.64  # and of a figure, where figures stand side by side
_APART = {"trip": -1.5, "let": 1.5}  # moved towards the numbers, which are narrow, so as not to read as one word
_GAP = 3.0  # between two counts
_SHORT = {
    "closed hi-hat": "hat",
    "open hi-hat": "hat",
    "ride bell": "bell",
    "cross-stick": "stick",
    "bass drum": "bass",
}


def grid_svg(score: Score, index: int, limbs: Sequence[str]) -> str:
    """Draw a bar's grid, a row for each limb: `grid_svg(score, 0, score.limbs)`; `index` counts `score.bars` from 0."""
    bar, places = score.bars[index], grid(score, index)
    length = float(score.meter.length)
    first = LEFT + (WIDTH - LEFT - RIGHT) / (2 * len(places))
    width = WIDTH - RIGHT - first
    across = [first + width * float(place.onset) / length for place in places]
    rows = {limb: TOP + ROW * number for number, limb in enumerate(limbs)}
    height = TOP + ROW * len(rows) + COUNTS - ROW / 2
    sizes = _sizes([place.says for place in places], across)
    drawn = [
        *_rows(score, bar, rows),
        *(
            piece
            for number, place in enumerate(places)
            for piece in _column(number, place, across, rows, height, sizes)
        ),
        *_heads(bar, places, across, rows),
    ]
    columns = " ".join(f"{float(place.onset):.5g}" for place in places)
    edges = f'data-left="{first / WIDTH:.5f}" data-width="{width / WIDTH:.5f}" data-columns="{columns}"'
    return f'<svg class="grid" viewBox="0 0 {WIDTH:g} {height:g}" {edges}>{"".join(drawn)}</svg>'


def grid_words(places: Sequence[Place]) -> str:
    """The same for those who do not see it: "1 both hands and right foot together; 1& snare alone"."""
    return "; ".join(f"{place.count} {place.words}" for place in places if place.words) or "everyone rests"


def _rows(score: Score, bar: ScoreBar, rows: dict[str, float]) -> Iterator[str]:
    """A thin line for each limb, with the short name of what it plays."""
    for limb, y in rows.items():
        played = {stroke.part for stroke in bar.strokes if stroke.limb == limb} or {
            stroke.part for other in score.bars for stroke in other.strokes if stroke.limb == limb
        }
        name = " ".join(dict.fromkeys(_SHORT.get(part, part) for part in PARTS if part in played))
        size = min(12.0, (LEFT - 4) / (_LETTER * max(len(name), 1)))
        yield f'<text class="name" x="0" y="{y + size / 3:.1f}" font-size="{size:.1f}">{escape(name)}</text>'
        yield f'<path class="thread" d="M{LEFT:g} {y:g}H{WIDTH:g}"/>'


def _column(
    number: int,
    place: Place,
    across: Sequence[float],
    rows: dict[str, float],
    height: float,
    sizes: tuple[float, float],
) -> Iterator[str]:
    """What is said at a place, the beat's upright, and a stroke that joins the limbs which sound together."""
    x, beat = across[number], place.says.isdigit()
    if beat:
        yield f'<path class="thread" d="M{x:.1f} {TOP - 8:g}V{max(rows.values()) + 8:g}"/>'
    heights = [rows[limb] for limb in place.limbs]
    if len(heights) > 1:
        yield f'<path class="together" data-column="{number}" d="M{x:.1f} {min(heights):g}V{max(heights):g}"/>'
    small, large = sizes
    size = large if beat else small
    kind = "says" if beat else "says between"
    sounds = "" if place.limbs else " rest"
    yield (
        f'<text class="{kind}{sounds}" x="{x + _APART.get(place.says, 0.0):.1f}" y="{height - 4:g}" '
        f'font-size="{size:.1f}" text-anchor="middle">{escape(place.says)}</text>'
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


def _heads(bar: ScoreBar, places: Sequence[Place], across: Sequence[float], rows: dict[str, float]) -> Iterator[str]:
    for stroke in bar.strokes:
        column = column_of(stroke, places)
        if column >= 0:
            yield _head(stroke, column, across[column], rows[stroke.limb])


def _head(stroke: Stroke, column: int, x: float, y: float) -> str:
    """One head as on the staff: black for drums, a cross for cymbals and sticks; the line's are larger."""
    shape = INSTRUMENTS[stroke.instrument].head
    size = 5.0 if stroke.role == "time" else 6.2
    kind = f"head {'reads' if stroke.role == 'line' else 'keeps'}"
    who = f'data-part="{stroke.part}" data-limb="{stroke.limb}" data-role="{stroke.role}"'
    where = f'class="{kind}" data-column="{column}" {who}'
    if shape == "normal":
        return f'<ellipse {where} cx="{x:.1f}" cy="{y:g}" rx="{size:g}" ry="{size * 0.8:g}"/>'
    cross = f"M{x - size:.1f} {y - size:g}l{2 * size:g} {2 * size:g}m0 {-2 * size:g}l{-2 * size:g} {2 * size:g}"
    wide = size + 2
    arc = f"a{wide:g} {wide:g} 0 1 0"
    ring = f"M{x - wide:.1f} {y:g}{arc} {2 * wide:g} 0{arc} {-2 * wide:g} 0"
    diamond = f"M{x - size:.1f} {y:g}L{x:.1f} {y - size:g}L{x + size:.1f} {y:g}L{x:.1f} {y + size:g}Z"
    drawn = {"x": cross, "circle-x": cross + ring, "diamond": diamond}[shape]
    return f'<path {where} d="{drawn}"/>'
