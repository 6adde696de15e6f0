"""Chord symbols on paper: valid by the official schema, read alike by another program, drawn in letters that are there.

Sources: W3C MusicXML 4.0, `<harmony>`; music21 as an independent reader.
"""

import warnings
from fractions import Fraction

import pytest
from drawn import chart, chart_svg_pages
from lxml import etree
from music import lesson_of
from music21 import converter, harmony
from musicxml_schema import schema

from grooves.band.chords import parse_chord
from grooves.band.forms import find_form, shipped_forms

SYMBOLS = (
    "C", "Cm", "Cdim", "Caug", "Csus4", "Csus2", "C6", "Cm6", "C69", "C7", "Cmaj7", "Cm7", "CmM7", "Cm7b5", "Cdim7",
    "C7#5", "C7b5", "C7sus4", "C9sus4", "C9", "Cmaj9", "Cm9", "C11", "Cm11", "C13", "Cmaj13", "C13b9", "C13#11", "C7b9",
    "C7#9", "C7#11", "C7b13", "C7alt", "C7b9b5", "C7#9#5", "C9#5", "C9#11", "Cmaj7#11", "Cmaj7#5", "Cadd9", "Cmadd9",
    "Cadd4", "F#m7", "Bbmaj7/D", "Ebm7b5/A", "C#7b9", "Gb7", "Cbmaj7",
)  # fmt: skip


def score_over(chords: str, values: str = ""):
    bars = chords.count("|") + 1
    return lesson_of(values or " | ".join(["4 4 4 4"] * bars), tracks=f'[band]\nchords = "{chords}"').score


def read(score) -> list[harmony.ChordSymbol]:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # of instruments that music21 does not know
        found = converter.parseData(chart(score, "musicxml").decode(), format="musicxml")
        return list(found.parts[0].recurse().getElementsByClass(harmony.ChordSymbol))


def test_another_reader_finds_the_tones_of_every_chord_in_the_file():  # music21
    found = read(score_over(" | ".join(SYMBOLS)))
    assert len(found) == len(SYMBOLS)
    for symbol, chord in zip(SYMBOLS, found, strict=True):
        assert frozenset(pitch.pitchClass for pitch in chord.pitches) == parse_chord(symbol).classes, symbol


@pytest.mark.parametrize("form", shipped_forms())
def test_another_reader_finds_the_chords_of_a_form_in_their_places(form):  # music21
    length = len(find_form(form).bars)
    score = lesson_of(" | ".join(["4 4 4 4"] * length), tracks=f'[band]\nform = "{form}"').score
    marks = [(number, mark) for number, bar in enumerate(score.bars) for mark in bar.chords]
    said = [one for place, one in enumerate(marks) if not place or marks[place - 1][1].symbol != one[1].symbol]
    found = read(score)
    places = [chord.measureNumber - 1 for chord in found]
    assert places == [number for number, _ in said]
    assert [chord.offset for chord in found] == [float(mark.onset) for _, mark in said]


@pytest.mark.parametrize("values", ["4 8 8 4 4 | 8 4 4 4 8", "1 | 2 2", "1r | 6 6 6 2", "12 12 12 4 2 | 16 16 8 4 2"])
def test_a_line_with_chords_is_valid_music_xml(values):  # the official schema
    root = etree.fromstring(chart(score_over("F7 D7b9 Gm7 C7/E | Bb7 - F7alt -", values), "musicxml"))
    schema().assertValid(root)
    offsets = [int(one.text) for one in root.iter("offset")]
    assert offsets and all(offset > 0 for offset in offsets)  # a chord begins while a note lasts


def test_the_kind_is_written_as_its_writer_spelled_it_and_the_staff_of_the_drums_has_none():
    root = etree.fromstring(chart(score_over("C-7 | FΔ7/A"), "musicxml"))
    assert [kind.get("text") for kind in root.iter("kind")] == ["-7", "Δ7"]
    assert not root.xpath("//part[@id='drums']//harmony")
    assert root.xpath("string(//bass/bass-step)") == "A"


def test_a_chord_that_goes_on_is_printed_once_but_again_where_a_system_begins():
    score = lesson_of(" | ".join(["4 4 4 4"] * 8), tracks='[band]\nform = "one-chord"').score
    assert len(list(etree.fromstring(chart(score, "musicxml")).iter("harmony"))) == 1
    page = chart_svg_pages(score, show=["line"])[0]
    assert page.count(">Dm7<") == 2  # eight bars stand in two systems


def test_chosen_bars_have_the_chords_that_stand_there():
    score = score_over("C7 | Eb7 | - | A7")
    page = chart_svg_pages(score, bars=[3], show=["line"])[0]
    assert ">Eb7<" in page and ">C7<" not in page


def test_chords_are_drawn_in_letters_of_the_charts_own_font():
    page = chart_svg_pages(score_over("Bb7b9 | F#m7b5 | Ebmaj7/G"), show=["line"])[0]
    assert all(f">{symbol}<" in page for symbol in ("Bb7b9", "F#m7b5", "Ebmaj7/G"))
    assert not any("\ue000" <= letter <= "\uf8ff" for letter in page)  # glyphs of a music font's private area


def test_a_bar_repeated_over_other_chords_is_written_out():
    plain = lesson_of("4 4 4 4", line="repeat_each = 2").score
    assert chart(plain, "musicxml").count(b"<measure ") == 2  # one on each staff, with a repeat
    lesson = lesson_of("4 4 4 4", line="repeat_each = 2", tracks='[band]\nchords = "C7 | F7"')
    assert chart(lesson.score, "musicxml").count(b"<measure ") == 4


def test_without_a_band_nothing_stands_above_the_line():
    assert b"harmony" not in chart(lesson_of().score, "musicxml")


def test_a_chord_in_the_middle_of_a_note_stands_at_its_own_place():
    found = read(score_over("F7 D7", "1"))
    assert [Fraction(chord.offset) for chord in found] == [0, 2]
