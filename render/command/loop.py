"""`fourlimb loop`: a hard bar, slow, over and over."""

from pathlib import Path
from typing import Annotated, Literal

import typer

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
from render.command.report import progress_bar, show_reports

EXAMPLE = "fourlimb loop tuesday.toml --bars 6"
Bars = Annotated[str, typer.Option("--bars", metavar="BARS", help='Bars of the line, such as 6 or "3-4".')]
Tempo = Annotated[
    str | None,
    typer.Option(
        "--tempo",
        metavar="T",
        help="Beats a minute, or a share of the lesson's (default 60%, but not below 30).",
    ),
]
Times = Annotated[int, typer.Option("--times", metavar="N", help="How many times.")]
Without = Annotated[list[str], typer.Option("--without", metavar="PART", help="Leave this part or limb out.")]
Click = Annotated[Literal["off", "every beat", "2 and 4"], typer.Option("--click", help="A click beside the drums.")]


def loop(
    lesson: Lesson,
    bars: Bars,
    tempo: Tempo = None,
    times: Times = 8,
    without: Without = [],  # noqa: B006 - never changed; typer wants a list
    click: Click = "off",
    out: Folder = Path("out"),
    no_audio: NoAudio = False,
    velocities: Velocities = "measured",
    audio_format: Format = "wav",
    soundfont: Soundfont = None,
    kit_program: KitProgram = None,
    rate: Rate = 44100,
    no_cache: NoCache = False,
    json: Json = False,
) -> None:
    """Render a hard bar, slow, over and over: one file without a seam, one with a count-in."""
    from render.lesson.loop import render_loop
    from render.lesson.options import LoopOptions

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
    with progress_bar("looping", not json) as progress:
        report = render_loop(lesson, LoopOptions(bars, tempo, times, tuple(without), click), options, progress)
    show_reports([report], json)
