"""`fourlimb render`: all the files of lessons."""

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from grooves.errors import LessonError
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
        tracks=track,
        jobs=jobs,
    )
    render_lessons(lesson_files(lessons), options, jobs, scheduler, json)


def render_lessons(
    paths: list[Path], options: "RenderOptions", jobs: int = 0, scheduler: str | None = None, json: bool = False
) -> None:
    """Render lessons, side by side where there are several, and report what was made."""
    from render.command.report import progress_bar, reports_json, show_report
    from render.lesson.pack import render_lesson

    if len(paths) > 1:
        _check_all(paths, options)
    with progress_bar("rendering", not json) as progress:
        if len(paths) == 1 and not scheduler:
            reports = [render_lesson(paths[0], options, progress)]
        else:
            from render.lesson.batch import run

            work = [(path, replace(options, processes=1)) for path in paths]
            reports = run(render_lesson, work, jobs, scheduler, progress)
    if json:
        print(reports_json(reports))
        return
    for report in reports:
        show_report(report)


def _check_all(paths: list[Path], options: "RenderOptions") -> None:
    """Read every lesson before any is rendered: raises LessonError with all that is wrong, a line for each lesson.

    Two lessons that would write one file are wrong as well.
    """
    from render.lesson.load import load_lesson
    from render.lesson.pack import lesson_plan
    from render.lesson.plan import check_apart

    wrong, planned = [], []
    for path in paths:
        try:
            planned += lesson_plan(path, load_lesson(path), options)
        except LessonError as error:
            wrong.append(str(error))
    if wrong:
        raise LessonError(*dict.fromkeys(wrong), "nothing was rendered")
    check_apart(planned)


def lesson_files(paths: list[Path]) -> list[Path]:
    """Lesson files, those in folders too: raises LessonError where a folder has none or two would share a name."""
    from render.lesson.load import lessons_in

    found: list[Path] = []
    for path in paths:
        inside = lessons_in(path) if path.is_dir() else [path]
        found += [one for one in inside if one not in found]
    for one in found:
        other = next(two for two in found if two.stem == one.stem)
        if other is not one:
            raise LessonError(
                f"{other} and {one} would write the same files; rename one, or render them into two folders"
            )
    return found
