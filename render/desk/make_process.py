"""The process that makes files of a lesson: `python -m render.desk.make_process page term/tuesday.toml`.

It calls what `fourlimb render`, `fourlimb page` and `fourlimb chart` call, with what those take when nothing else is
said, so its files are theirs, byte for byte. It says how far it is in JSON, a line at a time.
"""

import json
import sys
import tempfile
import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

from grooves.errors import LessonError
from render.files.interrupts import tidy_up_when_told_to_end

_LONG_AGO = (1980, 1, 1, 0, 0, 0)  # the first moment that an archive can name: the same tracks, the same bytes


def main(what: str, lesson: Path) -> int:
    """Make something of a lesson, and say so: the exit code, 0 where all went well."""
    tidy_up_when_told_to_end()
    try:
        files, notes = MAKERS[what](lesson)
    except LessonError as error:
        _say(error=str(error))
        return 2
    except OSError as error:
        _say(error=f"{error.filename or 'a file'}: {error.strerror or error}")
        return 2
    except KeyboardInterrupt:
        return 130
    _say(share=1.0, files=[str(path) for path in files], notes=list(notes))
    return 0


Made = tuple[list[Path], tuple[str, ...]]


def _everything(lesson: Path) -> Made:
    """All that `fourlimb render tuesday.toml -o tuesday` makes."""
    return _rendered(lesson, lesson.with_suffix(""), paper=True)


def _rendered(lesson: Path, out: Path, paper: bool) -> Made:
    from render.files.parallel import processes
    from render.lesson.options import RenderOptions
    from render.lesson.plan import plan_lesson
    from render.lesson.render_lesson import render_plan

    plan = plan_lesson(lesson, RenderOptions(out, paper=paper, processes=processes(0)))
    if paper:
        _say(planned=[str(file.path) for file in plan.files])
    report = render_plan(plan, _share())
    return [made.path for made in report.files], report.notes


def _page(lesson: Path) -> Made:
    """What `fourlimb page tuesday.toml` makes."""
    from render.lesson.documents import page_files

    _say(planned=[str(lesson.with_suffix(".html"))])
    return page_files(lesson, None, None, 44100, True), ()


def _chart(lesson: Path) -> Made:
    """What `fourlimb chart tuesday.toml -o tuesday-chart.pdf` makes."""
    from render.lesson.documents import chart_file
    from render.lesson.load import load_lesson

    target = lesson.with_name(f"{lesson.stem}-chart.pdf")
    _say(planned=[str(target)])
    loaded = load_lesson(lesson)
    return [chart_file(loaded, target)], loaded.notes


def _tracks(lesson: Path) -> Made:
    """The sound and MIDI files of `fourlimb render`, in one archive."""
    from render.files.write import whole

    target = lesson.with_name(f"{lesson.stem}-tracks.zip")
    _say(planned=[str(target)])
    with tempfile.TemporaryDirectory() as folder:
        made, notes = _rendered(lesson, Path(folder), paper=False)
        with whole([target], [lesson]) as (beside,), zipfile.ZipFile(beside, "w", zipfile.ZIP_DEFLATED) as archive:
            for path in sorted(made):
                entry = zipfile.ZipInfo(f"{lesson.stem}/{path.name}", _LONG_AGO)
                entry.compress_type = zipfile.ZIP_DEFLATED
                archive.writestr(entry, path.read_bytes())
    return [target], notes


MAKERS: dict[str, Callable[[Path], Made]] = {
    "everything": _everything, "page": _page, "chart": _chart, "tracks": _tracks,
}  # fmt: skip


def _share() -> Callable[[float], None]:
    """Say the share that is done, a hundredth at a time."""
    said = -1

    def tell(share: float) -> None:
        nonlocal said
        if int(share * 100) > said:
            said = int(share * 100)
            _say(share=min(share, 1.0))

    return tell


def _say(**told: Any) -> None:
    sys.stdout.write(json.dumps(told) + "\n")
    sys.stdout.flush()


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1], Path(sys.argv[2])))
