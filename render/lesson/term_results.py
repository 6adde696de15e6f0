"""What came back of a term, held against its lessons as they lie there; and a lesson of their own for each who came."""

from dataclasses import dataclass
from pathlib import Path

from grooves.errors import LessonError
from grooves.lesson import SLOWEST_BPM
from grooves.teaching.coordination import hardest_first
from render.files.write import write_bytes
from render.lesson.bar_report import climb_tables, climbs, said_bars
from render.lesson.lesson_text import lesson_text
from render.lesson.load import Loaded, load_lesson
from render.lesson.results import BarHeat, Came, Results, TermBars, folder_of, read_results
from render.lesson.term import NEXT, write_own
from render.lesson.term_lessons import group_jobs
from render.lesson.term_record import RECORD, Record, locked, read_record
from render.paper.results_chart import Field, HeatRow, results_svg

PICTURE = "results.svg"
HARDEST = 2  # bars of a lesson that are climbed to
FROM_SHARE, STEP_BPM, TIMES_EACH = 0.6, 4, 2  # of a loop's ladder; ours


@dataclass(frozen=True)
class TermResults:
    """What came back, the files made of it, and personal lessons left as somebody edited them."""

    title: str
    results: Results
    files: tuple[Path, ...]
    left: tuple[Path, ...]


def term_results(path: Path, out: Path, back: Path, personal: bool) -> TermResults:
    """Read what came back of a term: `term_results(Path("autumn.toml"), Path("autumn"), Path("back"), True).files`.

    Writes the picture into the term's folder, and with `personal` lessons into `next/`. Raises LessonError.
    """
    title, _ = group_jobs(path, out)
    if not (out / RECORD).is_file():
        raise LessonError(f"{out}: there is no term in this folder yet; run: fourlimb term {path} -o {out}")
    with locked(out):
        record = read_record(out)
        lessons, loaded = _lessons(path, out, record)
        results = read_results(back, lessons, record.notes)
        picture = out / PICTURE
        write_bytes(picture, _picture(title, results).encode(), ())
        todo: list[str] = []
        left: tuple[Path, ...] = ()
        if personal:
            unready = [one for one in results.came if _not_clean(one, loaded[one.path])]
            texts = dict(sorted(_personal(out, one, loaded[one.path]) for one in unready))
            todo, left = write_own(record, texts)
            record.save()
    return TermResults(title, results, (picture, *(out / one for one in todo)), left)


def _lessons(path: Path, out: Path, record: Record) -> tuple[list[TermBars], dict[str, Loaded]]:
    """The lessons of the term's groups as they lie there now; raises LessonError where one was never made."""
    found, loaded = [], {}
    for job in group_jobs(path, out)[1]:
        planned = record.plans.get(job.folder, {}).get("lessons")
        if planned is None:
            raise LessonError(f"{out}: group '{job.name}' is not made yet; run: fourlimb term {path} -o {out}")
        for one in planned:
            loaded[one["path"]] = load_lesson(out / one["path"])
            found.append(TermBars(job.name, one["week"], one["path"], one["what"], loaded[one["path"]].lesson))
    return found, loaded


def _picture(title: str, results: Results) -> str:
    groups = []
    for name, weeks in results.groups.items():
        rows = []
        for week in weeks:
            names = dict.fromkeys(bar.lesson for bar in week.bars)
            lessons = [(one, tuple(_field(bar) for bar in week.bars if bar.lesson == one)) for one in names]
            rows.append(HeatRow(f"Week {week.week}", tuple(lessons)))
        groups.append((name, rows))
    return results_svg(title, groups)


def _field(bar: BarHeat) -> Field:
    return Field(bar.bar, bar.clean, bar.of)


# --- a lesson of one's own ------------------------------------------------------------------------


def _not_clean(came: Came, loaded: Loaded) -> list[int]:
    """The hardest bars of a lesson that one who came does not have clean yet, the hardest first."""
    return [one.number for one in hardest_first(loaded.lesson.score) if one.number not in came.clean][:HARDEST]


def _personal(out: Path, came: Came, loaded: Loaded) -> tuple[str, str]:
    """Where a personal lesson lies below the term's folder, and its text: the climb, then a loop of each bar."""
    numbers = _not_clean(came, loaded)
    group, name = came.path.split("/")
    path = f"{NEXT}/{folder_of(came.who)}/{group}-{name}"
    tables = climb_tables(loaded, numbers, (out / came.path).parent, (out / path).parent)
    note = "Each step four times; stay on one as long as you like."
    tracks: list[dict[str, object]] = [{"name": "stairs", "note": note}]
    place = 0
    for number, climb in zip(numbers, climbs(loaded.lesson, numbers), strict=True):
        place += len(climb)
        tracks.append({"name": f"bar {number}, up to the tempo", "bars": str(place), **_ladder(loaded)})
    text = lesson_text({**tables, "track": tracks})
    comment = f"# For {came.who}: {said_bars(numbers)} of {loaded.lesson.title}, the hardest that are not clean yet.\n"
    return path, comment + text


def _ladder(loaded: Loaded) -> dict[str, object]:
    """A loop that climbs to the asked tempo, or, where that is the slowest there is, just a loop."""
    asked = loaded.lesson.score.tempo_bpm
    start = max(SLOWEST_BPM, round(asked * FROM_SHARE))
    if start >= asked:
        return {"times": 8}
    return {"ladder": {"from": start, "to": asked, "step": STEP_BPM, "times_each": TIMES_EACH}}
