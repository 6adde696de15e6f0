"""Written lengths from note-offs, and notes laid out in bars with rests and ties."""

from collections.abc import Iterator, Sequence
from fractions import Fraction
from itertools import pairwise

from grooves.rhythm import QUARTER, Bar, Meter, Symbol, spell
from render.reading.played import BeatGrid, PlacedNote, Quantized, beat_of, even_grid, swung_grid

LONGEST_BARS = 4  # a note-off later than this is forgotten, not meant
SHORT = Fraction(9, 20)  # if every note is shorter than a slightly detached eighth, the lengths say nothing


def lay_out(quantized: Quantized, meter: Meter, least_bars: int = 0) -> tuple[Bar, ...]:
    """Bars of symbols from quantized notes, at least `least_bars` of them; a note held over a barline is tied.

    A note-off that lies on the grid to the tick, in a file whose strokes do, is written as it stands. Where no note is
    as long as an eighth, as on most drum tracks, each lasts to the next stroke if that is at most a quarter away in the
    same bar, and else to the end of its beat.
    """
    placed = quantized.placed
    drummed = _are_drummed(quantized, meter)
    nexts = [item.onset for item in placed[1:]] + [None]
    notes: list[Symbol] = []
    for item, following in zip(placed, nexts, strict=True):
        end = _drummed_end(item.onset, following, meter) if drummed else _held_end(item, following, quantized, meter)
        limit = least_bars or item.onset // meter.length + LONGEST_BARS
        notes.append(Symbol(item.onset, min(end, limit * meter.length) - item.onset))
    last = notes[-1].end if notes else Fraction(0)
    bars = max(least_bars, -(-last // meter.length))
    return tuple(spell(bar, meter) for bar in _cut(notes, bars, meter))


def _are_drummed(quantized: Quantized, meter: Meter) -> bool:
    """Whether the lengths say nothing: all short, and not as if someone had written them."""
    ended = [item for item in quantized.placed if item.note.length is not None]
    lengths = {item.note.length for item in ended}
    written = len(lengths) > 1 and all(_exact_end(item, quantized, meter) is not None for item in ended)
    return not written and all(length < SHORT for length in lengths if length is not None)


def _exact_end(item: PlacedNote, quantized: Quantized, meter: Meter) -> Fraction | None:
    """Where a note ends if its note-off lies to the tick on a grid that its beat can have."""
    if not quantized.exact or item.note.length is None:
        return None
    beat = beat_of(meter)
    off = item.note.onset + item.note.length
    start = (off + quantized.near) // beat * beat
    own = quantized.grids.get(int(start // beat))
    names = ["eighths", "sixteenths", "triplets"] if beat == QUARTER else ["eighths", "sixteenths"]
    swung = [] if quantized.upbeat is None else [swung_grid(quantized.upbeat)]
    fits = [grid for grid in (*swung, *(even_grid(name, beat) for name in names)) if _may_have(grid, own)]
    for grid in (*([own] if own else []), *fits):
        place = grid.nearest(off - start)
        if abs(start + grid.played[place] - off) <= quantized.near and start + grid.written[place] > item.onset:
            return start + grid.written[place]
    return None


def _may_have(grid: BeatGrid, own: BeatGrid | None) -> bool:
    """Whether a beat with strokes on its own grid can be written on this one too."""
    return own is None or (set(own.written) <= set(grid.written) and own.name != "swung eighths")


def _drummed_end(onset: Fraction, following: Fraction | None, meter: Meter) -> Fraction:
    beat = beat_of(meter)
    barline = (onset // meter.length + 1) * meter.length
    if following is not None and following <= min(onset + beat, barline):
        return following
    return (onset // beat + 1) * beat


def _held_end(item: PlacedNote, following: Fraction | None, quantized: Quantized, meter: Meter) -> Fraction:
    """Where a note ends by its note-off: at the next stroke if it nearly reaches it, else on the grid."""
    beat = beat_of(meter)
    if item.note.length is None:
        return _drummed_end(item.onset, following, meter)
    exact = _exact_end(item, quantized, meter)
    if exact is not None:
        return exact if following is None else min(exact, following)
    off = item.note.onset + item.note.length
    index, within = divmod(off, beat)
    plain = even_grid("eighths", beat) if quantized.upbeat is None else swung_grid(quantized.upbeat)
    grid = quantized.grids.get(int(index)) or plain
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
