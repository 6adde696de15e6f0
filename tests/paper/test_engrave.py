"""Engraving: what the SVG holds is counted, not its pixels.

Glyph numbers: SMuFL 1.4 (E0A4 black note head, E0A3 half note head, E0A9 x note head, E069 percussion clef), W3C.
"""

import os
import subprocess
import sys
from collections import Counter

import pytest
from lxml import etree
from written import FEET_READ, score

from grooves.errors import LessonError
from render.paper.engrave import engrave, systems
from render.paper.notation import line_musicxml, musicxml

HREF = "{http://www.w3.org/1999/xlink}href"


def drawn(svg: str) -> etree._Element:
    return etree.fromstring(svg)


def kinds(svg: str) -> Counter:
    return Counter(element.get("class") for element in drawn(svg).iter())


def glyphs(svg: str) -> Counter:
    return Counter(element.get(HREF) for element in drawn(svg).iter() if element.get(HREF))


def test_a_line_is_drawn_with_its_heads_stems_beams_and_barlines():
    (svg,) = engrave(line_musicxml(score("4 8 8 2 | 12 12 12 4 2r"), headings=False))
    found = kinds(svg)
    assert (found["note"], found["stem"], found["beam"], found["tuplet"], found["rest"]) == (8, 8, 2, 1, 1)
    assert (found["measure"], found["barLine"]) == (2, 2)
    assert (glyphs(svg)["#glyph-E0A4"], glyphs(svg)["#glyph-E0A3"], glyphs(svg)["#glyph-E069"]) == (7, 1, 1)


def test_all_limbs_are_drawn_with_x_heads_for_cymbals():
    (svg,) = engrave(musicxml(score("4 4 4 4"), ("drums",), headings=False))
    # ride 6 and foot hi-hat 2 are crosses; snare 4 and bass drum 4 are black
    assert (glyphs(svg)["#glyph-E0A9"], glyphs(svg)["#glyph-E0A4"]) == (8, 8)
    assert kinds(svg)["beam"] == 2


@pytest.mark.parametrize(("line", "marks"), [("4 4 4 4", []), ("4 4^ 8 8^ 4", ["1", "5/2"]), ("4^ 4r 4 4", ["0"])])
def test_where_the_hands_read_the_accents_are_the_lines(line, marks):
    # The groove accents the ride on 2 and 4: over a chord, that would look like the line's.
    (svg,) = engrave(musicxml(score(line), ("drums",), headings=False))
    chords = [artic.getparent() for artic in etree.fromstring(svg).iter() if artic.get("class") == "artic"]
    found = [chord.xpath("descendant-or-self::*/@data-place")[0] for chord in chords]
    assert found == marks


def test_where_a_foot_reads_the_rides_accents_are_seen():
    (svg,) = engrave(musicxml(score("4 4 4 4", played_on=FEET_READ), ("drums",), headings=False))
    assert kinds(svg)["artic"] == 2


def test_ties_are_drawn_over_the_barline():
    (svg,) = engrave(line_musicxml(score("2. [4 | 4] 2."), headings=False))
    assert kinds(svg)["tie"] == 1


def test_each_system_is_a_picture_of_its_own():
    svgs = engrave(line_musicxml(score("1 | 1 | 1 | 1"), headings=False, systems=[2]))
    assert [kinds(svg)["measure"] for svg in svgs] == [2, 2]


def test_bars_that_are_to_stand_in_one_system_do():
    (svg,) = engrave(line_musicxml(score("4 8 8 4 4 | 8 4 4 4 8 | 8 8 12 12 12 4r 8r 16 16 | 1r"), headings=False))
    assert kinds(svg)["measure"] == 4


@pytest.mark.parametrize("width_mm", [120.0, 180.0])
def test_the_width_is_in_millimetres(width_mm):
    (svg,) = engrave(line_musicxml(score("4 4 4 4"), headings=False), width_mm=width_mm)
    assert drawn(svg).get("width") == f"{width_mm:.2f}mm"


@pytest.mark.parametrize("staff_mm", [6.0, 8.0])
def test_the_outer_staff_lines_stand_as_far_apart_as_asked(staff_mm):
    (svg,) = engrave(line_musicxml(score("4 4 4 4"), headings=False), staff_mm=staff_mm)
    lines = drawn(svg).xpath("//*[@class='staff']/*[local-name()='path']/@d")
    heights = [float(line.split()[1]) / 100 for line in lines[:5]]
    assert heights[4] - heights[0] == pytest.approx(staff_mm, abs=0.05)


def test_notes_tell_their_bar_place_and_part():
    (svg,) = engrave(musicxml(score("4 8 8 2"), ("drums",), headings=False))
    note = drawn(svg).xpath("//*[@id='drums-b1-3_2-snare']")[0]
    assert (note.get("data-bar"), note.get("data-place"), note.get("data-part")) == ("1", "3/2", "snare")


def test_every_id_is_ours_and_stands_once():
    (svg,) = engrave(musicxml(score("4 8 8 2"), headings=False))
    ids = drawn(svg).xpath("//@id")
    assert len(ids) == len(set(ids))
    assert {name.split("-")[0] for name in ids} == {"glyph", "line", "drums"}


def test_every_glyph_that_is_used_is_defined():
    (svg,) = engrave(musicxml(score("4 8 8 12 12 12 4r", repeat_each=2), headings=False))
    assert {name[1:] for name in glyphs(svg)} <= set(drawn(svg).xpath("//*[local-name()='defs']/*/@id"))


def test_no_inner_svg_is_left_for_a_pdf_maker_to_lose():
    (svg,) = engrave(line_musicxml(score("4 4 4 4"), headings=False))
    assert drawn(svg).xpath("count(//*[local-name()='svg'])") == 1
    assert "<style" not in svg


def test_a_picture_has_a_title_and_a_description_as_text():
    (svg,) = engrave(line_musicxml(score("4 4 4 4"), headings=False), title='a <b> & "c"')
    assert [child.text for child in drawn(svg)[:2]] == ['a <b> & "c"', "4 notes"]


def test_a_repeat_of_three_says_so_in_text():
    (svg,) = engrave(line_musicxml(score("4 4 4 4", repeat_each=3), headings=False))
    assert "3×" in drawn(svg).xpath("//*[local-name()='text']/text()")


def test_what_is_not_music_is_refused():
    with pytest.raises(LessonError, match="cannot be engraved"):
        systems(b"<nothing/>", 180.0)


def test_two_runs_give_the_same_bytes():
    code = (
        "import sys; sys.path.insert(0, 'tests'); from written import score\n"
        "from render.paper.engrave import engrave; from render.paper.notation import musicxml\n"
        "print(engrave(musicxml(score('4 8 8 [4. 8_ | 8] 8 4 2'), headings=False)))"
    )
    runs = {
        subprocess.run(
            [sys.executable, "-c", code], capture_output=True, check=True, env={**os.environ, "PYTHONHASHSEED": seed}
        ).stdout
        for seed in ("1", "2")
    }
    assert len(runs) == 1
