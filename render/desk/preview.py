"""What a lesson looks and sounds like while it is being written: chart, page, one staff for its card, its groove.

The engraver and the synthesizer keep state of their own, so one of them works at a time. What was drawn is kept
under the hash of its bytes for the browser to fetch; the last few are enough.
"""

import tempfile
from collections import OrderedDict
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import cache
from pathlib import Path
from threading import Lock

from grooves.errors import LessonError
from grooves.groove import Groove
from grooves.meter import EIGHTH
from render.desk.folder import hash_of
from render.lesson.documents import chart_data, page_data
from render.lesson.groove_files import find_groove, shipped_grooves
from render.lesson.load import lesson_of_text
from render.lesson.options import ChartOptions, RenderOptions
from render.soundfont.soundfont import kit_for

KEPT = 12  # pictures and pages
RATE = 44100
MOST_ON_CARD = 4  # bars
_ENGRAVING = Lock()
TYPES = {"svg": "image/svg+xml", "html": "text/html; charset=utf-8", "wav": "audio/wav"}


class Kept:
    """What was made for the browser to fetch: `kept.put(b"<svg…", "svg")` is its name."""

    def __init__(self) -> None:
        self._data: OrderedDict[str, bytes] = OrderedDict()
        self._lock = Lock()

    def put(self, data: bytes, form: str) -> str:
        """Keep some bytes under a name of their own."""
        name = f"{hash_of(data)[:32]}.{form}"
        with self._lock:
            self._data[name] = data
            self._data.move_to_end(name)
            while len(self._data) > KEPT:
                self._data.popitem(last=False)
        return name

    def get(self, name: str) -> bytes | None:
        """The bytes of a name, if they are among the last."""
        with self._lock:
            return self._data.get(name)


def chart_svg(text: str, path: Path) -> bytes:
    """A lesson's chart as `fourlimb chart` draws it: raises LessonError."""
    lesson = lesson_of_text(text, path).lesson
    with _ENGRAVING:
        return chart_data(lesson, "svg", ChartOptions())


def page_html(text: str, path: Path) -> bytes:
    """A lesson's page as `fourlimb page` makes it: raises LessonError."""
    lesson = lesson_of_text(text, path).lesson
    with _ENGRAVING, kit_for(path, lesson, None, RATE, True) as kit:
        return page_data(lesson, kit)


def staff_svg(text: str, path: Path) -> bytes:
    """The first bars of a lesson's line on one staff, for its card."""
    from render.paper.engrave import engrave
    from render.paper.layout import chosen_bars
    from render.paper.notation import line_musicxml

    lesson = lesson_of_text(text, path).lesson
    numbers = list(dict.fromkeys(bar.number for bar in lesson.score.bars))[:MOST_ON_CARD]
    with _ENGRAVING:
        music = line_musicxml(chosen_bars(lesson.score, numbers, 0), headings=False)
        return engrave(music, width_mm=150.0, title=f"The line of {lesson.title}")[0].encode()


# --- a groove -------------------------------------------------------------------------------------


@dataclass(frozen=True)
class PatternRow:
    """One part of a groove, bar by bar of its pattern: `PatternRow("ride", ((Fraction(0),),))`."""

    part: str
    places: tuple[Fraction, ...]


def groove_rows(groove: Groove) -> tuple[PatternRow, ...]:
    """Where each part strikes in the first bar of a groove, hands first as the file has them."""
    return tuple(
        PatternRow(part.name, tuple(sorted(stroke.onset for stroke in part.bars[0]))) for part in groove.parts
    )


def groove_svg(name: str, folder: Path) -> bytes:
    """A groove's first bar as a picture: a row for each part, a stroke at each place; raises LessonError."""
    groove = find_groove(name, folder)
    rows = groove_rows(groove)
    steps = int(groove.meter.length / EIGHTH)
    wide, high, left = 22, 20, 92
    width, height = left + wide * steps + 8, high * len(rows) + 18
    said = "; ".join(f"{row.part} on {_listed(row.places, groove)}" for row in rows if row.places)
    drawn = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" role="img">',
        f"<title>{groove.title}: {said}</title>",
    ]
    for number in range(steps):
        beat = (EIGHTH * number) % groove.meter.pulse == 0
        x = left + wide * number
        drawn.append(f'<path d="M{x} 6V{high * len(rows) + 2}" stroke="#1d1a16" stroke-width="{1 if beat else 0.3}"/>')
    for at, row in enumerate(rows):
        y = 14 + high * at
        drawn.append(f'<text x="0" y="{y + 4}" font-family="serif" font-size="14" fill="#1d1a16">{row.part}</text>')
        for place in row.places:
            x = left + float(place / EIGHTH) * wide
            drawn.append(f'<circle cx="{x:.1f}" cy="{y}" r="5" fill="#1d1a16"/>')
    return "".join([*drawn, "</svg>"]).encode()


def _listed(places: Sequence[Fraction], groove: Groove) -> str:
    from grooves.rhythm import place_name

    return ", ".join(place_name(place, groove.meter) for place in places)


@cache
def groove_wav(name: str, tempo_bpm: int) -> bytes:
    """Four bars of a shipped groove as sound; raises LessonError."""
    from grooves.rhythm import values_text
    from render.desk.places import silent_bar
    from render.lesson.render_lesson import render_lesson

    if name not in shipped_grooves():
        raise LessonError("only a groove that comes along can be heard here; the lesson's page plays yours")
    rests = values_text([silent_bar(find_groove(name, Path()).meter)] * 4)
    with tempfile.TemporaryDirectory() as folder:
        lesson = Path(folder) / "groove.toml"
        lesson.write_text(
            f'title = "Groove"\ntempo = {tempo_bpm}\ngroove = "{name}"\ncount_in = 0\n[line]\nvalues = "{rests}"\n'
            '[[track]]\nname = "time"\nline = false\n'
        )
        with _ENGRAVING:
            render_lesson(lesson, RenderOptions(Path(folder)))
        return (Path(folder) / "groove-time.wav").read_bytes()
