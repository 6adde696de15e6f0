"""`fourlimb balance`: how loud each part came out against the ride."""

from pathlib import Path
from typing import TYPE_CHECKING

from render.command.options import (
    Folder,
    Format,
    Json,
    KitProgram,
    Lesson,
    NoAudio,
    NoCache,
    Rate,
    Soundfont,
    Velocities,
    render_options,
)
from render.command.report import as_json, show_lines, show_table

if TYPE_CHECKING:
    from render.lesson.demonstration import BalanceReport

EXAMPLE = "fourlimb balance tuesday.toml"
BAR_LU = 24  # the balance picture's width, a sign for each LU from -24 to 0


def balance(
    lesson: Lesson,
    out: Folder = Path("out"),
    no_audio: NoAudio = False,
    velocities: Velocities = "measured",
    audio_format: Format = "wav",
    soundfont: Soundfont = None,
    kit_program: KitProgram = None,
    rate: Rate = 44100,
    no_cache: NoCache = False,
    json: Json = False,
) -> int:
    """Measure how loud each part is against the ride, and render a track that shows what feathering adds."""
    from render.lesson.demonstration import balance_lesson

    options = render_options(
        out,
        audio_format=audio_format,
        rate=rate,
        soundfont=soundfont,
        kit_program=kit_program,
        no_cache=no_cache,
        no_audio=no_audio,
        velocities=velocities,
    )
    found = balance_lesson(lesson, options)
    if json:
        print(as_json(found))
    else:
        _show(found)
    return 0 if found.good else 1


def _show(report: "BalanceReport") -> None:
    """Print target, measured level and difference of each part, with a bar picture."""
    rows = [
        (
            row.part,
            {"line": "reads", "gaps": "fills the gaps", "band": "plays along"}.get(row.role, "keeps time"),
            f"{row.target_lu:+.1f}",
            f"{row.measured_lu:+.1f}",
            f"{row.difference_lu:+.1f}",
            "=" * max(round(BAR_LU + row.measured_lu), 1),
        )
        for row in report.rows
    ]
    heads = ("part", "", "target LU", "measured LU", "off by", "loudness")
    show_table(f"{report.title}: one plain stroke against the ride's", heads, rows, right=(2, 3, 4))
    off = ["the balance is off: a part is more than 1 LU from its target, or the ride is not on top"]
    said = [*report.notes, *(str(made.path) for made in report.files), *(off if not report.good else [])]
    show_lines(f"  {note}" for note in said)
