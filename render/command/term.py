"""`fourlimb term`: a term of lessons for several groups, from one file; and what came back."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from render.command.options import Json, NoCache, Rate, Soundfont, render_options
from render.command.render import Jobs, Scheduler

if TYPE_CHECKING:
    from render.lesson.term import TermReport

EXAMPLE = "fourlimb term autumn.toml -o autumn"
File = Annotated[Path, typer.Argument(metavar="FILE.toml", help="A term: title, weeks, groups.")]
Out = Annotated[Path | None, typer.Option("-o", "--out", metavar="DIR", help="Output folder (default: FILE).")]
Tracks = Annotated[bool, typer.Option("--tracks", help="Also MIDI and sound of every lesson, at one loudness.")]
Format = Annotated[str, typer.Option("--format", metavar="F", help="Of the tracks: wav, flac, ogg or mp3.")]


def term(
    file: File,
    out: Out = None,
    tracks: Tracks = False,
    audio_format: Format = "mp3",
    jobs: Jobs = 0,
    scheduler: Scheduler = None,
    soundfont: Soundfont = None,
    rate: Rate = 44100,
    no_cache: NoCache = False,
    json: Json = False,
) -> None:
    """Make a term of lessons with pages, handouts and an index; make again only what changed."""
    from render.command.report import progress_bar
    from render.lesson.several import Workers
    from render.lesson.term import TermOptions, make_term, term_folder

    folder = out or term_folder(file)
    checked = render_options(folder, audio_format=audio_format, jobs=jobs)
    options = TermOptions(folder, tracks, soundfont, checked.format, rate, not no_cache, Workers(jobs, scheduler))
    with progress_bar("a term", not json) as progress:
        report = make_term(file, options, progress)
    _show(report, json)


def _show(report: "TermReport", json: bool) -> None:
    from render.command.report import as_json, show_lines, show_table

    if json:
        folder = report.folder
        groups = [
            {"name": one.name, "index": folder / one.folder / "index.html", "zip": folder / f"{one.folder}.zip"}
            for one in report.groups
        ]
        told = {"title": report.title, "groups": groups, "files": report.files, "left": report.left}
        print(as_json({**told, "notes": report.notes}))
        return
    made = [one.relative_to(report.folder).as_posix() for one in report.files]
    rows = [
        (
            one.name,
            str(len(one.lessons)),
            str(sum(path.startswith(f"{one.folder}/") or path == f"{one.folder}.zip" for path in made)),
            str(report.folder / f"{one.folder}.zip"),
        )
        for one in report.groups
    ]
    show_table(report.title, ("group", "lessons", "files made now", "to send"), rows, right=(1, 2))
    show_lines(
        [
            str(report.folder / "index.html"),
            *(f"left as you edited it: {path}" for path in report.left),
            *report.notes,
        ]
    )
