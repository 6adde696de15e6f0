"""Notes that lie on a grid to the tick, as a notation program or this house writes them: read as they stand.

Swung eighths of a file fall on one place of the beat, to the tick. At a swing of 2:1 that place is the last of a
triplet's (at 3:1 the last sixteenth): where the file has even eighths, or many other triplets, it is the triplet,
else the eighth.
"""

from collections.abc import Mapping, Sequence
from fractions import Fraction
from itertools import groupby

from grooves.rhythm import EIGHTH, QUARTER, SIXTEENTH
from render.reading.played import BeatGrid, PlacedNote, PlayedNote, Quantized, even_grid, swung_grid

FINE_TICKS = 192  # ticks a quarter from which a note may be one tick off, as rounding in two steps leaves it
LEAST_UPBEAT, MOST_UPBEAT = Fraction(53, 100), Fraction(4, 5)  # a swing of 1.1:1 to 4:1
THIRD = Fraction(1, 3)
# Onsets in the file of the other drums, and of these strokes; they may be another time through than is read.
Others = tuple[Sequence[Fraction], Sequence[Fraction]]
Places = Mapping[int, frozenset[Fraction]]  # of each beat


def read_exactly(
    strokes: Sequence[PlayedNote], beat: Fraction, tick: Fraction, others: Others = ((), ())
) -> Quantized | None:
    """Read strokes that all lie on a grid to the tick, or None: `others` show how the other drums swing.

    `read_exactly([PlayedNote(Fraction(5, 3))], QUARTER, Fraction(1, 480))` is a swung eighth on 2&.
    """
    near = tick if tick <= Fraction(1, FINE_TICKS) else tick / 2
    within = [_within(stroke.onset, beat, near) for stroke in strokes]
    whole_band = _band(others, beat, near)
    upbeat = _upbeat_of_others(others[0], whole_band, beat, near)
    left = [place for _, place in within if _snapped(place, _coarse(beat), near) is None]
    if left and beat == QUARTER and _one_place(left, near) and LEAST_UPBEAT < left[0] <= MOST_UPBEAT:
        upbeat = sum(left, Fraction(0)) / len(left)
    known = [*_coarse(beat), *([upbeat] if upbeat is not None and left else [])]
    places = [_snapped(place, known, near) for _, place in within]
    if None in places and 2 * len(left) <= len(within):
        places = [_snapped(place, _fine(beat), near) for _, place in within]
    if None in places:
        return None
    found = [place for place in places if place is not None]
    beats = _by_beat([index for index, _ in within], found)
    even = any(_is_even(struck) for struck in (whole_band or beats).values())
    swung = _swung_beats(beats, upbeat or 2 * THIRD, even and not left) if beat == QUARTER else frozenset[int]()
    grids = {
        index: swung_grid(upbeat or 2 * THIRD) if index in swung else _grid(struck, beat)
        for index, struck in beats.items()
    }
    if None in grids.values():
        return None
    sure = {index: grid for index, grid in grids.items() if grid is not None}
    placed = [
        _placed(stroke, index * beat, place, sure[index])
        for stroke, (index, _), place in zip(strokes, within, found, strict=True)
    ]
    alike = swung if swung and upbeat in (None, 2 * THIRD, 3 * SIXTEENTH) else frozenset[int]()
    return Quantized(tuple(placed), sure, (upbeat or 2 * THIRD) if swung else None, True, near, alike=alike)


def _within(onset: Fraction, beat: Fraction, near: Fraction) -> tuple[int, Fraction]:
    index = (onset + near) // beat
    return int(index), onset - index * beat


def _coarse(beat: Fraction) -> list[Fraction]:
    sixteenths = [SIXTEENTH * n for n in range(int(beat / SIXTEENTH))]
    return [*sixteenths, THIRD, 2 * THIRD] if beat == QUARTER else sixteenths


def _fine(beat: Fraction) -> list[Fraction]:
    thirty_seconds = [EIGHTH / 4 * n for n in range(int(beat / (EIGHTH / 4)))]
    return [*thirty_seconds, *(QUARTER / 6 * n for n in (1, 2, 4, 5))] if beat == QUARTER else thirty_seconds


def _snapped(place: Fraction, known: Sequence[Fraction], near: Fraction) -> Fraction | None:
    nearest = min(known, key=lambda one: abs(one - place))
    return nearest if abs(nearest - place) <= near else None


def _one_place(places: Sequence[Fraction], near: Fraction) -> bool:
    return max(places) - min(places) <= 2 * near


def _by_beat(indices: Sequence[int], places: Sequence[Fraction]) -> dict[int, frozenset[Fraction]]:
    pairs = zip(indices, places, strict=True)
    return {index: frozenset(place for _, place in group) for index, group in groupby(pairs, key=lambda pair: pair[0])}


# --- swung or not ---------------------------------------------------------------------------------


def _is_even(struck: frozenset[Fraction]) -> bool:
    """Whether a beat shows even eighths: its upbeat in the middle, and no sixteenth beside."""
    return EIGHTH in struck and struck <= {Fraction(0), EIGHTH}


def _band(others: Others, beat: Fraction, near: Fraction) -> dict[int, frozenset[Fraction]]:
    """The places that all drums strike in each beat of the file."""
    places = [_within(onset, beat, near) for onset in sorted((*others[0], *others[1]))]
    found = [(_snapped(place, _coarse(beat), near) or place) if place > near else Fraction(0) for _, place in places]
    return _by_beat([index for index, _ in places], found)


def _upbeat_of_others(others: Sequence[Fraction], band: Places, beat: Fraction, near: Fraction) -> Fraction | None:
    """Where the other drums' upbeats fall, if they fall on one late place wherever a beat has no finer notes."""
    if beat != QUARTER:
        return None
    places = [_within(onset, beat, near) for onset in others]
    late = [place for index, place in places if place > near and len(band[index] - {Fraction(0)}) == 1]
    late = [place for place in late if _snapped(place, _coarse(beat), near) is None] or late  # not those of triplets
    if len(late) < 2 or not _one_place(late, near) or not LEAST_UPBEAT < late[0] <= MOST_UPBEAT:
        return None
    middle = sum(late, Fraction(0)) / len(late)
    return next((place for place in (2 * THIRD, 3 * SIXTEENTH) if abs(place - middle) <= near), middle)


def _swung_beats(beats: Places, upbeat: Fraction, even: bool) -> frozenset[int]:
    """The beats whose last stroke is a swung upbeat, and not the last place of a triplet or of sixteenths."""
    open_ones = {
        index
        for index, struck in beats.items()
        if upbeat in struck and struck <= {Fraction(0), upbeat} and not _in_long_triplet(beats, index, upbeat)
    }
    if upbeat not in (2 * THIRD, 3 * SIXTEENTH):
        return frozenset(open_ones)
    grid = {2 * THIRD: {THIRD}, 3 * SIXTEENTH: {SIXTEENTH, EIGHTH}}[upbeat]
    inner = sum(bool(struck & grid) for struck in beats.values())
    return frozenset() if even or len(open_ones) <= 2 * inner else frozenset(open_ones)


def _in_long_triplet(beats: Places, index: int, upbeat: Fraction) -> bool:
    """Whether a stroke on the last third belongs to a quarter or half triplet, whose others fall on thirds too."""
    after, before = beats.get(index + 1, frozenset()), beats.get(index - 1, frozenset())
    return upbeat == 2 * THIRD and (after == {THIRD} or (beats[index] == {upbeat} and before == {THIRD}))


# --- grids ----------------------------------------------------------------------------------------


def _grid(struck: frozenset[Fraction], beat: Fraction) -> BeatGrid | None:
    """The simplest grid that has all these places, or None."""
    plain = ["eighths", "sixteenths", "32nds"]
    names = ["eighths", "triplets", "sixteenths", "32nds", "sextuplets"] if beat == QUARTER else plain
    grids = (even_grid(name, beat) for name in names)
    return next((grid for grid in grids if struck <= set(grid.written)), None)


def _placed(stroke: PlayedNote, start: Fraction, place: Fraction, grid: BeatGrid) -> PlacedNote:
    index = grid.nearest(place)
    return PlacedNote(stroke, start + grid.written[index], stroke.onset - start - grid.played[index])
