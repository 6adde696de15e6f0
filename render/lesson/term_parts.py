"""What belongs to a term beside its lessons: pages, handouts, tracks at one loudness, indexes and zip files.

Each is a job with the hash of all that it is made from; nothing is made here but the indexes.
"""

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from grooves.lesson import Lesson
from render.files.write import write_bytes
from render.lesson.batch import run
from render.lesson.options import Progress, RenderOptions
from render.lesson.plan import Plan, plan_lesson
from render.lesson.term_jobs import INDEX, HandoutJob, LevelJob, Made, PageJob, SheetPlan, TracksJob, ZipJob, measure
from render.lesson.term_lessons import TermGroup, TermLesson
from render.lesson.term_record import hash_of, hash_of_bytes
from render.lesson.term_run import TermRun
from render.page.page import IndexSection, entry, sections_page

TRACKS = "tracks"


def pages(this: TermRun) -> list[PageJob]:
    """Every lesson's page: `pages(this)[0].made.paths`."""
    options = this.options
    return [
        PageJob(
            this.out,
            one.path,
            Made((one.page,), hash_of("page", this.sources[one.path])),
            options.soundfont,
            options.rate,
            options.use_cache,
        )
        for one in this.lessons()
    ]


def handouts(this: TermRun) -> list[HandoutJob]:
    """Every group's handout: `handouts(this)[0].sheets`."""
    made = []
    for group in this.groups:
        sheets = tuple(_sheet(group, week) for week in dict.fromkeys(one.week for one in group.lessons))
        read = [this.sources[path] for sheet in sheets for _, path in sheet.lines]
        title = f"{this.title}: {group.name}"
        source = hash_of("handout", title, repr(sheets), *read)
        made.append(HandoutJob(this.out, title, sheets, Made((handout_of(group),), source)))
    return made


def handout_of(group: TermGroup) -> str:
    """Where a group's handout lies below the term's folder."""
    return f"{group.folder}/handout.pdf"


def _sheet(group: TermGroup, week: int) -> SheetPlan:
    """A week on paper: its lines, or the teacher's own lesson, without the bars that come back."""
    read = [one for one in group.lessons if one.week == week and not one.path.endswith("-review.toml")]
    lines = tuple((one.what[:1].upper() + one.what[1:], one.path) for one in read)
    return SheetPlan(f"{group.name}, week {week}", lines, group.notes.get(week, ""))


def track_jobs(this: TermRun, progress: Progress) -> list[TracksJob]:
    """The tracks of all lessons at one loudness: the level that the peaks of all of them allow."""
    options = this.options
    plans = {one.path: plan_lesson(this.out / one.path, _asked(this, one)) for one in this.lessons()}
    measured = this.record.levels
    todo = [
        LevelJob(path, plan, this.sources[path])
        for path, plan in plans.items()
        if measured.get(path, {}).get("from") != this.sources[path]
    ]

    def put(found: tuple[str, str, float]) -> None:
        measured[found[0]] = {"from": found[1], "lufs": found[2]}
        this.record.save(now=False)

    if todo:
        workers = options.workers
        run(measure, [(job,) for job in todo], workers.processes, workers.scheduler, progress, put)
    shared = min(measured[path]["lufs"] for path in plans)
    return [_tracks_job(this, path, plan, shared) for path, plan in plans.items()]


def _asked(this: TermRun, one: TermLesson) -> RenderOptions:
    options = this.options
    return RenderOptions(
        (this.out / one.path).parent / TRACKS,
        format=options.format,
        rate=options.rate,
        soundfont=options.soundfont,
        use_cache=options.use_cache,
    )


def _tracks_job(this: TermRun, path: str, plan: Plan, shared: float) -> TracksJob:
    source = hash_of("tracks", this.sources[path], this.options.format, repr(shared))
    paths = tuple(file.path.relative_to(this.out).as_posix() for file in plan.files)
    return TracksJob(replace(plan, options=replace(plan.options, ride_lufs=shared)), Made(paths, source))


# --- indexes and zips ---------------------------------------------------------------------------


def write_indexes(this: TermRun, tracks: Sequence[TracksJob]) -> None:
    """An index for each group, week by week, and one of all groups above them."""
    above = [
        IndexSection(
            group.name,
            [entry(_lesson(this, one), one.page) for one in group.lessons],
            address=f"{group.folder}/{INDEX}",
        )
        for group in this.groups
    ]
    _write_index(this, INDEX, sections_page(above, this.title))
    for group in this.groups:
        _write_index(this, f"{group.folder}/{INDEX}", group_index(this, group, tracks, f"../{INDEX}"))


def _write_index(this: TermRun, path: str, text: str) -> None:
    made = Made((path,), hash_of_bytes(text.encode()))
    if this.unmade(made):
        write_bytes(this.out / path, text.encode(), ())
        this.put(made)


def group_index(this: TermRun, group: TermGroup, tracks: Sequence[TracksJob], up: str) -> str:
    """A group's index; in a zip file it leads nowhere above."""
    files = {job.plan.path: job.made.paths for job in tracks}
    weeks: dict[int, list[TermLesson]] = {}
    for one in group.lessons:
        weeks.setdefault(one.week, []).append(one)
    sections = [
        IndexSection(
            f"Week {week}",
            [entry(_lesson(this, one), _inside(group, one.page)) for one in lessons],
            group.notes.get(week, ""),
            files=[
                (Path(path).name, _inside(group, path))
                for one in lessons
                for path in files.get(this.out / one.path, ())
            ],
        )
        for week, lessons in weeks.items()
    ]
    handout = ("The handout, a sheet a week", _inside(group, handout_of(group)))
    return sections_page(sections, f"{this.title}: {group.name}", up, [handout])


def _lesson(this: TermRun, one: TermLesson) -> Lesson:
    return this.loaded[one.path].lesson


def zips(this: TermRun, tracks: Sequence[TracksJob]) -> list[ZipJob]:
    """Every group's zip file, of files that are made already: `zips(this, [])[0].members`."""
    made = []
    for group in this.groups:
        own = [path for job in tracks for path in job.made.paths if path.startswith(f"{group.folder}/")]
        members = tuple(sorted([*(one.page for one in group.lessons), handout_of(group), *own]))
        index = group_index(this, group, tracks, "").encode()
        source = hash_of("zip", index, *(f"{path} {this.record.made[path]['is']}" for path in members))
        made.append(ZipJob(this.out, group.folder, index, members, Made((f"{group.folder}.zip",), source)))
    return made


def _link(group: TermGroup, path: str) -> tuple[str, str]:
    """A file by its name, and as its group's index names it."""
    return Path(path).name, _inside(group, path)


def _inside(group: TermGroup, path: str) -> str:
    """A file as its group's index names it."""
    return path.removeprefix(f"{group.folder}/")
