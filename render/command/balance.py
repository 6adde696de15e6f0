"""`fourlimb balance`: how loud each part came out against the ride."""

from pathlib import Path

from render.command.options import Folder, Format, Json, Lesson, NoCache, Rate, Soundfont, render_options

EXAMPLE = "fourlimb balance tuesday.toml"


def balance(
    lesson: Lesson,
    out: Folder = Path("out"),
    audio_format: Format = "wav",
    soundfont: Soundfont = None,
    rate: Rate = 44100,
    no_cache: NoCache = False,
    json: Json = False,
) -> int:
    """Measure how loud each part is against the ride, and render a track that shows what feathering adds."""
    from render.command.report import as_json, show_balance
    from render.lesson.demonstration import balance_lesson

    options = render_options(out, audio_format=audio_format, rate=rate, soundfont=soundfont, no_cache=no_cache)
    found = balance_lesson(lesson, options)
    if json:
        print(as_json(found))
    else:
        show_balance(found)
    return 0 if found.good else 1
