"""PlayedNote onsets back to written ones: each beat gets the simplest grid that explains what was played in it.

Grids of a quarter: eighths, eighths swung by the file's own ratio (written as even eighths), triplets, sixteenths;
of a felt beat in 6/8 and its kin: eighths or sixteenths. A finer grid must come nearer by `FINER` to be believed, and
a note further than `FURTHEST` from every grid is refused. A swung upbeat and the last note of an open triplet sound
alike; in a swung file the reading is the eighth. All places in quarters from the line's first downbeat.
The tolerances are ours, by trial on lines played with deviations up to 18 ms at 60 to 300 quarters a minute.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise
from statistics import median_low

from grooves.errors import LessonError
from grooves.rhythm import QUARTER, SIXTEENTH, Bar, Meter, Symbol, place_name, spell

FURTHEST = Fraction(2, 25)  # under 1/12, where a sextuplet's second note would pass for a sixteenth,
FURTHEST_SECONDS = 0.025  # or this, at tempos where a hand's deviation is larger than that
FINER = Fraction(1, 25)
FINER_SECONDS = 0.015
EARLY = Fraction(1, 8)  # a note this little before a beat may be an early one on it
FLAM = Fraction(1, 16)  # strokes closer than this are one; a 32nd is 1/8
MOST_SWING = Fraction(73, 100)  # 2.7:1; beyond, it is a dotted eighth and a sixteenth, written or meant
LEAST_SWING = Fraction(53, 100)  # of about 1.1:1; an upbeat less late than that is late, not swung
LONGEST_BARS = 4  # a note-off later than this is forgotten, not meant
SHORT = Fraction(9, 20)  # if every note is shorter than a slightly detached eighth, the lengths say nothing


@dataclass(frozen=True)
class PlayedNote:
    """A note as played: `PlayedNote(Fraction(5, 3), Fraction(1, 4), 0.5)`; `length` is None where it never ended."""

    onset: Fraction
    length: Fraction | None = None
    quarter_seconds: float = 0.5


@dataclass(frozen=True)
class BeatGrid:
    """The places of one beat: where they are written, and where they fall when played."""

    name: str
    written: tuple[Fraction, ...]
    played: tuple[Fraction, ...]
    finer: bool = False

    def nearest(self, within: Fraction) -> int:
        """The index of the nearest played place."""
        return min(range(len(self.played)), key=lambda index: abs(self.played[index] - within))


@dataclass(frozen=True)
class PlacedNote:
    """A note with its written place: `off` is how far after it was played, in quarters."""

    note: PlayedNote
    onset: Fraction
    off: Fraction


@dataclass(frozen=True)
class Quantized:
    """Notes on their grids: `grids[beat]` for every beat that has notes; `upbeat` is where swung eighths fall."""

    placed: tuple[PlacedNote, ...]
    grids: dict[int, BeatGrid]
    upbeat: Fraction | None


def quantize(notes: Sequence[PlayedNote], meter: Meter) -> Quantized:
    """Find the written places: `quantize([PlayedNote(Fraction(5, 3))], Meter(4, 4)).placed[0].onset` is 3/2.

    Raises LessonError with bar and beat for a note that is on no grid.
    """
    beat = _beat(meter)
    strokes = _strokes(notes)
    by_beat: dict[int, list[PlayedNote]] = {}
    for stroke in strokes:
        by_beat.setdefault(int((stroke.onset + EARLY) // beat), []).append(stroke)
    upbeat = _upbeat(by_beat) if beat == QUARTER else None
    known = _grids(beat, upbeat)
    grids = {index: _best(found, index * beat, known, meter) for index, found in by_beat.items()}
    if upbeat is not None:
        grids |= _open_triplets(by_beat, grids, known)
    placed = [_place(stroke, index * beat, grids[index]) for index, found in by_beat.items() for stroke in found]
    return Quantized(tuple(placed), grids, upbeat)


def _beat(meter: Meter) -> Fraction:
    return QUARTER if meter.unit < 8 else meter.pulse


def _strokes(notes: Sequence[PlayedNote]) -> list[PlayedNote]:
    """The notes in order of time, flams and chords as one."""
    strokes: list[PlayedNote] = []
    for note in sorted(notes, key=lambda note: note.onset):
        if not strokes or note.onset - strokes[-1].onset >= FLAM:
            strokes.append(note)
    return strokes


# --- grids --------------------------------------------------------------------------------------


def _even(name: str, step: Fraction, beat: Fraction, finer: bool = False) -> BeatGrid:
    places = tuple(step * index for index in range(int(beat / step)))
    return BeatGrid(name, places, places, finer)


def _grids(beat: Fraction, upbeat: Fraction | None) -> tuple[BeatGrid, ...]:
    eighths, sixteenths = _even("eighths", 2 * SIXTEENTH, beat), _even("sixteenths", SIXTEENTH, beat, True)
    if beat != QUARTER:
        return eighths, sixteenths
    triplets = _even("triplets", QUARTER / 3, beat, True)
    swung = [] if upbeat is None else [BeatGrid("swung eighths", eighths.written, (Fraction(0), upbeat))]
    return *swung, eighths, triplets, sixteenths


def _upbeat(by_beat: dict[int, list[PlayedNote]]) -> Fraction | None:
    """Where the upbeats fall in the middle of the file: the median over beats that may hold eighths; None if even."""
    found = []
    for index, strokes in by_beat.items():
        within = [stroke.onset - index for stroke in strokes]
        late = [place for place in within if place > Fraction(5, 12)]
        if len(late) == 1 and all(abs(place) < Fraction(1, 6) for place in within if place not in late):
            found.append(late[0])
    middle = median_low(found) if found else Fraction(0)
    return middle if LEAST_SWING < middle <= MOST_SWING else None


def _best(strokes: Sequence[PlayedNote], start: Fraction, grids: Sequence[BeatGrid], meter: Meter) -> BeatGrid:
    """The grid that comes nearest to a beat's strokes, the simple ones favoured."""
    finer = _at_least(FINER, FINER_SECONDS, strokes[0])
    best = min(grids, key=lambda grid: _worst(strokes, start, grid) + grid.finer * finer)
    if _worst(strokes, start, best) > _at_least(FURTHEST, FURTHEST_SECONDS, strokes[0]):
        lost = max(strokes, key=lambda s: min(_worst([s], start, grid) for grid in grids))
        bar, within = divmod(max(lost.onset, Fraction(0)), meter.length)
        place = place_name(within // SIXTEENTH * SIXTEENTH, meter)
        many = f"{len(strokes)} notes in that beat" if len(strokes) > 1 else "the note there"
        raise LessonError(
            f"bar {bar + 1}, near beat {place}: {many} cannot be read as eighths, triplets or sixteenths; "
            "quantize it where it was recorded"
        )
    return best


def _at_least(share: Fraction, seconds: float, stroke: PlayedNote) -> float:
    """A tolerance in quarters: a share of the quarter, or a time where that is more, but under half a sixteenth."""
    return max(float(share), min(seconds / max(stroke.quarter_seconds, 0.001), 0.12))


def _worst(strokes: Sequence[PlayedNote], start: Fraction, grid: BeatGrid) -> Fraction:
    """The largest distance from the grid, or a whole quarter where two strokes would share a place."""
    places = [grid.nearest(stroke.onset - start) for stroke in strokes]
    if len(set(places)) < len(places):
        return QUARTER
    return max(abs(stroke.onset - start - grid.played[i]) for stroke, i in zip(strokes, places, strict=True))


def _open_triplets(
    by_beat: dict[int, list[PlayedNote]], grids: dict[int, BeatGrid], known: Sequence[BeatGrid]
) -> dict[int, BeatGrid]:
    """Beats that are the first half of a quarter-note triplet: its second note falls like a swung upbeat."""
    triplets = next(grid for grid in known if grid.name == "triplets")
    changed = {}
    for index, grid in grids.items():
        after = [triplets.nearest(stroke.onset - index - 1) for stroke in by_beat.get(index + 1, ())]
        crosses = after == [1] and grids[index + 1].name == "triplets"
        open_half = grid.name == "swung eighths" and _worst(by_beat[index], Fraction(index), triplets) <= FURTHEST
        if crosses and open_half:
            changed[index] = triplets
    return changed


def _place(stroke: PlayedNote, start: Fraction, grid: BeatGrid) -> PlacedNote:
    index = grid.nearest(stroke.onset - start)
    return PlacedNote(stroke, start + grid.written[index], stroke.onset - start - grid.played[index])


# --- lengths and bars ---------------------------------------------------------------------------


def lay_out(quantized: Quantized, meter: Meter, least_bars: int = 0) -> tuple[Bar, ...]:
    """Bars of symbols from quantized notes, at least `least_bars` of them; a note held over a barline is tied.

    Where no note is as long as an eighth, as on most drum tracks, each lasts to the next stroke if that is at most a
    quarter away in the same bar, and else to the end of its beat.
    """
    placed = quantized.placed
    lengths = [item.note.length for item in placed if item.note.length is not None]
    drummed = all(length < SHORT for length in lengths)
    nexts = [item.onset for item in placed[1:]] + [None]
    notes: list[Symbol] = []
    for item, following in zip(placed, nexts, strict=True):
        end = _drummed_end(item.onset, following, meter) if drummed else _held_end(item, following, quantized, meter)
        limit = least_bars or item.onset // meter.length + LONGEST_BARS
        notes.append(Symbol(item.onset, min(end, limit * meter.length) - item.onset))
    last = notes[-1].end if notes else Fraction(0)
    bars = max(least_bars, -(-last // meter.length))
    return tuple(spell(bar, meter) for bar in _cut(notes, bars, meter))


def _drummed_end(onset: Fraction, following: Fraction | None, meter: Meter) -> Fraction:
    beat = _beat(meter)
    barline = (onset // meter.length + 1) * meter.length
    if following is not None and following <= min(onset + beat, barline):
        return following
    return (onset // beat + 1) * beat


def _held_end(item: PlacedNote, following: Fraction | None, quantized: Quantized, meter: Meter) -> Fraction:
    """Where a note ends by its note-off: at the next stroke if it nearly reaches it, else on the grid."""
    beat = _beat(meter)
    if item.note.length is None:
        return _drummed_end(item.onset, following, meter)
    off = item.note.onset + item.note.length
    index, within = divmod(off, beat)
    grid = quantized.grids.get(int(index)) or _grids(beat, quantized.upbeat)[0]
    places = [*zip(grid.played, grid.written, strict=True), (beat, beat)]
    end = index * beat + min(places, key=lambda place: abs(place[0] - within))[1]
    own = quantized.grids[int(item.onset // beat)].written
    end = max(end, item.onset + min((b - a for a, b in pairwise(own)), default=beat))
    if following is None:
        return end
    legato = item.note.length * 5 >= (following - item.onset) * 4
    return following if legato else min(end, following)


def _cut(notes: Sequence[Symbol], bars: int, meter: Meter) -> Iterator[Bar]:
    """Cut notes at the barlines and fill what is between them with rests, beat by beat."""
    waiting = list(reversed(notes))
    for index in range(bars):
        start, at = index * meter.length, Fraction(0)
        bar: list[Symbol] = []
        while waiting and waiting[-1].onset < start + meter.length:
            note = waiting.pop()
            bar += _rests(at, note.onset - start, meter)
            at = min(note.end - start, meter.length)
            bar.append(Symbol(note.onset - start, at - note.onset + start, note.kind))
            if note.end > start + meter.length:
                after = start + meter.length
                waiting.append(Symbol(after, note.end - after, "held"))
        yield (*bar, *_rests(at, meter.length, meter))


def _rests(start: Fraction, end: Fraction, meter: Meter) -> list[Symbol]:
    """A rest parted where printed rests are: at its next beat, and in the middle of 4/4."""
    cuts = {-(-start // meter.pulse) * meter.pulse} | ({Fraction(2)} if meter == Meter(4, 4) else set())
    whole = start == 0 and end == meter.length
    places = [start, *([] if whole else sorted(cut for cut in cuts if start < cut < end)), end]
    return [Symbol(a, b - a, "rest") for a, b in pairwise(places) if b > a]
