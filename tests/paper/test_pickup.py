"""A pickup on paper: a short measure before bar 1, in the score and on the chart (MusicXML 4.0, attribute implicit)."""

import pytest
from drawn import chart, of_class, pages_of
from lxml import etree
from music import lesson_of
from musicxml_schema import schema

from grooves.rhythm import Meter, values_text
from render.reading.read_musicxml import bars_from_musicxml

FOUR = Meter(4, 4)


def score(values: str = "4 4 4 4 | 8 8 4 2", pickup: str = "8 8", on: str = '"snare"'):
    return lesson_of(values, line=f'pickup = "{pickup}"\nplayed_on = {on}').score


@pytest.mark.parametrize("on", ['"snare"', '"bass drum"', '{ notes = "bass drum", gaps = "snare" }'])
@pytest.mark.parametrize(("pickup", "quarters"), [("8 8", 1), ("8", 0.5), ("4 8 8", 2), ("12 12", 2 / 3), ("4. 8^", 2)])
def test_the_score_begins_with_a_short_measure_as_long_as_the_pickup(on, pickup, quarters):
    root = etree.fromstring(chart(score(pickup=pickup, on=on), "musicxml"))
    schema().assertValid(root)
    for part in root.iterfind("part"):
        first, second, *_ = part.iterfind("measure")
        assert (first.get("number"), first.get("implicit"), second.get("number")) == ("0", "yes", "1")
        divisions = int(first.findtext("attributes/divisions"))
        back = sum(int(one.text) for one in first.xpath("backup/duration"))
        played = sum(int(note.findtext("duration")) for note in first.iterfind("note") if note.find("chord") is None)
        assert (played - back) / divisions == pytest.approx(quarters)


@pytest.mark.parametrize(
    ("pickup", "line"), [("8 8", "4 4 4 4 | 8 8 4 2"), ("8 [8", "4] 4 4 4"), ("4 8 8", "2 2"), ("12 12", "4 4 2")]
)
def test_it_reads_back_as_it_was_written_also_tied_into_bar_1(pickup, line):
    found = bars_from_musicxml(chart(score(line, pickup), "musicxml"), FOUR, "Line")
    assert values_text([found.pickup, *found.bars]) == f"{pickup} | {line}"


def test_the_chart_draws_it_in_the_first_system_beside_as_many_bars_as_without():
    (page, *_) = pages_of(score(" | ".join(["4 4 4 4"] * 8)))
    lines = [block for block in of_class(page, "music") if of_class(block, "measure")[0].get("id").startswith("line")]
    assert [len(of_class(block, "measure")) for block in lines] == [5, 4]
    assert len(of_class(of_class(lines[0], "measure")[0], "note")) == 2


def test_it_belongs_to_bar_1_alone():
    root = etree.fromstring(chart(score(), "musicxml", bars=[2]))
    assert [measure.get("number") for measure in root.iterfind("part[1]/measure")] == ["2"]
    (page, *_) = pages_of(score(), bars=[2], show=["score"])
    assert len(of_class(page, "measure")) == 1


def test_each_way_to_read_has_its_own():
    written = score("4 4 4 4", on='{ each_chorus = ["snare", "bass drum"] }')
    (page, *_) = pages_of(written, show=["score"])
    parts = [
        note.get("data-part")
        for note in of_class(page, "note")
        if note.get("data-place") == "7/2" and note.get("data-bar") == "1"
    ]
    assert parts == ["snare", "bass drum"]
