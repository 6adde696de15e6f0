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

from grooves.lesson import FASTEST_BPM, SLOWEST_BPM, Lesson
from grooves.score import Score
from grooves.teaching.coordination import difficulty, grid
from render.page.band import band_data
from render.page.band_sounds import band_sounds
from render.page.pickup import count_in_score, pickup_data
from render.page.practice_log import lesson_hash
from render.page.readers import lines, staff_shift_mm
from render.page.score import PageScore, row_limbs, score_data
from render.page.sounds import sound_data
from render.page.staff import AHEAD_MM, StaffPicture, Staves, pickup_picture, staves
from render.page.steps import CAUTIONS, SHORTCUTS, steps
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
    "layout",
    "player",
    "sound",
    "transport",
    "grid",
    "card",
    "stand",
    "view",
    "log",
    "numbers",
    "align",
    "wander",
    "match",
    "findings",
    "says",
    "judge",
    "pads",
    "session",
    "onsets",
    "midi",
    "microphone",
    "record",
    "kept",
    "delay",
    "played",
    "rounds",
    "limbs",
    "tempo",
    "practice",
    "bars",
    "steps",
    "diary",
    "keys",
    "sheet",
    "memory",
    "heard",
    "listen",
    "controls",
    "main",
)
STYLES = ("page", "music", "dock", "listen")
FADE_TO_LU = -30.0  # how far the line sinks: no longer heard beside the ride; ours, by ear
_PX_PER_MM = 6.2  # smallest scale of the music on a screen: staves of 37 px
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


@dataclass(frozen=True)
class IndexSection:
    """Lessons under a heading of an index page: `IndexSection("Week 5", entries, "Bring brushes.", "monday.html")`."""

    heading: str
    entries: Sequence[Entry]
    note: str = ""
    address: str = ""  # what the heading leads to
    files: Sequence[tuple[str, str]] = ()  # names and addresses of what else belongs to it


def entry(lesson: Lesson, address: str) -> Entry:
    """The line of an index page for a lesson whose page has this address."""
    score = lesson.score
    return Entry(address, lesson.title, score.tempo_bpm, score.groove.title, len({bar.number for bar in score.bars}))


@dataclass(frozen=True)
class PageParts:
    """What a lesson's page is put together from: `page_parts(lesson, kit, calibrate(kit)).values["title"]`."""

    style: str
    scripts: Sequence[str]  # in their order; the last one sets the page going
    sounds: dict[str, Any]
    values: Mapping[str, Any]  # what else its template is filled with

    def html(self, style: str, script: str, sounds: Mapping[str, Any]) -> str:
        """The page as HTML, with a style, a script and sounds."""
        return _filled("page.html", style, script, **self.values, sounds=_data(sounds))


def page(lesson: Lesson, kit: "DrumKit", balance: Balance, back: str = "") -> str:
    """The page of a lesson as HTML: `page(lesson, kit, calibrate(kit))`.

    `back` is the address of the index that it links to, "" for none.

    Raises LessonError where the kit has no sound for a part of the lesson.
    """
    parts = page_parts(lesson, kit, balance, back)
    return parts.html(parts.style, "\n".join(parts.scripts), parts.sounds)


def page_parts(lesson: Lesson, kit: "DrumKit", balance: Balance, back: str = "") -> PageParts:
    """The same before it is one file, for whoever shows it piece by piece: `page_parts(lesson, kit, balance).scripts`.

    Raises LessonError as `page` does.
    """
    score = lesson.score
    engraved = staves(score)
    numbers = numbered([one.number for one in engraved.bars])
    named = lines(lesson)
    moved = [one for _, one in named]
    sheet = PageScore(tuple(moved))
    more = band_data(lesson, sheet.voices) | pickup_data(sheet)
    style = "\n".join(_asset(f"{name}.css") for name in styles(score)) + _widths(engraved)
    values = {
        "title": lesson.title,
        "back": back,
        "note": lesson.note,
        "groove": score.groove.title,
        "beat": _BEATS.get(score.groove.beat, "beat"),
        "tempo": f"{score.tempo_bpm:g}",
        "feel": feel_words(score),
        "steps": steps(lesson),
        "cards": [_card(lesson, one, label) for one, label in zip(engraved.bars, numbers, strict=True)],
        "glyphs": Markup(engraved.glyphs),
        "staff_box": engraved.box,
        "down": f"{staff_shift_mm(score):g}",
        "limbs": row_limbs(moved),
        "band": list(more["band"]["parts"]) if score.band else [],
        "pickup": pickup_picture(score, count_in_score(score), engraved) if score.pickup else None,
        "drums": [name for name, _ in named],
        "parts": score.parts,
        "slowest": f"{SLOWEST_BPM:g}",
        "fastest": f"{FASTEST_BPM:g}",
        "counts_in": sorted({0, 1, 2, 4, lesson.count_in}),
        "swings": score.meter.unit < 8,
        "backbeat": "2 and 4" if score.meter.pulses >= 4 else "2",
        "cautions": CAUTIONS,
        "shortcuts": SHORTCUTS,
        "score": _data(_page_data(lesson, moved, engraved, numbers) | more),
    }
    own = [_asset(f"{name}.js") for name in scripts(score)]
    return PageParts(style, own, _sounds(moved, more, kit, balance), values)


def scripts(score: Score) -> tuple[str, ...]:
    """The scripts that a page needs, in their order: those of band and pickup only where there is one."""
    band = ("band", "band_limbs") if score.band else ()
    pickup = ("pickup",) if score.pickup else ()
    return (*SCRIPTS[:-1], *(["widen"] if band or pickup else []), *band, *pickup, SCRIPTS[-1])


def styles(score: Score) -> tuple[str, ...]:
    """The style sheets that a page needs."""
    return (*STYLES, "pickup") if score.pickup else STYLES


def _sounds(lessons: Sequence[Lesson], data: Mapping[str, Any], kit: "DrumKit", balance: Balance) -> dict[str, Any]:
    """The recorded hits, and the notes where there is a band."""
    sounds = sound_data(lessons, kit, balance)
    if "band" in data:
        more = band_sounds(lessons[0], data["band"], kit, balance)
        sounds["hits"] += more["hits"]
        sounds["loudness"] |= more["loudness"]
        sounds["notes"] = more["notes"]
    return sounds


def _page_data(lesson: Lesson, moved: Sequence[Lesson], engraved: Staves, numbers: Sequence[str]) -> dict[str, Any]:
    """What the page's script reads: the score, and how it stands on the page."""
    pictures = engraved.bars
    printed = [number for number, one in enumerate(pictures) for _ in range(one.times)]
    picture = {"left": engraved.left_mm, "width": engraved.width_mm, "ahead": AHEAD_MM}
    picture |= {"right": engraved.left_mm + engraved.width_mm, "height": engraved.height_mm}
    return {
        **score_data(moved, printed),
        "title": lesson.title,
        "hash": lesson_hash(lesson),
        "name": f"fourlimb {lesson_hash(lesson)}",
        "places": [list(range(one.index, one.index + one.times)) for one in pictures],
        "numbers": numbers,
        "difficulty": [round(difficulty(lesson.score, one.index).total, 3) for one in pictures],
        "picture": {key: round(value, 3) for key, value in picture.items()},
        "steps": steps(lesson),
        "fadeTo": FADE_TO_LU,
        "feelWords": feel_words(lesson.score),
    }


def index_page(entries: Sequence[Entry], title: str = "Lessons") -> str:
    """A page that lists lessons: `index_page([entry(lesson, "first.html")], "Tuesday evening")`."""
    return sections_page([IndexSection("", entries)], title)


def sections_page(
    sections: Sequence[IndexSection], title: str, up: str = "", links: Sequence[tuple[str, str]] = ()
) -> str:
    """A page of lessons under headings: `sections_page([IndexSection("Week 1", entries)], "Monday", up="../x.html")`.

    `up` is the address of the page above it; `links` are words and addresses of what belongs to all sections.
    """
    filled = [replace(one, entries=[_quoted(each) for each in one.entries]) for one in sections]
    filled = [one for one in filled if one.entries or one.heading]
    style = _asset("page.css") + _asset("index.css")
    return _filled("index.html", style, "", title=title, sections=filled, up=quote(up), links=links)


def _quoted(one: Entry) -> Entry:
    return replace(one, address=quote(one.address))


def _card(lesson: Lesson, picture: StaffPicture, label: str) -> dict[str, Any]:
    says = grid_words(grid(lesson.score, picture.index))
    return {
        "label": label,
        "letter": picture.letter,
        "staff": Markup(picture.staff),
        "signs": Markup(picture.signs),
        "says": says,
    }


def _widths(engraved: Staves) -> str:
    """How narrow a bar may become before fewer of them stand side by side."""
    narrowest = min(max((engraved.left_mm + engraved.width_mm) * _PX_PER_MM, _NARROWEST_PX), _WIDEST_PX)
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
