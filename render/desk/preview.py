"""What a lesson looks and sounds like while it is being written: chart, page, one staff for its card, its groove."""

import json
import tempfile
from collections.abc import Iterator, Sequence
from contextlib import closing, contextmanager
from dataclasses import dataclass
from fractions import Fraction
from html import escape
from pathlib import Path
from typing import TYPE_CHECKING

from grooves.groove import Groove
from grooves.lesson import Lesson
from grooves.meter import EIGHTH
from render.lesson.documents import chart_data, page_in_parts
from render.lesson.groove_files import find_groove, shipped_grooves
from render.lesson.load import lesson_of_text
from render.lesson.options import ChartOptions, RenderOptions
from render.lesson.term_record import hash_of_bytes
from render.soundfont.soundfont import open_kit, soundfont_of

if TYPE_CHECKING:
    from render.soundfont.samples import DrumKit

RATE = 44100
MOST_ON_CARD = 4  # bars
_kits: "dict[tuple[Path, int, int, str | int | None], DrumKit]" = {}  # the last one, by its file as it was


def chart_svg(text: str, path: Path) -> bytes:
    """A lesson's chart as `fourlimb chart` draws it: raises LessonError."""
    lesson = lesson_of_text(text, path).lesson
    return chart_data(lesson, "svg", ChartOptions())


def page_pieces(text: str, path: Path) -> bytes:
    """A lesson's page as `fourlimb page` makes it, in pieces, as JSON; raises LessonError.

    `title` and `body` are what a change moves; `style`, `scripts` and `hits` are mostly the same as before. In the body
    each hit is named by its hash, and `hits` says what stands behind the name.
    """
    lesson = lesson_of_text(text, path).lesson
    with _warm_kit(path, lesson) as kit:
        parts = page_in_parts(lesson, kit)
    names = [hash_of_bytes(hit["flac"].encode())[:32] for hit in parts.sounds["hits"]]
    named = [{**hit, "flac": name} for hit, name in zip(parts.sounds["hits"], names, strict=True)]
    html = parts.html("", "", {**parts.sounds, "hits": named})
    pieces = {
        "title": lesson.title,
        "body": html.partition("<body>")[2].rpartition("<script>")[0],
        "style": parts.style,
        "scripts": ["\n".join(parts.scripts[:-1]), parts.scripts[-1]],
        "hits": {name: hit["flac"] for name, hit in zip(names, parts.sounds["hits"], strict=True)},
    }
    return json.dumps(pieces, ensure_ascii=False).encode()


@contextmanager
def _warm_kit(path: Path, lesson: Lesson) -> "Iterator[DrumKit]":
    """The kit that plays a lesson, with the hits that it played for the page before."""
    soundfont = soundfont_of(path, lesson)
    state = soundfont.stat()
    key = (soundfont, state.st_mtime_ns, state.st_size, lesson.kit_program)
    if key not in _kits:
        _kits.clear()
        _kits[key] = open_kit(soundfont, RATE, program=lesson.kit_program)
    with closing(_kits[key]) as kit:
        yield kit


def staff_svg(text: str, path: Path) -> bytes:
    """The first bars of a lesson's line on one staff, for its card."""
    from render.paper.engrave import engrave
    from render.paper.layout import chosen_bars
    from render.paper.notation import line_musicxml

    lesson = lesson_of_text(text, path).lesson
    numbers = list(dict.fromkeys(bar.number for bar in lesson.score.bars))[:MOST_ON_CARD]
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
    return tuple(PatternRow(part.name, tuple(sorted(stroke.onset for stroke in part.bars[0]))) for part in groove.parts)


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
        f"<title>{escape(groove.title)}: {escape(said)}</title>",
    ]
    for number in range(steps):
        beat = (EIGHTH * number) % groove.meter.pulse == 0
        x = float(left + wide * number)
        drawn.append(
            f'<path d="M{x:g} 6V{high * len(rows) + 2}" stroke="#1d1a16" stroke-width="{1 if beat else 0.3}"/>'
        )
    for at, row in enumerate(rows):
        y = 14 + high * at
        letters = f'x="0" y="{y + 4}" font-family="serif" font-size="14" fill="#1d1a16"'
        drawn.append(f"<text {letters}>{escape(row.part)}</text>")
        for place in row.places:
            x = left + float(place / EIGHTH) * wide
            drawn.append(f'<circle cx="{x:.1f}" cy="{y}" r="5" fill="#1d1a16"/>')
    return "".join([*drawn, "</svg>"]).encode()


def _listed(places: Sequence[Fraction], groove: Groove) -> str:
    from grooves.rhythm import place_name

    return ", ".join(place_name(place, groove.meter) for place in places)


def groove_wav(name: str, beside: Path) -> bytes:
    """Four bars of a groove as sound, at its own tempo; raises LessonError."""
    from grooves.rhythm import values_text
    from render.desk.places import silent_bar
    from render.lesson.render_lesson import render_lesson

    groove = find_groove(name, beside)
    rests = values_text([silent_bar(groove.meter)] * 4)
    low, high = groove.tempo_bpm
    own = name if name in shipped_grooves() else (beside / name).as_posix()
    with tempfile.TemporaryDirectory() as folder:
        lesson = Path(folder) / "groove.toml"
        lesson.write_text(
            f'title = "Groove"\ntempo = {round((low + high) / 2)}\ngroove = {json.dumps(own)}\ncount_in = 0\n'
            f'[line]\nvalues = "{rests}"\n[[track]]\nname = "time"\nline = false\n',
            encoding="utf-8",
        )
        render_lesson(lesson, RenderOptions(Path(folder)))
        return (Path(folder) / "groove-time.wav").read_bytes()
