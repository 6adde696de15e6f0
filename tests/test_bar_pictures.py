"""Bars as small pictures that stand side by side: counted, and measured where they meet."""

from fractions import Fraction

import pytest
from lxml import etree
from written import GROOVES, groove, score

from render.bar_pictures import bar_pictures

SVG = "{http://www.w3.org/2000/svg}"
LINE = "4 8 8 12 12 12 4^ | 8 4 4 4 [8 | 8] 16 16 4. 8 4 | 1r"


def roots(*args, **options) -> list[etree._Element]:
    return [etree.fromstring(picture.svg) for picture in bar_pictures(*args, **options)]


def box(root: etree._Element) -> list[float]:
    return [float(number) for number in root.get("viewBox").split()]


def staff_lines(root: etree._Element) -> list[float]:
    """How far below the picture's upper edge each staff begins, in millimetres."""
    lines = root.findall(f".//{SVG}g[@class='staff']")
    return [float(staff.find(f"{SVG}path").get("d").split()[1]) / 100 - box(root)[1] for staff in lines]


def test_every_bar_has_its_picture_named_and_placed():
    pictures = bar_pictures(score("4 4 4 4 | 2 2 | 1", chosen=[2, 3]))
    assert [(picture.number, picture.index, picture.times) for picture in pictures] == [(2, 0, 1), (3, 1, 1)]
    assert [etree.fromstring(picture.svg).findtext(f"{SVG}title") for picture in pictures] == ["Bar 2", "Bar 3"]


def test_a_bar_played_twice_has_one_picture_and_the_next_begins_after_it():
    pictures = bar_pictures(score("4 4 4 4 | 2 2", repeat_each=2))
    assert [(picture.number, picture.index, picture.times) for picture in pictures] == [(1, 0, 2), (2, 2, 2)]


@pytest.mark.parametrize("name", GROOVES)
def test_all_pictures_are_equally_high_with_their_staves_at_one_height(name):
    meter = groove(name).meter
    eighths = " ".join(["8"] * int(meter.length * 2))
    sixteenths = " ".join(["16^"] * int(meter.length * 4))
    found = roots(score(f"{eighths} | {sixteenths}", name))
    assert len({root.get("height") for root in found}) == 1
    for staves in zip(*map(staff_lines, found), strict=True):
        assert max(staves) - min(staves) < 0.05


def test_only_the_first_picture_shows_the_clef_and_the_meter():
    found = roots(score(LINE))
    for kind in ("clef", "meterSig"):
        assert [len(root.findall(f".//{SVG}g[@class='{kind}']")) for root in found] == [2, 0, 0, 0]


def test_every_note_lies_inside_its_picture():
    for root in roots(score(LINE)):
        left, _, width, _ = box(root)
        for note in root.iterfind(f".//{SVG}g[@class='notehead']/{SVG}use"):
            x = float(note.get("transform").split("(")[1].split(",")[0]) / 100 + 3
            assert left < x < left + width


def test_notes_say_their_bar_place_and_part_and_stand_from_left_to_right():
    root = roots(score(LINE))[1]
    notes = [note for note in root.iterfind(f".//{SVG}g[@class='note']") if note.get("id").startswith("line")]
    assert [note.get("data-place") for note in notes] == ["0", "1/2", "3/2", "5/2", "7/2"]
    assert {(note.get("data-bar"), note.get("data-part")) for note in notes} == {("2", "snare")}
    places = {}
    for note in root.iterfind(f".//{SVG}g[@class='note']"):
        x = float(note.find(f".//{SVG}use").get("transform").split("(")[1].split(",")[0])
        places.setdefault(Fraction(note.get("data-place")), x)
    assert [x for _, x in sorted(places.items())] == sorted(places.values())


def test_ids_stand_once_though_all_pictures_share_a_page():
    ids = [name for root in roots(score(LINE)) for name in root.xpath("//@id")]
    assert len(ids) == len(set(ids))


def test_the_staves_can_be_chosen():
    assert [len(staff_lines(root)) for root in roots(score("4 4 4 4 | 1"), staves=("line",))] == [1, 1]
