"""Several lessons, and folders of them: planned together, brought to one level, rendered side by side."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from grooves.errors import LessonError
from render.lesson.batch import run
from render.lesson.load import lessons_in
from render.lesson.options import Progress, RenderOptions, Report, half
from render.lesson.plan import Plan, check_apart, plan_lesson
from render.lesson.render_lesson import own_ride_lufs, render_plan


@dataclass(frozen=True)
class Workers:
    """Who renders: so many processes of this machine (0: one a core), or those of a Dask scheduler."""

    processes: int = 0
    scheduler: str | None = None


def render_lessons(
    paths: Sequence[Path],
    options: RenderOptions,
    workers: Workers = Workers(),
    progress: Progress = lambda _: None,
) -> list[Report]:
    """Render lesson files and folders of them: `render_lessons([Path("term")], RenderOptions(Path("out")))`.

    Lessons of a folder inside a folder go into a folder of that name. Nothing is rendered where one of them is wrong:
    raises LessonError with all that is, a line for each lesson.
    """
    plans = plan_lessons(paths, options)
    if len(plans) == 1 and not workers.scheduler:
        return [render_plan(plans[0], progress)]
    plans = [replace(plan, options=replace(plan.options, processes=1)) for plan in plans]
    if len(plans) > 1 and options.audio and options.level == "shared":
        plans, progress = _at_one_level(plans, workers, progress)
    return run(render_plan, [(plan,) for plan in plans], workers.processes, workers.scheduler, progress)


def plan_lessons(paths: Sequence[Path], options: RenderOptions) -> list[Plan]:
    """Plan every lesson: `plan_lessons([Path("term")], options)[0].files`.

    Raises LessonError with all that is wrong, a line for each lesson; two lessons that would write one file are wrong
    as well, and one that would write over what another is read from.
    """
    mistakes, plans = [], []
    places = lesson_places(paths, options.folder)
    for path, folder in places.items():
        try:
            plans.append(plan_lesson(path, replace(options, folder=folder)))
        except LessonError as error:
            mistakes.append(str(error))
    if mistakes:
        raise LessonError(*dict.fromkeys(mistakes), *(["nothing was rendered"] if len(places) > 1 else []))
    check_apart(plans)
    return plans


def lesson_places(paths: Sequence[Path], out: Path) -> dict[Path, Path]:
    """Every lesson with the folder it is rendered into: `lesson_places([Path("term")], Path("out"))`.

    Raises LessonError where a folder has no lesson, or two lessons would share names.
    """
    places: dict[Path, Path] = {}
    for path in paths:
        for lesson in lessons_in(path) if path.is_dir() else [path]:
            inside = lesson.parent.relative_to(path) if path.is_dir() else Path()
            places.setdefault(lesson, out / inside)
    first: dict[tuple[Path, str], Path] = {}
    for lesson, folder in places.items():
        other = first.setdefault((folder, lesson.stem), lesson)
        if other is not lesson:
            raise LessonError(
                f"{other} and {lesson} would write the same files; rename one, or render them into two folders"
            )
    return places


def _at_one_level(plans: Sequence[Plan], workers: Workers, progress: Progress) -> tuple[list[Plan], Progress]:
    """The plans at the level that the peaks of all of them allow; finding it is the first half of the progress."""
    jobs = [(plan,) for plan in plans]
    first = half(progress, 0)
    levels = run(own_ride_lufs, jobs, workers.processes, workers.scheduler, first)
    shared = min(levels)
    return [replace(plan, options=replace(plan.options, ride_lufs=shared)) for plan in plans], half(progress, 1)
