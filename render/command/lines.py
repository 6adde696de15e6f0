"""`fourlimb lines`: a reading line of a level, generated from a seed, alone or as a whole lesson."""

from pathlib import Path
from typing import Annotated

import typer

from grooves.errors import LessonError
from render.command.options import Json

EXAMPLE = "fourlimb lines --level 4 -o tuesday.toml --tempo 96"
Level = Annotated[int, typer.Option("--level", metavar="N", help="See the table of levels in docs/teaching.md.")]
Bars = Annotated[int, typer.Option("--bars", metavar="M", help="How many bars.")]
Seed = Annotated[int, typer.Option("--seed", metavar="S", help="Another seed, another line.")]
InMeter = Annotated[
    str | None, typer.Option("--meter", metavar="M", help="4/4, 3/4 or another (default: the groove's, else 4/4).")
]
Out = Annotated[Path | None, typer.Option("-o", "--out", metavar="FILE.toml", help="Write a whole lesson here.")]
Title = Annotated[str | None, typer.Option("--title", metavar="TITLE", help="What the lesson is called.")]
Groove = Annotated[str | None, typer.Option("--groove", metavar="GROOVE", help="What the other limbs play in it.")]
Tempo = Annotated[float | None, typer.Option("--tempo", metavar="BPM", help="Its beats a minute (default 100).")]


def lines(
    level: Level,
    bars: Bars = 8,
    seed: Seed = 1,
    meter: InMeter = None,
    out: Out = None,
    title: Title = None,
    groove: Groove = None,
    tempo: Tempo = None,
    json: Json = False,
) -> None:
    """Write a reading line of a level, generated from a seed, alone or as a whole lesson."""
    if out is not None:
        from render.command.report import as_json, show_lines
        from render.lesson.line_lesson import LineWish, write_line_lesson

        wish = LineWish(level, bars, seed, meter, title, groove, 100.0 if tempo is None else tempo)
        path = write_line_lesson(out, wish)
        if json:
            print(as_json({"files": [{"track": "", "kind": "lesson", "path": path}]}))
        else:
            show_lines([str(path)])
        return
    for option, value in (("--title", title), ("--groove", groove), ("--tempo", tempo)):
        if value is not None:
            raise LessonError(f"{option}: this belongs to a whole lesson; add -o and a file's name, such as: {EXAMPLE}")
    _print(level, bars, seed, meter or "4/4", json)


def _print(level: int, bars: int, seed: int, meter: str, json: bool) -> None:
    from grooves.rhythm import parse_meter, values_text
    from grooves.teaching.graded import lines as graded

    text = values_text(graded(level, bars, seed, parse_meter(meter)))
    if json:
        from render.command.report import as_json

        print(as_json({"level": level, "seed": seed, "meter": meter, "values": text}))
        return
    written = text.split(" | ")  # only now: a note may be tied over the end of a row
    rows = [" | ".join(written[begin : begin + 4]) for begin in range(0, len(written), 4)]
    print('[line]\nvalues = """\n' + " |\n".join(rows) + '\n"""')
