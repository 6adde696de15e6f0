"""`fourlimb lines`: a reading line of a level, generated from a seed."""

from typing import Annotated

import typer

from render.command.options import Json

EXAMPLE = "fourlimb lines --level 3 --bars 8 --seed 1"


def lines(
    level: Annotated[int, typer.Option("--level", metavar="N", help="See the table of levels in the README.")],
    bars: Annotated[int, typer.Option("--bars", metavar="M", help="How many bars.")] = 8,
    seed: Annotated[int, typer.Option("--seed", metavar="S", help="Another seed, another line.")] = 1,
    meter: Annotated[str, typer.Option("--meter", metavar="M", help="4/4, 3/4 or another.")] = "4/4",
    json: Json = False,
) -> None:
    """Write a reading line of a level, generated from a seed."""
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
