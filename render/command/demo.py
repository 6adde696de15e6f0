"""`fourlimb demo`: the shipped lesson, and every kind of file that can be made of it."""

import sys
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
    """Render the shipped lesson: every kind of file."""
    from render.lesson.first_lesson import demo_lesson
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
        reports = render_lessons([lesson], options, progress=progress)
    show_reports(reports, json)
