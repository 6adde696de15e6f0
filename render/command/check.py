"""The words of the command `check`: what a take says, on a terminal."""

from pathlib import Path
from typing import TYPE_CHECKING

from grooves.errors import LessonError
from grooves.takes.says import listed

if TYPE_CHECKING:
    from render.lesson.check import CheckReport


def check(
    lesson: Path | None,
    take: Path | None,
    track: str | None = None,
    bars: str | None = None,
    kit: Path | None = None,
    latency_ms: float | None = None,
    out: Path | None = None,
    hello: bool = False,
    soundfont: Path | None = None,
    as_json: bool = False,
) -> None:
    """Say how a take went: `check(Path("a.toml"), Path("a.mid"))`; raises LessonError."""
    from render.command.report import as_json as json_text
    from render.command.report import progress_bar
    from render.lesson.check import CheckOptions, check_lesson

    if lesson is None or take is None:
        raise LessonError("check needs a lesson and a take, such as: fourlimb check tuesday.toml tuesday.mid")
    options = CheckOptions(track, bars, kit, latency_ms, out, soundfont)
    with progress_bar("listening", not as_json) as progress:
        report = check_lesson(lesson, take, options, progress)
    if as_json:
        print(json_text(report))
    else:
        show_check(report)


def show_check(report: "CheckReport") -> None:
    """Print the sentences first, then the numbers of limbs and bars beside them."""
    from render.command.report import console, show_table

    screen = console()
    screen.print(f"Held against the track '{report.track}':\n")
    for sentence in report.sentences:
        screen.print(f"  {sentence}")
    if any(one.heard for one in report.limbs):
        heads = ("limb", "part", "written", "hit", "missed", "unsure", "extra", "late ms", "spread ms")
        heads = (*heads, "in 20 ms", "in 30 ms", "in 50 ms")
        show_table(
            "Limbs: late against all limbs, spread around their own place", heads, _limb_rows(report), range(2, 12)
        )
        heads = ("bar", "times", "written", "hit", "missed", "unsure", "extra", "late ms", "spread ms", "beats off")
        show_table("Bars", heads, _bar_rows(report), range(9))
    for made in report.files:
        screen.print(f"  {made.path}")


def _limb_rows(report: "CheckReport") -> list[tuple[str, ...]]:
    rows = []
    for one in report.limbs:
        counts = (one.written, one.hit, one.missed, one.unsure, one.extra)
        shares = (one.within_20, one.within_30, one.within_50)
        rows.append(
            (
                one.limb,
                one.part,
                *(map(str, counts) if one.heard else ("not heard", *[""] * 4)),
                _ms(one.lateness_ms, "+"),
                _ms(one.spread_ms),
                *("" if share is None else f"{share:.0%}" for share in shares),
            )
        )
    return rows


def _bar_rows(report: "CheckReport") -> list[tuple[str, ...]]:
    return [
        (
            *map(str, (one.bar, one.times, one.written, one.hit, one.missed, one.unsure, one.extra)),
            _ms(one.lateness_ms, "+"),
            _ms(one.spread_ms),
            listed(f"{lag:+d}" for lag in one.lost_beats if lag) if any(one.lost_beats) else "",
        )
        for one in report.bars
    ]


def _ms(value: float | None, sign: str = "") -> str:
    return "" if value is None else f"{value:{sign}.0f}"
