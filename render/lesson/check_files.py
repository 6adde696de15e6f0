"""What a take leaves behind in a folder: its picture, and a lesson of the bars that went worst with its tracks."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from grooves.file_names import slug
from grooves.lesson import SLOWEST_BPM
from grooves.takes.check import Answer
from grooves.takes.findings import BarFinding, bar_of
from grooves.takes.sheet import Sheet
from grooves.takes.take import Take
from render.files.write import check_reads, make_folder, whole, write_bytes
from render.lesson.groove_files import LARGEST_FILE_BYTES, shipped_grooves
from render.lesson.lesson_text import lesson_text, line_tables, named_from
from render.lesson.load import Loaded
from render.lesson.options import LoopOptions, MadeFile, Progress, RenderOptions
from render.paper.take_chart import Extra, take_pages

WORST_BARS = 3
LOOP_TIMES = 8
RUNGS = 5  # of a ladder, from slow up to the lesson's tempo
SLOW = 0.6
FIRST_LINE = "# The bars that went worst in a take.\n"


@dataclass(frozen=True)
class CheckFolder:
    """Where the files of a take go, what they come from, and what they are called."""

    folder: Path
    lesson: Path
    take: Path
    reads: tuple[Path, ...]  # no file is written over one of these
    soundfont: Path | None = None

    @property
    def pictures(self) -> list[Path]:
        """The picture's files: "tuesday-check.svg" and .pdf."""
        return [self.folder / f"{self.lesson.stem}-check{ending}" for ending in (".svg", ".pdf")]

    @property
    def practice(self) -> Path:
        """The lesson of the worst bars: "tuesday-after-take-1.toml"."""
        return self.folder / f"{self.lesson.stem}-after-{slug(self.take.stem, 'take')}.toml"


def check_files(
    where: CheckFolder, loaded: Loaded, sheet: Sheet, answer: Answer, take: Take, progress: Progress
) -> list[MadeFile]:
    """Write the picture and the practice of a take: `check_files(where, loaded, sheet, answer, take, print)[0].kind`.

    Raises LessonError before anything is written where another lesson has the name of the practice.
    """
    worst = worst_bars(answer.findings.bars)
    text = FIRST_LINE + lesson_text(practice_tables(loaded, worst, where.lesson.parent, where.folder))
    make_folder(where.folder)
    if worst and not _is_there(where.practice, text):
        check_reads([where.practice], where.reads)
    made = _pictures(where, loaded, sheet, answer, take)
    return made + (_practice(where, text, loaded, worst, progress) if worst else [])


def _is_there(path: Path, text: str) -> bool:
    """Whether a file says the same already, as after a take was checked twice."""
    return path.is_file() and path.stat().st_size < LARGEST_FILE_BYTES and path.read_bytes() == text.encode()


def _pictures(where: CheckFolder, loaded: Loaded, sheet: Sheet, answer: Answer, take: Take) -> list[MadeFile]:
    from render.paper.chart import stacked
    from render.paper.pdf import chart_pdf

    extras = [_extra(place, take, sheet, answer) for place in answer.match.extras]
    pages = take_pages(loaded.lesson.score, sheet, answer.findings, answer.sentences, extras)
    with whole(where.pictures, where.reads) as (svg, pdf):
        svg.write_text(stacked(pages), encoding="utf-8")
        pdf.write_bytes(chart_pdf(pages))
    return [MadeFile("", "check", target) for target in where.pictures]


def _extra(place: int, take: Take, sheet: Sheet, answer: Answer) -> Extra:
    stroke = take.strokes[place]
    bar = bar_of(take, sheet, answer.alignment, place)
    moment = (stroke.onset_seconds - answer.alignment.offset_seconds) / (1 + answer.alignment.drift)
    across = (moment - sheet.bars[bar].onset_seconds) / sheet.bars[bar].seconds
    return Extra(bar, max(across, -0.03), {part: limb for limb, part in sheet.limb_parts}[stroke.part])


# --- practice -------------------------------------------------------------------------------------


def worst_bars(bars: Sequence[BarFinding]) -> list[BarFinding]:
    """The three bars that went worst, the worst first; fewer where fewer went wrong."""
    wrong = [bar for bar in bars if bar.missed + bar.unsure + bar.extra or any(bar.lost_beats)]
    return sorted(wrong, key=lambda bar: -bar.trouble)[:WORST_BARS]


def worst_limb(bar: BarFinding) -> str:
    """The limb that missed most in a bar, of equals the one that was farthest off; "" where none was heard."""

    def fault(limb: str) -> tuple[float, float]:
        found = bar.limbs[limb]
        return float(found["missed"] or 0), abs(found["lateness_ms"] or 0.0)

    return max(bar.limbs, key=fault, default="")


def practice_tables(loaded: Loaded, worst: Sequence[BarFinding], old: Path, new: Path) -> dict[str, Any]:
    """The lesson again with a loop and a ladder for each of its worst bars, its files found from the new folder."""
    tables, tempo_bpm = loaded.tables, loaded.lesson.score.tempo_bpm
    kept = {key: value for key, value in tables.items() if key != "track"}
    kept["title"] = f"{tables['title']}: again"
    for key in ("groove", "soundfont"):
        if key in kept and kept[key] not in shipped_grooves():
            kept[key] = named_from(new, kept[key], old)
    lines = [
        {**line, "file": named_from(new, line["file"], old)} if "file" in line else line for line in line_tables(kept)
    ]
    kept["line"] = lines if isinstance(kept["line"], list) else lines[0]
    return {**kept, "track": [track for bar in worst for track in _tracks(bar, tempo_bpm)]}


def _tracks(bar: BarFinding, tempo_bpm: float) -> Iterator[dict[str, Any]]:
    limb = worst_limb(bar)
    without = {"without": [limb]} if limb else {}
    slow = slow_tempo(tempo_bpm)
    yield {"name": f"bar {bar.bar} slow", "bars": str(bar.bar), **without, "tempo": slow, "times": LOOP_TIMES}
    step = max(round((1 - SLOW) * tempo_bpm / (RUNGS - 1)), 1)
    ladder = {"from": slow, "to": "100%", "step": step, "times_each": 2}
    yield {"name": f"bar {bar.bar} up to tempo", "bars": str(bar.bar), **without, "ladder": ladder}


def slow_tempo(tempo_bpm: float) -> str:
    """Sixty in a hundred of a tempo, or the slowest there is: `slow_tempo(120)` is "60%", `slow_tempo(40)` "30"."""
    return f"{SLOW:.0%}" if SLOW * tempo_bpm >= SLOWEST_BPM else f"{SLOWEST_BPM:g}"


def _practice(
    where: CheckFolder, text: str, loaded: Loaded, worst: Sequence[BarFinding], progress: Progress
) -> list[MadeFile]:
    """The lesson file of the worst bars, a loop without a seam of each, and its ladders."""
    from render.lesson.loop import render_loop
    from render.lesson.render_lesson import render_lesson

    if not _is_there(where.practice, text):
        write_bytes(where.practice, text.encode(), where.reads)
    options = RenderOptions(where.folder, soundfont=where.soundfont)
    made = [MadeFile("", "lesson", where.practice)]
    slow = slow_tempo(loaded.lesson.score.tempo_bpm)
    for number, bar in enumerate(worst, 1):
        limb = worst_limb(bar)
        loop = LoopOptions(str(bar.bar), slow, LOOP_TIMES, (limb,) if limb else ())
        made += render_loop(where.practice, loop, options).files
        progress(0.5 + 0.4 * number / len(worst))
    ladders = tuple(f"bar {bar.bar} up to tempo" for bar in worst)
    return [*made, *render_lesson(where.practice, replace(options, tracks=ladders)).files]
