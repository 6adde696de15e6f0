"""Each bar as a small picture for a screen: the line above, all limbs below, to stand side by side and wrap.

All pictures of a score are equally high, with their staves at the same height, so that a row of them reads as one
system: a style sheet needs no more than `display: flex; flex-wrap: wrap`. Only the first shows clef and meter.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from lxml import etree

from grooves.score import Score
from render.engrave import EDGE_MM, MARGIN_MM, SVG, System, standalone, systems
from render.notation import musicxml
from render.notes import DRUMS, LINE
from render.voices import Measure, measures

SCREEN_STAFF_MM = 6.0
CLEF_MM = 3.2  # from the staff's left edge to behind the clef
WIDEST_MM = 1000.0


@dataclass(frozen=True)
class BarPicture:
    """One printed bar: `number` in the line, `index` of its first playing in `score.bars`, `times` in a row."""

    number: int
    index: int
    times: int
    svg: str


def bar_pictures(score: Score, staves: Sequence[str] = (LINE, DRUMS)) -> tuple[BarPicture, ...]:
    """A picture for every printed bar: `bar_pictures(score)[0].svg`.

    Notes are groups with id `line-b1-3_2-snare` or `drums-b1-3_2-ride` and `data-bar` (counted from 1 as printed),
    `data-place` (quarters from the start of the bar, "3/2") and `data-part`, so that a cursor can find them.
    """
    printed = measures(score)
    xml = musicxml(score, staves, headings=False, systems=range(1, len(printed)))
    engraved = systems(xml, WIDEST_MM, SCREEN_STAFF_MM, natural=True)
    above = max(system.top_line_mm for system in engraved)
    below = max(system.height_mm - system.top_line_mm for system in engraved)
    pictures = []
    index = 0
    for place, (bar, system) in enumerate(zip(printed, engraved, strict=True)):
        svg = _cropped(system, place, bar, above, below)
        pictures.append(BarPicture(bar.number, index, bar.times, svg))
        index += bar.times
    return tuple(pictures)


def _cropped(system: System, place: int, bar: Measure, above: float, below: float) -> str:
    """The picture from its staff's left edge, without its clef where it is not the first."""
    root = etree.fromstring(standalone(system, f"Bar {bar.number}"))
    for kind in ("mNum", "clef") if place else ("mNum",):
        for found in root.findall(f".//{SVG}g[@class='{kind}']"):
            parent = found.getparent()
            if parent is not None:
                parent.remove(found)
    left = MARGIN_MM + (CLEF_MM if place else 0.0)
    width, height = system.width_mm - left - EDGE_MM, above + below
    root.set("viewBox", f"{left:.2f} {system.top_line_mm - above:.2f} {width:.2f} {height:.2f}")
    root.set("width", f"{width:.2f}mm")
    root.set("height", f"{height:.2f}mm")
    return etree.tostring(root, encoding="unicode").replace("glyph-", f"bar-{place + 1}-glyph-")
