"""One run over a term's folder: what is asked, the lessons as they lie there, the files made so far."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from render.lesson.batch import run
from render.lesson.load import Loaded
from render.lesson.options import Progress
from render.lesson.several import Workers
from render.lesson.term_jobs import Job, Made
from render.lesson.term_jobs import make as do
from render.lesson.term_lessons import TermGroup, TermLesson
from render.lesson.term_record import Record


@dataclass(frozen=True)
class TermOptions:
    """What is asked of a term: where to, with which sound, who works; with `tracks` also MIDI and sound."""

    folder: Path
    tracks: bool = False
    soundfont: Path | None = None
    format: str = "mp3"
    rate: int = 44100
    use_cache: bool = True
    workers: Workers = field(default_factory=Workers)


@dataclass
class TermRun:
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
        """The term's folder."""
        return self.options.folder

    def lessons(self) -> Iterator[TermLesson]:
        """All lessons, group by group, week by week."""
        return (lesson for group in self.groups for lesson in group.lessons)

    def put(self, made: Made) -> None:
        """Put down what was made."""
        for path in made.paths:
            self.record.put(path, made.source)
        self.files += made.paths
        self.record.save(now=False)

    def unmade(self, made: Made) -> bool:
        """Whether any of it is missing, damaged, or of something else."""
        return not all(self.record.is_made(path, made.source) for path in made.paths)

    def make(self, jobs: Sequence[Job], progress: Progress) -> None:
        """Do the jobs whose files are not there as they should be; raises LessonError."""
        todo = [(job,) for job in jobs if self.unmade(job.made)]
        if todo:
            run(do, todo, self.options.workers.processes, self.options.workers.scheduler, progress, self.put)
        progress(1.0)
