"""`fourlimb grooves`: the grooves that are there."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from render.command.options import Json
from render.command.report import as_json, show_lines, show_table

if TYPE_CHECKING:
    from grooves.groove import Groove, Part
    from grooves.rhythm import Meter

EXAMPLE = "fourlimb grooves swing"


def grooves(
    name: Annotated[str | None, typer.Argument(metavar="NAME", help="A shipped groove, or a groove file.")] = None,
    json: Json = False,
) -> None:
    """List the grooves, or show one and its swing at every tempo."""
    from render.lesson.groove_files import find_groove, groove_table, shipped_grooves

    if name:
        groove = find_groove(name, Path())
        print(as_json(groove)) if json else _show(groove)
        return
    if json:
        print(as_json({"grooves": [find_groove(name, Path()) for name in shipped_grooves()]}))
        return
    every = [groove_table(name) for name in shipped_grooves()]
    rows = [(g["name"], g["title"], g["meter"], str(g["swing"]), "{:g} to {:g}".format(*g["tempo"])) for g in every]
    show_table("Grooves", ("name", "title", "meter", "swing", "tempo"), rows)


def _show(groove: "Groove") -> None:
    """Print a groove's parts, then how its eighths swing at each tempo."""
    rows = [
        (part.name, part.limb, part.instrument, f"{part.level_lu:+g}", _pattern_text(part, groove.meter))
        for part in groove.parts
    ]
    show_lines([f"{groove.title}, {groove.meter}: {groove.source}"])
    show_table("Parts", ("part", "limb", "instrument", "LU against the ride", "struck on"), rows)
    from grooves.feel import swing_ratio

    tempos = range(60, 301, 20)
    ratios = [(f"{t}", *(f"{swing_ratio(s, t):.2f}" for s in (groove.swing, "as measured"))) for t in tempos]
    if groove.meter.unit < 8:
        heads = ("quarters a minute", f"swing = {groove.swing}", "as measured")
        show_table("Ratio long:short of the eighths (Jazz Trio Database, TISMIR 2024)", heads, ratios, right=(0, 1, 2))


def _pattern_text(part: "Part", meter: "Meter") -> str:
    from grooves.rhythm import place_name

    return " | ".join(" ".join(place_name(stroke.onset, meter) for stroke in bar) for bar in part.bars)
