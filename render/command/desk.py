"""`fourlimb desk`: lessons written, heard and given away in a browser on this computer."""

import gc
from pathlib import Path
from typing import Annotated

import typer

EXAMPLE = "fourlimb desk lessons"


def desk(
    folder: Annotated[
        Path, typer.Argument(metavar="FOLDER", help="The folder of lessons; made if it is not there.")
    ] = Path(),
    port: Annotated[int, typer.Option("--port", metavar="N", help="The port to answer on (0: any that is free).")] = 0,
    no_browser: Annotated[bool, typer.Option("--no-browser", help="Only print the address, open nothing.")] = False,
    shortcut: Annotated[
        bool, typer.Option("--shortcut", help="Put an entry for this desk on your desktop, and start nothing.")
    ] = False,
) -> None:
    """Write, hear and give away lessons in your browser, on this computer alone."""
    from render.command.report import show_lines
    from render.desk.serve import lessons_folder, listen, serve

    gc.enable()  # other commands live too short to need it

    folder = lessons_folder(folder)
    if shortcut:
        from render.desk.shortcut import write_shortcut

        path = write_shortcut(folder)
        show_lines([f"{path}: opens the desk over {folder.resolve()}"])
        return
    own = listen(port)
    from render.desk.app import desk_app
    from render.desk.guard import Pass
    from render.desk.work import Desk

    entry = Pass(own.getsockname()[1])
    app = desk_app(Desk(folder), entry)

    def begun() -> None:
        print(f"The desk over {folder.resolve()} is open at:\n{entry.address}\nCtrl-C ends it.", flush=True)
        if not no_browser:
            typer.launch(entry.address)

    serve(app, own, begun)
