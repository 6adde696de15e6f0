"""A chart's SVG taken apart, for tests: its parts by class, their texts and places."""

import re

from lxml import etree

from grooves.score import Score
from render.paper import chart as charts
from render.paper.layout import Wish

SVG = "{http://www.w3.org/2000/svg}"


def chart(score: Score, form: str = "pdf", **wish) -> bytes:
    """A chart as one file, its wishes as keywords."""
    return charts.chart(score, form, Wish(**wish))


def chart_svg_pages(score: Score, **wish) -> list[str]:
    """The pages of a chart, its wishes as keywords."""
    return charts.chart_svg_pages(score, Wish(**wish))


def pages_of(score: Score, **wish) -> list[etree._Element]:
    """Every page of a chart, parsed."""
    return [etree.fromstring(page) for page in chart_svg_pages(score, **wish)]


def of_class(root: etree._Element, name: str) -> list[etree._Element]:
    """All elements of a class."""
    return [found for found in root.iter() if found.get("class") == name]


def texts(root: etree._Element, name: str = "") -> list[str]:
    """All texts, or those of a class."""
    found = of_class(root, name) if name else root.iter(f"{SVG}text")
    return ["".join(text.itertext()) for text in found if text.tag == f"{SVG}text"]


def down_mm(element: etree._Element) -> float:
    """How far down the page a block begins."""
    return float(re.search(r" ([\d.]+)\)", element.get("transform"))[1])


def centre(sign: etree._Element) -> tuple[float, float]:
    """The middle of a head or point, in its block."""
    if sign.get("cx"):
        return float(sign.get("cx")), float(sign.get("cy"))
    x, y, *more = (float(number) for number in re.findall(r"-?[\d.]+", sign.get("d")))
    return (x + more[0] / 2, y + more[0] / 2) if sign.get("class") == "x" else (x + more[0], y)
