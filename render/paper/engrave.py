"""MusicXML engraved as SVG by verovio, in a form that viewers, browsers and the PDF maker all draw.

verovio nests a scaled inner `<svg>`, of which some viewers draw nothing: here it becomes a scaled group. Its style
sheet becomes attributes. Ids of bars and notes stay as the MusicXML names them and tell their place as `data-bar`,
`data-place` and `data-part`; glyphs are named by their music font number; every other id is dropped, so that many
pictures may share a page. Same MusicXML, same bytes. Sizes in millimetres of the printed page.
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from importlib.resources import files
from typing import Any

from lxml import etree

from grooves.errors import LessonError
from grooves.kit import INSTRUMENTS
from render.paper.text_metrics import FONTS

Element = etree._Element
SVG = "{http://www.w3.org/2000/svg}"
HREF = "{http://www.w3.org/1999/xlink}href"
NAMESPACES: Any = {None: SVG[1:-1], "xlink": "http://www.w3.org/1999/xlink"}
STAFF_MM = 8.0  # outer lines of the staff apart; see render.chart for why
MARGIN_MM = 3.0
EDGE_MM = 0.5
UNIT_PX = 10  # verovio's length: a page is counted in tenths of a millimetre, drawn ten times larger
DRAWN_PER_MM = 100
_NOTE_ID = re.compile(r"(?P<staff>line|drums)-b(?P<bar>\d+)(?:-(?P<place>[\d_]+)-(?P<part>[a-z-]+))?")
_PARTS = {name.replace(" ", "-"): name for name in INSTRUMENTS}
ITALIC = ("dir", "mNum")


@dataclass(frozen=True)
class System:
    """One engraved system: an SVG group in millimetres, the glyphs it uses, its size, and where its first line lies."""

    group: str
    glyphs: tuple[tuple[str, str], ...]  # (id, SVG element)
    width_mm: float
    height_mm: float
    top_line_mm: float
    notes: int


def engrave(xml: bytes, width_mm: float = 180.0, staff_mm: float = STAFF_MM, title: str = "") -> list[str]:
    """Engrave MusicXML: `engrave(line_musicxml(score))` is a list of SVG texts, one for each system it begins.

    Raises LessonError when the MusicXML holds nothing that can be engraved.
    """
    return [standalone(system, title or "Drum notation") for system in systems(xml, width_mm, staff_mm)]


def systems(
    xml: bytes, width_mm: float, staff_mm: float = STAFF_MM, natural: bool = False, number_all: bool = False
) -> list[System]:
    """Engrave MusicXML as systems of one width, or each as wide as it needs: `systems(xml, 180.0)[0].height_mm`.

    Bars are numbered where a system begins, or all of them.
    """
    import verovio

    verovio.enableLog(verovio.LOG_OFF)
    verovio.setDefaultResourcePath(str(files("verovio") / "data"))  # its import says so to the first thread alone
    toolkit = verovio.toolkit()
    toolkit.setOptions(_options(width_mm, staff_mm, natural) | {"mnumInterval": int(number_all)})
    if not toolkit.loadData(xml.decode()) or not toolkit.getPageCount():
        raise LessonError("the score cannot be engraved: it holds no bar that can be drawn")
    return [_system(toolkit.renderToSVG(page)) for page in range(1, toolkit.getPageCount() + 1)]


def _options(width_mm: float, staff_mm: float, natural: bool) -> dict[str, Any]:
    return {
        "pageWidth": round(width_mm * UNIT_PX),
        "pageHeight": 60_000,
        "unit": staff_mm / 8 * UNIT_PX,
        "adjustPageHeight": True,
        "adjustPageWidth": natural,
        "breaks": "encoded",
        "header": "none",
        "footer": "none",
        "xmlIdChecksum": True,
        "smuflTextFont": "none",
        "minLastJustification": 0.3,
        "spacingLinear": 0.25
        if natural
        else 0.4,  # a short last system stays as wide as it reads well; full ones fill the page
        "pageMarginLeft": round(MARGIN_MM * UNIT_PX),  # room for the bar's number over the clef
        **dict.fromkeys(("pageMarginRight", "pageMarginTop", "pageMarginBottom"), round(EDGE_MM * UNIT_PX)),
    }


def standalone(system: System, title: str, description: str = "") -> str:
    """One system as an SVG of its own, with title and description as text: `standalone(system, "Bar 1")`."""
    root = etree.Element(f"{SVG}svg", nsmap=NAMESPACES)
    root.set("viewBox", f"0 0 {system.width_mm:.2f} {system.height_mm:.2f}")
    root.set("width", f"{system.width_mm:.2f}mm")
    root.set("height", f"{system.height_mm:.2f}mm")
    root.set("role", "img")
    etree.SubElement(root, f"{SVG}title").text = title
    etree.SubElement(root, f"{SVG}desc").text = description or f"{system.notes} notes"
    defs = etree.SubElement(root, f"{SVG}defs")
    defs.extend(etree.fromstring(text) for _, text in system.glyphs)
    root.append(etree.fromstring(system.group))
    return etree.tostring(root, encoding="unicode")


# --- tidying what verovio wrote -----------------------------------------------------------------


def _system(svg: str) -> System:
    root = etree.fromstring(svg.encode(), etree.XMLParser(huge_tree=True, remove_blank_text=True))
    drawing = root.find(f"{SVG}svg")
    if drawing is None:
        raise LessonError("the score cannot be engraved: verovio drew no page")
    _, _, width, height = (float(number) for number in drawing.get("viewBox", "").split())
    glyphs = tuple(_glyphs(root))
    _tidy(drawing)
    group = etree.Element(f"{SVG}g", nsmap=NAMESPACES)
    group.attrib.update({"class": "system", "transform": f"scale({1 / DRAWN_PER_MM})", "font-family": FONTS})
    group.attrib.update({"fill": "currentColor", "stroke": "currentColor"})
    group.extend(list(drawing))
    lowest = _lowest(group) / DRAWN_PER_MM + EDGE_MM
    notes = sum(1 for element in group.iter() if element.get("class") == "notehead")
    return System(
        etree.tostring(group, encoding="unicode"),
        glyphs,
        width / DRAWN_PER_MM,
        min(height / DRAWN_PER_MM, lowest),
        _top_line(group) / DRAWN_PER_MM,
        notes,
    )


def _glyphs(root: Element) -> Iterator[tuple[str, str]]:
    for glyph in root.iterfind(f"{SVG}defs/{SVG}g"):
        name = glyph_name(glyph.get("id", ""))
        glyph.set("id", name)
        yield name, etree.tostring(glyph, encoding="unicode", with_tail=False)


def glyph_name(own: str) -> str:
    """A glyph's id without the part that changes from picture to picture: `glyph_name("E0A4-h1ye5")`."""
    return f"glyph-{own.partition('-')[0]}"


def _tidy(drawing: Element) -> None:
    """Drop helpers and foreign ids, name the places, and make plain text of nested text."""
    for element in list(drawing.iter()):
        kind = (element.get("class") or "").split()
        if "placeholder" in kind or any(word.startswith(("pageMilestone", "systemMilestone")) for word in kind):
            _remove(element)
            continue
        _name(element)
        if kind:
            element.set("class", " ".join(word for word in kind if not word.startswith("id-")))
        if kind and kind[0] in ITALIC:
            boxed = element.find(f"{SVG}rect") is not None  # a rehearsal letter
            element.set(*(("font-weight", "bold") if boxed else ("font-style", "italic")))
        if element.get(HREF):
            element.set(HREF, f"#{glyph_name(element.get(HREF, '')[1:])}")
    for text in list(drawing.iter(f"{SVG}text")):
        _flatten(text)


def _remove(element: Element) -> None:
    parent = element.getparent()
    if parent is not None:
        parent.remove(element)


def _name(element: Element) -> None:
    found = _NOTE_ID.fullmatch(element.get("id", ""))
    if not found:
        if "id" in element.attrib:
            del element.attrib["id"]
        return
    element.set("data-bar", found["bar"])
    if found["place"]:
        element.set("data-place", found["place"].replace("_", "/"))
        element.set("data-part", _PARTS[found["part"]])


def _flatten(text: Element) -> None:
    """One text element in place of nested spans, so that every viewer sets it alike."""
    sizes = [span.get("font-size") for span in text.iter(f"{SVG}tspan") if span.get("font-size")]
    words = "".join(map(str, text.itertext()))
    for span in list(text):
        text.remove(span)
    text.text = words
    text.set("stroke", "none")
    if sizes:
        text.set("font-size", sizes[0] or "")


_COORDINATES = re.compile(r"[\d.-]+[ ,]+([\d.-]+)")


def _lowest(group: Element) -> float:
    """How far down anything is drawn, in verovio's units; a glyph counts as a note head."""
    margin = group.find(f"{SVG}g[@class='page-margin']")
    found = [0.0]
    for element in group.iter():
        drawn = element.get("points") or element.get("d") or ""
        found += map(float, _COORDINATES.findall(drawn))
        if element.tag == f"{SVG}use":
            found.append(float(_COORDINATES.findall(element.get("transform", "(0, 0)"))[0]) + DRAWN_PER_MM)
        if element.tag == f"{SVG}text":
            found.append(float(element.get("y", 0)) + DRAWN_PER_MM)
    return max(found) + (float(margin.get("transform", "(0, 0)").rstrip(")").split()[-1]) if margin is not None else 0)


def _top_line(group: Element) -> float:
    """How far down the first staff line lies, in verovio's units."""
    staff = group.find(f".//{SVG}g[@class='staff']/{SVG}path")
    margin = group.find(f"{SVG}g[@class='page-margin']")
    if staff is None or margin is None:
        return 0.0
    return float(staff.get("d", "M0 0").split()[1]) + float(margin.get("transform", "(0, 0)").rstrip(")").split()[-1])
