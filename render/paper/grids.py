"""The triplet grid of one bar as plain geometry: columns with spoken counts, a row for each limb, strokes joined.

Columns and who sounds come from `grooves.coordination`; here they get a place on paper. Lengths in millimetres,
from the grid's top left corner. Heads are those of the staff: black for drums, crosses for cymbals and sticks.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import groupby, pairwise

from grooves.kit import INSTRUMENTS, LIMBS, PARTS
from grooves.score import Score, ScoreBar, Stroke
from grooves.teaching.coordination import Place, grid
from render.paper.text_metrics import LETTER_MM, fitted_mm, width_ems
from render.paper.voices import GHOST_LU

LEFT_MM = 35.0  # the instrument's name
RIGHT_MM = 31.0  # the limb's name
COUNTS_MM = 8.0
COUNT_GAP_MM = 1.5  # between two counts
SMALLEST_MM = 3.2  # of a count: what is smaller is not read from a music stand
ROW_MM = 8.5
LAST_MM = 4.0  # under the last row
NAME_MM = LEFT_MM - 2.0  # its end
TWO_LINES_MM = 4.0  # type size of names on two lines of a row
CLOSEST_MM = 5.8  # two heads side by side


@dataclass(frozen=True)
class Column:
    """One place of the bar: its count, whether anything sounds there, and the rows its strokes join."""

    x: float
    place: str
    says: str
    sounds: bool
    on_beat: bool
    joined: tuple[float, float] | None  # from the upper to the lower row, where two or more limbs meet
    who: str


@dataclass(frozen=True)
class Row:
    """One limb: its names left and right, and the stretches of its line, one for each beat."""

    y: float
    instruments: tuple[str, ...]  # its lines
    limb: str
    reads: bool
    size_mm: float
    stretches: tuple[tuple[float, float], ...]


@dataclass(frozen=True)
class Mark:
    """One place of a row: "black", "x", "diamond" or "circle-x" where it is struck, "" where it is not."""

    x: float
    y: float
    head: str
    accent: bool = False
    ghost: bool = False


@dataclass(frozen=True)
class Grid:
    """A bar's grid: `bar_grid(score, 0, 180.0).rows` runs from the hands down to the feet."""

    label: str
    label_mm: float
    words: str  # the same in words, for those who do not see it
    count_mm: float  # size of the counts
    height_mm: float
    columns: tuple[Column, ...]
    rows: tuple[Row, ...]
    marks: tuple[Mark, ...]


def bar_grid(score: Score, index: int, width_mm: float, label: str = "") -> Grid:
    """Lay out the grid of one bar: `index` counts `score.bars` from 0."""
    bar = score.bars[index]
    places = grid(score, index)
    across = _across(places, score, width_mm)
    heights = {limb: COUNTS_MM + ROW_MM * (row + 0.5) for row, limb in enumerate(score.limbs)}
    columns = _legible(tuple(_column(place, x, heights) for place, x in zip(places, across, strict=True)))
    label = label or f"Bar {bar.number}"
    return Grid(
        label,
        fitted_mm(label, NAME_MM, LETTER_MM, bold=True),
        f"{label}: " + "; ".join(f"{place.count} {place.words}" for place in places if place.words),
        _count_mm(columns),
        COUNTS_MM + ROW_MM * len(heights) + LAST_MM,
        columns,
        tuple(_row(score, bar, limb, y, _stretches(places, across, score)) for limb, y in heights.items()),
        tuple(_marks(bar, places, across, heights)),
    )


def _beats(places: Sequence[Place], score: Score) -> list[list[Place]]:
    """The places of each beat that is felt: quarters at least, in 6/8 three eighths."""
    pulse = score.meter.pulse if score.meter.compound else max(score.meter.step, Fraction(1))
    return [list(inside) for _, inside in groupby(places, key=lambda place: place.onset // pulse)]


def _across(places: Sequence[Place], score: Score, width_mm: float) -> list[float]:
    """Columns from left to right, every beat as wide."""
    beats = _beats(places, score)
    beat_mm = (width_mm - LEFT_MM - RIGHT_MM) / len(beats)
    shares = [1 / 6 + share for beat in beats for share in _shares(beat, score, beat_mm)]
    numbers = [number for number, beat in enumerate(beats) for _ in beat]
    return [LEFT_MM + beat_mm * (number + share) for number, share in zip(numbers, shares, strict=True)]


def _shares(beat: Sequence[Place], score: Score, beat_mm: float) -> list[float]:
    """Where the places of one beat stand in it: as they follow in time, but evenly where that is too close to read."""
    length = score.meter.pulse if score.meter.compound else max(score.meter.step, Fraction(1))
    in_time = [float(place.onset % length / length) for place in beat]
    closest = min((after - before for before, after in pairwise(in_time)), default=1.0)
    return in_time if closest * beat_mm >= CLOSEST_MM else [number / len(beat) for number in range(len(beat))]


def _column(place: Place, x: float, heights: dict[str, float]) -> Column:
    rows = [heights[limb] for limb in place.limbs]
    joined = (min(rows), max(rows)) if len(rows) > 1 else None
    return Column(x, place.count, place.says, bool(rows), place.says.isdigit(), joined, place.words)


def _count_mm(columns: Sequence[Column]) -> float:
    """The counts' size: as large as leaves a gap between any two neighbours."""
    said = [column for column in columns if column.says]
    return min([LETTER_MM, *(_room_mm(before, after) for before, after in pairwise(said))])


def _room_mm(before: Column, after: Column) -> float:
    """The size at which two counts leave a gap between them."""
    wide = width_ems(before.says, before.on_beat) + width_ems(after.says, after.on_beat)
    return (after.x - before.x - COUNT_GAP_MM) * 2 / wide


def _legible(columns: tuple[Column, ...]) -> tuple[Column, ...]:
    """Columns that stand too close to be counted aloud keep the beats' counts and lose those between."""
    said = [column for column in columns if column.says]
    for before, after in pairwise(said):
        if _room_mm(before, after) < SMALLEST_MM and not (before.on_beat and after.on_beat):
            unsaid = before if after.on_beat else after
            return _legible(tuple(replace(one, says="") if one is unsaid else one for one in columns))
    return columns


def _stretches(places: Sequence[Place], across: Sequence[float], score: Score) -> tuple[tuple[float, float], ...]:
    """Where a row's thin line runs: through each beat, broken between the beats."""
    over = min([LAST_MM * 0.8, *(0.42 * (after - before) for before, after in pairwise(across))])
    columns = iter(across)
    beats = [[next(columns) for _ in inside] for inside in _beats(places, score)]
    return tuple((xs[0] - over, xs[-1] + over) for xs in beats)


def _row(score: Score, bar: ScoreBar, limb: str, y: float, stretches: tuple[tuple[float, float], ...]) -> Row:
    own = [stroke for stroke in bar.strokes if stroke.limb == limb]
    played = {stroke.instrument for stroke in own} or {
        stroke.instrument for other in score.bars for stroke in other.strokes if stroke.limb == limb
    }
    names = [name for name in PARTS if name in played]
    reads = any(stroke.role == "line" for stroke in own)
    size_mm, lines = _name_lines(names, reads)
    return Row(y, lines, limb, reads, size_mm, stretches)


def _name_lines(names: Sequence[str], bold: bool) -> tuple[float, tuple[str, ...]]:
    """A row's names on one line, or on two where that lets them be larger."""
    one = ", ".join(names)
    size_mm = fitted_mm(one, NAME_MM, LETTER_MM, bold)
    if len(names) == 1 or size_mm >= TWO_LINES_MM:
        return size_mm, (one,)
    half = (len(names) + 1) // 2
    two = (", ".join(names[:half]) + ",", ", ".join(names[half:]))
    return min(fitted_mm(line, NAME_MM, TWO_LINES_MM, bold) for line in two), two


def _marks(bar: ScoreBar, places: Sequence[Place], across: Sequence[float], heights: dict[str, float]) -> list[Mark]:
    """Every place of every row: struck ones as heads, the others light; none where a joining stroke passes."""
    marks = []
    for place, x in zip(places, across, strict=True):
        struck = {
            stroke.limb: stroke for stroke in bar.strokes if stroke.limb in place.limbs and _at(stroke, place, places)
        }
        rows = [heights[limb] for limb in struck]
        for limb, y in heights.items():
            if limb in struck:
                marks.append(_head(struck[limb], x, y))
            elif not (rows and min(rows) < y < max(rows)):
                marks.append(Mark(x, y, ""))
    return marks


def _at(stroke: Stroke, place: Place, places: Sequence[Place]) -> bool:
    """Whether a stroke stands in this column: on its own place, or on the let where the grid has no &."""
    columns = {other.onset for other in places}
    own = stroke.onset if stroke.onset in columns else int(stroke.onset) + Fraction(2, 3)
    return own == place.onset


def _head(stroke: Stroke, x: float, y: float) -> Mark:
    shape = INSTRUMENTS[stroke.instrument].head
    ghost = stroke.instrument == "snare" and stroke.accent_lu <= GHOST_LU
    return Mark(x, y, "black" if shape == "normal" else shape, stroke.accented or stroke.accent_lu > 0, ghost)


def rhythm_of(bar: ScoreBar) -> tuple[object, ...]:
    """What makes two bars look the same on the grid: bars of one rhythm have equal `rhythm_of(bar)`."""
    return tuple(
        (stroke.onset, LIMBS.index(stroke.limb), stroke.instrument, stroke.role, stroke.accented, stroke.accent_lu > 0)
        for stroke in bar.strokes
    )
