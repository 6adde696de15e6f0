"""What the signs of the grids mean, those that a chart has, in lines that fit. Lengths in millimetres."""

from collections.abc import Sequence
from dataclasses import dataclass

from grooves.kit import LIMBS
from render.paper.grids import Grid
from render.paper.strips import LIMB_NAMES
from render.paper.text_metrics import width_ems

WORDS_MM = 4.6
LINE_MM = 6.2
GAP_MM = 3.6  # between two entries
SIGNS = (  # sign and how wide it is, words
    ("black", 4.2, "drum"),
    ("x", 3.2, "cymbal, cross-stick"),
    ("diamond", 4.2, "bell of the ride"),
    ("circle-x", 4.8, "open hi-hat"),
    ("", 1.2, "not struck"),
    ("accent", 2.6, "accent"),
    ("ghost", 5.4, "ghost note"),
    ("joined", 1.0, "together"),
    ("bold", width_ems("bold", bold=True) * WORDS_MM, "reads the line"),
)
ALWAYS = ("black", "x", "", "joined", "bold")


@dataclass(frozen=True)
class LegendEntry:
    """One sign of the legend from `left` on, its middle at `x`, and its words from `words_x` on; `y` is their top."""

    sign: str
    left: float
    x: float
    words_x: float
    y: float
    words: str


def legend_entries(grids: Sequence[Grid], room_mm: float) -> tuple[LegendEntry, ...]:
    """The legend's signs and words in lines that fit: `legend_entries(grids, 182.0)[0].words` is "drum"."""
    there = _signs_of(grids)
    signs = [(sign, mm, there.get(sign, words)) for sign, mm, words in SIGNS if sign in ALWAYS or sign in there]
    limbs = [limb for limb in LIMBS if any(row.limb == limb for grid in grids for row in grid.rows)]
    named = [(LIMB_NAMES[limb], width_ems(LIMB_NAMES[limb]) * WORDS_MM, limb) for limb in limbs]
    entries = []
    x = y = 0.0
    for sign, sign_mm, words in (*signs, *named):
        words_mm = sign_mm + 1.6
        needed_mm = words_mm + width_ems(words) * WORDS_MM
        if x and x + needed_mm > room_mm:
            x, y = 0.0, y + LINE_MM
        entries.append(LegendEntry(sign, x, x + sign_mm / 2, x + words_mm, y, words))
        x += needed_mm + GAP_MM
    return tuple(entries)


def _signs_of(grids: Sequence[Grid]) -> dict[str, str]:
    """Signs that not every chart has, and their words."""
    marks = [mark for grid in grids for mark in grid.marks]
    words: dict[str, str] = {sign: said for sign, _, said in SIGNS}
    there: dict[str, str] = {mark.head: words[mark.head] for mark in marks if mark.head in words}
    if any(mark.accent for mark in marks):
        there["accent"] = words["accent"]
    ghosts = {"fills a gap" if mark.stroke.role == "gaps" else words["ghost"] for mark in marks if mark.ghost}
    return there | ({"ghost": " or ".join(sorted(ghosts, reverse=True))} if ghosts else {})
