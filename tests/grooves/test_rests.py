"""Rests show the beats, in lines and on both staves, by one rule. Common practice, no source."""

import pytest
from lxml import etree
from written import score

from grooves.rhythm import Meter, parse_meter, parse_values, spell, values_text
from render.paper.notation import musicxml

FOUR = Meter(4, 4)


@pytest.mark.parametrize(
    ("meter", "written", "spelled"),
    [
        ("4/4", "4 2r 4", "4 4r 4r 4"),
        ("4/4", "2r 4 4", "2r 4 4"),
        ("4/4", "4 4 2r", "4 4 2r"),
        ("4/4", "4 2.r", "4 4r 2r"),
        ("4/4", "2.r 4", "2r 4r 4"),
        ("4/4", "4.r 8 2", "4r 8r 8 2"),
        ("4/4", "8 4r 8 2", "8 8r 8r 8 2"),
        ("4/4", "8.r 16 4 2", "8r 16r 16 4 2"),
        ("4/4", "8..r 32 4 2", "8r 16r 32r 32 4 2"),
        ("4/4", "1r", "1r"),
        ("3/4", "2r 4", "4r 4r 4"),
        ("3/4", "2.r", "2.r"),
        ("6/8", "4. 4.r", "4. 4.r"),
        ("6/8", "8 4r 4.", "8 8r 8r 4."),
        ("6/8", "4r 8 4.", "4r 8 4."),
        ("12/8", "2.r 2.", "2.r 2."),
        ("12/8", "4. 2.r 4.", "4. 4.r 4.r 4."),
        ("7/8", "4 4r 4.", "4 4r 4."),
        ("7/8", "8 4r 8 4.", "8 8r 8r 8 4."),
    ],
)  # fmt: skip
def test_rests_show_the_beats_in_lines_and_on_the_staff(meter, written, spelled):
    at = parse_meter(meter)
    (bar,) = parse_values(written, at)
    assert values_text([spell(bar, at)]) == spelled
    names = {"4/4": "swing", "3/4": "jazz-waltz", "6/8": "six-eight", "12/8": "twelve-eight"}
    if meter in names:
        staff = etree.fromstring(musicxml(score(written, names[meter]), ("line",)))
        lengths = [int(one.text) for one in staff.xpath("//note/duration")]
        divisions = int(staff.xpath("string(//divisions)"))
        (expected,) = parse_values(spelled, at)
        assert lengths == [int(symbol.length * divisions) for symbol in expected]


def test_a_triplet_quarter_over_a_beat_is_tied_unless_its_bracket_holds_only_such():
    def spelled(text: str) -> str:
        (bar,) = parse_values(text, FOUR)
        return values_text([spell(bar, FOUR)])

    assert spelled("12 12 6 12 12 2") == "12 12 [12 12] 12 12 2"
    assert spelled("6 6 6 2") == "6 6 6 2"
    assert spelled("4 6 6 6 4") == "4 6 6 6 4"
    assert spelled("12 6 6 12 2") == "12 6 6 12 2"
    assert spelled("6r 6 6 2") == "6r 6 6 2"
    assert spelled("12 12 6r 12 12 2") == "12 12 12r 12r 12 12 2"


def test_the_staff_shows_two_triplets_with_a_tie():
    staff = etree.fromstring(musicxml(score("12 12 6 12 12 2"), ("line",)))
    assert staff.xpath("//note/tuplet/@type | //tuplet/@type") == ["start", "stop", "start", "stop"]
    assert staff.xpath("//tie/@type") == ["start", "stop"]


def test_a_repeated_bar_strikes_what_was_tied_into_it_and_no_tie_crosses_the_repeat():
    written = score("4 4 4 [4 | 4] 8 8 2", repeat_each=2)
    struck = [float(stroke.onset) for stroke in written.bars[2].strokes if stroke.role == "line"]
    assert struck == [0, 1, 1.5, 2]
    assert b"<tie " not in musicxml(written)
    assert b"<tie " in musicxml(score("4 4 4 [4 | 4] 8 8 2"))
