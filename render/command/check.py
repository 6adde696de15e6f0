"""`fourlimb check`: what a student played, held against the lesson."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from grooves.errors import LessonError
from render.command.options import Json, Soundfont

if TYPE_CHECKING:
    from render.lesson.check import CheckReport

EXAMPLE = "fourlimb check tuesday.toml tuesday.mid -o again"
Lesson = Annotated[Path | None, typer.Argument(metavar="[LESSON]", help="A lesson file (.toml).")]
Take = Annotated[
    Path | None, typer.Argument(metavar="[TAKE]", help="What was played: .mid .wav .flac .ogg .mp3 .json.")
]
Track = Annotated[str | None, typer.Option("--track", metavar="NAME", help="The track it was played to.")]
Bars = Annotated[str | None, typer.Option("--bars", metavar="BARS", help='Only these bars, such as 6 or "1-4".')]
Kit = Annotated[Path | None, typer.Option("--kit", metavar="KIT", help="Single strokes, recorded as --hello tells.")]
Latency = Annotated[float | None, typer.Option("--latency", metavar="MS", help="The device's delay, if it is known.")]
Out = Annotated[Path | None, typer.Option("-o", "--out", metavar="DIR", help="Write pictures and practice here.")]
Hello = Annotated[
    bool, typer.Option("--hello", help="Write a click for single strokes, or measure the delay from its recording.")
]


def check(
    lesson: Lesson = None,
    take: Take = None,
    track: Track = None,
    bars: Bars = None,
    kit: Kit = None,
    latency: Latency = None,
    out: Out = None,
    hello: Hello = False,
    soundfont: Soundfont = None,
    json: Json = False,
) -> None:
    """Say how a take went: which limb was late, what was missed, what to practise next."""
    from render.command.report import as_json, progress_bar
    from render.lesson.check import CheckOptions, check_lesson

    if hello:
        _hello(lesson, out or Path(), json)
        return
    if lesson is None or take is None:
        raise LessonError(f"check holds a take against a lesson; name both, such as: {EXAMPLE}")
    options = CheckOptions(track, bars, kit, latency, out, soundfont)
    with progress_bar("listening", not json) as progress:
        report = check_lesson(lesson, take, options, progress)
    if json:
        print(as_json({"format": "fourlimb-check", "version": 1, **vars(report)}))
    else:
        show_check(report)


def _hello(given: Path | None, out: Path, json: bool) -> None:
    """Write the click, for a lesson's parts where one is given, or measure the delay of a recording of it."""
    from render.command.report import as_json, show_lines
    from render.lesson.hello import measure_delay, write_hello

    if given is not None and given.suffix.lower() != ".toml":
        found = measure_delay(given)
        said = f"The click comes back {found.milliseconds:.0f} ms late; add --latency {found.milliseconds:.0f}."
        print(as_json({"latency_ms": found.milliseconds, "spread_ms": found.spread_ms}) if json else said)
        return
    made = write_hello(given, out)
    if json:
        print(as_json({"files": [{"track": "", "kind": "click", "path": made.path}], "parts": made.parts}))
    else:
        show_lines(made.words)


LIMB_HEADS = (
    "limb", "part", "written", "hit", "missed", "unsure", "extra", "late ms", "spread ms", "in 20 ms", "in 30 ms",
    "in 50 ms",
)  # fmt: skip
BAR_HEADS = ("bar", "times", "written", "hit", "missed", "unsure", "extra", "late ms", "spread ms", "beats off")


def show_check(report: "CheckReport") -> None:
    """Print the sentences first, then the numbers of limbs and bars beside them."""
    from render.command.report import show_lines, show_table

    show_lines([f"Held against the track '{report.track}'.", *(f"  {one}" for one in report.sentences)])
    if any(one.heard for one in report.limbs):
        show_table("Limbs", LIMB_HEADS, _limb_rows(report), range(2, 12))
        show_table("Bars", BAR_HEADS, _bar_rows(report), range(9))
    show_lines(f"  {made.path}" for made in report.files)


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
            ", ".join(f"{lag:+d}" for lag in one.lost_beats if lag),
        )
        for one in report.bars
    ]


def _ms(value: float | None, sign: str = "") -> str:
    return "" if value is None else f"{value:{sign}.0f}"
