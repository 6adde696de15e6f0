"""MusicXML out: valid by the official schema, and read alike by two other programs.

Sources: W3C MusicXML 4.0 schema as the PyPI package musicxml carries it; music21 and verovio as independent
readers; staff places by N. Weinberg, Guidelines for Drumset Notation, Percussive Notes, June 1994.
"""

import warnings
from fractions import Fraction

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from lxml import etree
from musicxml_schema import schema
from written import FEET_READ, GROOVES, SNARE, groove, score

from grooves.groove import parse_groove
from grooves.line import PlayedOn
from grooves.notes import line_notes
from grooves.rhythm import Meter, parse_values
from grooves.score import Score, write_score
from render.paper.notation import line_musicxml, musicxml

# Cells of one quarter and of two, written by us; each bar is a row of them.
QUARTERS = ("4", "4r", "8 8", "8r 8", "8 8r", "12 12 12", "12 12r 12", "6 12", "12 6", "16 16 16 16", "8. 16", "16r 8.")
QUARTERS += ("24 24 24 8", "8 16 16", "16 8 16", "8^ 8")
HALVES = ("2", "4. 8", "8 4 8", "6 6 6", "8 4.", "[4 8_ 8]", "2r")
DOTTED = ("4.", "8 8 8", "4 8", "8 4", "8r 8 8", "4.r", "16 16 8 8", "8. 16 8")


def tree(xml: bytes) -> etree._Element:
    return etree.fromstring(xml)


def texts(xml: bytes, path: str) -> list[str]:
    return [str(found) for found in tree(xml).xpath(path)]


# --- the schema ---------------------------------------------------------------------------------


def assert_valid(xml: bytes) -> None:
    schema().assertValid(tree(xml))
    root = tree(xml)
    for part in root.iterfind("part"):
        listed = root.find(f"part-list/score-part[@id='{part.get('id')}']")
        known = {instrument.get("id") for instrument in listed.iterfind("score-instrument")}
        assert {instrument.get("id") for instrument in part.iter("instrument")} <= known
        ties = [tie.get("type") for tie in part.iter("tie")]
        assert ties == ["start", "stop"] * (len(ties) // 2) or all_ties_pair(part)


def all_ties_pair(part: etree._Element) -> bool:
    open_tie = 0
    for note in part.iter("note"):
        kinds = [tie.get("type") for tie in note.iterfind("tie")]
        if open_tie and "stop" not in kinds:
            return False
        open_tie += kinds.count("start") - kinds.count("stop")
    return open_tie == 0


def test_the_schema_refuses_a_wrong_document():
    wrong = musicxml(score("4 4 4 4")).replace(b"<display-step>C", b"<display-step>H")
    assert not schema().validate(tree(wrong))


@pytest.mark.parametrize("name", GROOVES)
def test_every_shipped_groove_is_valid_music_xml(name):
    meter = groove(name).meter
    bar = " ".join(["8"] * int(meter.length * 2))
    assert_valid(musicxml(score(f"{bar} | {bar}", name, repeat_each=3)))


def test_a_title_with_signs_and_emoji_is_text():
    title = 'Harbour <Street> & "us" \U0001f941'
    xml = musicxml(score("4 4 4 4", title=title))
    assert texts(xml, "work/work-title/text()") == [title]
    assert_valid(xml)


def test_a_title_with_a_control_character_is_still_xml():
    assert texts(musicxml(score("4 4 4 4", title="Harbour\x00 Street")), "work/work-title/text()") == [
        "Harbour\ufffd Street"
    ]


# --- what it says -------------------------------------------------------------------------------


def notes(xml: bytes, part: str, bar: int = 1) -> list[str]:
    """Each note as place, value and marks: "F5 x quarter v1 up"."""
    found = []
    for note in tree(xml).iterfind(f"part[@id='{part}']/measure[{bar}]/note"):
        step = "".join(note.xpath("unpitched/*/text()")) or "rest"
        words = [step, *note.xpath("notehead/text()"), *note.xpath("type/text()"), *["."] * len(note.findall("dot"))]
        found.append(" ".join(["+" * len(note.findall("chord")) + words[0], *words[1:], *note.xpath("stem/text()")]))
    return found


def test_hands_stand_up_and_feet_hang_down_at_weinbergs_places():
    xml = musicxml(score("4 4 4 4"))
    assert notes(xml, "drums") == [
        "C5 quarter up", "+F5 x quarter up",
        "C5 eighth up", "+F5 x eighth up", "F5 x eighth up",
        "C5 quarter up", "+F5 x quarter up",
        "C5 eighth up", "+F5 x eighth up", "F5 x eighth up",
        "F4 quarter down", "D4 x quarter down", "+F4 quarter down",
        "F4 quarter down", "D4 x quarter down", "+F4 quarter down",
    ]  # fmt: skip


def test_the_line_keeps_its_writers_spelling_with_ties():
    xml = line_musicxml(score("4 8 8 2r | 4. [8 8] 8 4"))
    assert notes(xml, "line") == ["C5 quarter up", "C5 eighth up", "C5 eighth up", "rest half"]
    assert notes(xml, "line", 2) == ["C5 quarter . up", "C5 eighth up", "C5 eighth up", "C5 eighth up", "C5 quarter up"]
    assert texts(xml, "//measure[2]/note/tie/@type") == ["start", "stop"]
    assert texts(xml, "part/@id") == ["line"]


def test_drums_do_not_tie_but_let_a_value_run_to_the_next_stroke_or_rest():
    xml = musicxml(score("[4. 8] 2r", played_on=PlayedOn("bass drum", "bass drum")), ("drums",))
    feet = [note for note in notes(xml, "drums") if "down" in note or "rest" in note]
    assert feet == ["F4 quarter down", "D4 x quarter down", "rest quarter", "D4 x quarter down"]
    assert texts(xml, "//tie") == []


@pytest.mark.parametrize(
    ("line", "beams"),
    [
        ("8 8 4 8 8 8 8", ["begin", "end", "begin", "end", "begin", "end"]),
        ("8 4 8 2", []),
        ("8r 8 8 8r 2", []),
        ("16 16 16 16 2.", ["begin", "begin", "continue", "continue", "continue", "continue", "end", "end"]),
        ("8. 16 16 8. 2", ["begin", "end", "backward hook", "begin", "forward hook", "end"]),
        ("12 12 12 2.", ["begin", "continue", "end"]),
    ],
)
def test_beams_join_the_notes_of_each_beat(line, beams):
    assert texts(line_musicxml(score(line)), "//beam/text()") == beams


def test_six_eight_is_beamed_in_two_groups_of_three():
    xml = line_musicxml(score("8 8 8 8 8 8", "six-eight"))
    assert texts(xml, "//beam/text()") == ["begin", "continue", "end"] * 2


def test_a_triplet_is_bracketed_only_when_no_beam_holds_it():
    xml = line_musicxml(score("12 12 12 6 12 6 6 6"))
    assert texts(xml, "//tuplet[@type='start']/@bracket") == ["no", "yes", "yes"]
    assert texts(xml, "//tuplet/@type") == ["start", "stop"] * 3


def test_each_note_of_a_chord_keeps_its_own_accent():
    xml = musicxml(score("4 4^ 4 4"))
    assert texts(xml, "part[@id='line']//accent/@placement") == ["above"]
    assert texts(xml, "part[@id='drums']//note[articulations or notations/articulations]/@id") == [
        "drums-b1-1-snare",
        "drums-b1-1-ride",
        "drums-b1-3-ride",
    ]


def test_an_accent_of_the_feet_stands_below():
    xml = musicxml(score("4^ 4 4 4", played_on=PlayedOn("bass drum", "bass drum")), ("drums",))
    assert "below" in texts(xml, "//accent/@placement")


def test_a_light_snare_stroke_is_a_ghost_note_in_parentheses():
    text = 'name = "g"\ntitle = "G"\nmeter = "4/4"\ntempo = [60, 200]\n[ride]\ncounts = "1 2 3 4"\n'
    ghosts = parse_groove(text + '[snare]\ncounts = "1r 2 & 3 4 &"\nlight = "(2) & 3"\nlighter = -8')
    line = parse_values("4 4 4 4", Meter(4, 4))
    xml = musicxml(write_score("x", ghosts, 100, line, [PlayedOn("bass drum", "bass drum")]), ("drums",))
    assert texts(xml, "//notehead[@parentheses='yes']/../@id") == ["drums-b1-3_2-snare", "drums-b1-2-snare"]


def test_the_straight_upbeat_of_a_beat_in_triplets_is_written_as_the_let_in_swing():
    xml = musicxml(score("4 12 12 12 4 4"), ("drums",))
    assert texts(xml, "//note[chord]/@id")[2] == "drums-b1-5_3-ride"
    assert "drums-b1-3_2-ride" not in texts(xml, "//note/@id")


def test_a_ride_that_moves_to_the_let_fills_its_triplet():
    xml = musicxml(score("4 12 12r 12 4 4"), ("drums",))
    assert notes(xml, "drums")[2:6] == ["C5 quarter up", "+F5 x quarter up", "C5 eighth up", "+F5 x eighth up"]
    assert texts(xml, "//tuplet/@type") == ["start", "stop"]


def test_a_straight_groove_keeps_its_upbeat_under_triplets():
    xml = musicxml(score("4 12 12 12 4 4", "straight-eighths"), ("drums",))
    assert "drums-b1-3_2-ride" in texts(xml, "//note/@id")


def test_midi_unpitched_is_the_key_and_one():
    """W3C MusicXML 4.0: midi-unpitched counts from 1."""
    xml = musicxml(score("4 4 4 4"))
    drums = "part-list/score-part[@id='drums']"
    names = texts(xml, f"{drums}/score-instrument/instrument-name/text()")
    keys = texts(xml, f"{drums}/midi-instrument/midi-unpitched/text()")
    assert dict(zip(names, keys, strict=True)) == {"Ride": "52", "Snare": "39", "Bass drum": "37", "Hi-hat": "45"}
    assert set(texts(xml, "//midi-channel/text()")) == {"10"}


def test_the_line_beside_the_drums_is_silent_so_that_it_does_not_sound_twice():
    both, alone = musicxml(score("4 4 4 4")), line_musicxml(score("4 4 4 4"))
    assert texts(both, "//score-part[@id='line']//volume/text()") == ["0"]
    assert texts(alone, "//volume") == []


@pytest.mark.parametrize(
    ("name", "tempo_bpm", "swing", "tempo"),
    [
        ("swing", 120, ["2", "1", "eighth"], "120"),
        ("straight-eighths", 100, [], "100"),
        ("six-eight", 60, [], "90"),
    ],
)
def test_tempo_and_swing_are_said_for_playback(name, tempo_bpm, swing, tempo):
    bar = " ".join(["8"] * int(groove(name).meter.length * 2))
    xml = musicxml(score(bar, name, tempo_bpm=tempo_bpm))
    assert texts(xml, "//sound/swing/*/text()") == swing
    assert len(texts(xml, "//sound/swing/straight")) == (0 if swing else 1)
    assert texts(xml, "//sound/@tempo") == [tempo]
    assert texts(xml, "//per-minute/text()") == [str(tempo_bpm)]


def test_a_lessons_own_swing_overrules_the_grooves():
    assert texts(musicxml(score("4 4 4 4", swing=1.5)), "//sound/swing/*/text()") == ["3", "2", "eighth"]


def test_a_bar_played_three_times_stands_once_between_repeat_signs():
    xml = musicxml(score("4 4 4 4 | 2 2", repeat_each=3))
    assert texts(xml, "part[@id='drums']/measure/@number") == ["1", "2"]
    assert texts(xml, "part[@id='drums']//repeat/@direction") == ["forward", "backward"] * 2
    assert texts(xml, "part[@id='drums']//repeat/@times") == ["3", "3"]
    assert texts(xml, "//words/text()") == ["Swing", "3×", "3×"]


def test_two_bar_grooves_are_written_out_where_the_repeats_differ():
    xml = musicxml(score("4 4 4 4", "bossa-nova", repeat_each=2), ("drums",))
    assert texts(xml, "//measure/@number") == ["1", "1b"]
    assert texts(xml, "//repeat") == []


def test_each_way_of_reading_is_said_where_it_begins():
    xml = musicxml(score("4 4 4 4", played_on=[SNARE, PlayedOn("bass drum", "bass drum")]))
    assert texts(xml, "part[@id='line']//words/text()") == ["Swing", "line on snare", "line on bass drum"]


def test_a_tie_from_a_bar_that_is_left_out_is_a_rest():
    xml = line_musicxml(score("2 4 [4 | 4] 4 2", chosen=[2]))
    assert notes(xml, "line") == ["rest quarter", "C5 quarter up", "C5 half up"]
    assert texts(xml, "//tie") == []


def test_no_headings_leaves_the_words_to_the_page():
    xml = musicxml(score("4 4 4 4"), headings=False)
    assert texts(xml, "//words | //work | //metronome") == []
    assert set(texts(xml, "//part-name/@print-object")) == {"no"}


def test_systems_begin_where_they_are_told():
    assert texts(musicxml(score("1 | 1 | 1"), ("line",), systems=[2]), "//measure[print/@new-page='yes']/@number") == [
        "3"
    ]


def test_the_same_score_gives_the_same_bytes():
    assert musicxml(score("4 8 8 12 12 12 4")) == musicxml(score("4 8 8 12 12 12 4"))


@pytest.mark.parametrize(
    ("meter", "beams"),
    [
        ("7/8", "begin end begin end begin continue end"),
        ("5/8", "begin end begin continue end"),
        ("2/2", "begin continue continue end begin continue continue end"),
        ("9/8", "begin continue end begin continue end begin continue end"),
        ("3/8", "begin continue end"),
    ],
)
def test_other_meters_are_beamed_by_their_beats(meter, beams):
    """Seven eighths as 2 + 2 + 3: common practice, no source."""
    odd = parse_groove(f'name="o"\ntitle="O"\nmeter="{meter}"\ntempo=[40, 200]\n[ride]\ncounts="1 2"')
    eighths = " ".join(["8"] * int(odd.meter.length * 2))
    xml = musicxml(write_score("x", odd, 100, parse_values(eighths, odd.meter), [SNARE]))
    assert texts(xml, "part[@id='line']//beam/text()") == beams.split()
    assert_valid(xml)


def test_a_rest_of_three_sixteenths_is_no_triplet():
    xml = musicxml(score("8r 16r 16 2.r", played_on=FEET_READ), ("drums",))
    feet = [note for note in notes(xml, "drums") if "up" not in note]
    assert feet[:3] == ["rest eighth", "rest 16th", "F4 16th down"]
    assert feet[3:] == ["D4 x quarter down", "rest quarter", "D4 x quarter down"]


def test_a_groove_without_feet_has_one_voice():
    hands = parse_groove('name="h"\ntitle="H"\nmeter="4/4"\ntempo=[40, 200]\n[ride]\ncounts="1 2 3 4"')
    xml = musicxml(write_score("x", hands, 100, parse_values("1r", hands.meter), [SNARE]), ("drums",))
    assert texts(xml, "//voice/text()") == ["1"] * 4
    assert_valid(xml)


def test_hands_as_close_as_a_32nd_and_a_triplet_are_still_written():
    xml = musicxml(score("16. 32 8 12 12 12 2r", "straight-eighths"), ("drums",))
    assert_valid(xml)


# --- read by others -----------------------------------------------------------------------------


def bar_of(meter: Meter) -> st.SearchStrategy[str]:
    """A bar of cells that fill this meter."""
    if meter.unit == 8:
        return st.lists(st.sampled_from(DOTTED), min_size=meter.pulses, max_size=meter.pulses).map(" ".join)
    quarters = st.lists(st.sampled_from(QUARTERS), min_size=meter.count, max_size=meter.count)
    halves = st.lists(st.sampled_from(HALVES), min_size=meter.count // 2, max_size=meter.count // 2)
    odd = st.sampled_from(QUARTERS) if meter.count % 2 else st.just("")
    return st.one_of(quarters.map(" ".join), st.tuples(halves.map(" ".join), odd).map(" ".join)).map(str.strip)


READINGS = (
    SNARE,
    PlayedOn("bass drum", "snare"),
    PlayedOn("snare", "snare", gaps="bass drum"),
    PlayedOn("snare", "snare", alternate=True),
    PlayedOn("ride", "ride"),
)


@st.composite
def lessons(draw) -> tuple[str, str, PlayedOn]:
    name = draw(st.sampled_from(GROOVES))
    meter = groove(name).meter
    bars = draw(st.lists(bar_of(meter), min_size=1, max_size=3))
    for place in range(len(bars) - 1):
        last, first = bars[place].split()[-1], bars[place + 1].split()[0]
        if draw(st.booleans()) and last.isdigit() and first.isdigit() and int(last) % 3 and int(first) % 3:
            bars[place] = " ".join([*bars[place].split()[:-1], f"[{last}"])
            bars[place + 1] = " ".join([f"{first}]", *bars[place + 1].split()[1:]])
    return " | ".join(bars), name, draw(st.sampled_from(READINGS))


def expected_line(written: Score) -> list[tuple[Fraction, Fraction]]:
    start = written.meter.length
    return [(note.bar * start + note.onset, note.length) for note in line_notes([bar.line for bar in written.bars])]


def expected_strokes(written: Score) -> set[tuple[Fraction, str]]:
    """Where each instrument is struck: the & of a beat with triplets, but no sixteenths, counts as let in swing."""
    found = set()
    for index, bar in enumerate(written.bars):
        for stroke in bar.strokes:
            beat = [other.onset.denominator for other in bar.strokes if int(other.onset) == int(stroke.onset)]
            let = 3 in beat and max(beat) < 4 and stroke.onset.denominator == 2 and written.groove.swing != "straight"
            onset = int(stroke.onset) + Fraction(2, 3) if let and written.meter.unit == 4 else stroke.onset
            found.add((index * written.meter.length + onset, stroke.instrument))
    return found


def quarters(value: float | Fraction) -> Fraction:
    return Fraction(value).limit_denominator(48)


@settings(max_examples=25, deadline=None)
@given(lessons())
def test_music21_reads_the_same_onsets_and_durations(lesson):
    written = score(*lesson)
    import music21

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # music21 knows no name for the ride's key
        read = music21.converter.parse(musicxml(written), format="musicxml")
    line, drums = read.parts
    tied = line.stripTies().flatten().notes
    assert [(quarters(note.offset), quarters(note.duration.quarterLength)) for note in tied] == expected_line(written)
    steps = {"F5": "ride", "C5": "snare", "F4": "bass drum", "D4": "hi-hat", "G5": "closed hi-hat"}
    heads = [
        (
            quarters(chord.offset),
            "cross-stick" if note.displayName == "C5" and note.notehead == "x" else steps[note.displayName],
        )
        for chord in drums.flatten().notes
        for note in getattr(chord, "notes", (chord,))
    ]
    assert sorted(heads) == sorted(expected_strokes(written))
    for voice in drums.recurse().getElementsByClass("Voice"):
        assert quarters(voice.highestTime) == written.meter.length
    for bar in [*line.getElementsByClass("Measure"), *drums.getElementsByClass("Measure")]:
        assert quarters(bar.highestTime) == written.meter.length


@settings(max_examples=40, deadline=None)
@example(("6 6 6 2", "bossa-nova", PlayedOn("ride", "ride")))  # a beam once left a triplet midway
@given(lessons())
def test_verovio_reads_the_same_onsets_and_durations_and_the_schema_holds(lesson):
    written = score(*lesson)
    import verovio

    xml = musicxml(written)
    assert_valid(xml)
    verovio.enableLog(verovio.LOG_OFF)
    toolkit = verovio.toolkit()
    assert toolkit.loadData(xml.decode())
    on, off = {}, {}
    for moment in toolkit.renderToTimemap():
        on |= dict.fromkeys(moment.get("on", []), quarters(moment["qstamp"]))
        off |= dict.fromkeys(moment.get("off", []), quarters(moment["qstamp"]))
    for start, end in reversed(tied_pairs(toolkit.getMEI())):
        off[start] = off[end]
        del on[end]
    line = [(on[name], off[name] - on[name]) for name in on if name.startswith("line")]
    assert sorted(line) == expected_line(written)
    heads = {(on[name], name.split("-", 3)[3].replace("-", " ")) for name in on if name.startswith("drums")}
    assert heads == {(onset, name.replace("-", " ")) for onset, name in expected_strokes(written)}
    lengths = drum_lengths(xml)
    assert {name: off[name] - on[name] for name in on if name.startswith("drums")} == lengths


def tied_pairs(mei: str) -> list[tuple[str, str]]:
    """The ids of the notes that verovio ties, in order."""
    ties = etree.fromstring(mei.encode()).iter("{http://www.music-encoding.org/ns/mei}tie")
    return [(tie.get("startid")[1:], tie.get("endid")[1:]) for tie in ties]


def drum_lengths(xml: bytes) -> dict[str, Fraction]:
    """Each drum note's written length, from its type, dots and triplet: not from its duration."""
    types = {
        "whole": 4,
        "half": 2,
        "quarter": 1,
        "eighth": Fraction(1, 2),
        "16th": Fraction(1, 4),
        "32nd": Fraction(1, 8),
    }
    found = {}
    for note in tree(xml).iterfind("part[@id='drums']/measure/note[@id]"):
        length = types[note.findtext("type")] * (2 - Fraction(1, 2 ** len(note.findall("dot"))))
        found[note.get("id")] = length * (Fraction(2, 3) if note.find("time-modification") is not None else 1)
    return found


def test_music21_plays_a_repeated_bar_as_often_as_asked():
    import music21

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        read = music21.converter.parse(line_musicxml(score("4 4 2 | 1", repeat_each=3)), format="musicxml")
    played = read.parts[0].expandRepeats().flatten().notes
    assert [note.quarterLength for note in played] == [1, 1, 2] * 3 + [4] * 3


@pytest.mark.parametrize(("values", "name", "longest"), [("2 2 | 1", "swing", 1), ("4. 4. 4. 4.", "twelve-eight", 1.5)])
def test_crosses_last_a_beat_at_most(values, name, longest):
    # A hollow cross of a half note is drawn as another instrument.
    drums = tree(musicxml(score(values, name, played_on=PlayedOn("ride", "ride")))).xpath("//part")[-1]
    divisions = int(drums.xpath("string(.//divisions)"))
    crosses = drums.xpath(".//note[notehead='x' and not(chord)]/duration/text()")
    assert crosses
    assert max(map(int, crosses)) <= longest * divisions


def lower_voice(written: Score) -> list[tuple[str, str, bool]]:
    """What the feet play in the first bar: rest or note, its type, whether it is of a triplet."""
    notes = tree(musicxml(written)).xpath("//part[last()]/measure[1]/note[not(chord)]")
    voices = [note.xpath("string(voice)") for note in notes]
    return [
        ("rest" if note.find("rest") is not None else "note", note.xpath("string(type)"), bool(note.xpath("time-modification")))
        for note, voice in zip(notes, voices, strict=True)
        if voice == max(voices)
    ]  # fmt: skip


def test_what_reaches_into_a_beat_of_triplets_ends_before_it():
    found = lower_voice(score("4r 4. 8 4", played_on=PlayedOn("bass drum", "bass drum", gaps="snare")))
    assert found == [
        ("rest", "quarter", False),
        ("note", "quarter", False),
        ("rest", "quarter", True),
        ("note", "eighth", True),
        ("note", "quarter", False),
    ]


def test_an_upbeat_drawn_as_the_last_of_a_triplet_ends_with_its_beat():
    own = parse_groove(
        'name = "own"\ntitle = "Own"\nmeter = "4/4"\nswing = 2.0\ntempo = [60, 200]\n'
        '[ride]\ncounts = "1 2 trip let 3 trip let 4 trip let"\n[hi-hat]\ncounts = "1r & (2) & (3) & (4) &"\n'
        '["bass drum"]\ncounts = "1 2r 3 4r"\n'
    )
    bars = parse_values("8 4. 12 12 12 4", own.meter)
    found = lower_voice(write_score("x", own, 100, bars, [PlayedOn("snare", "snare")]))
    eighth, rest = ("note", "eighth", True), ("rest", "quarter", True)
    assert found[2:] == [rest, eighth, ("note", "quarter", True), eighth, rest, eighth]
