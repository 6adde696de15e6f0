"""A whole term from one file: lessons, pages, handouts, an index, one zip file a group; only what changed is made again.

The order makes a run that is killed at any moment harmless: lessons are written before what is made of them, every
file whole or not at all, and each is put down in the folder's record with the hash of what it was made from.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

from grooves.lesson import Lesson
from grooves.passages import slug
from render.files.write import make_folder, whole, write_bytes
from render.lesson.batch import run
from render.lesson.load import Loaded, load_lesson
from render.lesson.options import Progress, RenderOptions
from render.lesson.plan import Plan, plan_lesson
from render.lesson.several import Workers
from render.lesson.term_jobs import (
    INDEX,
    HandoutJob,
    Job,
    LevelJob,
    Made,
    PageJob,
    SheetPlan,
    TracksJob,
    ZipJob,
    measure,
)
from render.lesson.term_jobs import make as do
from render.lesson.term_lessons import TermGroup, TermLesson, group_jobs, group_lessons
from render.lesson.term_record import Record, hash_of, hash_of_file, hash_of_program, locked, newest, read_record
from render.page.page import Section, entry, sections_page
from render.page.practice_log import lesson_hash

TRACKS = "tracks"


@dataclass(frozen=True)
class TermOptions:
    """What is asked of a term: where to, with which sound, who works; with `tracks` also MIDI and sound."""

    folder: Path
    tracks: bool = False
    soundfont: Path | None = None
    format: str = "mp3"
    rate: int = 44100
    use_cache: bool = True
    workers: Workers = Workers()


@dataclass(frozen=True)
class TermReport:
    """What became of a term: the files made by this run, the lessons left as a teacher edited them."""

    title: str
    groups: tuple[TermGroup, ...]
    folder: Path
    files: tuple[Path, ...]
    left: tuple[Path, ...]
    notes: tuple[str, ...]


@dataclass
class _Run:
    """One run: its folder's record, all lessons as they lie there now, and what it has made."""

    options: TermOptions
    record: Record
    groups: Sequence[TermGroup]
    title: str
    loaded: dict[str, Loaded] = field(default_factory=dict)
    sources: dict[str, str] = field(default_factory=dict)  # by lesson: the hash of all that it is read from
    files: list[str] = field(default_factory=list)

    @property
    def out(self) -> Path:
        return self.options.folder

    def lessons(self) -> Iterator[TermLesson]:
        return (lesson for group in self.groups for lesson in group.lessons)

    def put(self, made: Made) -> None:
        for path in made.paths:
            self.record.put(path, made.source)
        self.files += made.paths
        self.record.save(now=False)

    def unmade(self, made: Made) -> bool:
        return not all(self.record.is_made(path, made.source) for path in made.paths)

    def make(self, jobs: Sequence[Job], progress: Progress) -> None:
        todo = [(job,) for job in jobs if self.unmade(job.made)]
        if todo:
            run(do, todo, self.options.workers.processes, self.options.workers.scheduler, progress, self.put)
        progress(1.0)


def make_term(path: Path, options: TermOptions, progress: Progress = lambda _: None) -> TermReport:
    """Make a term: `make_term(Path("autumn.toml"), TermOptions(Path("autumn"))).files`; raises LessonError.

    A lesson that was edited since it was written is left as it is, and all else is made of it as it stands.
    """
    title, _, jobs = group_jobs(path, options.folder)
    workers = options.workers
    with locked(make_folder(options.folder)):
        record = read_record(options.folder)
        groups = run(group_lessons, jobs, workers.processes, workers.scheduler, _part(progress, 0.0, 0.3))
        this = _Run(options, record, groups, title)
        left = _write_lessons(this)
        _read_lessons(this)
        this.make([*_handouts(this), *_pages(this)], _part(progress, 0.3, 0.5 if options.tracks else 0.9))
        tracks = _tracks(this, _part(progress, 0.5, 0.7)) if options.tracks else []
        this.make(tracks, _part(progress, 0.7, 0.9))
        _write_indexes(this, tracks)
        this.make(_zips(this, tracks), _part(progress, 0.9, 1.0))
        record.save()
    made = tuple(options.folder / one for one in this.files)
    return TermReport(title, tuple(groups), options.folder, made, left, _notes(this))


def _part(progress: Progress, begin: float, end: float) -> Progress:
    return lambda share: progress(begin + (end - begin) * share)


# --- lessons ------------------------------------------------------------------------------------


def _write_lessons(this: _Run) -> tuple[Path, ...]:
    """Write the lessons that are new, or as they were written once and now read differently; give those left."""
    todo, left = write_own(this.record, {one.path: one.text for one in this.lessons()})
    this.files += todo
    return left


def write_own(record: Record, texts: dict[str, str]) -> tuple[list[str], tuple[Path, ...]]:
    """Write lessons below a record's folder, none over one that somebody edited: those written, those left.

    `write_own(record, {"monday/week-01-1.toml": text})`; raises LessonError.
    """
    todo: dict[str, bytes] = {}
    left: list[Path] = []
    for path, text in texts.items():
        target, wanted = record.folder / path, hash_of_bytes(text.encode())
        there = hash_of_file(target)
        if there == wanted:
            record.lessons[path] = [wanted]
        elif target.exists() and there not in record.lessons.get(path, ()):
            left.append(target)
        else:
            record.lessons[path] = [*record.lessons.get(path, ()), wanted]
            todo[path] = text.encode()
    if todo:
        record.save()  # before the first of them is written: a killed run's lessons are known as ours
        targets = [record.folder / path for path in todo]
        for folder in dict.fromkeys(target.parent for target in targets):
            make_folder(folder)
        with whole(targets, (), own=set(targets)) as beside:
            for written, data in zip(beside, todo.values(), strict=True):
                written.write_bytes(data)
        for path in todo:
            record.lessons[path] = [newest(record.lessons, path)]
    return list(todo), tuple(left)


def hash_of_bytes(data: bytes) -> str:
    """The SHA-256 that a file of these bytes has."""
    from hashlib import sha256

    return sha256(data).hexdigest()


def _read_lessons(this: _Run) -> None:
    """Read every lesson as it lies there, and the hash of all that its page is made of."""
    from render.soundfont.soundfont import choose_soundfont

    fonts: dict[Path, str] = {}
    for one in this.lessons():
        path = this.out / one.path
        loaded = load_lesson(path)
        own = loaded.lesson.soundfont
        font = choose_soundfont(this.options.soundfont, path.parent / own if own else None)
        if font not in fonts:
            fonts[font] = hash_of_file(font)
        reads = [hash_of_file(read) for read in loaded.reads]
        this.loaded[one.path] = loaded
        this.sources[one.path] = hash_of(hash_of_program(), *reads, fonts[font], str(this.options.rate))
        this.record.notes[lesson_hash(loaded.lesson)] = one.path


def _notes(this: _Run) -> tuple[str, ...]:
    now = {one.path for one in this.lessons()}
    old = [path for path in this.record.lessons if path not in now and (this.out / path).exists()]
    return tuple(f"{this.out / path}: no longer in the term; it is left where it is" for path in sorted(old))


# --- what is made of them -----------------------------------------------------------------------


def _pages(this: _Run) -> list[PageJob]:
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


def _handouts(this: _Run) -> list[HandoutJob]:
    made = []
    for group in this.groups:
        sheets = tuple(_sheet(this, group, week) for week in dict.fromkeys(one.week for one in group.lessons))
        read = [this.sources[path] for sheet in sheets for _, path in sheet.lines]
        title = f"{this.title}: {group.name}"
        source = hash_of("handout", title, repr(sheets), *read)
        made.append(HandoutJob(this.out, title, sheets, Made((handout_of(group),), source)))
    return made


def handout_of(group: TermGroup) -> str:
    """Where a group's handout lies below the term's folder."""
    return f"{group.folder}/handout.pdf"


def _sheet(this: _Run, group: TermGroup, week: int) -> SheetPlan:
    """A week on paper: its lines, or the teacher's own lesson, without the bars that come back."""
    read = [one for one in group.lessons if one.week == week and not one.path.endswith("-review.toml")]
    lines = tuple((one.what[:1].upper() + one.what[1:], one.path) for one in read)
    return SheetPlan(f"{group.name}, week {week}", lines, group.notes.get(week, ""))


def _tracks(this: _Run, progress: Progress) -> list[TracksJob]:
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


def _asked(this: _Run, one: TermLesson) -> RenderOptions:
    options = this.options
    return RenderOptions(
        (this.out / one.path).parent / TRACKS,
        format=options.format,
        rate=options.rate,
        soundfont=options.soundfont,
        use_cache=options.use_cache,
    )


def _tracks_job(this: _Run, path: str, plan: Plan, shared: float) -> TracksJob:
    source = hash_of("tracks", this.sources[path], this.options.format, repr(shared))
    paths = tuple(file.path.relative_to(this.out).as_posix() for file in plan.files)
    return TracksJob(replace(plan, options=replace(plan.options, ride_lufs=shared)), Made(paths, source))


# --- indexes and zips ---------------------------------------------------------------------------


def _write_indexes(this: _Run, tracks: Sequence[TracksJob]) -> None:
    """An index for each group, week by week, and one of all groups above them."""
    above = [
        Section(
            group.name,
            [entry(_lesson(this, one), one.page) for one in group.lessons],
            address=f"{group.folder}/{INDEX}",
        )
        for group in this.groups
    ]
    _write_index(this, INDEX, sections_page(above, this.title))
    for group in this.groups:
        _write_index(this, f"{group.folder}/{INDEX}", group_index(this, group, tracks, f"../{INDEX}"))


def _write_index(this: _Run, path: str, text: str) -> None:
    made = Made((path,), hash_of_bytes(text.encode()))
    if this.unmade(made):
        write_bytes(this.out / path, text.encode(), ())
        this.put(made)


def group_index(this: "_Run", group: TermGroup, tracks: Sequence[TracksJob], up: str) -> str:
    """A group's index; in a zip file it leads nowhere above."""
    files = {job.plan.path: job.made.paths for job in tracks}
    inside: Callable[[str], str] = lambda path: path.removeprefix(f"{group.folder}/")  # noqa: E731
    weeks: dict[int, list[TermLesson]] = {}
    for one in group.lessons:
        weeks.setdefault(one.week, []).append(one)
    sections = [
        Section(
            f"Week {week}",
            [entry(_lesson(this, one), inside(one.page)) for one in lessons],
            group.notes.get(week, ""),
            files=[(Path(path).name, inside(path)) for one in lessons for path in files.get(this.out / one.path, ())],
        )
        for week, lessons in weeks.items()
    ]
    handout = ("The handout, a sheet a week", inside(handout_of(group)))
    return sections_page(sections, f"{this.title}: {group.name}", up, [handout])


def _lesson(this: _Run, one: TermLesson) -> Lesson:
    return this.loaded[one.path].lesson


def _zips(this: _Run, tracks: Sequence[TracksJob]) -> list[ZipJob]:
    made = []
    for group in this.groups:
        own = [path for job in tracks for path in job.made.paths if path.startswith(f"{group.folder}/")]
        members = tuple(sorted([*(one.page for one in group.lessons), handout_of(group), *own]))
        index = group_index(this, group, tracks, "").encode()
        source = hash_of("zip", index, *(f"{path} {this.record.made[path]['is']}" for path in members))
        made.append(ZipJob(this.out, group.folder, index, members, Made((f"{group.folder}.zip",), source)))
    return made


def term_folder(path: Path) -> Path:
    """Where a term goes when nobody says: `term_folder(Path("autumn.toml"))` is "autumn" beside it."""
    return path.with_suffix("") if path.suffix else path.with_name(f"{slug(path.name)}-term")
