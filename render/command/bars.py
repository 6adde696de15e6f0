"""`fourlimb bars`: who sounds together in each bar, how hard it is, and the steps up to it."""

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from grooves.errors import LessonError
from render.command.options import Json, Lesson
from render.command.report import as_json, show_lines

if TYPE_CHECKING:
    from render.lesson.bar_report import BarView

EXAMPLE = "fourlimb bars tuesday.toml"
Stairs = Annotated[
    int | None,
    typer.Option("--stairs", metavar="BAR", help="Write the steps up to this bar as a lesson."),
]
Start = Annotated[int | None, typer.Option("--from", metavar="BAR", help="Begin the stairs at this bar.")]
File = Annotated[
    Path | None,
    typer.Option("-o", "--out", metavar="FILE.toml", help="The lesson of stairs to write."),
]


def bars(lesson: Lesson, stairs: Stairs = None, start: Start = None, out: File = None, json: Json = False) -> None:
    """Say who sounds together in each bar, and how hard it is; or write the stairs up to one."""
    from render.lesson.bar_report import describe_bars
    from render.lesson.load import load_lesson

    if stairs is None and (start is not None or out):
        raise LessonError("--from and -o belong to --stairs; add --stairs BAR")
    if stairs is not None:
        _stairs(lesson, stairs, start, out, json)
        return
    loaded = load_lesson(lesson)
    described = describe_bars(loaded.lesson)
    if json:
        print(as_json({"bars": described, "notes": loaded.notes}))
    else:
        _show(loaded.lesson.title, described, loaded.notes)


def _stairs(lesson: Path, bar: int, start: int | None, out: Path | None, json: bool) -> None:
    from render.files.write import make_folder, write_bytes
    from render.lesson.bar_report import stairs_lesson

    target = out or lesson.parent / f"{lesson.stem or 'lesson'}-stairs-to-{bar}.toml"
    found = stairs_lesson(lesson, bar, start, target)
    make_folder(target.parent)
    write_bytes(target, found.text.encode(), ())
    if json:
        files = [{"track": "", "kind": "lesson", "path": target}]
        print(as_json({"files": files, "steps": found.steps, "notes": found.notes}))
    else:
        show_lines([*found.steps, *found.notes, str(target)])


def _show(title: str, bars: "Sequence[BarView]", notes: Sequence[str] = ()) -> None:
    """Print bars, hardest first: difficulty and why, then place by place who sounds together."""
    said = [f"{title}: hardest first", ""]
    for bar in bars:
        points = ", ".join(f"{name} {value:g}" for name, value in bar.parts.items())
        said.append(f"bar {bar.bar}   {bar.values}   difficulty {bar.difficulty:g} ({points})")
        said.append(f"  {bar.why}")
        for place in bar.places:
            said.append(f"    {place.count:<6}{place.words}")
    show_lines([*said, *notes])
