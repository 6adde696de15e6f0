"""`fourlimb render`: all the files of lessons."""

from pathlib import Path
from typing import Annotated, Literal

import typer

from render.command.options import (
    Folder,
    Format,
    Json,
    KitProgram,
    NoAudio,
    NoCache,
    Rate,
    Soundfont,
    Velocities,
    render_options,
)
from render.command.report import progress_bar, show_reports

EXAMPLE = "fourlimb render tuesday.toml -o tuesday --stems"
Lessons = Annotated[list[Path], typer.Argument(metavar="LESSON", help="Lesson files, or folders of them.")]
Tracks = Annotated[list[str], typer.Option("--track", metavar="NAME", help="Only this track (may be repeated).")]
Stems = Annotated[bool, typer.Option("--stems", help="Also one audio file for each part of each track.")]
NoDocuments = Annotated[bool, typer.Option("--no-documents", help="No chart, MusicXML and lesson page.")]
Level = Annotated[
    Literal["shared", "per-lesson"],
    typer.Option("--level", help="How loud several lessons come out: all alike, or each as loud as it can be."),
]
Jobs = Annotated[
    int,
    typer.Option(
        "--jobs", metavar="N", help="Lessons at a time, or processes for one lesson, at most 4 (0: one a core)."
    ),
]
Scheduler = Annotated[
    str | None,
    typer.Option(
        "--scheduler",
        metavar="ADDRESS",
        help="Hand the lessons to a Dask scheduler (extra: cluster).",
    ),
]


def render(
    lessons: Lessons,
    out: Folder = Path("out"),
    track: Tracks = [],  # noqa: B006 - never changed; typer wants a list
    audio_format: Format = "wav",
    stems: Stems = False,
    no_audio: NoAudio = False,
    no_documents: NoDocuments = False,
    velocities: Velocities = "measured",
    level: Level = "shared",
    jobs: Jobs = 0,
    scheduler: Scheduler = None,
    soundfont: Soundfont = None,
    kit_program: KitProgram = None,
    rate: Rate = 44100,
    no_cache: NoCache = False,
    json: Json = False,
) -> None:
    """Render MIDI, audio, chart and page of lessons."""
    from render.lesson.several import Workers, render_lessons

    options = render_options(
        out,
        audio_format=audio_format,
        rate=rate,
        soundfont=soundfont,
        kit_program=kit_program,
        no_cache=no_cache,
        no_audio=no_audio,
        documents=not no_documents,
        stems=stems,
        velocities=velocities,
        tracks=track,
        level=level,
        jobs=jobs,
    )
    with progress_bar("rendering", not json) as progress:
        reports = render_lessons(lessons, options, Workers(jobs, scheduler), progress)
    show_reports(reports, json)
