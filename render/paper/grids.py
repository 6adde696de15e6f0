"""The grid of one bar without units: columns across, rows down, and who is struck where.

One geometry for the printed chart (`render.paper.strips`) and for the lesson page. Columns and who sounds come from
`grooves.teaching.coordination`. A column lies across the bar where it is in time: written triplets at their thirds, a
swung & on the third of a triplet, or, where the swing is flatter than 1.75 : 1 and the beat has no written triplets, at
the place where it sounds. Beats whose columns come closer than 32nds are set evenly.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import pairwise

from grooves.feel import swing_ratio
from grooves.groove import swings
from grooves.kit import INSTRUMENTS, LIMBS, PARTS, HeadShape
from grooves.meter import EIGHTH, QUARTER, beat_groups
from grooves.score import Score, ScoreBar, Stroke
from grooves.teaching.coordination import Place, grid
from render.paper.voices import is_ghost

TRIPLET_RATIO = 1.75  # from here on the swung & is drawn as the third of a triplet; ours
CLOSEST = Fraction(1, 8)  # of a quarter: a 32nd
LET, TRIP = Fraction(2, 3), Fraction(1, 3)


@dataclass(frozen=True)
class Column:
    """One place across the bar: `across` runs from 0 at its barline to 1 at the next."""

    onset: Fraction  # its place in `coordination.grid`, in quarters
    across: float
    count: str  # beat and syllable, "2&"
    says: str  # what is said there, "let"; empty between what can be counted aloud
    beat: bool  # whether a number is said
    felt: bool  # whether a felt beat begins: 1 and 4 in 6/8
    rows: tuple[int, ...]  # struck here, from the top
    words: str  # who sounds, "both hands"


@dataclass(frozen=True)
class Row:
    """One limb and what it plays: `Row("left hand", ("snare",), reads=True)`."""

    limb: str
    instruments: tuple[str, ...]
    reads: bool = False


@dataclass(frozen=True)
class Mark:
    """One struck place: its column and row, and the shape of its head."""

    column: int
    row: int
    head: HeadShape
    stroke: Stroke
    accent: bool = False
    ghost: bool = False


@dataclass(frozen=True)
class Grid:
    """A bar's grid: `grid_of(score, 0).rows` runs from the hands down to the feet."""

    columns: tuple[Column, ...]
    rows: tuple[Row, ...]
    marks: tuple[Mark, ...]
    groups: tuple[tuple[float, float], ...]  # the felt beats, those of the beams, as shares of the bar

    @property
    def closest(self) -> float:
        """The smallest distance between two columns, as a share of the bar."""
        return min((after.across - before.across for before, after in pairwise(self.columns)), default=1.0)


def grid_of(score: Score, index: int, limbs: Sequence[str] = ()) -> Grid:
    """Lay out a bar's grid: `grid_of(score, 0).columns[0].across` is 0.0; `index` counts `score.bars` from 0.

    `limbs` are its rows (none given: the score's).
    """
    bar, limbs = score.bars[index], tuple(limbs) or score.limbs
    places = places_of(score, index)
    length = score.meter.length
    return Grid(
        columns_of(score, index, limbs),
        tuple(_row(score, bar, limb) for limb in limbs),
        tuple(_marks(bar, places, limbs)),
        tuple((float(low / length), float(high / length)) for low, high in beat_groups(score.meter)),
    )


def columns_of(score: Score, index: int, limbs: Sequence[str] = ()) -> tuple[Column, ...]:
    """The columns of a bar's grid alone: `columns_of(score, 0)` is `grid_of(score, 0).columns`."""
    places, limbs = places_of(score, index), tuple(limbs) or score.limbs
    across = _across(places, score.bars[index], score)
    return tuple(_column(place, x, limbs, score) for place, x in zip(places, across, strict=True))


def places_of(score: Score, index: int) -> tuple[Place, ...]:
    """The places of a bar that have a column: a beat that swings flatly has only its number and its &."""
    flat = _flat_beats(score.bars[index], score)
    return tuple(
        replace(place, says="&") if int(place.onset) in flat and place.onset % 1 else place
        for place in grid(score, index)
        if not (int(place.onset) in flat and place.onset % 1 == TRIP)
    )


def column_of(stroke: Stroke, places: Sequence[Place]) -> int:
    """Where on a grid a stroke stands: its own place, or the third of a swung beat; -1 where it is not shown."""
    for onset in (stroke.onset, stroke.onset // QUARTER + LET):
        for number, place in enumerate(places):
            if place.onset == onset and stroke.part in place.parts:
                return number
        if stroke.onset % QUARTER != EIGHTH:
            break
    return -1


def grid_words(columns: Sequence[Column | Place]) -> str:
    """The same for those who do not see it: "1 both hands and right foot together; 1& snare alone"."""
    return "; ".join(f"{column.count} {column.words}" for column in columns if column.words) or "everyone rests"


def flat_ratio(score: Score) -> float:
    """The swing at which the & is drawn where it sounds, or 0.0 where it is drawn as the third of a triplet."""
    if not swings(score.groove):
        return 0.0
    ratio = swing_ratio(score.groove.swing, float(Fraction(score.tempo_bpm) * score.groove.beat))
    return ratio if ratio < TRIPLET_RATIO else 0.0


# --- across ---------------------------------------------------------------------------------------


def _flat_beats(bar: ScoreBar, score: Score) -> frozenset[int]:
    """The beats, from 0, that swing but not as triplets: nothing in them is written in thirds or in sixteenths."""
    if not flat_ratio(score):
        return frozenset()
    finer = {int(stroke.onset) for stroke in bar.strokes if stroke.onset % 1 not in (0, EIGHTH)}
    return frozenset(range(int(score.meter.length))) - finer


def _across(places: Sequence[Place], bar: ScoreBar, score: Score) -> list[float]:
    flat, ratio = _flat_beats(bar, score), flat_ratio(score)
    beats: dict[int, list[Fraction]] = {}
    for place in places:
        beats.setdefault(int(place.onset), []).append(place.onset)
    at: list[float] = []
    for beat, onsets in beats.items():
        if beat in flat:
            at += [beat + (ratio / (1 + ratio) if onset % 1 else 0.0) for onset in onsets]
        elif any(after - before < CLOSEST for before, after in pairwise(onsets)):
            room = min(Fraction(1), score.meter.length - beat)
            at += [beat + float(room * number / len(onsets)) for number in range(len(onsets))]
        else:
            at += map(float, onsets)
    return [onset / float(score.meter.length) for onset in at]


def _column(place: Place, across: float, limbs: Sequence[str], score: Score) -> Column:
    rows = tuple(sorted(limbs.index(limb) for limb in place.limbs))
    says = "" if place.says.startswith("+") else place.says
    felt = any(place.onset == low for low, _ in beat_groups(score.meter))
    return Column(place.onset, across, place.count, says, says.isdigit(), felt, rows, place.words)


# --- rows and marks -------------------------------------------------------------------------------


def _row(score: Score, bar: ScoreBar, limb: str) -> Row:
    own = [stroke for stroke in bar.strokes if stroke.limb == limb]
    played = {stroke.instrument for stroke in own} or {
        stroke.instrument for other in score.bars for stroke in other.strokes if stroke.limb == limb
    }
    return Row(limb, tuple(name for name in PARTS if name in played), any(stroke.role == "line" for stroke in own))


def _marks(bar: ScoreBar, places: Sequence[Place], limbs: Sequence[str]) -> list[Mark]:
    found = [(stroke, column_of(stroke, places)) for stroke in bar.strokes]
    return [
        Mark(
            column,
            limbs.index(stroke.limb),
            INSTRUMENTS[stroke.instrument].head,
            stroke,
            stroke.accented or stroke.accent_lu > 0,
            is_ghost(stroke),
        )
        for stroke, column in found
        if column >= 0
    ]


def rhythm_of(bar: ScoreBar) -> tuple[object, ...]:
    """What makes two bars look the same on the grid: bars of one rhythm have equal `rhythm_of(bar)`."""
    return tuple(
        (stroke.onset, LIMBS.index(stroke.limb), stroke.instrument, stroke.role, stroke.accented, stroke.accent_lu > 0)
        for stroke in bar.strokes
    )
