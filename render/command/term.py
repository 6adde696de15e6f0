"""`fourlimb term`: a term of lessons for several groups, from one file; and what came back."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from grooves.errors import LessonError
from render.command.options import Json, NoCache, Rate, Soundfont, render_options
from render.command.render import Jobs, Scheduler

if TYPE_CHECKING:
    from render.lesson.results import BarHeat, WeekResults
    from render.lesson.term import TermReport

EXAMPLE = "fourlimb term autumn.toml -o autumn"
File = Annotated[Path, typer.Argument(metavar="FILE.toml", help="A term: title, weeks, groups.")]
Out = Annotated[Path | None, typer.Option("-o", "--out", metavar="DIR", help="Output folder (default: FILE).")]
Tracks = Annotated[bool, typer.Option("--tracks", help="Also MIDI and sound of every lesson, at one loudness.")]
Format = Annotated[str, typer.Option("--format", metavar="F", help="Of the tracks: wav, flac, ogg or mp3.")]

Back = Annotated[
    Path | None,
    typer.Option("--results", metavar="FOLDER", help="Read practice logs and checked takes (.json); make no lessons."),
]
Next = Annotated[bool, typer.Option("--next", help="With --results: a personal lesson for each that came back.")]


def term(
    file: File,
    out: Out = None,
    results: Back = None,
    personal: Next = False,
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
    if results is not None:
        _show_results(file, out, results, personal, json)
        return
    if personal:
        raise LessonError("--next is made of what came back: add --results and the folder that has it")
    from render.command.report import progress_bar
    from render.lesson.several import Workers
    from render.lesson.term import TermOptions, make_term, term_folder

    folder = out or term_folder(file)
    checked = render_options(folder, audio_format=audio_format, jobs=jobs)
    options = TermOptions(folder, tracks, soundfont, checked.format, rate, not no_cache, Workers(jobs, scheduler))
    with progress_bar("making", not json) as progress:
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


# --- what came back -----------------------------------------------------------------------------


def _show_results(file: Path, out: Path | None, back: Path, personal: bool, json: bool) -> None:
    from render.command.report import as_json, show_lines
    from render.lesson.term import term_folder
    from render.lesson.term_results import term_results

    found = term_results(file, out or term_folder(file), back, personal)
    results = found.results
    if json:
        told = {"title": found.title, "groups": results.groups, "refused": results.refused}
        print(as_json({**told, "files": found.files, "left": found.left}))
        return
    for name, weeks in results.groups.items():
        _show_group(name, weeks)
    lines = [*map(str, found.files), *(f"left as it was edited: {path}" for path in found.left)]
    show_lines([*lines, *(f"not counted: {one}" for one in results.refused)])


def _show_group(name: str, weeks: "tuple[WeekResults, ...]") -> None:
    """A table of a group: weeks down, students across, and the bars that stopped most."""
    from render.command.report import show_lines, show_table

    students = sorted({who for week in weeks for who in week.students})
    if not students:
        show_lines([f"{name}: nothing came back"])
        return
    rows = [
        (str(week.week), *(_cell(week, who) for who in students), ", ".join(map(_stopped, week.stopped)))
        for week in weeks
        if week.students
    ]
    show_table(name, ("week", *students, "stopped most"), rows, right=(0,))


def _cell(week: "WeekResults", who: str) -> str:
    one = week.students.get(who)
    return f"{one.minutes:.0f} min, {one.share:.0%} clean" if one else ""


def _stopped(bar: "BarHeat") -> str:
    return f"{bar.lesson} bar {bar.bar} ({bar.of - bar.clean} of {bar.of})"
