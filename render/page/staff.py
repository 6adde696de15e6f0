"""The reading line on the lesson page: one picture for each printed bar, all equally wide and high.

Equal pictures side by side read as one system, whatever the width of the window. Only the first shows clef and meter.
The pictures share their glyphs, which stand once in the page.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass

from grooves.score import Score
from render.paper.engrave import EDGE_MM, MARGIN_MM, System, systems
from render.paper.notation import line_musicxml
from render.paper.voices import printed_bars

STAFF_MM = 6.0
_CLEF_MM = 3.2  # from the staff's left edge to behind the clef
_BELOW_MM = 2.0  # under the staff: all stems of the line point up
_ROOMY_MM = 1000.0
_NARROWEST_MM, _WIDEST_MM = 34.0, 90.0


@dataclass(frozen=True)
class StaffPicture:
    """One printed bar: `number` in the line, `index` of its first playing in `score.bars`, `times` in a row."""

    number: int
    index: int
    times: int
    svg: str


@dataclass(frozen=True)
class Staves:
    """All bars of a chorus, what they are drawn with, and how wide each is in millimetres of a 6 mm staff."""

    bars: tuple[StaffPicture, ...]
    glyphs: str
    width_mm: float


def staves(score: Score) -> Staves:
    """Engrave the line bar by bar: `staves(score).bars[0].svg`; notes tell their `data-place`, such as "3/2"."""
    printed = [bar for bar in printed_bars(score) if bar.reading == 0]
    xml = line_musicxml(score, headings=False, systems=range(1, len(printed_bars(score))))
    natural = max(one.width_mm for one in systems(xml, _ROOMY_MM, STAFF_MM, natural=True)[: len(printed)])
    width = min(max(natural - MARGIN_MM, _NARROWEST_MM), _WIDEST_MM)
    first, *_ = systems(xml, MARGIN_MM + width + EDGE_MM, STAFF_MM)
    _, *others = systems(xml, MARGIN_MM + _CLEF_MM + width + EDGE_MM, STAFF_MM)[: len(printed)]
    engraved = [first, *others]
    above = max(one.top_line_mm for one in engraved)
    below = STAFF_MM + _BELOW_MM
    pictures, index = [], 0
    for bar, system in zip(printed, engraved, strict=True):
        left = MARGIN_MM + (_CLEF_MM if index else 0.0)
        box = f"{left:.2f} {system.top_line_mm - above:.2f} {width:.2f} {above + below:.2f}"
        pictures.append(StaffPicture(bar.number, index, bar.times, _picture(system, box)))
        index += bar.times
    return Staves(tuple(pictures), _glyphs(engraved), width)


def _picture(system: System, box: str) -> str:
    """One system without the bar's number, which the page sets itself, drawn in a box of its own."""
    group = re.sub(r'<g class="mNum[^"]*"[^>]*>.*?</g>', "", system.group, flags=re.DOTALL)
    plain = re.sub(r' xmlns(:xlink)?="[^"]*"', "", group).replace("xlink:href", "href")
    return f'<svg viewBox="{box}">{_without_ids(plain)}</svg>'


def _without_ids(group: str) -> str:
    return re.sub(r' id="(line|drums)-[^"]*"', "", group)


def _glyphs(engraved: Sequence[System]) -> str:
    found = {name: text for one in engraved for name, text in one.glyphs}
    texts = (re.sub(r' xmlns(:xlink)?="[^"]*"', "", text) for _, text in sorted(found.items()))
    return f"<defs>{''.join(texts)}</defs>"
