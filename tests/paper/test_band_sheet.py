"""The band on staves of its own, read back by another program.

Sources: W3C MusicXML 4.0 schema; music21 as an independent reader.
"""

import warnings
from fractions import Fraction

import pytest
from lxml import etree
from music import lesson_of
from music21 import converter, note
from musicxml_schema import schema

from grooves.errors import LessonError
from grooves.passages import Track, track_passages
from grooves.performance import band_sheet
from grooves.players import ChordMark
from render.lesson.documents import chart_data
from render.lesson.options import ChartOptions
from render.paper.band_sheet import Pitch, band_musicxml, spelt, staves_of

TIED = "4 8 8 4 4 | 8 4 4 4 8 | 4 4 4 8r [8 | 2] 2r"


def sheet_of(band: str, values: str = TIED, choruses: int = 3, **parts):
    lesson = lesson_of(values, tracks=f"[band]\n{band}", top=f"choruses = {choruses}", **parts)
    passages = track_passages(Track("band"), lesson.score, choruses, 0)
    return lesson, band_sheet(lesson.score, passages, lesson.feel)


def read_back(xml: bytes) -> dict[str, list[tuple[Fraction, Fraction, int]]]:
    """Each part's notes as another reader finds them, ties joined: place, length, MIDI key."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        found = converter.parseData(xml.decode(), format="musicxml").stripTies()
        return {
            part.id: [
                (Fraction(one.offset).limit_denominator(48), Fraction(one.duration.quarterLength).limit_denominator(48), pitch.midi)
                for one in part.flatten().notes
                if isinstance(one, note.Note) or (one.isChord and not hasattr(one, "chordKind"))
                for pitch in one.pitches
            ]
            for part in found.parts
        }  # fmt: skip


@pytest.mark.parametrize(
    "band, values, parts",
    [
        ('form = "blues"\nhorns = "line"\nkey = "Gb"', TIED, {}),
        ('form = "thirty-two"\nkey = "E"', TIED, {}),
        ('form = "minor-blues"\nbass = "two-feel"', TIED, {}),
        ('form = "two-chords"\nhorns = "line"', "8 8r [8 | 8] 8 8r", {"groove": "jazz-waltz"}),
        ('form = "blues"', "4. 4. 4. 4.", {"groove": "twelve-eight"}),
        ('form = "blues"\nbass = "off"\nhorns = "line"', "12 12 12 6 12 2 | [4 8] 8 8 4.", {}),
        ('form = "blues"\nbass = "off"', "4 4 4 4", {}),
    ],
)
def test_another_reader_finds_the_notes_of_the_band_in_its_sheet(band, values, parts):  # music21
    if parts.get("groove") == "jazz-waltz":
        values = "4 4 8 [8 | 8] 8 8r 8 4"
    lesson, sheet = sheet_of(band, values, 4, **parts)
    xml = band_musicxml(lesson.score, sheet, [4])
    schema().assertValid(etree.fromstring(xml))
    found = read_back(xml)
    length = lesson.score.meter.length
    for part in staves_of(lesson.score.band.parts):
        played = sorted(
            (length * at + one.onset, one.key) for at, bar in enumerate(sheet) for one in bar.notes if one.part == part
        )
        assert sorted((place, key) for place, _, key in found[part]) == played
    for measure in etree.fromstring(xml).iter("measure"):
        total = sum(int(one.findtext("duration")) for one in measure.iter("note") if one.find("chord") is None)
        assert total == 24 * length


def test_lengths_are_as_played_up_to_the_next_note():
    lesson, sheet = sheet_of('form = "blues"\nhorns = "line"')
    found = read_back(band_musicxml(lesson.score, sheet, []))
    played = sorted(
        (4 * at + one.onset, one.length) for at, bar in enumerate(sheet) for one in bar.notes if one.part == "bass"
    )
    assert sorted((place, own) for place, own, _ in found["bass"]) == played


def test_the_bass_reads_an_octave_above_its_sound_in_the_key_of_the_form():
    lesson, sheet = sheet_of('form = "blues"\nkey = "Eb"')
    root = etree.fromstring(band_musicxml(lesson.score, sheet, []))
    assert root.xpath("string(//clef/sign)") == "F" and root.xpath("string(//clef/clef-octave-change)") == "-1"
    assert root.xpath("string(//key/fifths)") == "-3"


@pytest.mark.parametrize(
    "parts, staves",
    [(("bass", "piano", "horns"), ["horns", "bass"]), (("bass", "piano"), ["bass"]), (("piano",), ["piano"])],
)
def test_horns_and_bass_are_written_out_and_the_piano_where_it_is_alone(parts, staves):
    assert staves_of(parts) == staves


@pytest.mark.parametrize(
    "key, chord, fifths, pitch",
    [
        (46, None, -1, Pitch("B", -1, 2)),
        (46, None, 2, Pitch("A", 1, 2)),
        (41, None, 0, Pitch("F", 0, 2)),
        (44, ChordMark(Fraction(0), "Bdim7", "B", "dim7", (0, 3, 6, 9)), -1, Pitch("A", -1, 2)),
        (44, ChordMark(Fraction(0), "E7", "E", "7", (0, 4, 7, 10)), -1, Pitch("G", 1, 2)),
        (35, ChordMark(Fraction(0), "Cb7", "Cb", "7", (0, 4, 7, 10)), -6, Pitch("C", -1, 2)),
        (36, ChordMark(Fraction(0), "G#7", "G#", "7", (0, 4, 7, 10)), 5, Pitch("B", 1, 1)),
    ],
)
def test_notes_are_spelt_by_their_chord_else_by_the_key(key, chord, fifths, pitch):
    assert spelt(key, chord, fifths) == pitch


def test_every_note_is_spelt_as_the_key_that_it_sounds():
    lesson, sheet = sheet_of('form = "minor-blues"\nkey = "G#m"', choruses=8)
    names = dict(zip("CDEFGAB", (0, 2, 4, 5, 7, 9, 11), strict=True))
    for bar in sheet:
        for one in bar.notes:
            pitch = spelt(one.key, bar.chords[0], lesson.score.band.fifths)
            assert 12 * (pitch.octave + 1) + names[pitch.step] + pitch.alter == one.key


def test_an_accidental_lasts_to_the_barline_and_the_key_has_its_own():
    lesson, sheet = sheet_of('chords = "F7 | -"\nkey = "F"\nbass = "walking"', choruses=40)
    state: dict[tuple[str, str], str] = {}
    alters = {"flat": "-1", "sharp": "1", "natural": None, None: "key"}
    for measure in etree.fromstring(band_musicxml(lesson.score, sheet, [])).iter("measure"):
        state.clear()
        for one in measure.iter("note"):
            if one.find("pitch") is None or one.find("tie[@type='stop']") is not None:
                continue
            step, octave, alter = (one.findtext(f"pitch/{tag}") for tag in ("step", "octave", "alter"))
            shown = one.findtext("accidental")
            if shown:
                state[step, octave] = alters[shown]
            else:
                assert alter == state.get((step, octave), "-1" if step == "B" else None)
                continue
            assert alter == state[step, octave]


def test_the_chart_shows_the_band_of_all_choruses_with_its_chords():
    lesson = lesson_of(" | ".join(["4 4 4 4"] * 6), tracks='[band]\nform = "blues"', top="choruses = 4")
    svg = chart_data(lesson, "svg", ChartOptions(show=("band",))).decode()
    assert "The band" in svg and "The line" not in svg
    assert svg.count(">Bdim7<") == 2  # six bars four times are two forms


def test_a_chart_without_a_band_shows_none():
    with pytest.raises(LessonError, match=r"--show: this lesson has no band; write a table \[band\]"):
        chart_data(lesson_of(), "svg", ChartOptions(show=("band",)))
    with pytest.raises(LessonError, match=r"'bands' is no piece of a chart; did you mean 'band'\?"):
        chart_data(lesson_of(), "svg", ChartOptions(show=("bands",)))


def test_a_band_of_thousands_of_bars_is_not_drawn():
    lesson = lesson_of(tracks='[band]\nform = "blues"', top="choruses = 1000", line="repeat_each = 4")
    with pytest.raises(LessonError, match="--show: 4,000 bars of a band are too long; it has at most 2,000"):
        chart_data(lesson, "svg", ChartOptions(show=("band",)))


@pytest.mark.parametrize(("count_in", "bass"), [(2, 0), (0, 4)])
def test_a_pickup_stands_in_a_bar_before_bar_1_counted_in_or_over_the_form_s_last_chords(count_in, bass):
    lesson = lesson_of(
        "4 4 4 4 | 2 4 4r",
        line='pickup = "8 8"',
        top=f"count_in = {count_in}\nchoruses = 2",
        tracks='[band]\nform = "blues"\nhorns = "line"',
    )
    passages = track_passages(Track("band"), lesson.score, 2, count_in)
    bars = band_sheet(lesson.score, passages, lesson.feel)
    assert [bar.number for bar in bars] == [0, 1, 2, 1, 2]
    found = read_back(band_musicxml(lesson.score, bars, [2]))
    assert [place for place, *_ in found["horns"]][:3] == [3, Fraction(7, 2), 4]
    assert sum(place < 4 for place, *_ in found["bass"]) == bass
    numbers = etree.fromstring(band_musicxml(lesson.score, bars, [2])).xpath("part[1]/measure/@number")
    assert numbers == ["0", "1", "2", "3", "4"]
