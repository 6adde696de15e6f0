"""Rehearsal letters and double bars, wherever a lesson is written down: chart, MusicXML, MIDI, page.

Sources: W3C MusicXML 4.0 (`rehearsal`, `bar-style` light-light); MIDI Manufacturers Association, Standard MIDI
Files 1.0 (a marker names a place, "such as a rehearsal letter"). Boxes, double bars and a new system for each
letter: common practice, no source.
"""

import io
import warnings

import mido
import music21
import pytest
from drawn import chart, of_class, pages_of
from lxml import etree
from music import lesson_of, parse_text, played
from musicxml_schema import schema
from page_browser import kit_and_balance

from render.page.page import page
from render.page.staff import staves
from render.paper.layout import system_starts
from render.sound.midi import midi_bytes

LINE = "4 8 8 4 4 | % | 2 2 | 1 | 4 4 2 | 1"
SECTIONS = "sections = { A = 1, B = 5 }"
TWO = """
title = "Harbour Street, two lines"
tempo = 120
groove = "swing"
[[line]]
values = "4 8 8 4 4 | %"
[[line]]
values = "2 2 | 4 4 2 | 1"
played_on = "bass drum"
"""


def score(**options):
    return lesson_of(LINE, line=options.pop("line", SECTIONS), **options).score


def two():
    return parse_text(TWO)


def xml_of(written) -> etree._Element:
    root = etree.fromstring(chart(written, "musicxml"))
    schema().assertValid(root)
    return root


def styles(root: etree._Element, part: int = 1) -> list[tuple[str, str]]:
    found = root.xpath(f"part[{part}]/measure[barline/bar-style]")
    return [(one.get("number"), "".join(one.xpath("barline/bar-style/text()"))) for one in found]


def texts_of(block: etree._Element, kind: str) -> list[str]:
    return ["".join(one.itertext()) for one in of_class(block, kind)]


# --- MusicXML -------------------------------------------------------------------------------------


def test_music_xml_has_the_letters_over_their_bars_and_double_bars_before_them():
    root = xml_of(score())
    found = root.xpath("part[1]/measure[.//rehearsal]")
    assert [(one.get("number"), one.findtext(".//rehearsal")) for one in found] == [("1", "A"), ("5", "B")]
    assert [mark.get("enclosure") for mark in root.iter("rehearsal")] == ["square"] * 2
    assert styles(root) == styles(root, 2) == [("4", "light-light"), ("6", "light-heavy")]


def test_another_reader_finds_the_letters_and_the_double_bar():
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # of instruments that it does not know by their MIDI keys
        found = music21.converter.parseData(chart(score(), "musicxml").decode(), format="musicxml").parts[0]
    marks = [(one.measureNumber, one.content) for one in found.recurse().getElementsByClass("RehearsalMark")]
    assert marks == [(1, "A"), (5, "B")]
    ends = {one.number: one.rightBarline.type for one in found.getElementsByClass("Measure") if one.rightBarline}
    assert ends == {4: "double", 6: "final"}


def test_who_reads_is_said_at_the_letters_where_it_changes():
    root = xml_of(two().score)
    said = [
        (one.get("number"), [text for text in one.xpath("direction//words/text()") if text.startswith("on the")])
        for one in root.xpath("part[1]/measure")
    ]
    assert [(number, words) for number, words in said if words] == [
        ("1", ["on the snare"]),
        ("3", ["on the bass drum"]),
    ]
    again = TWO.replace('played_on = "bass drum"', "")
    assert not [w for w in xml_of(parse_text(again).score).xpath("//words/text()") if w.startswith("on the")]


def test_a_line_without_letters_has_neither():
    root = xml_of(score(line=""))
    assert not list(root.iter("rehearsal")) and styles(root) == [("6", "light-heavy")]


def test_a_sign_of_repeat_takes_the_place_of_a_double_bar():
    root = xml_of(lesson_of("1 | 1", line="sections = { A = 1, B = 2 }\nrepeat_each = 2").score)
    assert "light-light" not in [style for _, style in styles(root)]
    assert [mark.text for mark in root.iter("rehearsal")] == ["A", "B"]


def test_a_pickup_ends_with_a_plain_barline():
    root = xml_of(lesson_of("1 | 1", line='sections = { A = 1, B = 2 }\npickup = "8 8"').score)
    assert [number for number, style in styles(root) if style == "light-light"] == ["1"]


# --- chart ----------------------------------------------------------------------------------------


def test_the_chart_boxes_the_letters_begins_a_system_with_each_and_numbers_it_still():
    pages = pages_of(score())
    lines = [one for root in pages for one in of_class(root, "music")]
    lines = [one for one in lines if of_class(one, "measure")[0].get("id").startswith("line")]
    boxed = [[("".join(d.itertext())) for d in of_class(one, "dir") if d.find("{*}rect") is not None] for one in lines]
    assert boxed == [["A"], ["B"]]
    assert [len(of_class(one, "measure")) for one in lines] == [4, 2]
    assert "".join(lines[1].xpath(".//*[contains(@class, 'mNum')]//text()")) == "5"


def test_a_double_bar_is_drawn_as_two_thin_lines():
    (first, *_) = [one for root in pages_of(score()) for one in of_class(root, "music")]
    bars = [len(list(one.iter("{*}path"))) for one in of_class(first, "barLine")]
    assert bars == [1, 1, 1, 2]


def test_a_new_system_begins_with_a_letter():
    assert system_starts([40.0] * 8, 166.0, range(1, 9), lettered=[2]) == [2, 6]
    assert system_starts([40.0] * 8, 166.0, range(1, 9)) == [4]


def test_letters_with_signs_are_text_everywhere():
    lesson = lesson_of("1 | 1", line='sections = { "A\'" = 1, "É 2" = 2 }')
    assert "A'" in " ".join(texts_of(pages_of(lesson.score)[0], "dir"))
    assert [mark.text for mark in xml_of(lesson.score).iter("rehearsal")] == ["A'", "É 2"]


# --- MIDI -----------------------------------------------------------------------------------------


def markers(lesson) -> list[tuple[int, str]]:
    performance = played(lesson)
    data = midi_bytes(performance, [64] * len(performance.hits), 0)
    now, found = 0, []
    for message in mido.MidiFile(file=io.BytesIO(data)).tracks[0]:
        now += message.time
        found += [(now, message.text)] if message.type == "marker" else []
    return found


def test_midi_has_a_marker_more_for_a_letter_and_those_of_the_bars_as_ever():
    plain, lettered = markers(lesson_of(LINE)), markers(lesson_of(LINE, line=SECTIONS))
    assert [one for one in lettered if one[1] not in ("A", "B")] == plain
    assert [one for one in lettered if one[1] in ("A", "B")] == [(2 * 3840, "A"), (6 * 3840, "B")]
    assert markers(parse_text(TWO))[5:7] == [(4 * 3840, "B"), (4 * 3840, "bar 3")]


# --- page -----------------------------------------------------------------------------------------


def test_the_page_draws_the_letters_above_the_staff_and_above_chords():
    lettered, plain = staves(score()), staves(score(line=""))
    assert [one.letter for one in lettered.bars] == ["A", "", "", "", "B", ""]
    drawn = ['class="letter"' in one.staff for one in lettered.bars]
    assert drawn == [True, False, False, False, True, False]
    assert lettered.above_mm > plain.above_mm
    (box,) = etree.fromstring(f"<g>{lettered.bars[0].staff}</g>").xpath("//g[@class='letter']/rect")
    assert float(box.get("y")) >= 0 and float(box.get("y")) + float(box.get("height")) <= lettered.above_mm


def test_the_page_says_the_letters_to_a_screen_reader():
    html = page(two(), *kit_and_balance())
    assert 'aria-label="Bar 1, letter A"' in html and 'aria-label="Bar 3, letter B"' in html
    assert 'aria-label="Bar 2"' in html


@pytest.mark.parametrize("numbers", [(5,), (2, 5, 6)])
def test_chosen_bars_keep_the_letters_that_stand_over_them(numbers):
    root = etree.fromstring(chart(score(), "musicxml", bars=numbers))
    assert [mark.text for mark in root.iter("rehearsal")] == ["B"]
