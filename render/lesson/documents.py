"""What a lesson puts on paper and on a screen: chart, MusicXML and lesson page, each written whole."""

from pathlib import Path
from typing import TYPE_CHECKING

from grooves.errors import LessonError, at
from grooves.lesson import Lesson, bar_numbers
from render.files.write import make_folder, write_bytes
from render.lesson.load import lessons_in, load_lesson

if TYPE_CHECKING:
    from render.sound.balance import Balance
    from render.soundfont.samples import DrumKit

CHART_FORMS = (".pdf", ".svg", ".png", ".musicxml")


def chart_file(lesson: Lesson, target: Path, bars: str | None = None, paper: str = "a4") -> Path:
    """Write a lesson's chart, its kind by the file's ending: `chart_file(lesson, Path("x.pdf"))`."""
    from render.paper.chart import chart

    if target.suffix not in CHART_FORMS:
        raise LessonError(f"{target}: a chart ends in {', '.join(CHART_FORMS)}; name the file so")
    with at("--bars"):
        there = [bar.number for bar in lesson.score.bars]
        chosen = () if bars is None else bar_numbers(bars, there)
    data = chart(lesson.score, target.suffix[1:], paper, chosen)
    make_folder(target.parent)
    write_bytes(target, data)
    return target


def page_file(lesson: Lesson, target: Path, kit: "DrumKit", balance: "Balance") -> Path:
    """Write a lesson's page: one HTML file that needs nothing else; raises LessonError."""
    from render.page.page import page

    if target.suffix != ".html":
        raise LessonError(f"{target}: a page ends in .html; name the file so")
    make_folder(target.parent)
    write_bytes(target, page(lesson, kit, balance).encode())
    return target


def page_files(path: Path, out: Path | None, soundfont: Path | None, rate: int, use_cache: bool) -> list[Path]:
    """The page of a lesson, or those of a folder of lessons with an index: raises LessonError.

    `page_files(Path("term"), None, None, 44100, True)` writes one page beside each lesson, and `term/index.html`.
    """
    from render.page.page import entry, index_page

    if not path.is_dir():
        target = out or path.with_suffix(".html")
        return [_one_page(path, load_lesson(path).lesson, target, soundfont, rate, use_cache)]
    if out and out.suffix in (".html", ".htm") and not out.is_dir():
        raise LessonError(f"{out}: {path} is a folder, with a page for each lesson in it; name a folder: {out.stem}")
    lessons = {one: load_lesson(one).lesson for one in lessons_in(path)}
    if any(one.stem == "index" for one in lessons):
        raise LessonError(f"{path}: a lesson called index.toml would write over the index page; rename it")
    folder = make_folder(out or path)
    pages = [
        _one_page(one, lesson, folder / f"{one.stem}.html", soundfont, rate, use_cache)
        for one, lesson in lessons.items()
    ]
    index = folder / "index.html"
    entries = [entry(lesson, page.name) for lesson, page in zip(lessons.values(), pages, strict=True)]
    write_bytes(index, index_page(entries).encode())
    return [index, *pages]


def _one_page(path: Path, lesson: Lesson, target: Path, soundfont: Path | None, rate: int, use_cache: bool) -> Path:
    from render.sound.balance import calibrate
    from render.soundfont.soundfont import kit_for

    with kit_for(path, lesson, soundfont, rate, use_cache) as kit:
        return page_file(lesson, target, kit, calibrate(kit))
