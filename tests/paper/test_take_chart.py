"""The picture of a take: what is early stands left, late right, loud large, missed open; read back from its SVG."""

from dataclasses import replace
from itertools import pairwise

import pytest
from lxml import etree
from music import lesson_of
from takes_made import LINE, Student, played, sheet
from written import GROOVES, groove

from grooves.takes.check import check_take, student_track
from grooves.takes.sheet import sheet_of
from grooves.takes.take import Take
from render.paper.grids import grid_of
from render.paper.pdf import chart_pdf
from render.paper.take_chart import MUSIC_MM, Extra, mm_per_ms, take_pages

SVG = "{http://www.w3.org/2000/svg}"


def drawn(how, extras=(), choruses=3, change=lambda take: take):
    """A take's pages as trees, with its answer."""
    written = sheet(choruses=choruses)
    score = lesson_of(LINE, tempo=120, top=f"choruses = {choruses}").score
    answer = check_take(change(played(written, how).take), written)
    pages = take_pages(score, written, answer.findings, answer.sentences, extras)
    return score, answer, [etree.fromstring(page) for page in pages]


def of(pages, kind):
    return [one for page in pages for one in page.iter(f"{SVG}circle", f"{SVG}path") if one.get("class") == kind]


def in_bars(pages, kind):
    """The signs of the bars alone, without the strips and the legend."""
    wanted = [one for one in of(pages, kind) if float(one.get("r", 1)) != 0.5]
    return wanted[1:] if kind in ("hit", "missed") else wanted


def test_every_hit_is_drawn_twice_along_the_take_and_in_its_bar():
    _, answer, pages = drawn(Student(1, missing=0.05))
    hits = sum(one.hit for one in answer.findings.limbs)
    assert len(of(pages, "hit")) == 2 * hits + 1  # and once in the legend
    assert len(of(pages, "missed")) == 2 * sum(one.missed for one in answer.findings.limbs) + 1


@pytest.mark.parametrize("late_ms", [-30.0, 30.0])
def test_an_early_limb_stands_left_of_its_lines_and_a_late_one_right(late_ms):
    score, _, pages = drawn(Student(2, spread_ms=0.5, limb_ms={"left foot": late_ms}))
    scale = mm_per_ms(grid_of(score, 0))
    late, place = [], []
    for page in pages:
        dots = [one for one in page.iter(f"{SVG}circle") if one.get("class") == "hit" and float(one.get("r")) != 0.5]
        place += [float(one.get("cx")) for one in dots]
    lines = grid_of(score, 0).columns
    room = MUSIC_MM - 30.0 - 8.0 - 2
    columns = [38.0 + room * one.across for one in lines]
    for x in place[1:]:
        late.append(min((x - column for column in columns), key=abs) / scale)
    assert sum(abs(one - late_ms) < 4 for one in late) >= 20 and sum(abs(one) < 4 for one in late) >= 100


def test_the_louder_a_stroke_the_larger_its_dot():
    def louder(take):
        return replace(
            take, strokes=tuple(replace(one, level_db=-40.0 if n % 3 else 0.0) for n, one in enumerate(take.strokes))
        )

    _, _, pages = drawn(Student(3), change=louder)
    sizes = {one.get("r") for one in in_bars(pages, "hit")}
    assert {"0.42", "0.95"} == sizes


def test_what_was_only_just_heard_is_a_diamond_and_what_is_not_written_a_cross():
    def unsure(take):
        return replace(take, strokes=tuple(replace(one, sure=one.part != "snare") for one in take.strokes))

    _, answer, pages = drawn(Student(4), [Extra(2, 0.4, "left hand"), Extra(3, 0.1, "right foot")], change=unsure)
    assert len(of(pages, "unsure")) == 2 * sum(one.unsure for one in answer.findings.limbs) + 1
    assert len(of(pages, "extra")) == 2 + 1


def test_nothing_is_told_by_colour():
    _, _, pages = drawn(Student(5, missing=0.1))
    colours = {
        value for page in pages for one in page.iter() for key, value in one.items() if key in ("fill", "stroke")
    }
    assert colours <= {"#000", "#fff", "#999", "none"}


def test_pieces_do_not_overlap_and_pages_hold_what_they_hold():
    _, _, pages = drawn(Student(6), choruses=12)
    for page in pages:
        tops = [float(one.get("transform").split()[1].rstrip(")")) for one in page.findall(f"{SVG}g")]
        assert all(before < after for before, after in pairwise(tops)) and max(tops) < 297 - 14


def test_a_page_says_in_words_what_it_shows():
    _, answer, pages = drawn(Student(7, limb_ms={"right foot": 25.0}))
    assert answer.sentences[0] in pages[0].findtext(f"{SVG}desc")
    assert "strokes hit" in pages[-1].findtext(f"{SVG}desc") and "take, page 1 of" in pages[0].findtext(f"{SVG}title")


def test_the_scale_of_a_bar_is_fifty_milliseconds_and_never_reaches_the_next_line():
    for values, name in (
        (LINE, "swing"),
        ("8 8 8 8 8 8 8 8 8 8 8 8", "twelve-eight"),
        ("16 16 16 16 4 4 4", "swing"),
    ):
        grid = grid_of(lesson_of(values, groove=name).score, 0)
        assert 50 * mm_per_ms(grid) <= grid.closest * 142 / 2 + 1e-9


def test_the_pages_make_a_pdf():
    pages = [etree.tostring(page).decode() for page in drawn(Student(8))[2]]
    assert chart_pdf(pages).startswith(b"%PDF")


def test_a_take_of_little_still_has_a_page():
    written = sheet()
    answer = check_take(Take((), 0.0), written)
    assert len(take_pages(lesson_of(LINE).score, written, answer.findings, answer.sentences)) == 1


LINES = {
    "4/4": "4 8 8 4 4 | 8 4 4 4 8",
    "3/4": "4 8 8 4 | 8 4 4 8",
    "5/4": "4 8 8 4 4 4",
    "6/8": "4 8 4. | 8 8 8 4.",
    "12/8": "4 8 4. 4 8 4.",
    "2/4": "4 8 8 | 8 4 8",
}


@pytest.mark.parametrize("name", GROOVES)
def test_a_take_over_every_groove_is_matched_told_and_drawn(name):
    meter = str(groove(name).meter)
    lesson = lesson_of(LINES[meter], groove=name, tempo=sum(groove(name).tempo_bpm) / 2, top="choruses = 4")
    written = sheet_of(lesson, student_track(lesson.tracks))
    made = played(written, Student(9, limb_ms={"right foot": 22.0}, missing=0.03))
    answer = check_take(made.take, written)
    assert not answer.no_verdict
    heard = [one for one in answer.findings.limbs if one.heard]
    assert len(heard) == len(written.limb_parts)
    assert sum(one.missed for one in heard) <= 0.08 * len(written.strokes)
    pages = take_pages(lesson.score, written, answer.findings, answer.sentences)
    drawn = [etree.fromstring(page) for page in pages]
    assert len(of(drawn, "hit")) == 2 * sum(one.hit for one in heard) + 1
