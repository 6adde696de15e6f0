"""`fourlimb grooves`: the grooves that are there."""

from pathlib import Path
from typing import Annotated

import typer

from render.command.options import Json

EXAMPLE = "fourlimb grooves swing"


def grooves(
    name: Annotated[str | None, typer.Argument(metavar="NAME", help="A shipped groove, or a groove file.")] = None,
    json: Json = False,
) -> None:
    """List the grooves, or show one and its swing at every tempo."""
    from render.command.report import as_json, show_groove, show_table
    from render.lesson.load import find_groove, shipped_grooves

    if name:
        groove = find_groove(name, Path())
        print(as_json(groove)) if json else show_groove(groove)
        return
    every = [find_groove(name, Path()) for name in shipped_grooves()]
    if json:
        print(as_json({"grooves": every}))
        return
    rows = [(g.name, g.title, str(g.meter), str(g.swing), "{:g} to {:g}".format(*g.tempo_bpm)) for g in every]
    show_table("Grooves", ("name", "title", "meter", "swing", "tempo"), rows)
