"""What each command does: read, call, report. Everything heavy is imported where it is needed."""

from argparse import Namespace
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from grooves.errors import LessonError, nearest
from render.files.write import make_folder, write_bytes
from render.lesson.load import find_groove, lessons_in, load_lesson, shipped_grooves

if TYPE_CHECKING:
    from render.lesson.options import RenderOptions

TEMPLATES = Path(__file__).parent.parent / "lesson"
FIRST_LESSON = "first-lesson.toml"


# --- lessons to files ------------------------------------------------------------------------------


def demo(asked: Namespace) -> None:
    """Write the shipped lesson and render it."""
    folder = make_folder(asked.out)
    lesson = folder / FIRST_LESSON
    write_bytes(lesson, (TEMPLATES / "lesson.toml").read_bytes())
    asked.lessons, asked.track, asked.format, asked.stems = [lesson], [], "wav", True
    asked.no_audio = asked.no_paper = False
    asked.velocities, asked.jobs, asked.scheduler = "measured", 0, None
    render(asked)


def new(asked: Namespace) -> None:
    """Write a lesson to start from, never over another."""
    if asked.file.suffix != ".toml":
        raise LessonError(f"{asked.file}: a lesson's name ends in .toml; write {asked.file.with_suffix('.toml')}")
    if asked.file.exists():
        raise LessonError(f"{asked.file}: there is a file of that name already; choose another")
    make_folder(asked.file.parent)
    write_bytes(asked.file, (TEMPLATES / "lesson.toml").read_bytes())
    print(f"{asked.file}: a lesson to start from; then: fourlimb render {asked.file}")


def render(asked: Namespace) -> None:
    """Render lessons, side by side where there are several."""
    from render.command.report import progress_bar, reports_json, show_report
    from render.lesson.pack import render_lesson

    paths = lesson_files(asked.lessons)
    options = _options(asked)
    if len(paths) > 1:
        _check_all(paths, options)
    with progress_bar("rendering", not asked.json) as progress:
        if len(paths) == 1 and not asked.scheduler:
            reports = [render_lesson(paths[0], options, progress)]
        else:
            from render.lesson.batch import run

            jobs = [(path, replace(options, processes=1)) for path in paths]
            reports = run(render_lesson, jobs, asked.jobs, asked.scheduler, progress)
    if asked.json:
        print(reports_json(reports))
        return
    for report in reports:
        show_report(report)


def _check_all(paths: list[Path], options: "RenderOptions") -> None:
    """Read every lesson before any is rendered: raises LessonError with all that is wrong, a line for each lesson.

    Two lessons that would write one file are wrong as well.
    """
    from render.lesson.pack import lesson_plan
    from render.lesson.plan import check_apart

    mistakes, planned = [], []
    for path in paths:
        try:
            planned += lesson_plan(path, load_lesson(path), options)
        except LessonError as error:
            mistakes.append(str(error))
    if mistakes:
        raise LessonError("\n".join([*dict.fromkeys(mistakes), "nothing was rendered"]))
    check_apart(planned)


def _options(asked: Namespace) -> "RenderOptions":
    from render.files.parallel import processes
    from render.lesson.options import RenderOptions
    from render.sound.audio import FORMATS

    if asked.format not in FORMATS:
        raise LessonError(f"--format: '{asked.format}' is not a sound format of ours; {nearest(asked.format, FORMATS)}")
    return RenderOptions(
        folder=asked.out,
        tracks=tuple(getattr(asked, "track", ())),
        format=asked.format,
        rate=asked.rate,
        audio=not getattr(asked, "no_audio", False),
        paper=not getattr(asked, "no_paper", True),
        stems=getattr(asked, "stems", False),
        plain_velocities=getattr(asked, "velocities", "measured") == "plain",
        soundfont=asked.soundfont,
        use_cache=not asked.no_cache,
        processes=processes(getattr(asked, "jobs", 0)),
    )


def lesson_files(paths: list[Path]) -> list[Path]:
    """Lesson files, those in folders too: raises LessonError where a folder has none or two would share a name."""
    found: list[Path] = []
    for path in paths:
        inside = lessons_in(path) if path.is_dir() else [path]
        found += [one for one in inside if one not in found]
    for one in found:
        other = next(two for two in found if two.stem == one.stem)
        if other is not one:
            raise LessonError(
                f"{other} and {one} would write the same files; rename one, or render them into two folders"
            )
    return found


def loop(asked: Namespace) -> None:
    """Render a hard bar, slow, over and over: one file without a seam, one with a count-in."""
    from render.command.report import progress_bar, reports_json, show_report
    from render.lesson.pack import render_loop

    with progress_bar("looping", not asked.json) as progress:
        report = render_loop(
            asked.lesson, asked.bars, asked.tempo, asked.times, asked.without, _options(asked), progress
        )
    if asked.json:
        print(reports_json([report]))
    else:
        show_report(report)


def balance(asked: Namespace) -> int:
    """Measure the parts of a lesson against the ride, and render the demonstration."""
    from render.command.report import as_json, show_balance
    from render.lesson.demonstration import balance_lesson

    found = balance_lesson(asked.lesson, _options(asked))
    if asked.json:
        print(as_json(found))
    else:
        show_balance(found)
    return 0 if found.good else 1


def check(asked: Namespace) -> None:
    """Hold what a student played against the lesson."""
    from render.command.check import check as run

    run(
        asked.lesson, asked.take, asked.track, asked.bars, asked.kit, asked.latency, asked.out, asked.hello,
        asked.soundfont, asked.json,
    )  # fmt: skip


# --- rhythm on paper -------------------------------------------------------------------------------


def bars(asked: Namespace) -> None:
    """Say who sounds together and how hard each bar is, or write the stairs up to one."""
    from render.command.report import as_json, show_bars
    from render.lesson.bar_report import describe_bars

    if asked.stairs is None and (asked.start is not None or asked.out):
        raise LessonError("--from and -o belong to --stairs; add --stairs BAR")
    if asked.stairs is not None:
        _stairs(asked)
        return
    lesson = load_lesson(asked.lesson).lesson
    described = describe_bars(lesson)
    if asked.json:
        print(as_json({"bars": described}))
    else:
        show_bars(lesson.title, described)


def _stairs(asked: Namespace) -> None:
    from render.command.report import as_json
    from render.lesson.bar_report import stairs_lesson

    target = asked.out or asked.lesson.with_name(f"{asked.lesson.stem}-stairs-to-{asked.stairs}.toml")
    found = stairs_lesson(asked.lesson, asked.stairs, asked.start, target)
    if target.exists():
        raise LessonError(f"{target}: there is a file of that name already; choose another with -o")
    make_folder(target.parent)
    write_bytes(target, found.text.encode())
    if asked.json:
        files = [{"track": "", "kind": "lesson", "path": target}]
        print(as_json({"files": files, "steps": found.steps, "notes": found.notes}))
    else:
        print("\n".join([*found.steps, *found.notes, str(target)]))


def lines(asked: Namespace) -> None:
    """Write a graded line as note values."""
    from grooves.rhythm import parse_meter, values_text
    from grooves.teaching.graded import lines as graded
    from render.command.report import as_json

    text = values_text(graded(asked.level, asked.bars, asked.seed, parse_meter(asked.meter)))
    if asked.json:
        print(as_json({"level": asked.level, "seed": asked.seed, "meter": asked.meter, "values": text}))
        return
    bars = text.split(" | ")  # only now: a note may be tied over the end of a row
    rows = [" | ".join(bars[start : start + 4]) for start in range(0, len(bars), 4)]
    print('[line]\nvalues = """\n' + " |\n".join(rows) + '\n"""')


def chart(asked: Namespace) -> None:
    """Print the line, the drum score and the grid."""
    from render.lesson.documents import chart_file
    from render.lesson.plan import check_keeps

    loaded = load_lesson(asked.lesson)
    check_keeps(asked.lesson, loaded.tables, [asked.out])
    print(chart_file(loaded.lesson, asked.out, asked.bars, asked.paper))


def page(asked: Namespace) -> None:
    """Make the lesson page of a lesson, or of every lesson in a folder with an index."""
    from render.lesson.documents import page_files

    for path in page_files(asked.lesson, asked.out, asked.soundfont, asked.rate, not asked.no_cache):
        print(path)


# --- what is there ---------------------------------------------------------------------------------


def grooves(asked: Namespace) -> None:
    """List the grooves, or show one of them."""
    from render.command.report import as_json, show_groove, show_table

    if asked.name:
        groove = find_groove(asked.name, Path())
        print(as_json(groove)) if asked.json else show_groove(groove)
        return
    every = [find_groove(name, Path()) for name in shipped_grooves()]
    if asked.json:
        print(as_json({"grooves": every}))
        return
    rows = [(g.name, g.title, str(g.meter), str(g.swing), "{:g} to {:g}".format(*g.tempo_bpm)) for g in every]
    show_table("Grooves", ("name", "title", "meter", "swing", "tempo"), rows)


def soundfonts(asked: Namespace) -> None:
    """Say which soundfonts are here, or what one of them holds."""
    from render.command.report import as_json, show_table
    from render.soundfont.shelf import describe_soundfont, soundfonts_here

    if asked.file:
        kits = describe_soundfont(asked.file)
        heads = ("program", "kit", "used", "missing from the kit", "layered by velocity")
        if asked.json:
            print(as_json({"path": asked.file, "kits": kits}))
        else:
            rows = [
                (str(k.program), k.name, "yes" if k.used else "", ", ".join(k.missing), ", ".join(k.layered))
                for k in kits
            ]
            show_table(str(asked.file), heads, rows, right=(0,))
        return
    shelf = soundfonts_here()
    if asked.json:
        print(as_json({"soundfonts": shelf}))
    else:
        show_table("Soundfonts", ("", "file", "kit", "state"), [(s.mark, str(s.path), s.kit, s.state) for s in shelf])
