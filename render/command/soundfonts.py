"""`fourlimb soundfonts`: the soundfonts on this machine, and what one holds."""

from pathlib import Path
from typing import Annotated

import typer

from render.command.options import Json

EXAMPLE = "fourlimb soundfonts"


def soundfonts(
    file: Annotated[Path | None, typer.Argument(metavar="FILE", help="A soundfont (.sf2).")] = None,
    json: Json = False,
) -> None:
    """Say which soundfonts are on this machine, or what one holds."""
    from render.command.report import as_json, show_table
    from render.soundfont.installed import describe_soundfont, installed_soundfonts

    if file:
        kits = describe_soundfont(file)
        if json:
            print(as_json({"path": file, "kits": kits}))
            return
        heads = ("program", "kit", "used", "missing from the kit", "layered by velocity")
        rows = [
            (str(k.program), k.name, "yes" if k.used else "", ", ".join(k.missing), ", ".join(k.layered)) for k in kits
        ]
        show_table(str(file), heads, rows, right=(0,))
        return
    found = installed_soundfonts()
    if json:
        print(as_json({"soundfonts": found}))
        return
    show_table("Soundfonts", ("", "file", "kit", "state"), [(s.mark, str(s.path), s.kit, s.state) for s in found])
