"""How hard bars were for a group, week by week, as one picture in shades of grey; each shade says its number too.

A field is the darker the fewer have the bar clean, and white with a dot where nobody's file came back. SVG in
millimetres, as wide as A4 and as high as it must be.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from html import escape

from render.paper.text_metrics import FONTS, fitted_mm, printable, set_wide

WIDTH_MM, LEFT_MM, TOP_MM = 210.0, 14.0, 34.0
LABEL_MM, ROW_MM, GAP_MM, HEADS_MM = 22.0, 6.0, 2.5, 7.0
WIDEST_MM = 9.0
DARKEST, LIGHTEST = 0.25, 1.0  # of a field: black letters stand on what is lighter than half


@dataclass(frozen=True)
class Field:
    """One bar: of so many, so many have it clean."""

    bar: int
    clean: int
    of: int


@dataclass(frozen=True)
class HeatRow:
    """One week: its lessons side by side, each with its bars."""

    label: str
    lessons: tuple[tuple[str, tuple[Field, ...]], ...]  # what each is called, and its bars


def results_svg(title: str, groups: Sequence[tuple[str, Sequence[HeatRow]]]) -> str:
    """The picture: `results_svg("Autumn", [("Monday", [HeatRow("Week 1", (("line 1", bars),))])])[:4]` is "<svg"."""
    drawn, y = list[str](), TOP_MM
    for name, rows in groups:
        drawn.append(_text(LEFT_MM, y + 5.0, name, 5.0, bold=True))
        y += 8.0
        side = _side_mm(rows)
        drawn += _heads(max(rows, key=lambda row: (len(row.lessons), _fields(row)), default=HeatRow("", ())), y, side)
        y += HEADS_MM
        for row in rows:
            drawn += _row(row, y, side)
            y += ROW_MM
        y += 6.0
    title, height = printable(title), y + 6.0
    said = "In each field: how many have the bar clean at the asked tempo, of how many files. Dark: few. Dot: no file."
    size_mm = fitted_mm(title, WIDTH_MM - 2 * LEFT_MM, 8.0, bold=True)
    head = [_text(LEFT_MM, 18.0, title, size_mm, bold=True), _text(LEFT_MM, 26.0, said, 3.4)]
    box = f'width="{WIDTH_MM:g}mm" height="{height:g}mm" viewBox="0 0 {WIDTH_MM:g} {height:g}"'
    opened = f'<svg xmlns="http://www.w3.org/2000/svg" {box} role="img" font-family="{escape(FONTS)}">'
    ground = f'<rect width="{WIDTH_MM:g}" height="{height:g}" fill="#fff"/>'
    return "\n".join([opened, f"<title>{escape(title)}</title>", ground, *head, *drawn, "</svg>"]) + "\n"


def _side_mm(rows: Sequence[HeatRow]) -> float:
    """How wide a field is, so that the longest week fits."""
    room = WIDTH_MM - 2 * LEFT_MM - LABEL_MM
    needs = [(room - GAP_MM * (len(row.lessons) - 1)) / max(_fields(row), 1) for row in rows]
    return min([WIDEST_MM, *needs])


def _fields(row: HeatRow) -> int:
    return sum(len(fields) for _, fields in row.lessons)


def _heads(row: HeatRow, y: float, side: float) -> Iterator[str]:
    """What the columns are, as the week with the most of them has them: lessons, and below them the numbers of bars."""
    x = LEFT_MM + LABEL_MM
    for name, fields in row.lessons:
        yield _text(x, y + 2.6, name, fitted_mm(name, max(side * len(fields), 1.0), 3.4))
        for number, field in enumerate(fields):
            yield _text(x + side * (number + 0.5), y + HEADS_MM - 0.9, str(field.bar), 2.8, anchor="middle")
        x += side * len(fields) + GAP_MM


def _row(row: HeatRow, y: float, side: float) -> Iterator[str]:
    yield _text(LEFT_MM, y + ROW_MM * 0.68, row.label, 3.8)
    x = LEFT_MM + LABEL_MM
    for _, fields in row.lessons:
        for field in fields:
            yield from _field(field, x, y, side)
            x += side
        x += GAP_MM


def _field(field: Field, x: float, y: float, side: float) -> Iterator[str]:
    share = field.clean / field.of if field.of else 1.0
    light = DARKEST + (LIGHTEST - DARKEST) * share
    grey = round(light * 255)
    place = f'x="{x:.2f}" y="{y:.2f}" width="{side:.2f}" height="{ROW_MM:g}"'
    says = f"bar {field.bar}: {field.clean} of {field.of} clean" if field.of else f"bar {field.bar}: no file"
    fill = f"rgb({grey},{grey},{grey})"
    yield f'<rect {place} fill="{fill}" stroke="#000" stroke-width="0.2"><title>{says}</title></rect>'
    words = f"{field.clean}/{field.of}" if field.of else "·"
    size = fitted_mm(words, side - 0.8, 3.2)
    yield _text(x + side / 2, y + ROW_MM * 0.68, words, size, anchor="middle", ink="#fff" if light < 0.5 else "#000")


def _text(
    x: float, y: float, words: str, size: float, bold: bool = False, anchor: str = "start", ink: str = "#000"
) -> str:
    weight = ' font-weight="bold"' if bold else ""
    place = f'x="{x:.2f}" y="{y:.2f}" font-size="{size:.2f}" text-anchor="{anchor}" fill="{ink}"'
    return f"<text {place}{weight}{set_wide(words, size, bold)}>{escape(printable(words))}</text>"
