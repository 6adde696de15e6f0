"""How a chart is laid out: which pieces, how many bars in a system and on a page, cautions; measured in the SVG."""

import re
from itertools import pairwise

import pytest
from drawn import SVG, centre, chart, down_mm, of_class, pages_of, texts
from lxml import etree
from written import FEET_READ, GROOVES, SNARE, groove, score

from grooves.errors import LessonError
from grooves.groove import parse_groove
from grooves.line import PlayedOn
from grooves.rhythm import Meter, parse_values, values_text
from grooves.score import Score, write_score
from grooves.teaching.graded import lines
from render.page.score import column_data
from render.paper.grids import grid_of

FOUR = Meter(4, 4)
SEVEN_EIGHT = """
name = "own"
title = "Own"
meter = "7/8"
tempo = [100, 300]
beat = "8"
[ride]
counts = "1 2 3 4 5 6 7"
["bass drum"]
counts = "1 5"
"""


def seven_eight(line: str = "8 8 8 8 8 8 8") -> Score:
    own = parse_groove(SEVEN_EIGHT)
    return write_score("Harbour Street", own, 200, parse_values(line, own.meter), [SNARE])


def graded(level: int, bars: int, seed: int) -> Score:
    return score(values_text(lines(level, bars, seed, FOUR)))


def panels(*args, **options) -> list[etree._Element]:
    return [panel for page in pages_of(*args, **options) for panel in of_class(page, "panel")]


def headings(*args, **options) -> list[str]:
    return [text for page in pages_of(*args, **options) for block in of_class(page, "heading") for text in texts(block)]


# --- the top ------------------------------------------------------------------------------------


def test_the_tempos_note_is_the_beat_that_it_counts():
    (page,) = pages_of(seven_eight())
    (note, words) = of_class(page, "tempo")
    assert note[0].text == "eighth"
    assert len(of_class(note, "flag")) == 1
    assert words.text == "= 200"


@pytest.mark.parametrize(("beat", "name", "flags", "dots"), [("4", "quarter", 0, 0), ("4.", "dotted quarter", 0, 1), ("2", "half", 0, 0), ("16", "sixteenth", 2, 0)])  # fmt: skip
def test_every_beat_has_its_note(beat, name, flags, dots):
    own = parse_groove(SEVEN_EIGHT.replace('beat = "8"', f'beat = "{beat}"'))
    (page, *_) = pages_of(write_score("x", own, 60, parse_values("4. 2", own.meter), [SNARE]))
    note = of_class(page, "tempo")[0]
    assert (note[0].text, len(of_class(note, "flag")), len(of_class(note, "dot"))) == (name, flags, dots)


@pytest.mark.parametrize(
    ("played_on", "said"),
    [
        (PlayedOn("bass drum", "bass drum", "snare"), "All limbs, the line on the bass drum, gaps on the snare"),
        (PlayedOn("bass drum", "snare"), "All limbs, the line on the bass drum (long notes) and the snare (short)"),
        (PlayedOn("snare", "snare", alternate=True), "All limbs, the line on the snare, hands in turn"),
        (FEET_READ, "All limbs, the line on the bass drum"),
    ],
)
def test_the_heading_says_which_drum_reads_what(played_on, said):
    assert said in headings(score("4 8 8 4 4", played_on=played_on))


# --- pieces -------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("show", "staves", "grids"), [(["line"], {"line"}, 0), (["score"], {"drums"}, 0), (["grid"], set(), 1)]
)
def test_only_the_pieces_that_are_asked_for_are_drawn(show, staves, grids):
    (page,) = pages_of(score("4 4 4 4"), show=show)
    assert {bar.get("id").split("-")[0] for bar in of_class(page, "measure")} == staves
    assert len(of_class(page, "grid")) == grids


def test_two_pieces_may_be_asked_for_and_a_strange_one_is_refused():
    (page,) = pages_of(score("4 4 4 4"), show=["line", "grid"])
    assert (len(of_class(page, "measure")), len(of_class(page, "grid"))) == (1, 1)
    with pytest.raises(LessonError, match="'gird' is no piece of a chart; did you mean 'grid'"):
        pages_of(score("4 4 4 4"), show=["gird"])
    with pytest.raises(LessonError, match="is no piece of a chart; choose from line, score, grid"):
        pages_of(score("4 4 4 4"), show=[])


def test_a_handout_has_the_counts_below_the_line():
    (page,) = pages_of(score("4 8 8 12 12 12 8 [8 | 4] 4 2"), show=["line"], under=["counts"])
    said = [text.text for verse in of_class(page, "syl") for text in verse]
    assert said == ["1", "2", "&", "3", "trip", "let", "4", "&", "(1)", "2", "3"]


def test_hands_in_turn_have_their_letters_below_the_line_unless_unwished():
    turns = PlayedOn("snare", "snare", alternate=True)
    (page,) = pages_of(score("4 8 8 [4 4]", played_on=turns))
    assert [text.text for verse in of_class(page, "syl") for text in verse] == ["R", "L", "R", "L"]
    (page,) = pages_of(score("4 8 8 [4 4]", played_on=turns), under=[])
    assert of_class(page, "syl") == []
    with pytest.raises(LessonError, match="'stickings' stands below no line; did you mean 'sticking'"):
        pages_of(score("4 4 4 4"), under=["stickings"])


# --- bars ---------------------------------------------------------------------------------------


def test_chosen_bars_are_each_numbered_and_part_where_they_are_no_neighbours():
    (page,) = pages_of(score(" | ".join(["4 4 4 4", "8 8 4 2"] * 4)), bars=[3, 6, 7], show=["score"])
    systems = [[text.text for text in system.iter(f"{SVG}text")] for system in of_class(page, "music")]
    assert systems == [["3"], ["6", "7"]]


def test_music_xml_has_the_chosen_bars_alone_with_their_numbers_and_breaks():
    xml = etree.fromstring(chart(score("4 4 4 4 | 2 2 | 4. 8 2 | 1 | 8 8 4 2"), "musicxml", bars=[2, 3, 5]))
    for part in xml.iterfind("part"):
        assert [measure.get("number") for measure in part] == ["2", "3", "5"]
        assert [measure.find("print") is not None for measure in part] == [False, False, True]


def bars_in_systems(page: etree._Element, staff: str) -> list[int]:
    found = [[bar.get("id").split("-")[0] for bar in of_class(block, "measure")] for block in of_class(page, "music")]
    return [len(bars) for bars in found if bars[0] == staff]


def test_systems_of_one_staff_have_equally_many_bars():
    full = " ".join(["16"] * 12) + " 4"
    (page, *_) = pages_of(score(" | ".join([full, *["4 4 4 4"] * 7])))
    assert bars_in_systems(page, "line") == [2, 2, 2, 2]
    (page, *_) = pages_of(score(" | ".join(["4 4 4 4"] * 10)))
    assert bars_in_systems(page, "line") == [4, 4, 2]


def staff_widths(page: etree._Element) -> list[float]:
    """How wide each system's staff is drawn, in millimetres."""
    return [
        max(float(path.get("d").split()[2][1:]) for path in block.iter(f"{SVG}path") if path.get("d").count("L") == 1) / 100
        for block in of_class(page, "music")
    ]  # fmt: skip


def test_a_short_last_system_has_bars_as_wide_as_the_others():
    (page, *_) = pages_of(score(" | ".join(["4 4 4 4"] * 10)), show=["line"])
    first, _, last = staff_widths(page)
    assert last == pytest.approx(first / 2, rel=0.12)  # the clef takes its part


@pytest.mark.parametrize("level", [2, 4, 6, 8])
@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_eight_bars_fit_two_pages(level, paper):
    assert len(pages_of(graded(level, 8, 1), paper=paper)) <= 2


@pytest.mark.parametrize(("level", "seed"), [(5, 1), (9, 2), (10, 1)])
def test_sixty_four_bars_fit_seven_pages(level, seed):
    assert len(pages_of(graded(level, 64, seed))) <= 7


@pytest.mark.parametrize("bars", range(1, 14))
def test_no_page_has_one_bar_alone(bars):
    line = " | ".join(["4 8 8 4 4", "8 4 4 4 8", "12 12 12 4 2", "4. 8 4 4", "4 4 4. 8", "8 8 8 8 2", "2 4 4", "4 2 4",
                       "8 4. 2", "4 4 8 8 4", "4 12 12 12 2", "2 8 8 4", "1"][:bars])  # fmt: skip
    for page in pages_of(score(line))[1:]:
        assert len(of_class(page, "panel")) + len(of_class(page, "measure")) > 1


@pytest.mark.parametrize("line", ["4 4 4 4", "4 8 8 4 4 | 8 4 4 4 8 | 12 12 12 4 2 | 4. 8 4 4 | 4 4 4. 8"])
@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_cautions_with_their_sources_stand_in_the_top_third_of_the_last_page(line, paper):
    *others, last = pages_of(score(line), paper=paper)
    (cautions,) = of_class(last, "cautions")
    height = float(last.get("height")[:-2])
    lowest = max(float(text.get("y")) for text in cautions.iter(f"{SVG}text"))
    assert down_mm(cautions) + lowest < height / 3
    words = " ".join(texts(cautions))
    assert all(
        word in words for word in ("Warm up", "rest", "hurts", "clinician", "Rules of your school", "NIOSH", "Azar")
    )
    assert not any(of_class(page, "cautions") for page in others)


# --- the grid -----------------------------------------------------------------------------------


def counted(panel: etree._Element) -> dict[str, float]:
    return {count.get("data-place"): float(count.get("x")) for count in of_class(panel, "count")}


def share(panel: etree._Element, place: str) -> float:
    """Where a place lies from its beat, 0, to the next, 1."""
    at = counted(panel)
    beat = int(place[0])
    return (at[place] - at[str(beat)]) / (at[str(beat + 1)] - at[str(beat)])


@pytest.mark.parametrize(("ratio", "expected"), [(1.2, 1.2 / 2.2), (1.4, 1.4 / 2.4), (1.74, 1.74 / 2.74), (1.75, 2 / 3), (2.0, 2 / 3), (3.0, 2 / 3)])  # fmt: skip
def test_a_flat_swings_upbeat_stands_where_it_sounds(ratio, expected):
    (panel,) = panels(score("4 8 8 4 4", swing=ratio))
    assert share(panel, "2&") == pytest.approx(expected, abs=0.002)
    (page,) = pages_of(score("4 8 8 4 4", swing=ratio))
    assert any("where it sounds" in text for text in texts(page)) == (ratio < 1.75)


def test_written_triplets_stay_at_their_thirds_in_a_flat_swing():
    (panel,) = panels(score("12 12 12 8 8 4 4", swing=1.4))
    assert share(panel, "1trip") == pytest.approx(1 / 3, abs=0.002)
    assert share(panel, "1let") == pytest.approx(2 / 3, abs=0.002)
    assert share(panel, "2&") == pytest.approx(1.4 / 2.4, abs=0.002)


@pytest.mark.parametrize(
    ("line", "name"),
    [("16 16 16 16 8 4. 4. 4.", "twelve-eight"), ("4. 16 16 8 8", "six-eight"), ("32 32 32 32 8 4 4 4", "swing")],
)
def test_columns_lie_in_proportion_to_time(line, name):
    written = score(line, name)
    columns = grid_of(written, 0).columns
    assert [column.across for column in columns] == pytest.approx(
        [float(column.onset / written.meter.length) for column in columns]
    )


def test_chart_and_page_have_one_geometry():
    written = score("4 8 8 12 12 12 4", swing=1.5)
    columns = grid_of(written, 0).columns
    assert [across for across, *_ in column_data(written, 0)] == pytest.approx(
        [column.across for column in columns], abs=1e-4
    )
    (panel,) = panels(written)
    xs = sorted({centre(point)[0] for kind in ("empty", "black", "x") for point in of_class(panel, kind)})
    edges = xs[0], xs[-1]
    on_paper = [(x - edges[0]) / (edges[1] - edges[0]) for x in xs]
    assert on_paper == pytest.approx([column.across / columns[-1].across for column in columns], abs=0.002)


@pytest.mark.parametrize(
    ("name", "felt"), [("six-eight", "1 4"), ("twelve-eight", "1 4 7 10"), ("jazz-waltz", "1 2 3")]
)
def test_felt_beats_stand_out(name, felt):
    line = {"six-eight": "4. 4.", "twelve-eight": "2. 2.", "jazz-waltz": "4 4 4"}[name]
    (panel,) = panels(score(line, name))
    bold = [count for count in of_class(panel, "count") if count.get("font-weight") == "bold"]
    assert [count.text for count in bold] == felt.split()
    assert len(of_class(panel, "felt")) == len(bold)
    others = [float(count.get("font-size")) for count in of_class(panel, "count") if count not in bold]
    assert all(size < float(bold[0].get("font-size")) for size in others)


def test_seven_eight_is_grouped_on_the_grid_as_its_beams_are():
    (page,) = pages_of(seven_eight())
    (panel,) = of_class(page, "panel")
    lines = of_class(panel, "line")[0].get("d").split("M")[1:]
    assert len(lines) == 3
    assert [count.text for count in of_class(panel, "count") if count.get("font-weight") == "bold"] == ["1", "3", "5"]
    beams = [len(of_class(beam, "note")) for beam in of_class(page, "beam") if beam.getparent() is not None]
    assert beams[:3] == [2, 2, 3]


def test_seven_four_says_all_of_its_triplets():
    own = parse_groove('name = "o"\ntitle = "O"\nmeter = "7/4"\nswing = 2.0\ntempo = [60, 200]\n[ride]\ncounts = "1 2 & 3 4 & 5 6 & 7"\n')  # fmt: skip
    (panel,) = panels(write_score("x", own, 120, parse_values("4 4 4 4 4 4 4", own.meter), [SNARE]))
    assert texts(panel, "count") == [word for beat in range(1, 8) for word in (str(beat), "trip", "let")]


@pytest.mark.parametrize("bars", [4, 30])
def test_counts_and_names_have_the_same_sizes_throughout(bars):
    line = " | ".join((["4 4 4 4", "16 16 16 16 4 4 4", "32 32 16 8 4 4 4", "12 12 12 4 8 8 4"] * 8)[:bars])
    root = etree.fromstring(chart(score(line), "svg"))
    assert len({count.get("font-size") for count in of_class(root, "count")}) == 2
    assert len({name.get("font-size") for kind in ("row", "limb") for name in of_class(root, kind)}) == 1


@pytest.mark.parametrize("name", GROOVES)
def test_heads_of_one_row_keep_apart_down_to_thirty_seconds(name):
    meter = groove(name).meter
    line = " ".join(["32"] * int(meter.length * 8))
    for panel in panels(score(line, name)):
        heads = sorted(centre(head) for head in of_class(panel, "black"))
        wide = 2 * float(of_class(panel, "black")[0].get("rx"))
        rows = {y for _, y in heads}
        for row in rows:
            xs = [x for x, y in heads if y == row]
            assert min((after - before for before, after in pairwise(xs)), default=9) > wide * 0.93  # heads lean


def test_ghost_parentheses_keep_apart():
    (panel, *_) = panels(score("4 4 4 4", played_on=PlayedOn("bass drum", "bass drum", "snare")))
    edges = []
    for ghost in of_class(panel, "ghost"):
        numbers = [float(number) for number in re.findall(r"-?[\d.]+", ghost.get("d"))]
        edges.append((numbers[0] + numbers[2] / 2, numbers[6] + numbers[8] / 2))
    assert len(edges) == 8
    assert min(after[0] - before[1] for before, after in pairwise(sorted(edges))) > 0.3


def test_the_rows_lines_end_before_the_limbs_names():
    for page in pages_of(score("4 8 8 4 4 | 16 16 16 16 4 4 4 | 32 32 16 8 4 4 4")):
        for strip in of_class(page, "grid"):
            ends = [float(x) for line in of_class(strip, "line") for x in re.findall(r"H([\d.]+)", line.get("d"))]
            assert max(ends) < float(of_class(strip, "limb")[0].get("x")) - 6.6 - 0.5  # "RH" is 6.6 mm wide


def test_the_legend_explains_every_sign_that_is_there():
    bell = parse_groove(
        'name = "o"\ntitle = "O"\nmeter = "4/4"\ntempo = [60, 200]\n[ride]\ninstrument = "ride bell"\ncounts = "1 2 3 4"\n'
        '["hi-hat"]\ninstrument = "open hi-hat"\ncounts = "1r 2 4"\n[snare]\ncounts = "1r 2 &"\nlight = "(2) &"\nlighter = -8\n'
    )
    written = write_score("x", bell, 120, parse_values("4^ 4 4 4", bell.meter), [FEET_READ])
    (page,) = pages_of(written)
    (legend,) = of_class(page, "legend")
    assert {"accent", "ghost note", "bell of the ride", "open hi-hat", "cymbal, cross-stick"} <= {*texts(legend)}
    (plain,) = of_class(pages_of(score("4 4 4 4", "straight-eighths"))[0], "legend")
    assert not {"ghost note", "bell of the ride", "open hi-hat"} & {*texts(plain)}
    (gaps,) = of_class(pages_of(score("4 4 4 4", played_on=PlayedOn("bass drum", "bass drum", "snare")))[0], "legend")
    assert "fills a gap" in texts(gaps)


def test_gaps_stand_in_parentheses_on_staff_and_grid():
    (page,) = pages_of(score("4 4 4 4", played_on=PlayedOn("bass drum", "bass drum", "snare")))
    assert len(of_class(of_class(page, "panel")[0], "ghost")) == 8
    xml = etree.fromstring(chart(score("4 4 4 4", played_on=PlayedOn("bass drum", "bass drum", "snare")), "musicxml"))
    assert len(xml.xpath("//notehead[@parentheses='yes']")) == 8


def test_two_bars_stand_abreast_where_their_heads_keep_apart():
    (page,) = pages_of(score("4 8 8 4 4 | 8 4 4 4 8"))
    assert texts(page, "bar") == ["Bars 1, 2"]
    first, second = of_class(page, "panel")
    assert centre(of_class(second, "x")[0])[0] > centre(of_class(first, "x")[-1])[0]
    assert texts(pages_of(score("4 8 8 4 4 4 | 8 4 4 4 8 4", "five-four-swing"))[0], "bar") == ["Bar 1", "Bar 2"]


def test_the_teachers_note_stands_below_the_title_line_by_line():
    (page,) = pages_of(score("4 4 4 4"), note="Bring brushes.\nCount \x01aloud.")
    notes = [text for block in of_class(page, "note") for text in texts(block)]
    assert notes == ["Bring brushes.", "Count \ufffdaloud."]
    assert down_mm(of_class(page, "note")[0]) < down_mm(of_class(page, "heading")[0])
    long = pages_of(score("4 4 4 4"), note="again and again " * 120)
    assert sum(len(of_class(page, "note")) for page in long) > 10
