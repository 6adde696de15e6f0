"""What a lesson puts on paper: chart and MusicXML, each written whole."""

from pathlib import Path

from grooves.lesson import Lesson, bar_numbers
from grooves.mistake import Mistake, at
from render.write import make_folder, write_bytes

CHART_FORMS = (".pdf", ".svg", ".png", ".musicxml")


def chart_file(lesson: Lesson, target: Path, bars: str | None = None, paper: str = "a4") -> Path:
    """Write a lesson's chart, its kind by the file's ending: `chart_file(lesson, Path("x.pdf"))`; raises Mistake."""
    from render.chart import chart

    if target.suffix not in CHART_FORMS:
        raise Mistake(f"{target}: a chart ends in {', '.join(CHART_FORMS)}; name the file so")
    with at("--bars"):
        there = [bar.number for bar in lesson.score.bars]
        chosen = () if bars is None else bar_numbers(bars, there)
    data = chart(lesson.score, target.suffix[1:], paper, chosen, swing=lesson.feel.swing)
    make_folder(target.parent)
    write_bytes(target, data)
    return target
