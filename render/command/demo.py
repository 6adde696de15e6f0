"""`fourlimb demo`: the shipped lesson, and every kind of file that can be made of it."""

from pathlib import Path

from render.command.new import FIRST_LESSON
from render.command.options import Folder, Json, NoCache, Rate, Soundfont, render_options

EXAMPLE = "fourlimb demo -o demo"


def demo(
    out: Folder = Path("demo"),
    soundfont: Soundfont = None,
    rate: Rate = 44100,
    no_cache: NoCache = False,
    json: Json = False,
) -> None:
    """Render the shipped lesson: every kind of file."""
    from render.command.render import render_lessons
    from render.files.write import make_folder, write_bytes

    lesson = make_folder(out) / "first-lesson.toml"
    write_bytes(lesson, FIRST_LESSON.read_bytes())
    options = render_options(out, soundfont=soundfont, rate=rate, no_cache=no_cache, documents=True, stems=True)
    render_lessons([lesson], options, json=json)
