"""The reading line on the lesson page: one picture for each printed bar, all equally wide and high.

Equal pictures side by side read as one system, whatever the width of the window. Notes stand above their columns of
the grid; the first bar shows clef and meter, and every bar leaves them room, which the names of the rows need below.
The pictures share their glyphs, which stand once in the page.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from html import escape
from itertools import pairwise

from grooves.players import ChordMark
from grooves.score import Score
from render.page.proportional import Ruler, first_middle, set_to
from render.paper.engrave import EDGE_MM, MARGIN_MM, System, systems
from render.paper.grids import Column, columns_of
from render.paper.notation import line_musicxml, musicxml
from render.paper.notes import LINE
from render.paper.text_metrics import width_ems
from render.paper.voices import printed_bars, printed_pickup

STAFF_MM = 6.0
AHEAD_MM = 1.7  # from a barline to the first column, where bars stand side by side
_BELOW_MM = 2.4  # under the staff: all stems of the line point up
_ROOMY_MM = 1000.0
_CLOSEST_MM = 2.45  # two notes apart: a head is 1.77 wide
_NARROWEST_MM, _WIDEST_MM = 33.0, 84.0
_BESIDE_CLEF_MM = 6.5
_CHORDS_MM, _CHORDS_UP_MM = 3.6, 4.4  # letters of chord symbols, and how far they stand above the staff
_LETTER_MM, _LETTER_UP_MM = 3.2, 4.6  # a rehearsal letter in its box, and how far the box stands above what is below


@dataclass(frozen=True)
class StaffPicture:
    """One printed bar: `number` in the line, `index` of its first playing in `score.bars`, `times` in a row."""

    number: int
    index: int
    times: int
    staff: str
    signs: str
    letter: str = ""  # the rehearsal letter over it


@dataclass(frozen=True)
class Staves:
    """All bars of a chorus, what they are drawn with, and where they lie, in millimetres of a 6 mm staff."""

    bars: tuple[StaffPicture, ...]
    glyphs: str
    left_mm: float  # of the first column
    width_mm: float  # from there to the barline
    above_mm: float  # from the top of the pictures to the staff's first line

    @property
    def height_mm(self) -> float:
        """Of each picture."""
        return self.above_mm + STAFF_MM + _BELOW_MM

    @property
    def box(self) -> str:
        """The pictures' viewBox."""
        return f"0 0 {self.left_mm + self.width_mm:.3f} {self.height_mm:.3f}"


def staves(score: Score) -> Staves:
    """Engrave the line bar by bar: `staves(score).bars[0].signs`; notes tell their `data-place`, such as "3/2"."""
    every = printed_bars(score)
    printed = [bar for bar in every if bar.reading == 0]
    xml = line_musicxml(score, headings=False, systems=range(1, len(every)))
    engraved = systems(xml, MARGIN_MM + _ROOMY_MM + EDGE_MM, STAFF_MM, natural=True)[: len(printed)]
    starts = [sum(bar.times for bar in printed[:at]) for at in range(len(printed))]
    places = [[sign.onset for sign in bar.line] for bar in printed]
    columns = [columns_of(score, start) for start in starts]
    across = [[share_of(onset, score, own) for onset in bar] for bar, own in zip(places, columns, strict=True)]
    left, width = _left_mm(engraved[0]), _width_mm(across)
    above = max(one.top_line_mm for one in engraved)
    if any(bar.chords for bar in printed):
        above = max(above, _CHORDS_UP_MM + _CHORDS_MM)
    below_letter = above
    if any(bar.letter for bar in printed):
        above += _LETTER_UP_MM
    pictures = []
    for number, (bar, start, own, system) in enumerate(zip(printed, starts, across, engraved, strict=True)):
        staff, signs = set_to(system.group, own, Ruler(100 * left, 100 * width), with_clef=not start)
        down = above - system.top_line_mm
        shares = [share_of(mark.onset, score, columns[number]) for mark in bar.chords]
        chords = "".join(_chord(one, left + width * x, above) for one, x in zip(bar.chords, shares, strict=True))
        letter = _letter(bar.letter, left, above - below_letter) if bar.letter else ""
        drawn = _drawn(staff, down, system) + chords + letter
        pictures.append(StaffPicture(bar.number, start, bar.times, drawn, _drawn(signs, down, system), bar.letter))
    return Staves(tuple(pictures), _glyphs(engraved), left, width, above)


def _letter(letter: str, left_mm: float, room_mm: float) -> str:
    """A rehearsal letter in its box at the top of a picture, over the first note of its bar."""
    wide = width_ems(letter, bold=True) * _LETTER_MM * 1.2 + 1.6  # a fifth more for other fonts than ours
    high, x = room_mm - 0.6, left_mm - 1.0
    box = f'<rect x="{x:.2f}" y="0.1" width="{wide:.2f}" height="{high:.2f}" fill="none" stroke-width=".2"/>'
    place = f'x="{x + wide / 2:.2f}" y="{high - 0.8:.2f}" font-size="{_LETTER_MM}" font-weight="bold"'
    text = f'<text {place} text-anchor="middle" stroke="none">{escape(letter)}</text>'
    return f'<g class="letter">{box}{text}</g>'


def pickup_picture(score: Score, bar: Score, lines: Staves) -> StaffPicture:
    """The pickup, set to the columns of the bar that it ends: `bar` is that bar by itself, `lines` the line's own."""
    first = replace(score, bars=score.bars[:1], readings=1, repeat_each=1)
    xml = musicxml(first, (LINE,), headings=False, systems=[1])
    system = systems(xml, MARGIN_MM + _ROOMY_MM + EDGE_MM, STAFF_MM, natural=True)[0]
    columns = columns_of(bar, 0)
    across = [share_of(sign.onset, bar, columns) for one in printed_pickup(score) for sign in one.line]
    staff, signs = set_to(system.group, across, Ruler(100 * lines.left_mm, 100 * lines.width_mm))
    down = lines.above_mm - system.top_line_mm
    return StaffPicture(0, 0, 1, _drawn(staff, down, system), _drawn(signs, down, system))


def _chord(mark: ChordMark, x_mm: float, above_mm: float) -> str:
    """A chord symbol above the staff, at its place in the bar."""
    place = f'x="{x_mm - 1:.2f}" y="{above_mm - _CHORDS_UP_MM:.2f}" font-size="{_CHORDS_MM}"'
    return f'<text class="chord" {place} stroke="none">{escape(mark.symbol)}</text>'


def share_of(onset: Fraction, score: Score, own: Sequence[Column]) -> float:
    """Where a written place lies across its bar: at its column, a swung upbeat on its beat's third, else in between.

    Example: `share_of(Fraction(1, 2), score_of_swing, columns_of(score_of_swing, 0))` is 1/6 of the bar.
    """
    columns = [(one.onset, one.across) for one in own] + [(score.meter.length, 1.0)]
    known = dict(columns)
    upbeat = onset // 1 + Fraction(2, 3)
    if onset not in known and onset % 1 == Fraction(1, 2) and upbeat in known:
        return known[upbeat]
    if onset in known:
        return known[onset]
    (low, left), (high, right) = next(pair for pair in pairwise(columns) if pair[0][0] < onset < pair[1][0])
    return left + (right - left) * float((onset - low) / (high - low))


def _left_mm(first: System) -> float:
    """Where the first column lies: behind clef and meter."""
    return max(first_middle(first.group) / 100, _BESIDE_CLEF_MM)


def _width_mm(across: Sequence[Sequence[float]]) -> float:
    """How wide a bar is where its closest notes still stand apart."""
    gaps = [after - before for bar in across for before, after in pairwise(bar)]
    return min(max(_CLOSEST_MM / min(gaps, default=1.0), _NARROWEST_MM), _WIDEST_MM)


def _drawn(pieces: str, down_mm: float, system: System) -> str:
    """Pieces in verovio's units, moved so that all bars' staves lie on one height."""
    top = float(re.findall(r'class="page-margin" transform="translate\([\d.]+[, ]+([\d.]+)\)', system.group)[0])
    return f'<g transform="translate(0 {down_mm:.2f}) scale(.01) translate(0 {top:g})">{pieces}</g>'


def _glyphs(engraved: Sequence[System]) -> str:
    found = {name: text for one in engraved for name, text in one.glyphs}
    texts = (re.sub(r' xmlns(:xlink)?="[^"]*"', "", text) for _, text in sorted(found.items()))
    return f"<defs>{''.join(texts)}</defs>"
