"""The staff set to the columns of the grid: every note and rest of an engraved bar moved above its own place.

verovio spaces by its own rules; here each sign is moved as a whole, with its stem, flag and dots, and what joins signs
(beams, ties, brackets) is stretched between them by straight lines. Lengths in verovio's hundredths of a millimetre,
from the left end of the staff.
"""

import re
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

from lxml import etree

Element = etree._Element
SVG = "{http://www.w3.org/2000/svg}"
SPACE = 150.0  # between two lines of a staff that is 6 mm high
_HALF_HEAD = 0.59 * SPACE  # half of a black head's width, 1.18 spaces (Bravura's metadata, SMuFL)
_HALF_WHOLE = 0.84 * SPACE  # and of a whole note's
_WHOLE = "#glyph-E0A2"
_HALF_BARLINE = 11.0  # so that the whole of it stands inside its bar
_NUMBER = re.compile(r"-?\d+(?:\.\d+)?")


@dataclass(frozen=True)
class Ruler:
    """Where a bar's places lie: 0 is at `left`, the barline at `left + width`."""

    left: float
    width: float

    def at(self, across: float) -> float:
        """The place of a share of the bar."""
        return self.left + self.width * across


def set_to(group: str, across: Sequence[float], ruler: Ruler, with_clef: bool = True) -> tuple[str, str]:
    """An engraved bar as two pieces of SVG, the staff with its clef and the signs, set to a ruler.

    `across` are the shares of the bar at which its signs stand, rests among them, in order.
    """
    measure = next(one for one in etree.fromstring(group).iter(f"{SVG}g") if one.get("class") == "measure")
    system = measure.getparent()
    ties = [one for one in system if "tie" in (one.get("class") or "").split()] if system is not None else []
    signs = list(_signs(measure))
    moves = [
        (_middle(sign), ruler.at(share))
        for sign, share in zip(signs, across, strict=True)
        if sign.get("class") != "mRest"
    ]
    end = max(_barlines(measure), default=0.0)
    warp = _warp([*moves, (end, ruler.at(1.0))])
    for sign, share in zip(signs, across, strict=True):
        middle = _middle(sign)
        _shift(sign, (ruler.at(0.5) if sign.get("class") == "mRest" else ruler.at(share)) - middle)
    _stretch(measure, warp)
    for tie in ties:
        _stretch_paths(tie, warp)
    return _staff(measure, ruler.at(1.0), end, with_clef), "".join(map(_text, [*_layers(measure), *ties]))


def first_middle(group: str) -> float:
    """Where the first note or rest of an engraved bar stands, or 0 where it has none."""
    return next((_middle(sign) for sign in _signs(etree.fromstring(group)) if sign.get("class") != "mRest"), 0.0)


def _signs(measure: Element) -> Iterator[Element]:
    for element in measure.iter(f"{SVG}g"):
        if element.get("class") in ("note", "rest", "mRest"):
            yield element


def _middle(sign: Element) -> float:
    use = sign.find(f".//{SVG}use")
    if use is None:
        return 0.0
    x = float(_NUMBER.findall(use.get("transform", "0"))[0])
    return x + (_HALF_WHOLE if use.get("href", use.get("{http://www.w3.org/1999/xlink}href")) == _WHOLE else _HALF_HEAD)


def _shift(element: Element, by: float) -> None:
    element.set("transform", f"translate({by:.0f} 0)")


def _warp(moves: Sequence[tuple[float, float]]) -> Callable[[float], float]:
    """Straight lines from where signs stood to where they stand; beyond the outer ones as far as these moved."""

    def warped(x: float) -> float:
        if x <= moves[0][0]:
            return x + moves[0][1] - moves[0][0]
        for (low, left), (high, right) in pairwise(moves):
            if x <= high:
                return left + (x - low) * (right - left) / (high - low)
        return x + moves[-1][1] - moves[-1][0]

    return warped


def _stretch(measure: Element, warp: Callable[[float], float]) -> None:
    for element in measure.iter(f"{SVG}g"):
        kind = element.get("class") or ""
        if kind in ("beam", "tuplet"):
            for polygon in element.findall(f"{SVG}polygon"):
                polygon.set("points", _warped_points(polygon.get("points", ""), warp, _HALF_HEAD))
        elif kind == "tupletNum":
            use = element.find(f"{SVG}use")
            if use is not None:
                x = float(_NUMBER.findall(use.get("transform", "0"))[0])
                _shift(element, warp(x) - x)
        elif kind == "tupletBracket":
            for line in element:
                if line.get("points"):
                    line.set("points", _warped_points(line.get("points", ""), warp, 0.0))
            _stretch_paths(element, warp)
        elif kind.split()[:1] in (["tie"], ["slur"]):
            _stretch_paths(element, warp)


def _warped_points(points: str, warp: Callable[[float], float], ahead: float) -> str:
    """Corners moved; `ahead` is how far right of its head's middle a stem stands."""
    pairs = [pair.split(",") for pair in points.split()]
    return " ".join(f"{warp(float(x) - ahead) + ahead:.0f},{y}" for x, y in pairs)


def _stretch_paths(element: Element, warp: Callable[[float], float]) -> None:
    for path in element.iter(f"{SVG}path"):
        numbers = _NUMBER.findall(path.get("d", ""))
        letters = re.split(r"-?\d+(?:\.\d+)?", path.get("d", ""))
        moved = [f"{warp(float(one)):.0f}" if at % 2 == 0 else one for at, one in enumerate(numbers)]
        path.set("d", "".join(piece for pair in zip(letters, [*moved, ""], strict=True) for piece in pair))


def _barlines(measure: Element) -> list[float]:
    return [
        float(_NUMBER.findall(path.get("d", ""))[0])
        for bar in measure.iter(f"{SVG}g")
        if bar.get("class") == "barLine"
        for path in bar.findall(f"{SVG}path")
    ]


def _staff(measure: Element, end: float, was: float, with_clef: bool) -> str:
    """Five lines as long as the bar, the barline at their end, clef and meter where they stood."""
    staff = next(one for one in measure.iter(f"{SVG}g") if one.get("class") == "staff")
    lines = []
    for line in staff.findall(f"{SVG}path"):
        y = _NUMBER.findall(line.get("d", ""))[1]
        lines.append(f"M0 {y}H{end:.0f}")
    signs = [_text(one) for one in staff if with_clef and one.get("class") in ("clef", "meterSig")]
    bars = []
    for bar in measure.iter(f"{SVG}g"):
        if bar.get("class") == "barLine":
            _shift(bar, end - was - _HALF_BARLINE)
            bars.append(_text(bar))
    return "".join([f'<path class="lines" d="{"".join(lines)}"/>', *signs, *bars])


def _layers(measure: Element) -> list[Element]:
    found = [one for one in measure.iter(f"{SVG}g") if one.get("class") == "layer"]
    others = [one for one in measure if (one.get("class") or "").split()[:1] in (["tie"], ["tupletNum"], ["slur"])]
    return [*found, *others]


_SHORTER = (
    (r' xmlns(:xlink)?="[^"]*"| data-(bar|part)="[^"]*"| id="line-[^"]*"', ""),
    ("xlink:href", "href"),
    (r"scale\(0?(\.\d+), 0?\1\)", r"scale(\1)"),
    (r'(<g class="stem"><path d="[^"]*") stroke-width="15"', r"\1"),  # the style sheet says it
)


def _text(element: Element) -> str:
    """An element as short SVG text: a page of 64 bars has hundreds of notes."""
    text = str(etree.tostring(element, encoding="unicode", with_tail=False))
    for found, better in _SHORTER:
        text = re.sub(found, better, text)
    return text
