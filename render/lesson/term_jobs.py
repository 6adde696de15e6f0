"""What is made of a term's lessons, each file a job that any worker can do: pages, handouts, tracks, zips."""

import zipfile
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from grooves.errors import at
from grooves.lesson import Lesson
from render.files.write import make_folder, whole, write_bytes
from render.lesson.documents import page_data
from render.lesson.load import load_lesson
from render.lesson.plan import Plan
from render.lesson.size import check_page

INDEX = "index.html"


@dataclass(frozen=True)
class Made:
    """Files of a job below the term's folder, and the hash of what they were made from."""

    paths: tuple[str, ...]
    source: str


@dataclass(frozen=True)
class PageJob:
    """A lesson's page, with a link back to its group's index."""

    folder: Path  # of the term
    lesson: str
    made: Made
    soundfont: Path | None
    rate: int
    use_cache: bool

    def make(self) -> Made:
        """Write it; raises LessonError."""
        from render.soundfont.soundfont import kit_for

        path = self.folder / self.lesson
        loaded = load_lesson(path)
        check_page(path, loaded.lesson)
        with kit_for(path, loaded.lesson, self.soundfont, self.rate, self.use_cache) as kit, at(str(path)):
            data = page_data(loaded.lesson, kit, INDEX)
        write_bytes(self.folder / self.made.paths[0], data, loaded.reads)
        return self.made


@dataclass(frozen=True)
class SheetPlan:
    """One week of a handout: `lines` are what each is called, and its lesson's file."""

    title: str
    lines: tuple[tuple[str, str], ...]
    note: str


@dataclass(frozen=True)
class HandoutJob:
    """A group's handout."""

    folder: Path
    title: str
    sheets: tuple[SheetPlan, ...]
    made: Made

    def make(self) -> Made:
        """Write it; raises LessonError."""
        from render.paper.handout import HandoutSheet, handout

        sheets = [
            HandoutSheet(
                one.title,
                tuple((name, self._lesson(path).score) for name, path in one.lines),
                one.note,
            )
            for one in self.sheets
        ]
        write_bytes(self.folder / self.made.paths[0], handout(self.title, sheets), ())
        return self.made

    def _lesson(self, path: str) -> Lesson:
        return load_lesson(self.folder / path).lesson


@dataclass(frozen=True)
class TracksJob:
    """A lesson's tracks, at the level of the term."""

    plan: Plan
    made: Made

    def make(self) -> Made:
        """Write them; raises LessonError."""
        from render.lesson.render_lesson import render_plan

        render_plan(self.plan)
        return self.made


@dataclass(frozen=True)
class LevelJob:
    """How loud a lesson would come out by itself."""

    lesson: str
    plan: Plan
    source: str

    def make(self) -> tuple[str, str, float]:
        """Measure it: the lesson, what it was measured from, LUFS of the ride's plain stroke; raises LessonError."""
        from render.lesson.render_lesson import own_ride_lufs

        return self.lesson, self.source, own_ride_lufs(self.plan)


@dataclass(frozen=True)
class ZipJob:
    """One file to send: a group's folder with its index, which leads nowhere outside."""

    folder: Path
    group: str
    index: bytes
    members: tuple[str, ...]
    made: Made

    def make(self) -> Made:
        """Write it; raises LessonError."""
        with whole([self.folder / self.made.paths[0]], ()) as (beside,):
            write_zip(beside, self.folder, self.group, self.index, self.members)
        return self.made


Job = PageJob | HandoutJob | TracksJob | ZipJob


def make(job: Job) -> Made:
    """Do one job, in whatever process: `make(job).paths`; raises LessonError."""
    if not isinstance(job, TracksJob):
        for path in job.made.paths:
            make_folder((job.folder / path).parent)
    return job.make()


def measure(job: LevelJob) -> tuple[str, str, float]:
    """Measure one lesson, in whatever process; raises LessonError."""
    return job.make()


def write_zip(target: Path, folder: Path, group: str, index: bytes, members: Sequence[str]) -> None:
    """Write files as one zip file, the same bytes for the same files: no clock, no owner, names in order.

    `write_zip(beside, out, "monday", index, ["monday/week-01-1.html"])`. Text is compressed; sound is stored as it is,
    WAV too: it would take longer than rendering it, to come out nine tenths as large. One file is read at a time.
    """
    with zipfile.ZipFile(target, "w") as archive:
        for name in sorted({f"{group}/{INDEX}", *members}):
            data = index if name == f"{group}/{INDEX}" else (folder / name).read_bytes()
            info = zipfile.ZipInfo(name, (1980, 1, 1, 0, 0, 0))  # the first day that a zip file knows
            info.create_system, info.external_attr = 3, 0o100644 << 16
            squeezed = name.endswith((".html", ".mid"))
            info.compress_type = zipfile.ZIP_DEFLATED if squeezed else zipfile.ZIP_STORED
            archive.writestr(info, data, compresslevel=6)
