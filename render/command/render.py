"""`fourlimb render`: all the files of lessons."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

import typer

from render.command.options import (
    Folder,
    Format,
    Json,
    NoAudio,
    NoCache,
    Rate,
    Soundfont,
    Velocities,
    render_options,
)

if TYPE_CHECKING:
    from render.lesson.options import RenderOptions

EXAMPLE = "fourlimb render tuesday.toml -o tuesday --stems"
Lessons = Annotated[list[Path], typer.Argument(metavar="LESSON", help="Lesson files, or folders of them.")]
Tracks = Annotated[list[str], typer.Option("--track", metavar="NAME", help="Only this track (may be repeated).")]
Stems = Annotated[bool, typer.Option("--stems", help="Also one audio file for each part of each track.")]
NoDocuments = Annotated[bool, typer.Option("--no-documents", help="No chart, MusicXML and lesson page.")]
Level = Annotated[
    Literal["shared", "per-lesson"],
    typer.Option("--level", help="shared: several lessons at one level; per-lesson: each as loud as it can be."),
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
    rate: Rate = 44100,
    no_cache: NoCache = False,
    json: Json = False,
) -> None:
    """Render MIDI, audio, chart and page of lessons."""
    options = render_options(
        out,
        audio_format=audio_format,
        rate=rate,
        soundfont=soundfont,
        no_cache=no_cache,
        no_audio=no_audio,
        documents=not no_documents,
        stems=stems,
        velocities=velocities,
        level=level,
        tracks=track,
        jobs=jobs,
    )
    render_all(lessons, options, jobs, scheduler, json)


def render_all(
    paths: list[Path], options: "RenderOptions", jobs: int = 0, scheduler: str | None = None, json: bool = False
) -> None:
    """Render lessons, side by side where there are several, and report what was made."""
    from render.command.report import progress_bar, reports_json, show_report
    from render.lesson.several import Workers, render_lessons

    with progress_bar("rendering", not json) as progress:
        reports = render_lessons(paths, options, Workers(jobs, scheduler), progress)
    if json:
        print(reports_json(reports))
        return
    for report in reports:
        show_report(report)
