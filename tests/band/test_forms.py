import pytest
from band_bars import MAJOR, MINOR, every_form
from music21 import key as outside_key

from grooves.band.chords import pitch_class
from grooves.band.forms import KEYS, check_key, chords_text, find_form, in_key, key_fifths, parse_chords, shipped_forms
from grooves.errors import LessonError
from grooves.meter import Meter

COMMON = Meter(4, 4)


def lengths(text: str, meter: Meter = COMMON) -> list[list[str]]:
    return [[str(placed.length) for placed in bar] for bar in parse_chords(text, meter)]


def symbols(text: str) -> list[list[str]]:
    return [[placed.chord.symbol for placed in bar] for bar in parse_chords(text, COMMON)]


def test_the_forms_have_the_bars_that_their_titles_say():
    there = {name: len(find_form(name).bars) for name in shipped_forms()}
    assert there == {
        "blues": 12, "minor-blues": 12, "thirty-two": 32, "turnaround": 4, "two-chords": 4, "one-chord": 8
    }  # fmt: skip


def test_the_third_and_last_part_of_thirty_two_bars_are_as_the_first():
    bars = find_form("thirty-two").bars
    assert bars[:6] == bars[8:14] == bars[24:30]
    assert bars[8:16] == bars[24:]
    assert not set(bars[16:24]) & set(bars[:2])


def test_chords_share_the_felt_beats_of_a_bar():
    assert lengths("F7 | Cm7 F7 | F7 D7 G7 | F7 D7 Gm7 C7") == [["4"], ["2", "2"], ["2", "1", "1"], ["1"] * 4]
    assert lengths("F7 C7", Meter(3, 4)) == [["2", "1"]]
    assert lengths("F7 C7", Meter(5, 4)) == [["3", "2"]]
    assert lengths("F7 C7 | F7 - - C7", Meter(12, 8)) == [["3", "3"], ["9/2", "3/2"]]


def test_a_dash_lets_a_chord_sound_on_for_a_share_of_a_bar_or_for_one():
    assert symbols("F7 - - C7 | - | - G7") == [["F7", "C7"], ["C7"], ["C7", "G7"]]
    assert lengths("F7 - - C7 | - | - G7") == [["3", "1"], ["4"], ["2", "2"]]


def test_bar_lines_at_both_ends_are_welcome():
    assert symbols("| F7 | C7 |") == symbols("F7 | C7")


@pytest.mark.parametrize(
    "text, message",
    [
        ("", "there are no chords; write some"),
        (" | ", "there are no chords"),
        ("F7 | | C7", "bar 2: it has no chord; write one, or - for the one before"),
        ("F7 | H7", r"bar 2: 'H7' is not a chord; did you mean 'B7'\?"),
        ("- | F7", "bar 1: '-' lets the chord before it sound on, and there is none"),
        ("F7 | F7 G7 A7 B7 C7", "bar 2: 5 chords do not fit 4/4, which has 4 beats to a bar"),
        ("F7 | C7 ||", "bar 3: it has no chord"),
    ],
)
def test_chords_that_do_not_fill_bars_are_told_with_their_bar(text, message):
    with pytest.raises(LessonError, match=message):
        parse_chords(text, COMMON)


def test_two_felt_beats_hold_two_chords():
    with pytest.raises(LessonError, match="bar 1: 3 chords do not fit 6/8, which has 2 beats to a bar"):
        parse_chords("F7 C7 D7", Meter(6, 8))


@pytest.mark.parametrize("key", KEYS)
def test_a_key_has_the_signs_that_another_library_gives_it(key):  # music21's key.Key
    tonic = key.removesuffix("m").replace("b", "-")
    assert key_fifths(key) == outside_key.Key(tonic.lower() if key.endswith("m") else tonic).sharps


@pytest.mark.parametrize(
    "key, message",
    [
        ("H", r"'H' is not a key; did you mean 'B'\?"),
        ("Hm", r"'Hm' is not a key; did you mean 'Bm'\?"),
        ("f", r"did you mean 'F'\?"),
        ("G#", r"did you mean 'Ab'\?"),
        ("F major", "'F major' is not a key"),
        ("x", "write a tonic such as F, Bb or F#, with m for minor"),
        ("", "'' is not a key; write a tonic"),
    ],
)
def test_what_is_no_key_is_told_with_the_nearest(key, message):
    with pytest.raises(LessonError, match=message):
        check_key(key)


def test_a_form_in_major_takes_no_key_in_minor():
    with pytest.raises(LessonError, match="'Fm' is in minor and blues is in major; write F, or take another form"):
        find_form("blues", COMMON, "Fm")


def test_a_form_in_minor_takes_its_tonic_with_or_without_the_m():
    assert find_form("minor-blues", COMMON, "D") == find_form("minor-blues", COMMON, "Dm")
    with pytest.raises(LessonError, match=r"'H' is not a key; did you mean 'B'\?"):
        find_form("minor-blues", COMMON, "H")
    with pytest.raises(LessonError, match=r"'Dbm' is not a key; did you mean 'C#m'\?"):
        find_form("minor-blues", COMMON, "Db")


def test_in_another_key_every_root_moves_by_the_same_interval():
    home = find_form("blues")
    for key in MAJOR:
        moved = in_key(home, key)
        steps = {
            (there.chord.root - here.chord.root) % 12
            for bar, other in zip(home.bars, moved.bars, strict=True)
            for here, there in zip(bar, other, strict=True)
        }
        assert steps == {(pitch_class(key) - pitch_class("F")) % 12}


def test_a_form_in_a_meter_that_it_is_not_for_is_told_with_those_that_are():
    with pytest.raises(
        LessonError, match="thirty-two is for 4/4, 12/8, and this groove is in 3/4; in 3/4 there are blues"
    ):
        find_form("thirty-two", Meter(3, 4))
    with pytest.raises(LessonError, match="this groove is in 7/4; write chords of your own"):
        find_form("blues", Meter(7, 4))


def test_an_unknown_form_is_told_with_the_nearest():
    with pytest.raises(LessonError, match=r"'blus' is not a form; did you mean 'blues'\?, or write chords of your own"):
        find_form("blus")


def test_a_form_written_out_reads_back_the_same():
    for form in every_form():
        assert parse_chords(chords_text(form, COMMON).replace("\n", " "), COMMON) == form.bars
    bars = parse_chords("F7 - - C7 | D7 G7 C7 | - F7", COMMON)
    written = chords_text(find_form("blues").__class__("x", "x", "", bars), COMMON)
    assert parse_chords(written, COMMON) == bars


def test_every_form_says_where_it_comes_from_and_is_for_common_time():
    assert len(every_form()) == 12 * len(shipped_forms())
    assert all(form.source for form in every_form())
    assert {form.key for form in every_form() if form.name == "minor-blues"} == {f"{key}m" for key in MINOR}
