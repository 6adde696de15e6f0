"""Lines read from MusicXML. Sources: W3C MusicXML 4.0; music21 as the second reader; libxml2's limits."""

import io
import zipfile
import zlib
from collections.abc import Iterable
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from music import lesson_of

from grooves.errors import LessonError
from grooves.rhythm import Bar, Meter, parse_meter, parse_values, values_text
from render.paper.notation import musicxml
from render.reading.musicxml_file import CONTAINER
from render.reading.read_line import ImportedLine
from render.reading.read_musicxml import bars_from_musicxml

FOUR = Meter(4, 4)
TYPES = {"1": "whole", "2": "half", "4": "quarter", "8": "eighth", "16": "16th", "12": "eighth", "6": "quarter"}


def read(data: str | bytes, part: str | int | None = None, meter: Meter = FOUR) -> ImportedLine:
    return bars_from_musicxml(data.encode() if isinstance(data, str) else data, meter, part)


def values(data: str | bytes, part: str | int | None = None, meter: Meter = FOUR) -> str:
    """The line as note values, which must read back as the same line."""
    bars = read(data, part, meter).bars
    assert parse_values(values_text(bars), meter) == bars
    return values_text(bars)


def note(duration: object, inside: str = "", after: str = "", head: str = "<unpitched/>") -> str:
    """One note, its children in the schema's order: before the duration, and after it."""
    return f"<note>{inside}{head}<duration>{duration}</duration>{after}</note>"


def rest(duration: object) -> str:
    return note(duration, head="<rest/>")


def score(*bars: str, divisions: object = 2, time: str = "4/4", listing: str = "", first: str = "") -> str:
    """A score of one part whose bars are given as notes; a bar that starts with <measure is taken as it is."""
    beats, unit = time.split("/")
    head = (
        f"<attributes><divisions>{divisions}</divisions>"
        f"<time><beats>{beats}</beats><beat-type>{unit}</beat-type></time></attributes>{first}"
    )
    whole = []
    for number, bar in enumerate(bars, 1):
        opened, _, content = (
            bar.partition(">") if bar.startswith("<measure") else (f'<measure number="{number}"', "", bar)
        )
        content = content.removesuffix("</measure>")
        whole.append(f"{opened}>{head if number == 1 else ''}{content}</measure>")
    return (
        '<?xml version="1.0" encoding="UTF-8"?><!DOCTYPE score-partwise PUBLIC '
        '"-//Recordare//DTD MusicXML 4.0 Partwise//EN" "http://www.musicxml.org/dtds/partwise.dtd">'
        '<score-partwise version="4.0"><part-list>'
        f'<score-part id="P1"><part-name>Snare</part-name>{listing}</score-part></part-list>'
        f'<part id="P1">{"".join(whole)}</part></score-partwise>'
    )


QUARTERS = note(2) * 4


def two_parts(first: str = "Snare", second: str = "Claps", silent: str = "") -> str:
    """Quarters in one part, halves in the other; with `silent`, the second has only rests."""
    one = score(QUARTERS)
    other = (note(4) * 2).replace("<unpitched/>", "<rest/>" if silent else "<unpitched/>")
    part = (
        one[one.index('<part id="P1">') : one.index("</score-partwise>")]
        .replace('"P1"', '"P2"')
        .replace(QUARTERS, other)
    )
    return (
        one.replace("<part-name>Snare", f"<part-name>{first}")
        .replace("</part-list>", f'<score-part id="P2"><part-name>{second}</part-name></score-part></part-list>')
        .replace("</score-partwise>", f"{part}</score-partwise>")
    )


# --- what is read -------------------------------------------------------------------------------


def test_quarters_eighths_and_rests_are_read_as_written() -> None:
    assert values(score(note(2) + note(1) + note(1) + rest(2) + note(2))) == "4 8 8 4r 4"


def test_divisions_say_how_long_a_duration_is() -> None:
    assert values(score(note(480) + note(240) * 2 + note(960), divisions=480)) == "4 8 8 2"


def test_divisions_may_change_within_a_part() -> None:
    changed = "<attributes><divisions>4</divisions></attributes>" + note(4) * 4
    assert values(score(QUARTERS, changed)) == "4 4 4 4 | 4 4 4 4"


def test_dots_come_from_the_duration() -> None:
    assert values(score(note(3) + note(1) + note(4, after="<type>half</type>"))) == "4. 8 2"


def test_a_tie_over_the_barline_is_one_note() -> None:
    start, stop = '<tie type="start"/>', '<tie type="stop"/>'
    assert values(score(note(6) + note(2, after=start), note(2, after=stop) + note(6))) == "2. [4 | 4] 2."


def test_a_tie_drawn_but_not_declared_counts_too() -> None:
    drawn = [f'<notations><tied type="{word}"/></notations>' for word in ("start", "stop")]
    assert values(score(note(4, after=drawn[0]) + note(4, after=drawn[1]))) == "[2 2]"


def test_a_note_tied_to_a_rest_is_struck_and_reported() -> None:
    loose = score(rest(4) + note(4, after='<tie type="stop"/>'))
    assert values(loose) == "2r 2"
    assert "1 notes tied to nothing before them are struck" in read(loose).report


def test_triplets_are_read() -> None:
    triplet = "<time-modification><actual-notes>3</actual-notes><normal-notes>2</normal-notes></time-modification>"
    bar = note(2, after=triplet) * 3 + note(4, after=triplet) * 3 + note(6)
    assert values(score(bar, divisions=6)) == "12 12 12 6 6 6 4"


def test_accents_of_both_kinds_are_read() -> None:
    marks = [f"<notations><articulations><{mark}/></articulations></notations>" for mark in ("accent", "strong-accent")]
    assert values(score(note(2) + note(2, after=marks[0]) + note(2) + note(2, after=marks[1]))) == "4 4^ 4 4^"


def test_a_chord_is_one_stroke() -> None:
    assert values(score(note(2) + note(2, "<chord/>") + note(2) * 3)) == "4 4 4 4"


def test_a_chord_is_struck_when_only_some_of_it_is_tied() -> None:
    bar = note(4) + note(4, after='<tie type="stop"/>') + note(4, "<chord/>")
    assert values(score(bar)) == "2 2"


def test_a_whole_bar_of_rest_lasts_the_bar_whatever_its_duration_says() -> None:
    silent = note(99, head='<rest measure="yes"/>')
    assert values(score(note(2) * 3, silent, time="3/4"), meter=Meter(3, 4)) == "4 4 4 | 2.r"


def test_an_empty_measure_is_a_bar_of_rest() -> None:
    assert values(score(QUARTERS, "")) == "4 4 4 4 | 1r"


def test_a_rest_of_five_quarters_shows_its_beats() -> None:
    silent = note(10, head='<rest measure="yes"/>')
    assert values(score(note(2) * 5, silent, time="5/4"), meter=Meter(5, 4)) == "4 4 4 4 4 | 4r 4r 4r 4r 4r"


def test_what_forward_leaves_out_is_a_rest() -> None:
    assert values(score(note(2) + "<forward><duration>4</duration></forward>" + note(2))) == "4 2r 4"


def test_six_eight_is_read_in_six_eight() -> None:
    assert values(score(note(3) + note(2) + note(1), time="6/8"), meter=Meter(6, 8)) == "4. 4 8"


def test_cut_time_is_read_over_a_groove_in_four() -> None:
    assert values(score(QUARTERS, time="2/2")) == "4 4 4 4"


def test_a_pickup_stands_before_bar_1_at_the_end_of_its_bar() -> None:
    pickup = f'<measure number="0" implicit="yes">{note(1) * 2}</measure>'
    line = read(score(pickup, QUARTERS))
    assert values_text(line.bars) == "4 4 4 4"
    assert [(symbol.onset, symbol.length) for symbol in line.pickup] == [
        (3, Fraction(1, 2)),
        (Fraction(7, 2), Fraction(1, 2)),
    ]
    assert line.report == ("a pickup of 1 beat stands before bar 1",)


@pytest.mark.parametrize("mark", ['number="1" implicit="yes"', 'number="0"', 'number="X1" implicit="yes"'])
def test_a_pickup_is_known_by_either_mark(mark: str) -> None:
    assert len(read(score(f"<measure {mark}>{note(2)}</measure>", QUARTERS)).pickup) == 1


def test_the_last_bar_may_lack_what_the_pickup_has() -> None:
    pickup = f'<measure number="0" implicit="yes">{note(2)}</measure>'
    assert values(score(pickup, note(2) * 3)) == "4 4 4 4r"
    with pytest.raises(LessonError, match="bar 2 holds 2 beats; 4/4 needs 4"):
        read(score(pickup, note(2) * 2))


def test_a_pickup_that_only_rests_is_none() -> None:
    assert read(score(f'<measure number="0" implicit="yes">{rest(2)}</measure>', QUARTERS)).pickup == ()


def test_a_pickup_may_be_tied_into_bar_1() -> None:
    tied = note(2, after='<tie type="start"/>')
    pickup = f'<measure number="0" implicit="yes">{tied}</measure>'
    line = read(score(pickup, note(4, after='<tie type="stop"/>') + note(4)))
    assert [symbol.kind for symbol in (*line.pickup, *line.bars[0])] == ["struck", "held", "struck"]


def test_a_bar_that_a_repeat_parts_in_two_is_one_bar() -> None:
    """Three beats before the sign and one after it: the repeat goes back to the pickup, which fills the bar."""
    pickup = f'<measure number="0" implicit="yes">{note(2)}</measure>'
    first = barred(note(2) + note(4), right=BACKWARD)
    second = f'<measure number="X1" implicit="yes">{note(1) * 2}</measure>'
    line = read(score(pickup, QUARTERS, first, second, QUARTERS, note(2) * 3))
    assert values_text(line.bars) == "4 4 4 4 | 4 2 4 | 4 4 4 4 | 4 2 8 8 | 4 4 4 4 | 4 4 4 4r"
    assert any(note.startswith("bar 3 and what follows are one bar each") for note in line.report)


def test_a_measure_parted_without_a_pickup_is_one_bar_too() -> None:
    one, two = (
        f'<measure number="2">{note(2) * 2}</measure>',
        f'<measure number="X1" implicit="yes">{note(4)}</measure>',
    )
    assert values(score(QUARTERS, one, two)) == "4 4 4 4 | 4 4 2"


def test_hidden_notes_are_rests_and_said() -> None:
    hidden = note(2).replace("<note>", '<note print-object="no">')
    line = read(score(note(2) * 3 + hidden))
    assert values_text(line.bars) == "4 4 4 4r"
    assert line.report == ("hidden notes are read as rests",)


GRACE = "<note><grace/><unpitched/></note>"


def test_of_a_flam_the_main_note_is_read_and_said() -> None:
    line = read(score(note(2) + GRACE + note(2) + note(4)))
    assert values_text(line.bars) == "4 4 2"
    assert line.report == ("grace notes are left out; of a flam the main note is read",)


@pytest.mark.parametrize("beats", ["3+2", "2+3", "2+2+1"])
def test_a_sum_of_beats_is_its_whole(beats: str) -> None:
    assert values(score(note(2) * 5, time=f"{beats}/4"), meter=Meter(5, 4)) == "4 4 4 4 4"


def test_a_meter_of_two_fractions_is_its_whole() -> None:
    both = score(note(2) * 5, time="3/4").replace("</time>", "<beats>2</beats><beat-type>4</beat-type></time>")
    assert values(both, meter=Meter(5, 4)) == "4 4 4 4 4"
    with pytest.raises(LessonError, match=r"bar 1 is in 3\+3/4, but the groove is in 5/4"):
        read(score(note(2) * 6, time="3+3/4"), meter=Meter(5, 4))


TRIPLET = "<time-modification><actual-notes>3</actual-notes><normal-notes>2</normal-notes></time-modification>"


@pytest.mark.parametrize("thirds", [(33, 33, 34), (33, 33, 33), (34, 33, 33)])
def test_a_triplet_of_rounded_durations_is_read_by_its_tuplet(thirds: tuple[int, ...]) -> None:
    eighths = "".join(note(third, after=f"<type>eighth</type>{TRIPLET}") for third in thirds)
    assert values(score(eighths + note(100) * 3, divisions=100)) == "12 12 12 4 4 4"


def test_a_second_voice_is_found_though_the_first_is_rounded() -> None:
    first = "".join(note(33, after=f"<voice>1</voice><type>eighth</type>{TRIPLET}", head="<rest/>") for _ in range(3))
    back = "<backup><duration>99</duration></backup>"
    second = note(100, after="<voice>2</voice><type>quarter</type>") * 4
    assert values(score(first + back + second, divisions=100)) == "4 4 4 4"


# --- voices, parts, drums -----------------------------------------------------------------------


def test_the_lowest_voice_with_notes_is_read_and_said() -> None:
    voices = [f"<voice>{number}</voice>" for number in (1, 2, 10)]
    back = "<backup><duration>8</duration></backup>"
    bar = (
        note(8, after=voices[0], head="<rest/>") + back + note(8, after=voices[2]) + back + note(4, after=voices[1]) * 2
    )
    assert values(score(bar)) == "2 2"
    assert read(score(bar)).report == ("voice 2 of voices 2, 10",)


def voiced(*bars: str) -> str:
    """Bars of a snare and a bass drum, whose notes are given as "voice drum duration", r for a rest, b for a backup."""
    made = []
    for bar in bars:
        pieces = []
        for word in bar.split(","):
            kind, *rest_of_it = word.split()
            if kind == "b":
                pieces.append(f"<backup><duration>{rest_of_it[0]}</duration></backup>")
                continue
            drum, duration = rest_of_it
            instrument = "" if drum == "r" else f'<instrument id="{drum}"/>'
            head = "<rest/>" if drum == "r" else "<unpitched/>"
            pieces.append(note(duration, after=f"{instrument}<voice>{kind}</voice>", head=head))
        made.append("".join(pieces))
    drums = "".join(
        f'<score-instrument id="{key}"><instrument-name>{name}</instrument-name></score-instrument>'
        for key, name in (("S", "Snare"), ("B", "Bass drum"))
    )
    return score(*made, listing=drums).replace("<part-name>Snare", "<part-name>Drum set")


def test_a_drum_is_read_in_whatever_voice_it_stands() -> None:
    """The snare is in voice 1 of bar 1, in voice 2 of bar 2, and in both of bar 3."""
    data = voiced("1 S 4,1 S 4", "1 B 8,b 8,2 r 2,2 S 2,2 S 4", "1 S 4,1 B 4,b 8,2 r 4,2 S 4")
    line = read(data, "Snare")
    assert values_text(line.bars) == "2 2 | 4r 4 2 | 2 2"
    assert "voices 1 and 2 are read together, wherever the drum stands" in line.report
    assert values_text(read(data, "bass drum").bars) == "1r | 1 | 2r 2"


def test_a_drum_struck_in_two_voices_at_once_is_one_stroke_and_a_long_note_ends_at_the_next() -> None:
    data = voiced("1 S 8,b 8,2 r 4,2 S 2,2 S 2", "1 S 4,1 S 4,b 8,2 S 4,2 B 4")
    assert values_text(read(data, "Snare").bars) == "2 4 4 | 2 2"


def test_a_melody_that_moves_to_another_voice_is_one_rhythm() -> None:
    data = voiced("1 S 4,1 S 4", "1 r 8,b 8,2 S 4,2 S 2,2 S 2", "1 S 8")
    line = read(data)
    assert values_text(line.bars) == "2 2 | 2 4 4 | 1"
    assert "voices 1 and 2 are read as one rhythm; bar 2 is not in voice 1 alone" in line.report


def test_of_voices_that_sound_at_once_the_lowest_is_read() -> None:
    data = voiced("1 S 4,1 S 4,b 8,2 B 2,2 B 6", "1 r 8,b 8,2 B 8")
    assert values_text(read(data).bars) == "2 2 | 1r"
    assert "voice 1 of voices 1, 2" in read(data).report


def test_one_of_several_parts_must_be_chosen() -> None:
    with pytest.raises(LessonError, match=r'2 parts have notes \(1 Snare, 2 Claps\); choose one: part = "Snare"'):
        read(two_parts())


def test_a_part_is_chosen_by_name_or_number() -> None:
    assert values(two_parts(), "Claps") == values(two_parts(), "claps") == values(two_parts(), 2) == "2 2"
    assert values(two_parts(), 1) == values(two_parts(), "1") == "4 4 4 4"
    assert read(two_parts(), 2).report[0] == "parts: 1 Snare, 2 Claps; read: Claps"


def test_a_part_of_rests_asks_no_choice() -> None:
    assert values(two_parts(silent="yes")) == "4 4 4 4"


def test_a_part_that_is_not_there_is_answered_with_the_nearest_name() -> None:
    with pytest.raises(LessonError, match=r"no part 'Snair'; did you mean 'snare'\? The parts are 1 Snare, 2 Claps"):
        read(two_parts(), "Snair")
    with pytest.raises(LessonError, match="part 3 is not there; the parts are 1 Snare, 2 Claps"):
        read(two_parts(), 3)


def test_two_parts_of_one_name_are_told_apart_by_number() -> None:
    with pytest.raises(LessonError, match="2 parts are called 'Snare'; choose by number: 1 Snare, 2 Snare"):
        read(two_parts(second="Snare"), "Snare")


def test_a_drum_is_chosen_by_its_name_or_by_its_key() -> None:
    drums = (("a", "Tabor", 40), ("b", "Low", 36))  # key + 1, W3C MusicXML 4.0, midi-unpitched
    listing = "".join(
        f'<score-instrument id="{i}"><instrument-name>{n}</instrument-name></score-instrument>' for i, n, _ in drums
    )
    listing += "".join(
        f'<midi-instrument id="{i}"><midi-unpitched>{k + 1}</midi-unpitched></midi-instrument>' for i, _, k in drums
    )
    high, low = ('<instrument id="a"/>', '<instrument id="b"/>')
    bar = note(2, after=high) + note(2, after=low) + note(2, after=high) + note(2, "<chord/>", after=low) + rest(2)
    kit = score(bar, listing=listing).replace("<part-name>Snare", "<part-name>Kit")
    assert values(kit, "tabor") == values(kit, "snare") == "4 4r 4 4r"
    assert values(kit, "bass drum") == "4r 4 4 4r"
    assert "Low, Tabor are read as one rhythm; part may name one of them" in read(kit).report


# --- repeats ------------------------------------------------------------------------------------


def barred(content: str, left: str = "", right: str = "") -> str:
    return f'<barline location="left">{left}</barline>{content}<barline location="right">{right}</barline>'


FORWARD, BACKWARD = '<repeat direction="forward"/>', '<repeat direction="backward"/>'
HALVES, WHOLE = note(4) * 2, note(8)


def test_a_repeat_is_written_out_and_said() -> None:
    repeated = score(QUARTERS, barred(HALVES, left=FORWARD), barred(WHOLE, right=BACKWARD))
    assert values(repeated) == "4 4 4 4 | 2 2 | 1 | 2 2 | 1"
    assert read(repeated).report == ("repeats and jumps written out: 3 bars became 5",)


def test_a_repeat_may_be_played_three_times_and_go_back_to_the_beginning() -> None:
    assert values(score(barred(HALVES, right=BACKWARD.replace("/>", ' times="3"/>')), WHOLE)) == "2 2 | 2 2 | 2 2 | 1"


def test_first_and_second_endings_are_played_in_turn() -> None:
    def ending(number: str, kind: str) -> str:
        return f'<ending number="{number}" type="{kind}"/>'

    first = barred(HALVES, left=ending("1", "start"), right=ending("1", "stop") + BACKWARD)
    second = barred(WHOLE, left=ending("2", "start"), right=ending("2", "discontinue"))
    assert values(score(QUARTERS, first, second, QUARTERS)) == "4 4 4 4 | 2 2 | 4 4 4 4 | 1 | 4 4 4 4"
    assert values(score(QUARTERS, first, WHOLE)) == "4 4 4 4 | 2 2 | 4 4 4 4 | 1"


# --- what cannot be read, with its bar ------------------------------------------------------------


def styled(style: str) -> str:
    return f"<attributes><measure-style>{style}</measure-style></attributes>"


FIVE = "<time-modification><actual-notes>5</actual-notes><normal-notes>4</normal-notes></time-modification>"
THREE = "<attributes><time><beats>3</beats><beat-type>4</beat-type></time></attributes>"
LONG_AGO = "<backup><duration>2</duration></backup>"
# --- jumps ----------------------------------------------------------------------------------------


def said(words: str, sound: str = "", sign: str = "") -> str:
    """A direction with words or a sign, and the attribute by which it sounds."""
    kind = f"<{sign}/>" if sign else f"<words>{words}</words>"
    return f"<direction><direction-type>{kind}</direction-type>{f'<sound {sound}/>' if sound else ''}</direction>"


A, B, C, D = note(8), note(4) * 2, note(2) * 4, note(1) * 8  # a whole, halves, quarters, eighths
JUMPS = [
    ("d.c. al fine", [A, B + said("Fine"), C + said("D.C. al Fine")], "ABCAB"),
    ("da capo", [A, B, said("Da Capo") + C], "ABCABC"),
    ("sound alone", [A, B + '<sound fine="yes"/>', C + '<sound dacapo="yes"/>'], "ABCAB"),
    ("d.s. al fine", [A, said("", sign="segno") + B + said("Fine"), C + said("D.S. al Fine")], "ABCB"),
    (
        "d.s. al coda",
        [A, said("", sign="segno") + B, C + said("To Coda"), D + said("D.S. al Coda"), said("", sign="coda") + A],
        "ABCDBCA",
    ),
    ("d.c. al coda by signs", [A, B + said("", sign="coda"), C + said("D.C. al Coda"), said("Coda") + D], "ABCABD"),
]


@pytest.mark.parametrize(
    ("bars", "order"), [(bars, order) for _, bars, order in JUMPS], ids=[name for name, *_ in JUMPS]
)
def test_jumps_are_followed(bars: list[str], order: str) -> None:
    lines = {"A": "1", "B": "2 2", "C": "4 4 4 4", "D": "8 8 8 8 8 8 8 8"}
    assert values(score(*bars)) == " | ".join(lines[letter] for letter in order)
    assert f"repeats and jumps written out: {len(bars)} bars became {len(order)}" in read(score(*bars)).report


@pytest.mark.parametrize("name", ["d.c. al fine", "da capo", "d.s. al fine"])
def test_jumps_are_followed_as_music21_follows_them(name: str) -> None:
    bars = next(bars for one, bars, _ in JUMPS if one == name)
    assert sounding(read(score(*bars)).bars) == music21_reading(score(*bars).encode(), expand=True)


def test_after_a_jump_repeats_are_not_taken_and_the_last_ending_is_played() -> None:
    first = barred(C, left='<ending number="1" type="start"/>', right='<ending number="1" type="stop"/>' + BACKWARD)
    second = barred(D, left='<ending number="2" type="start"/>', right='<ending number="2" type="stop"/>')
    back = said("D.C. al Fine")
    line = score(barred(A, left=FORWARD), first, second, B + said("Fine"), A + back)
    assert values(line).replace(" ", "") == "1|4444|1|88888888|22|1|1|88888888|22"


@pytest.mark.parametrize(
    ("bar", "message"),
    [
        (said("D.S.") + QUARTERS, "bar 2 jumps to the segno, but no bar before it has one"),
        (said("D.C. al Coda") + QUARTERS, "bar 2 goes to the coda, but no bar after bar 2 has its sign"),
        (said("D.C. al Fine") + QUARTERS, "bar 2 goes back to play as far as the fine, but no bar has one"),
        (said("To Coda") + QUARTERS, "bar 2 goes to the coda, but nothing jumps back before it"),
        (said("D.C. e poi la coda") + QUARTERS, "bar 2: 'D.C. e poi la coda' is a jump that is not known here"),
        (said("D.C.") + said("D.S.") + said("", sign="segno") + QUARTERS, r"bar 2 jumps \(dal segno\), and bar 2 too"),
    ],
)
def test_a_jump_that_leads_nowhere_is_refused_with_its_bar(bar: str, message: str) -> None:
    with pytest.raises(LessonError, match=message):
        read(score(QUARTERS, bar))


# --- what cannot be read -----------------------------------------------------------------------

CANNOT = [
    (note(2) + note(6, after=FIVE), "bar 2, beat 2: a tuplet of 5 in the time of 4 cannot be read"),
    (THREE + note(2) * 3, "bar 2 is in 3/4, but the groove is in 4/4"),
    ("<attributes><time><senza-misura/></time></attributes>" + QUARTERS, "bar 2 is in no meter"),
    (note(2) * 3, "bar 2 holds 3 beats; 4/4 needs 4; fill it with rests"),
    (note(2) * 5, r"bar 2 holds 5 beats; 4/4 needs 4 \(1 too many\)"),
    (note("0.0625") + note("7.9375"), "bar 2, beat 1: a length of 1/32 quarters cannot be read"),
    (note(-2), "bar 2: a duration of '-2' is not a length"),
    (note(0), "bar 2: a duration of '0' is not a length"),
    (note("two"), "bar 2: a duration of 'two' is not a length"),
    (note("9" * 300), "bar 2: a duration of '9+…9+' is not a length"),
    (note("1e9"), "bar 2: a duration of '1e9' is not a length"),
    (LONG_AGO + QUARTERS, "bar 2 steps back over its own start"),
    (note(2, "<chord/>"), "bar 2 begins with a chord's second note"),
    (note(2) * 2 + LONG_AGO.replace("2", "1") + note(5), "bar 2, beat 2&: two notes of one voice overlap"),
    (styled('<measure-repeat type="start">1</measure-repeat>'), "bar 2 has a repeat-bar sign"),
    (styled('<slash type="start"/>'), "bar 2 has slash notation"),
    ("<attributes><divisions>0</divisions></attributes>" + QUARTERS, "bar 2: divisions of '0'"),
    ("<attributes><divisions>-4</divisions></attributes>" + QUARTERS, "bar 2: divisions of '-4'"),
    (barred(QUARTERS, right=BACKWARD.replace("/>", ' times="1000000"/>')), "a repeat is played '1000000' times"),
    (barred(QUARTERS, left='<ending number="x" type="start"/>'), "bar 2: 'x' is not the number of an ending"),
]  # fmt: skip


@pytest.mark.parametrize(("bar", "message"), CANNOT, ids=[message[:40] for _, message in CANNOT])
def test_what_cannot_be_read_is_named_with_its_bar(bar: str, message: str) -> None:
    with pytest.raises(LessonError, match=message):
        read(score(QUARTERS, bar))


def test_a_grace_note_of_another_voice_does_no_harm() -> None:
    grace = "<note><grace/><unpitched/><voice>2</voice></note>"
    assert values(score(grace + QUARTERS)) == "4 4 4 4"


def test_a_triplet_that_is_not_complete_is_refused() -> None:
    with pytest.raises(LessonError, match="bar 1, beat 1trip: the triplet before it is not complete"):
        read(score(note(2) + note(3) + note(19), divisions=6))


def test_cue_notes_and_rolls_are_read_simply_and_said() -> None:
    roll = "<notations><ornaments><tremolo>3</tremolo></ornaments></notations>"
    both = score(note(4, after=roll) + note(4, "<cue/>"))
    assert values(both) == "2 2r"
    assert read(both).report == ("rolls and tremolos are read as one stroke", "cue notes are read as rests")


def test_a_score_in_another_meter_than_the_groove_is_refused() -> None:
    with pytest.raises(LessonError, match="bar 1 is in 4/4, but the groove is in 3/4"):
        read(score(QUARTERS), meter=Meter(3, 4))


def test_a_first_bar_that_is_short_and_not_marked_is_refused() -> None:
    with pytest.raises(LessonError, match=r"bar 1 holds 1 beat; 4/4 needs 4; .* or mark it as a pickup"):
        read(score(note(2), QUARTERS))


def test_divisions_that_never_come_are_refused() -> None:
    with pytest.raises(LessonError, match="bar 1 comes before its divisions are said"):
        read(score(QUARTERS).replace("<divisions>2</divisions>", ""))


# --- against a second reader ----------------------------------------------------------------------


def sounding(bars: Iterable[Bar]) -> list[tuple[Fraction, Fraction]]:
    """Struck notes from the line's beginning, ties joined: onset and length."""
    found: list[tuple[Fraction, Fraction]] = []
    start = Fraction(0)
    for bar in bars:
        for symbol in bar:
            if symbol.kind == "struck":
                found.append((start + symbol.onset, symbol.length))
            elif symbol.kind == "held":
                found[-1] = (found[-1][0], found[-1][1] + symbol.length)
        start += bar[-1].end
    return found


def music21_reading(data: bytes, expand: bool = False) -> list[tuple[Fraction, Fraction]]:
    import music21

    part = music21.converter.parseData(data, format="musicxml").parts[0]
    part = part.expandRepeats() if expand else part
    notes = part.stripTies().flatten().notes
    return [(Fraction(n.offset), Fraction(n.quarterLength)) for n in notes]


def music21_writing(line: str, meter: str = "4/4", repeat: bool = False) -> bytes:
    """A score as music21 exports it: its own divisions, beams, ids and pitches."""
    import music21

    part = music21.stream.Part()
    last: Any = None
    for number, bar in enumerate(parse_values(line, parse_meter(meter)), 1):
        measure = music21.stream.Measure(number=number)
        if number == 1:
            measure.timeSignature = music21.meter.TimeSignature(meter)
            measure.leftBarline = music21.bar.Repeat("start") if repeat else None
        for symbol in bar:
            made: Any = music21.note.Rest() if symbol.kind == "rest" else music21.note.Note("C5")
            made.quarterLength = symbol.length
            if symbol.kind == "held":
                made.tie = music21.tie.Tie("stop")
                last.tie = music21.tie.Tie("start")
            if symbol.accent:
                made.articulations.append(music21.articulations.Accent())
            measure.append(made)
            last = made
        part.append(measure)
    if repeat:
        measure.rightBarline = music21.bar.Repeat("end")
    return bytes(music21.musicxml.m21ToXml.GeneralObjectExporter(music21.stream.Score([part])).parse())


FOREIGN = [
    ("4 8 8 4. 8 | 8 4 4 4 8", "4/4"),
    ("12 12 12 4 6 6 6 | 16 8 16 8. 16 2r", "4/4"),
    ("2 4 [4 | 4] 8r 8^ 2", "4/4"),
    ("2. | 4 4r 8 8", "3/4"),
    ("4. 8 8 8 | 4 8 4.", "6/8"),
    ("4 4 4 4 8 8 | 2. 2", "5/4"),
]


@pytest.mark.parametrize(("line", "meter"), FOREIGN)
def test_a_score_exported_by_music21_is_read_as_it_was_and_as_music21_reads_it(line: str, meter: str) -> None:
    data = music21_writing(line, meter)
    assert values(data, meter=parse_meter(meter)) == line
    assert sounding(read(data, meter=parse_meter(meter)).bars) == music21_reading(data)


def test_a_repeat_exported_by_music21_is_written_out_as_music21_does() -> None:
    data = music21_writing("4 4 2 | 2 8 8 4", repeat=True)
    assert values(data) == "4 4 2 | 2 8 8 4 | 4 4 2 | 2 8 8 4"
    assert sounding(read(data).bars) == music21_reading(data, expand=True)


@pytest.mark.parametrize(
    "data",
    [
        score(note(2) + note(1) + note(1) + rest(2) + note(2)),
        score(note(4) + note(4, after='<tie type="start"/>'), note(2, after='<tie type="stop"/>') + note(6)),
        score(note(480) + "<forward><duration>960</duration></forward>" + note(240) * 2, divisions=480),
        score(f'<measure number="0" implicit="yes">{rest(6)}{note(2)}</measure>', QUARTERS),
    ],
    ids=["plain", "tied", "forward", "pickup written out"],
)
def test_literal_scores_are_read_as_music21_reads_them(data: str) -> None:
    assert sounding(read(data).bars) == music21_reading(data.encode())


@pytest.mark.parametrize("line", ["4 8 8 4. 8 | 8 4 [8 8] 4 8", "12 12 12 6 6 6 4r | 16 8 16 4^ [2 | 4] 4r 2r"])
def test_our_own_score_reads_back_as_the_same_line(line: str) -> None:
    data = musicxml(lesson_of(line).score)
    assert values(data) == values(data, "Line") == line
    assert read(data).report[0] == "parts: 1 Line, 2 Drum set; read: Line"


# --- hostile files --------------------------------------------------------------------------------


def packed(members: dict[str, bytes | str], method: int = zipfile.ZIP_DEFLATED) -> bytes:
    data = io.BytesIO()
    with zipfile.ZipFile(data, "w", method) as archive:
        for name, content in members.items():
            archive.writestr(name, content)
    return data.getvalue()


def container(path: str) -> str:
    return f'<?xml version="1.0"?><container><rootfiles><rootfile full-path="{path}"/></rootfiles></container>'


def test_a_compressed_score_is_read() -> None:
    mxl = packed(
        {
            "mimetype": "application/vnd.recordare.musicxml",
            CONTAINER: container("s/line.xml"),
            "s/line.xml": score(HALVES),
        }
    )
    assert values(mxl) == "2 2"


def test_a_score_in_utf_16_is_read() -> None:
    assert values(score(HALVES).replace("UTF-8", "UTF-16").encode("utf-16")) == "2 2"


TENFOLD = "".join(f'<!ENTITY {b} "{f"&{a};" * 10}">' for a, b in zip("abcdefghi", "bcdefghij", strict=True))
LAUGHS = f'<!DOCTYPE score-partwise [<!ENTITY a "ha">{TENFOLD}]><score-partwise>&j;</score-partwise>'


@pytest.mark.parametrize("encoding", ["utf-8", "utf-16", "utf-16-le", "utf-32"])
def test_an_entity_bomb_is_refused(encoding: str) -> None:
    with pytest.raises(LessonError, match=r"declares entities|neither MusicXML"):
        read(LAUGHS.encode(encoding))


@pytest.mark.parametrize("address", ["file:///etc/passwd", "http://127.0.0.1:9/x", "/etc/passwd"])
def test_an_external_entity_is_refused(address: str) -> None:
    entity = f'<!DOCTYPE score-partwise [<!ENTITY x SYSTEM "{address}">]><score-partwise>&x;</score-partwise>'
    with pytest.raises(LessonError, match="declares entities in its DOCTYPE"):
        read(entity)


def test_a_dtd_is_never_loaded(tmp_path: Path) -> None:
    dtd = tmp_path / "x.dtd"
    dtd.write_text('<!ENTITY name "Loaded">')
    data = score(QUARTERS).replace("http://www.musicxml.org/dtds/partwise.dtd", dtd.as_uri())
    with pytest.raises(LessonError) as wrong:
        read(data.replace("<part-name>Snare", "<part-name>&name;"), "Harbour")
    assert "Loaded" not in str(wrong.value)


REFUSED = [
    (b"", "neither MusicXML"),
    (b"harbour", "neither MusicXML"),
    (bytes(range(256)), "neither MusicXML"),
    ("<score-timewise/>", "is a timewise score; save it as partwise"),
    ("<opus/>", "begins with 'opus', not score-partwise"),
    ("<score-partwise><part-list>", r"is damaged or not MusicXML \(line 1\)"),
    ("<score-partwise/>", "there are no notes in it"),
    (f"<score-partwise>{'<part/>' * 300_000}</score-partwise>", "has 300000 parts"),
    (score(note(1) * 150_000), "bar 1 holds more than 1000 notes"),
    ('<score-partwise><part id="P1"/></score-partwise>', "there are no notes in it"),
    (score(rest(8)), "there are no notes in it"),
    ("<a>" * 300 + "</a>" * 300, "is damaged or not MusicXML"),
    ("<a>" * 200_000, "is damaged or not MusicXML"),
    ('<?xml version="1.0" encoding="UTF-7"?><score-partwise/>', "in the encoding 'utf-7'; export it in UTF-8"),
    ('<?xml version="1.0" encoding="nothing"?><score-partwise/>', "in the encoding 'nothing'"),
    (score(QUARTERS).encode().replace(b"Snare", b"\xff\xfe\xfd"), "is damaged or not MusicXML"),
    (score(*["<note/>"] * 1001), "the part has 1001 bars; a line has at most 1000"),
    (score(*[barred(note(8, after=""), right=BACKWARD.replace("/>", ' times="99"/>'))] * 11), "more than 1000 bars"),
    (b"<" + b" " * 10_000_001, "more than 10 MB of music"),
    (b"PK\x03\x04 not an archive", "is a damaged compressed score"),
    (packed({"a": "b"}), f"'{CONTAINER}' is not in it"),
    (packed({CONTAINER: "<container/>"}), "does not say where its score is"),
    (packed({CONTAINER: container("gone.xml")}), "'gone.xml' is not in it"),
    (packed({CONTAINER: container("../../etc/passwd")}), "which is outside the archive"),
    (packed({CONTAINER: container("/etc/passwd")}), "which is outside the archive"),
    (packed({CONTAINER: container("a"), "a": score(QUARTERS), "../b": ""}), "points outside the archive"),
    (packed({CONTAINER: container("a"), "a": score(QUARTERS), "/b": ""}), "points outside the archive"),
    (packed({CONTAINER: container("a"), "a": score(QUARTERS), "C:\\b": ""}), "points outside the archive"),
    (packed({CONTAINER: container("a"), "a": packed({"b": "c"})}), "holds another archive where its score should be"),
    (packed({CONTAINER: container("a"), "a": LAUGHS}), "declares entities"),
    (packed({CONTAINER: LAUGHS, "a": score(QUARTERS)}), "declares entities"),
    (packed({CONTAINER: container("a"), "a": b"<a>" + b" " * 9_000_000}), "more than 200 times its size"),
    (packed({CONTAINER: container("a"), "a": b" " * 200_000_000}), "unpacks to more than 10 MB"),
    (packed({CONTAINER: " " * 200_000}), "unpacks to more than 0.1 MB"),
    (packed({CONTAINER: container("a")}, zipfile.ZIP_LZMA), "packed in a way that scores are not"),
    (packed({f"{n}": "" for n in range(1001)}), "an archive of 1001 files"),
]  # fmt: skip


@pytest.mark.parametrize(
    ("data", "message"), REFUSED, ids=[f"{n} {message[:30]}" for n, (_, message) in enumerate(REFUSED)]
)
def test_a_hostile_or_damaged_score_is_refused_with_one_message(data: bytes | str, message: str) -> None:
    with pytest.raises(LessonError, match=message):
        read(data)


def test_an_archive_that_lies_about_its_size_is_refused() -> None:
    """A header that says 10 bytes; the reader stops at what it says, and the checksum does not fit."""
    honest = packed({CONTAINER: container("a"), "a": b"<a>" + b" " * 3_000_000})
    lying = honest.replace((3_000_003).to_bytes(4, "little"), (10).to_bytes(4, "little"))
    assert lying != honest and zlib.crc32(lying) != zlib.crc32(honest)
    with pytest.raises(LessonError, match="damaged compressed score"):
        read(lying)


def test_lengths_that_multiply_denominators_are_refused() -> None:
    many = "".join(f"<attributes><divisions>{1_000_003 + 2 * n}</divisions></attributes>{note(1)}" for n in range(50))
    with pytest.raises(LessonError, match="bar 2 has lengths that fit no grid"):
        read(score(QUARTERS, many))


def test_foreign_names_cannot_garble_a_message() -> None:
    odd = two_parts(first="\u202eSnare&#10;" + "x" * 500)
    with pytest.raises(LessonError) as wrong:
        read(odd)
    assert "\n" not in str(wrong.value) and "\u202e" not in str(wrong.value) and len(str(wrong.value)) < 200


VALID = [
    score(note(2) + note(1) * 2 + rest(4), QUARTERS).encode(),
    score(barred(HALVES, left=FORWARD, right=BACKWARD)).encode(),
    two_parts().encode(),
    packed({CONTAINER: container("a"), "a": score(HALVES)}),
]


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.binary(max_size=400))
def test_random_bytes_raise_nothing_but_a_mistake(data: bytes) -> None:
    for lead in (b"", b"<", b"PK\x03\x04", b"\xff\xfe<\0"):
        with pytest.raises(LessonError):
            read(lead + data)


@settings(max_examples=400, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.sampled_from(VALID), st.data())
def test_a_damaged_score_is_read_legally_or_refused(valid: bytes, data: st.DataObject) -> None:
    """Bytes changed, left out or doubled anywhere; what is still read must be legal bars."""
    mutated = bytearray(valid)
    for _ in range(data.draw(st.integers(1, 4))):
        at = data.draw(st.integers(0, len(mutated) - 1))
        change = data.draw(st.sampled_from(["byte", "cut", "double", "digit"]))
        size = data.draw(st.integers(1, 60))
        if change == "byte":
            mutated[at] = data.draw(st.integers(0, 255))
        elif change == "cut":
            del mutated[at : at + size]
        elif change == "double":
            mutated[at:at] = mutated[at : at + size]
        else:
            mutated = bytearray(
                bytes(mutated).replace(
                    b">2<", data.draw(st.sampled_from([b">0<", b">-1<", b">3<", b">7.5<", b"><"])), 1
                )
            )
        if not mutated:
            break
    try:
        bars = read(bytes(mutated), 1).bars
    except LessonError:
        return
    assert parse_values(values_text(bars), FOUR) == bars
