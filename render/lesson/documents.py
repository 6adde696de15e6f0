"""What is read rather than heard of a lesson: its chart, its score as MusicXML, and its page.

Paper is drawn from the lesson alone; a page carries recorded hits too, so it needs the kit. What is made for one
command appears together at its end.
"""

from pathlib import Path
from typing import TYPE_CHECKING

from grooves.errors import LessonError, at
from grooves.lesson import Lesson, bar_numbers
from render.files.write import make_folder, whole, write_bytes
from render.lesson.load import Loaded, lessons_in, load_lesson
from render.lesson.options import ChartOptions, MadeFile
from render.lesson.size import check_page

if TYPE_CHECKING:
    from collections.abc import Sequence

    from grooves.players import WrittenBar
    from render.lesson.session import Session
    from render.page.page import PageParts
    from render.soundfont.samples import DrumKit

CHART_FORMS = (".pdf", ".svg", ".png", ".musicxml")
MOST_BARS = 2000  # drawn; ours
WHOLE_CHART = ChartOptions()


def write_documents(session: "Session") -> list[MadeFile]:
    """Write the documents that a session's plan asks for: `write_documents(session)`, which may be none."""
    lesson, made = session.plan.lesson, []
    for file in session.plan.documents:
        page = file.kind == "page"
        data = page_data(lesson, session.kit) if page else chart_data(lesson, file.path.suffix[1:])
        session.beside[file.path].write_bytes(data)
        made.append(MadeFile("", file.kind, file.path))
    return made


def chart_data(lesson: Lesson, form: str, wish: ChartOptions = WHOLE_CHART) -> bytes:
    """A lesson's chart as a file's bytes: `chart_data(lesson, "svg")[:4]` is b"<svg"; raises LessonError."""
    from render.paper.chart import chart
    from render.paper.layout import SHOWN, Wish

    with at("--bars"):
        there = [bar.number for bar in lesson.score.bars]
        chosen = () if wish.bars is None else bar_numbers(wish.bars, there, lesson.score.letters)
    band = _band_sheet(lesson) if "band" in wish.show else ()
    shown = wish.show or SHOWN
    return chart(lesson.score, form, Wish(chosen, wish.paper, shown, wish.under, note=lesson.note, band=band))


def _band_sheet(lesson: Lesson) -> "Sequence[WrittenBar]":
    """What the band plays in all choruses, as written; raises LessonError where there is none."""
    from grooves.passages import Track, track_passages
    from grooves.performance import band_sheet

    if lesson.score.band is None:
        raise LessonError('--show: this lesson has no band; write a table [band], such as form = "blues"')
    passages = track_passages(Track("band"), lesson.score, lesson.choruses, lesson.count_in)
    bars = sum(len(passage.bars) * passage.times for passage in passages)
    if bars > MOST_BARS:
        raise LessonError(f"--show: {bars:,} bars of a band are too long; it has at most {MOST_BARS:,}: fewer choruses")
    return band_sheet(lesson.score, passages, lesson.feel)


def chart_file(loaded: Loaded, target: Path, wish: ChartOptions = WHOLE_CHART) -> Path:
    """Write a lesson's chart, its kind by the file's ending: `chart_file(load_lesson(path), Path("x.pdf"))`.

    Raises LessonError, also where the lesson is read from the file that would be written over.
    """
    form = target.suffix.lower()
    if form not in CHART_FORMS:
        raise LessonError(f"{target}: a chart ends in {', '.join(CHART_FORMS)}; name the file so")
    data = chart_data(loaded.lesson, form[1:], wish)
    make_folder(target.parent)
    write_bytes(target, data, loaded.reads)
    return target


def page_data(lesson: Lesson, kit: "DrumKit", back: str = "") -> bytes:
    """A lesson's page as a file's bytes, played on a kit: one HTML file that needs nothing else; raises LessonError.

    `page_data(lesson, kit, back="index.html")` links to an index.
    """
    from render.page.page import page
    from render.sound.balance import calibrate

    return page(lesson, kit, calibrate(kit), back).encode()


def page_in_parts(lesson: Lesson, kit: "DrumKit") -> "PageParts":
    """The same page before it is one file: `page_in_parts(lesson, kit).scripts`; raises LessonError."""
    from render.page.page import page_parts
    from render.sound.balance import calibrate

    return page_parts(lesson, kit, calibrate(kit))


def page_files(path: Path, out: Path | None, soundfont: Path | None, rate: int, use_cache: bool) -> list[Path]:
    """The page of a lesson, or those of a folder of lessons with an index: raises LessonError.

    `page_files(Path("term"), None, None, 44100, True)` writes one page beside each lesson, and `term/index.html`.
    Lessons of folders in it have their pages in folders of the same names.
    """
    from render.soundfont.soundfont import kit_for

    pages = _planned_pages(path, out)
    index = [_index(path, out)] if path.is_dir() else []
    for one, loaded in pages.values():
        check_page(one, loaded.lesson)
    for folder in dict.fromkeys(target.parent for target in (*pages, *index)):
        make_folder(folder)
    reads = [read for _, loaded in pages.values() for read in loaded.reads]
    with whole([*pages, *index], reads) as beside:
        for (one, loaded), written in zip(pages.values(), beside[: len(pages)], strict=True):
            with kit_for(one, loaded.lesson, soundfont, rate, use_cache) as kit:
                written.write_bytes(page_data(loaded.lesson, kit))
        for target, written in zip(index, beside[len(pages) :], strict=True):
            written.write_bytes(_index_data(target.parent, pages))
    return [*index, *pages]


Pages = dict[Path, tuple[Path, Loaded]]  # by a page's own file: the lesson's file, and the lesson


def _planned_pages(path: Path, out: Path | None) -> Pages:
    """Where each page goes: that of one lesson, or those of all lessons in a folder; raises LessonError."""
    if not path.is_dir():
        target = out or path.with_suffix(".html")
        if target.suffix != ".html":
            raise LessonError(f"{target}: a page ends in .html; name the file so")
        return {target: (path, load_lesson(path))}
    if out and out.suffix in (".html", ".htm") and not out.is_dir():
        raise LessonError(f"{out}: {path} is a folder, with a page for each lesson in it; name a folder: {out.stem}")
    found = {one: (out or path) / one.relative_to(path).with_suffix(".html") for one in lessons_in(path)}
    if _index(path, out) in found.values():
        raise LessonError(f"{path}: a lesson called index.toml would write over the index page; rename it")
    return {target: (one, load_lesson(one)) for one, target in found.items()}


def _index(path: Path, out: Path | None) -> Path:
    return (out or path) / "index.html"


def _index_data(folder: Path, pages: Pages) -> bytes:
    from render.page.page import entry, index_page

    entries = [entry(loaded.lesson, page.relative_to(folder).as_posix()) for page, (_, loaded) in pages.items()]
    return index_page(entries).encode()
