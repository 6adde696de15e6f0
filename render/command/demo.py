"""`fourlimb demo`: the shipped lesson, every kind of file that can be made of it, and a take to try `check` with."""

import shlex
import sys
from dataclasses import replace
from pathlib import Path

from render.command.options import Folder, Json, KitProgram, NoCache, Rate, Soundfont, render_options
from render.command.report import progress_bar, show_reports

EXAMPLE = "fourlimb demo -o demo"


def demo(
    out: Folder = Path("demo"),
    soundfont: Soundfont = None,
    kit_program: KitProgram = None,
    rate: Rate = 44100,
    no_cache: NoCache = False,
    json: Json = False,
) -> None:
    """Render the shipped lesson: every kind of file, and a made-up take to try `check` with."""
    from render.lesson.first_lesson import demo_lesson
    from render.lesson.made_up_take import write_made_up_take
    from render.lesson.several import render_lessons

    lesson, note = demo_lesson(out)
    if note:
        print(note, file=sys.stderr)
    options = render_options(
        out,
        soundfont=soundfont,
        kit_program=kit_program,
        rate=rate,
        no_cache=no_cache,
        documents=True,
        stems=True,
    )
    with progress_bar("rendering", not json) as progress:
        (report,) = render_lessons([lesson], options, progress=progress)
    take = write_made_up_take(lesson, out)
    said = f"{take.path} is a made-up take: fourlimb check {shlex.quote(str(lesson))} {shlex.quote(str(take.path))}"
    show_reports([replace(report, files=(*report.files, take), notes=(*report.notes, said))], json)
