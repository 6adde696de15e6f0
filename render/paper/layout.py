"""What a chart holds, piece by piece: the line, all limbs, and a grid for each rhythm. Lengths in millimetres."""

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass, replace

from grooves.players import WrittenBar
from grooves.score import Score
from render.paper.band_sheet import band_musicxml, band_signs
from render.paper.engrave import MARGIN_MM, STAFF_MM, systems
from render.paper.grids import Grid, flat_ratio, grid_of, rhythm_of
from render.paper.legend import Entry, legend_entries
from render.paper.notation import musicxml
from render.paper.notes import DRUMS, LINE
from render.paper.references import Playing, Reference, reference_words
from render.paper.signs import Sign
from render.paper.strips import Strip, most_abreast, strip
from render.paper.text_metrics import LETTER_MM, fitted_mm, packed
from render.paper.voices import printed_bars, printed_pickup
from render.paper.who_reads import read_on

MUSIC_MM = 182.0  # as wide on every paper, so that a chart has the same lines on each
CLEF_MM = 16.0  # clef and time signature
SYSTEM_GAP_MM = 2.0
NOTE_MM = 5.0  # type size of the teacher's words
SHOWN = ("line", "score", "grid")
PIECES = (*SHOWN, "band")


@dataclass(frozen=True)
class Density:
    """How close a chart is set: staves, what a note and a bar need on them, and the grids' size."""

    staff_mm: float
    column_mm: float
    bar_mm: float
    scale: float
    abreast: int  # bars whose grids stand side by side, at most


# By eye. A long chart would fill a folder at reading size: it is set as closely as orchestral parts are.
ROOMY, DENSE = Density(STAFF_MM, 6.2, 7.0, 1.0, 2), Density(7.0, 3.3, 4.0, 0.64, 3)
MANY_BARS = 24  # from here on a chart is set closer


@dataclass(frozen=True)
class Block:
    """One piece of the flow: what to draw, how high it is, whether it must stay with the next one."""

    height_mm: float
    kind: str  # "heading", "music", "legend", "grid", "words" or "cautions"
    lines: tuple[str, ...] = ()
    size_mm: float = LETTER_MM
    svg: str = ""
    glyphs: tuple[tuple[str, str], ...] = ()
    indent_mm: float = 0.0  # how far its staff stands in from its left edge
    strip: Strip | None = None
    scale: float = 1.0  # of the strip
    legend: tuple[Entry, ...] = ()
    keep: bool = False
    bars: int = 0  # that stand in it


@dataclass(frozen=True)
class Wish:
    """How a chart is to be: `Wish(bars=(6,), show=("line",), under=("counts",))`; `Wish()` is everything."""

    bars: Collection[int] = ()  # whose score and grid are drawn, or whose line where only that is shown; none: all
    paper: str = "a4"
    show: Sequence[str] = SHOWN
    under: Sequence[str] = ("sticking",)  # what stands below the line: "counts", and where hands take turns "sticking"
    feel: str = ""  # in place of the words about the feel
    note: str = ""  # the teacher's word, below the title
    band: Sequence[WrittenBar] = ()  # what the band plays


def flow(score: Score, wish: Wish, density: Density = ROOMY) -> Iterator[Block]:
    """The pieces of a chart in order: `list(flow(score, Wish()))`."""
    if wish.note:
        yield from _note(wish.note)
    if "line" in wish.show:
        alone = "score" not in wish.show and "grid" not in wish.show
        part = chosen_bars(score, wish.bars if alone else (), 0)
        yield _heading(f"The line {read_on(score, 0)}" if alone else "The line")
        yield from _music(part, LINE, wish, density)
    if "band" in wish.show and wish.band:
        yield _heading("The band")
        yield from _band_music(score, wish, density)
    drawn: dict[tuple[object, ...], Playing] = {}
    grids: list[Block | GridBar] = []
    for reading in range(score.readings):
        part = chosen_bars(score, wish.bars, reading)
        on = read_on(score, reading)
        if "score" in wish.show:
            yield _heading(f"All limbs, the line {on}")
            yield from _music(part, DRUMS, wish, density, f"reading-{reading + 1}-" if reading else "")
        if score.readings > 1:
            grids.append(_heading(f"The line {on}"))
        grids += _grids(part, drawn, on.removeprefix("on the ") if score.readings > 1 else "")
    if "grid" in wish.show:
        yield from _all_grids(score, grids, density)


def chosen_bars(score: Score, numbers: Collection[int], reading: int | None = None) -> Score:
    """The score with some of its bars, none for all: `chosen_bars(score, {3, 6}).bars[0].number` is 3.

    With a `reading`, only that chorus, as a score that is read in one way.
    """
    length = score.chorus_length
    bars = score.bars if reading is None else score.bars[reading * length : (reading + 1) * length]
    kept = tuple(bar for bar in bars if not numbers or bar.number in numbers)
    pickup = score.pickup if not numbers or 1 in numbers else None
    if pickup and reading is not None:
        pickup = replace(pickup, strokes=(pickup.strokes[reading],))
    return replace(score, bars=kept, readings=score.readings if reading is None else 1, pickup=pickup)


def _note(note: str) -> Iterator[Block]:
    """What the teacher says, line by line as it was written."""
    lines = [line for row in note.splitlines() for line in packed(row.split(), MUSIC_MM, NOTE_MM) or [""]]
    for line in lines:
        yield Block(NOTE_MM * 1.3, "note", (line,), NOTE_MM)


def _heading(words: str) -> Block:
    size_mm = fitted_mm(words, MUSIC_MM, LETTER_MM * 1.15, bold=True)
    return Block(LETTER_MM * 1.8, "heading", (words,), size_mm, keep=True)


# --- staves -------------------------------------------------------------------------------------


def _music(score: Score, staff: str, wish: Wish, density: Density, mark: str = "") -> Iterator[Block]:
    """The systems of one staff; `mark` goes before the ids of music that comes again."""
    ahead, printed = printed_pickup(score), printed_bars(score)
    needs = [_needed_mm(bar.line if staff == LINE else (*bar.hands, *bar.feet), density) for bar in (*ahead, *printed)]
    needs = [sum(needs[: len(ahead) + 1]), *needs[len(ahead) + 1 :]]  # a pickup stands with bar 1
    equal = density is not DENSE
    lettered = [at for at, bar in enumerate(printed) if bar.letter]
    starts = system_starts(needs, MUSIC_MM - CLEF_MM, [bar.number for bar in printed], equal, lettered)
    after = [len(ahead) + start for start in starts]
    xml = musicxml(score, (staff,), headings=False, systems=after, under=wish.under if staff == LINE else ())
    counts = [end - first for first, end in zip([0, *starts], [*starts, len(printed)], strict=True)]
    widths = [_width_mm(count, max(counts) if equal and len(counts) > 1 else count) for count in counts]
    every = bool(wish.bars) and len(score.bars) < score.bars[-1].number
    engraved = {width: systems(xml, MARGIN_MM + width, density.staff_mm, number_all=every) for width in {*widths}}
    for at, (count, width) in enumerate(zip(counts, widths, strict=True)):
        system = engraved[width][at]
        group = system.group.replace(' id="', f' id="{mark}') if mark else system.group
        height_mm = system.height_mm + SYSTEM_GAP_MM
        yield Block(height_mm, "music", svg=group, glyphs=system.glyphs, indent_mm=MARGIN_MM, bars=count)


def _width_mm(bars: int, most: int) -> float:
    """How wide a system is: one that has fewer bars than the others has bars as wide as theirs."""
    return CLEF_MM + (MUSIC_MM - CLEF_MM) * bars / most


def _band_music(score: Score, wish: Wish, density: Density) -> Iterator[Block]:
    """The systems of the band's staves, every chorus written out."""
    needs = [density.bar_mm + density.column_mm * len(places) for places in band_signs(score, wish.band)]
    numbers = [bar.number for bar in wish.band]
    starts = system_starts(needs, MUSIC_MM - CLEF_MM, range(len(needs)), equal=density is not DENSE)
    engraved = systems(band_musicxml(score, wish.band, starts), MUSIC_MM + MARGIN_MM, density.staff_mm)
    for system, first, end in zip(engraved, [0, *starts], [*starts, len(numbers)], strict=True):
        height_mm = system.height_mm + SYSTEM_GAP_MM
        yield Block(height_mm, "music", svg=system.group, glyphs=system.glyphs, indent_mm=MARGIN_MM, bars=end - first)


def _needed_mm(signs: Sequence[Sign], density: Density) -> float:
    return density.bar_mm + density.column_mm * len({sign.onset for sign in signs})


def system_starts(
    needs: Sequence[float], room_mm: float, numbers: Sequence[int], equal: bool = True, lettered: Collection[int] = ()
) -> list[int]:
    """Where systems begin after the first: all of four bars, or of two, or of one, as the fullest allows.

    `system_starts([40.0] * 8, 166.0, range(1, 9))` is [4]. One also begins where the bars' numbers do not go on, and
    with each bar that has a rehearsal letter. Where they need not be `equal`, each four bars go by themselves.
    """
    jumps = (at for at in range(1, len(needs)) if numbers[at] not in (numbers[at - 1], numbers[at - 1] + 1))
    runs = sorted({0, *jumps, *lettered})
    fours = [
        range(first, min(first + 4, end))
        for start, end in zip(runs, [*runs[1:], len(needs)], strict=True)
        for first in range(start, end, 4)
    ]
    lengths = [_bars_in_system([needs[at] for at in bars], room_mm) for bars in fours]
    least = min(lengths)
    starts = [
        bars[at]
        for bars, length in zip(fours, lengths, strict=True)
        for at in range(0, len(bars), least if equal else length)
    ]
    return starts[1:]


def _bars_in_system(needs: Sequence[float], room_mm: float) -> int:
    """How many of four bars stand in one system: all, two or one."""
    for length in (4, 2):
        if all(sum(needs[first : first + length]) <= room_mm for first in range(0, len(needs), length)):
            return length
    return 1


# --- grids --------------------------------------------------------------------------------------


@dataclass(frozen=True)
class GridBar:
    """A bar whose grid is to be drawn, and what it is called: "Bar 5"."""

    grid: Grid
    label: str


def _grids(score: Score, drawn: dict[tuple[object, ...], Playing], read_on: str) -> Iterator[Block | GridBar]:
    """A grid for each new rhythm, and words for the bars that are as an earlier one."""
    waiting: list[Reference] = []
    met: dict[int, list[tuple[object, ...]]] = {}
    for index, bar in enumerate(score.bars):
        rhythm, before = rhythm_of(bar), met.setdefault(bar.number, [])
        if rhythm in before:
            continue  # the same bar played again
        before.append(rhythm)
        playing = Playing(bar.number, len(before))
        if rhythm in drawn:
            earlier = drawn[rhythm]
            here = replace(earlier, read_on="") if earlier.read_on == read_on else earlier
            waiting.append((playing, here))
            continue
        yield from _references(waiting)
        waiting = []
        drawn[rhythm] = replace(playing, read_on=read_on)
        yield GridBar(grid_of(score, index), str(playing).capitalize())
    yield from _references(waiting)


def _references(waiting: Sequence[Reference]) -> Iterator[Block]:
    """The words that send the reader back, such as "Bar 5: as bar 2."."""
    if waiting:
        lines = tuple(packed(reference_words(waiting), MUSIC_MM, LETTER_MM))
        yield Block(LETTER_MM * 1.35 * len(lines) + 3.0, "words", lines)


def _all_grids(score: Score, found: Sequence[Block | GridBar], density: Density) -> Iterator[Block]:
    """The grids abreast where they fit, below a heading and what their signs mean."""
    bars = [one for one in found if isinstance(one, GridBar)]
    ratio = flat_ratio(score)
    yield _heading("Who sounds together")
    if ratio > 1.05:
        words = packed([f"Swing is {ratio:.2g} : 1 at this tempo: the & stands where it sounds."], MUSIC_MM, LETTER_MM)
        yield Block(LETTER_MM * 1.5 * len(words), "words", tuple(words), keep=True)
    entries = legend_entries([bar.grid for bar in bars], MUSIC_MM)
    yield Block(entries[-1].y + 8.5, "legend", legend=entries, keep=True)
    yield from _strips(found, density)


def _strips(found: Sequence[Block | GridBar], density: Density) -> Iterator[Block]:
    abreast: list[GridBar] = []
    for one in found:
        if abreast and not (isinstance(one, GridBar) and _side_by_side([*abreast, one], density)):
            yield _strip_of(abreast, density)
            abreast = []
        if isinstance(one, Block):
            yield one
        else:
            abreast.append(one)
    if abreast:
        yield _strip_of(abreast, density)


def _side_by_side(bars: Sequence[GridBar], density: Density) -> bool:
    plain = all(bar.label.removeprefix("Bar ").isdigit() for bar in bars)
    limbs = {tuple(row.limb for row in bar.grid.rows) for bar in bars}
    room = min(most_abreast(bar.grid, MUSIC_MM / density.scale) for bar in bars)
    return plain and len(limbs) == 1 and len(bars) <= min(room, density.abreast)


def _strip_of(bars: Sequence[GridBar], density: Density) -> Block:
    labels, scale = [bar.label for bar in bars], density.scale
    made = strip([bar.grid for bar in bars], labels, MUSIC_MM / scale, density.abreast)
    return Block(made.height_mm * scale, "grid", strip=made, scale=scale, bars=len(bars))
