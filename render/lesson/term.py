"""A whole term from one file: lessons, pages, handouts, indexes, one zip file a group; only what changed is made again.

The order makes a run that is killed at any moment harmless: lessons are written before what is made of them, every
file whole or not at all, and each is put down in the folder's record with the hash of what it was made from.
"""

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from pathlib import Path

from grooves.file_names import slug
from render.files.write import make_folder, whole
from render.lesson.batch import run
from render.lesson.load import load_lesson
from render.lesson.options import Progress
from render.lesson.several import Workers
from render.lesson.term_lessons import GroupJob, TermGroup, TermLesson, group_jobs, plan_lessons
from render.lesson.term_parts import handouts, pages, track_jobs, write_indexes, zips
from render.lesson.term_record import (
    Record,
    hash_of,
    hash_of_bytes,
    hash_of_file,
    hash_of_program,
    locked,
    newest,
    read_record,
)
from render.lesson.term_run import TermOptions, TermRun
from render.page.practice_log import lesson_hash

__all__ = ["TermOptions", "TermReport", "make_term", "term_folder", "write_own"]

NEXT = "next"  # the folder of personal lessons


@dataclass(frozen=True)
class TermReport:
    """What became of a term: the files made by this run, the lessons left as a teacher edited them."""

    title: str
    groups: tuple[TermGroup, ...]
    folder: Path
    files: tuple[Path, ...]
    left: tuple[Path, ...]
    notes: tuple[str, ...]


def make_term(path: Path, options: TermOptions, progress: Progress = lambda _: None) -> TermReport:
    """Make a term: `make_term(Path("autumn.toml"), TermOptions(Path("autumn"))).files`; raises LessonError.

    A lesson that was edited since it was written is left as it is, and all else is made of it as it stands.
    """
    title, jobs = group_jobs(path, options.folder)
    with locked(make_folder(options.folder)):
        record = read_record(options.folder)
        groups = _plan(record, jobs, options.workers, _part(progress, 0.0, 0.3))
        this = TermRun(options, record, groups, title)
        left = _write_lessons(this)
        _read_lessons(this)
        this.make([*handouts(this), *pages(this)], _part(progress, 0.3, 0.5 if options.tracks else 0.9))
        tracks = track_jobs(this, _part(progress, 0.5, 0.7)) if options.tracks else []
        this.make(tracks, _part(progress, 0.7, 0.9))
        write_indexes(this, tracks)
        this.make(zips(this, tracks), _part(progress, 0.9, 1.0))
        record.save()
    made = tuple(options.folder / one for one in this.files)
    return TermReport(title, tuple(groups), options.folder, made, left, _notes(this))


def _plan(record: Record, jobs: Sequence[GroupJob], workers: Workers, progress: Progress) -> list[TermGroup]:
    """The groups with their lessons, planned again only where what they say has changed."""
    todo = [(job,) for job in jobs if record.plans.get(job.folder, {}).get("from") != job.source]

    def put(found: tuple[GroupJob, Sequence[TermLesson]]) -> None:
        job, lessons = found
        record.plans[job.folder] = {"from": job.source, "lessons": [asdict(one) for one in lessons]}
        record.save(now=False)

    if todo:
        run(plan_lessons, todo, workers.processes, workers.scheduler, progress, put)
    return [job.group([TermLesson(**one) for one in record.plans[job.folder]["lessons"]]) for job in jobs]


def _part(progress: Progress, begin: float, end: float) -> Progress:
    return lambda share: progress(begin + (end - begin) * share)


# --- lessons ------------------------------------------------------------------------------------


def _write_lessons(this: TermRun) -> tuple[Path, ...]:
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


def _read_lessons(this: TermRun) -> None:
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


def _notes(this: TermRun) -> tuple[str, ...]:
    now = {one.path for one in this.lessons()}
    written = [path for path in this.record.lessons if not path.startswith(f"{NEXT}/")]
    old = [path for path in written if path not in now and (this.out / path).exists()]
    return tuple(f"{this.out / path}: no longer in the term; it is left where it is" for path in sorted(old))


def term_folder(path: Path) -> Path:
    """Where a term goes when nobody says: `term_folder(Path("autumn.toml"))` is "autumn" beside it."""
    return path.with_suffix("") if path.suffix else path.parent / f"{slug(path.name)}-term"
