"""The lesson page: one HTML file that shows the line and plays it, without a network and without a server.

Notes, recorded hits, style and script stand in the one file; a content-security policy names the one style and the
one script by their SHA-256 and allows nothing else, no request anywhere (W3C Content Security Policy Level 3).
Text of the lesson is escaped; JSON hides `<` so that no text can end its element (HTML Living Standard,
restrictions for contents of script elements). Same lesson, same kit, same bytes.
"""

import base64
import hashlib
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING, Any
from urllib.parse import quote

from markupsafe import Markup

from grooves.kit import LIMBS
from grooves.lesson import FASTEST_BPM, SLOWEST_BPM, Lesson
from grooves.score import Score
from grooves.teaching.coordination import grid
from render.page.grid import grid_svg
from render.page.score import score_data, time_alone
from render.page.sounds import sound_data
from render.page.staff import StaffPicture, Staves, staves
from render.page.steps import CAUTIONS, KEYS, limb_rows, steps
from render.paper.chart import feel_words
from render.paper.grids import grid_words
from render.paper.notation import numbered
from render.sound.balance import Balance

if TYPE_CHECKING:
    from jinja2 import Environment

    from render.soundfont.samples import DrumKit

SCRIPTS = (
    "feel",
    "score",
    "clock",
    "player",
    "sound",
    "transport",
    "follow",
    "view",
    "store",
    "limbs",
    "memory",
    "controls",
    "main",
)
FADE_TO_LU = -30.0  # how far the line sinks: no longer heard beside the ride; ours, by ear
_PX_PER_MM = 5.2  # smallest scale of the music on a screen: staves of 31 px
_NARROWEST_PX, _WIDEST_PX = 260, 420  # of a bar: the grid under it must stay readable
_BEATS = {Fraction(1): "♩", Fraction(3, 2): "♩.", Fraction(1, 2): "♪", Fraction(2): "half note"}


@dataclass(frozen=True)
class Entry:
    """One line of an index page: `Entry("first.html", "Harbour Street, first line", 120, "Swing", 8)`."""

    address: str  # file name, or path relative to the index page
    title: str
    tempo_bpm: float
    groove: str
    bars: int


def entry(lesson: Lesson, address: str) -> Entry:
    """The line of an index page for a lesson whose page has this address."""
    score = lesson.score
    return Entry(address, lesson.title, score.tempo_bpm, score.groove.title, len({bar.number for bar in score.bars}))


def page(lesson: Lesson, kit: "DrumKit", balance: Balance) -> str:
    """The page of a lesson as HTML: `page(lesson, kit, calibrate(kit))`.

    Raises LessonError where the kit has no sound for a part of the lesson.
    """
    score = lesson.score
    engraved = staves(score)
    pictures, numbers = engraved.bars, numbered([one.number for one in engraved.bars])
    alone = time_alone(score)
    return _filled(
        "page.html",
        _asset("page.css") + _widths(engraved),
        "\n".join(_asset(f"{name}.js") for name in SCRIPTS),
        title=lesson.title,
        groove=score.groove.title,
        beat=_BEATS.get(score.groove.beat, "beat"),
        tempo=f"{score.tempo_bpm:g}",
        feel=feel_words(score),
        steps=steps(lesson),
        cards=[_card(score, alone, one, label) for one, label in zip(pictures, numbers, strict=True)],
        glyphs=Markup(engraved.glyphs),
        limbs=limb_rows(lesson),
        slowest=f"{SLOWEST_BPM:g}",
        fastest=f"{FASTEST_BPM:g}",
        counts_in=sorted({0, 1, 2, 4, lesson.count_in}),
        swings=score.meter.unit < 8,
        backbeat="2 and 4" if score.meter.pulses >= 4 else "2",
        cautions=CAUTIONS,
        keys=KEYS,
        score=_data(_page_data(lesson, pictures, numbers)),
        sounds=_data(sound_data(lesson, kit, balance)),
    )


def _page_data(lesson: Lesson, pictures: Sequence[StaffPicture], numbers: Sequence[str]) -> dict[str, Any]:
    """What the page's script reads: the score, and how it stands on the page."""
    printed = [number for number, one in enumerate(pictures) for _ in range(one.times)]
    return {
        **score_data(lesson, printed),
        "places": [list(range(one.index, one.index + one.times)) for one in pictures],
        "numbers": numbers,
        "steps": steps(lesson),
        "fadeTo": FADE_TO_LU,
        "feelWords": feel_words(lesson.score),
        "name": f"fourlimb {hashlib.sha256(_json([lesson.title, _shape(lesson)]).encode()).hexdigest()[:16]}",
    }


def index_page(entries: Sequence[Entry], title: str = "Lessons") -> str:
    """A page that lists lessons: `index_page([entry(lesson, "first.html")], "Tuesday evening")`."""
    listed = [replace(one, address=quote(one.address)) for one in entries]
    return _filled("index.html", _asset("page.css"), "", title=title, entries=listed)


def _shape(lesson: Lesson) -> list[list[str]]:
    """What makes two lines the same for the ticks of a student: their notes."""
    return [[f"{symbol.onset} {symbol.length} {symbol.kind}" for symbol in bar.line] for bar in lesson.score.bars]


def _card(score: Score, alone: Score | None, picture: StaffPicture, label: str) -> dict[str, Any]:
    readings = [picture.index + score.chorus_length * reading for reading in range(score.readings)]
    played = {*score.limbs, *(alone.limbs if alone else ())}
    limbs = [limb for limb in LIMBS if limb in played]
    first, *others = [grid_svg(score, index, limbs) for index in readings]
    hidden = [svg.replace("<svg ", "<svg hidden ", 1) for svg in others]
    if alone:
        drawn = [grid_svg(alone, index, limbs) for index in readings]
        hidden += [svg.replace("<svg ", "<svg hidden data-alone ", 1) for svg in drawn]
    return {
        "label": label,
        "staff": Markup(picture.svg),
        "grids": [Markup(svg) for svg in (first, *hidden)],
        "says": grid_words(grid(score, picture.index)),
    }


def _widths(engraved: Staves) -> str:
    """How narrow a bar may become before fewer of them stand side by side."""
    narrowest = min(max(engraved.width_mm * _PX_PER_MM, _NARROWEST_PX), _WIDEST_PX)
    return f".music{{--bar:{narrowest:.0f}px}}"


# --- one file out of many ------------------------------------------------------------------------


@cache
def _asset(name: str) -> str:
    return (files("render.page") / name).read_text(encoding="utf-8")


@cache
def _environment() -> "Environment":
    from jinja2 import Environment, FunctionLoader, StrictUndefined

    return Environment(
        loader=FunctionLoader(_asset), autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True
    )


def _filled(template: str, style: str, script: str, **values: Any) -> str:
    """A template with its one style and its one script, and the policy that allows these two and nothing else."""
    policy = (
        f"default-src 'none'; style-src '{_fingerprint(style)}'; script-src '{_fingerprint(script)}'; "
        "worker-src blob:; base-uri 'none'; form-action 'none'"
    )
    return (
        _environment()
        .get_template(template)
        .render(policy=Markup(policy), style=Markup(style), script=Markup(script), **values)
    )


def _fingerprint(text: str) -> str:
    return f"sha256-{base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()}"


def _json(value: object) -> str:
    return json.dumps(value, ensure_ascii=True, separators=(",", ":"), allow_nan=False)


def _data(value: Mapping[str, Any]) -> Markup:
    """JSON that may stand inside a script element whatever its texts say."""
    return Markup(_json(value).replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026"))
