"""A generated reading line as a whole lesson, to practise at once and to change."""

from dataclasses import dataclass
from pathlib import Path

from grooves.errors import LessonError, at
from grooves.lesson import parse_lesson
from grooves.rhythm import Meter, parse_meter
from grooves.teaching.graded import lines
from render.files.write import make_folder, write_bytes
from render.lesson.groove_files import find_groove, shipped_grooves
from render.lesson.lesson_text import named_from
from render.lesson.term_lessons import commented_lesson

USUAL = ("swing", "jazz-waltz")  # grooves taken before others of their meters


@dataclass(frozen=True)
class LineWish:
    """What the lesson is to be: `LineWish(level=4, groove="swing")`; meter and groove may each follow the other."""

    level: int
    bars: int = 8
    seed: int = 1
    meter: str | None = None
    title: str | None = None
    groove: str | None = None
    tempo_bpm: float = 100.0


def _named(target: Path) -> Path:
    """What to write instead of a name that no lesson has: "tuesday" becomes "tuesday.toml", so does none at all."""
    return target.with_suffix(".toml") if target.name else target / "tuesday.toml"


def write_line_lesson(target: Path, wish: LineWish) -> Path:
    """Write a lesson with a new line: `write_line_lesson(Path("tuesday.toml"), LineWish(4))`.

    Raises LessonError for a level, groove, meter or tempo that is not there, and where a file of that name is.
    """
    if target.suffix != ".toml":
        raise LessonError(f"{target}: a lesson's name ends in .toml; write {_named(target)}")
    name = wish.groove or _groove_in(parse_meter(wish.meter or "4/4"))
    with at("--groove"):
        groove = find_groove(name, Path())
    if wish.meter is not None and parse_meter(wish.meter) != groove.meter:
        raise LessonError(f"--meter: {wish.meter} does not fit the groove '{name}', which is in {groove.meter}")
    line = lines(wish.level, wish.bars, wish.seed, groove.meter)
    named = name if name in shipped_grooves() else named_from(target.parent, name, Path())
    comment = [f"A line of level {wish.level}, seed {wish.seed}, from `fourlimb lines`. It is yours to change."]
    title = wish.title or f"A line of level {wish.level}"
    text = commented_lesson(title, wish.tempo_bpm, named, {"values": line, "played_on": "snare"}, comment)
    parse_lesson(text, lambda _: groove, lambda *_: (), lambda *_: None)  # type: ignore[arg-type]
    make_folder(target.parent)
    write_bytes(target, text.encode(), ())
    return target


def _groove_in(meter: Meter) -> str:
    """A shipped groove of a meter; raises LessonError where there is none."""
    for name in (*USUAL, *shipped_grooves()):
        if name in shipped_grooves() and find_groove(name, Path()).meter == meter:
            return name
    raise LessonError(f"--meter: no groove in {meter} is shipped; name a groove file with --groove")
