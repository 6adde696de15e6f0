"""What a chart holds, piece by piece: the line, all limbs, and a grid for each rhythm. Lengths in millimetres."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from grooves.kit import PARTS
from grooves.score import Score
from render.paper.engrave import MARGIN_MM, systems
from render.paper.grids import Grid, bar_grid, rhythm_of
from render.paper.notation import musicxml
from render.paper.notes import DRUMS, LINE
from render.paper.text_metrics import LETTER_MM, fitted_mm, packed, width_ems
from render.paper.voices import Sign, measures

MUSIC_MM = 182.0  # as wide on every paper, so that a chart has the same lines on each
COLUMN_MM = 6.2  # what a note needs on the staff; by eye
BAR_MM = 7.0  # what a bar needs besides
CLEF_MM = 16.0  # clef and time signature
LEGEND = (  # sign and how wide it is, words
    ("black", 5.0, "drum"),
    ("x", 4.2, "cymbal, stick"),
    ("", 1.2, "not struck"),
    ("joined", 1.0, "together"),
    ("bold", width_ems("bold", bold=True) * LETTER_MM, "reads the line"),
)
LEGEND_LINE_MM = 7.0


@dataclass(frozen=True)
class Entry:
    """One sign of the legend from `left` on, its middle at `x`, and its words from `words_x` on; `y` is their top."""

    sign: str
    left: float
    x: float
    words_x: float
    y: float
    words: str


@dataclass(frozen=True)
class Block:
    """One piece of the flow: what to draw, how high it is, whether it must stay with the next one."""

    height_mm: float
    kind: str  # "heading", "music", "legend", "grid" or "words"
    lines: tuple[str, ...] = ()
    size_mm: float = LETTER_MM
    svg: str = ""
    glyphs: tuple[tuple[str, str], ...] = ()
    indent_mm: float = 0.0  # how far its staff stands in from its left edge
    grid: Grid | None = None
    legend: tuple[Entry, ...] = ()
    keep: bool = False


def flow(score: Score, chosen: set[int]) -> Iterator[Block]:
    """The pieces of a chart in order: `list(flow(score, set()))`; `chosen` are the bars to draw, none for all."""
    yield _heading("The line")
    yield from _music(_chorus(score, 0, set()), LINE)
    drawn: dict[tuple[object, ...], Playing] = {}
    grids: list[Block] = []
    for reading in range(score.readings):
        part = _chorus(score, reading, chosen)
        on = _read_on(score, reading)
        yield _heading(f"All limbs, the line on the {on}")
        yield from _music(part, DRUMS, f"reading-{reading + 1}-" if reading else "")
        if score.readings > 1:
            grids.append(_heading(f"The line on the {on}"))
        grids += _grids(part, drawn, on if score.readings > 1 else "")
    yield _heading("Who sounds together")
    entries = legend_entries(MUSIC_MM)
    yield Block(entries[-1].y + 9.5, "legend", legend=entries, keep=True)
    yield from grids


def _read_on(score: Score, reading: int) -> str:
    ways = score.played_on if score.readings == 1 else score.played_on[reading : reading + 1]
    names = {name for way in ways for name in (*way.instruments, way.gaps) if name}
    return " and ".join(name for name in PARTS if name in names)


def _chorus(score: Score, reading: int, chosen: set[int]) -> Score:
    """One chorus as a score of its own, or the chosen bars of it."""
    first = reading * score.chorus_length
    bars = score.bars[first : first + score.chorus_length]
    kept = tuple(bar for bar in bars if not chosen or bar.number in chosen)
    return replace(score, bars=kept, readings=1)


def _heading(words: str) -> Block:
    size_mm = fitted_mm(words, MUSIC_MM, LETTER_MM * 1.15, bold=True)
    return Block(LETTER_MM * 2.0, "heading", (words,), size_mm, keep=True)


def legend_entries(room_mm: float) -> tuple[Entry, ...]:
    """The legend's signs and words in lines that fit: `legend_entries(182.0)[0].words` is "drum"."""
    entries = []
    x = y = 0.0
    for sign, sign_mm, words in LEGEND:
        words_mm = sign_mm + 2.0
        needed_mm = words_mm + width_ems(words) * LETTER_MM
        if x and x + needed_mm > room_mm:
            x, y = 0.0, y + LEGEND_LINE_MM
        entries.append(Entry(sign, x, x + sign_mm / 2, x + words_mm, y, words))
        x += needed_mm + LETTER_MM
    return tuple(entries)


# --- staves -------------------------------------------------------------------------------------


def _music(score: Score, staff: str, mark: str = "") -> Iterator[Block]:
    """The systems of one staff; `mark` goes before the ids of music that comes again."""
    printed = measures(score)
    needs = [_needed_mm(bar.line if staff == LINE else (*bar.hands, *bar.feet)) for bar in printed]
    xml = musicxml(score, (staff,), headings=False, systems=system_starts(needs, MUSIC_MM - CLEF_MM))
    for system in systems(xml, MUSIC_MM + MARGIN_MM):
        group = system.group.replace(' id="', f' id="{mark}') if mark else system.group
        yield Block(system.height_mm + 4.0, "music", svg=group, glyphs=system.glyphs, indent_mm=MARGIN_MM)


def _needed_mm(signs: Sequence[Sign]) -> float:
    return BAR_MM + COLUMN_MM * len({sign.onset for sign in signs})


def system_starts(needs: Sequence[float], room_mm: float) -> list[int]:
    """Where systems begin so that phrases of four bars stay whole, or are halved: `[4]` for eight easy bars."""
    starts: list[int] = []
    for phrase in range(0, len(needs), 4):
        starts += [phrase + start for start in _split(needs[phrase : phrase + 4], room_mm)]
    return starts[1:]


def _split(needs: Sequence[float], room_mm: float) -> list[int]:
    if len(needs) == 1 or sum(needs) <= room_mm:
        return [0]
    half = (len(needs) + 1) // 2
    return [*_split(needs[:half], room_mm), *(half + start for start in _split(needs[half:], room_mm))]


# --- grids --------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Playing:
    """A bar as a reader finds it: `str(Playing(5))` is "bar 5"; `time` is 2 where its second playing differs."""

    number: int
    time: int = 1
    read_on: str = ""

    def __str__(self) -> str:
        again = f", time {self.time}" if self.time > 1 else ""
        return f"bar {self.number}{again}" + (f" on the {self.read_on}" if self.read_on else "")


Reference = tuple[Playing, Playing]  # a bar, and the earlier one that it is like


def _grids(score: Score, drawn: dict[tuple[object, ...], Playing], read_on: str) -> Iterator[Block]:
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
        shape = bar_grid(score, index, MUSIC_MM, str(playing).capitalize())
        yield Block(shape.height_mm, "grid", grid=shape)
    yield from _references(waiting)


def _references(waiting: Sequence[Reference]) -> Iterator[Block]:
    """The words that send the reader back, such as "Bar 5: as bar 2."."""
    if waiting:
        runs = [_as_words(run) for run in reference_runs(waiting)]
        lines = tuple(packed(runs, MUSIC_MM, LETTER_MM))
        yield Block(LETTER_MM * 1.35 * len(lines) + 3.0, "words", lines)


def reference_runs(references: Sequence[Reference]) -> list[list[Reference]]:
    """References parted where neither the bars nor what they are like go on by one, or all are like one bar."""
    runs: list[list[Reference]] = []
    for one in references:
        if runs and any(_goes_on([*runs[-1], one], step) for step in (0, 1)):
            runs[-1].append(one)
        else:
            runs.append([one])
    return runs


def _goes_on(run: Sequence[Reference], step: int) -> bool:
    (bar, earlier), plain = run[0], all(bar.time == 1 == earlier.time for bar, earlier in run)
    follows = [
        (replace(bar, number=bar.number + at), replace(earlier, number=earlier.number + at * step))
        for at in range(len(run))
    ]
    return plain and list(run) == follows


def _as_words(run: Sequence[Reference]) -> str:
    """One run in words: "Bars 9–12: as bars 1–4."."""
    (bar, earlier), (last, last_earlier) = run[0], run[-1]
    if len(run) == 1:
        return f"{str(bar).capitalize()}: as {earlier}."
    like = str(earlier)
    if last_earlier != earlier:
        like = f"bars {earlier.number}–{str(last_earlier).removeprefix('bar ')}"
    return f"Bars {bar.number}–{last.number}: as {like}."


# --- keeping together ----------------------------------------------------------------------------


def kept_together(blocks: Sequence[Block]) -> Iterator[list[Block]]:
    """Pieces that must stand on one page: a heading with what it heads."""
    group: list[Block] = []
    for block in blocks:
        group.append(block)
        if not block.keep:
            yield group
            group = []
    if group:
        yield group
