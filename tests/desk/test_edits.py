"""Changes of a lesson's text: what they write, what they leave alone, what they refuse."""

import tempfile
import tomllib
from fractions import Fraction
from pathlib import Path

import pytest
from desk_lessons import BESIDE, LESSON, lesson_with
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule

from grooves.counts import parse_counts
from grooves.errors import LessonError
from grooves.rhythm import parse_values, values_text
from render.desk.edits import edited
from render.desk.folder import Folder
from render.desk.line_text import line_of, meter_of
from render.desk.places import TICKS, beats, marks_of
from render.desk.view import view
from render.lesson.term_record import hash_of_bytes


def after(lesson, /, **change):
    return edited(lesson, BESIDE, change)


def line(text):
    return values_text(line_of(text, BESIDE).bars)


# --- what is left alone ---------------------------------------------------------------------------


def test_a_touch_changes_one_bar_and_no_other_sign_of_the_file():
    changed = after(LESSON, kind="touch", bar=3, tick=0)
    assert changed == LESSON.replace("8 4. 2r", "8r 4. 2r")


def test_a_bar_that_stood_for_the_one_before_is_written_out_where_that_one_changes():
    assert '"4 4 8 8 4 | 4 4r 4 4 | 8 8 4 4r 4 | 8 4. 2r"' in after(LESSON, kind="values", bar=1, text="4 4r 4 4")


def test_a_key_keeps_its_comment_and_its_place():
    changed = after(LESSON, kind="set", key=["tempo"], value=96)
    assert changed == LESSON.replace("tempo  = 100", "tempo  = 96")
    changed = after(LESSON, kind="set", key=["feel", "timing_ms"], value=2.5)
    assert changed == LESSON.replace("timing_ms = 4.0", "timing_ms = 2.5")


def test_a_new_key_stands_in_its_table_and_can_go_again():
    changed = after(LESSON, kind="set", key=["choruses"], value=3)
    assert tomllib.loads(changed)["choruses"] == 3
    assert after(changed, kind="set", key=["choruses"], value=None) == LESSON
    banded = after(LESSON, kind="set", key=["band", "form"], value="blues")
    assert tomllib.loads(banded)["band"] == {"form": "blues"}
    assert tomllib.loads(after(banded, kind="set", key=["band"], value=None)) == tomllib.loads(LESSON)


def test_who_reads_may_be_a_table():
    value = {"long": "bass drum", "short": "snare"}
    changed = after(LESSON, kind="set", key=["line", "played_on"], value=value)
    assert tomllib.loads(changed)["line"]["played_on"] == value
    assert "played_on = {" in changed


def test_a_note_of_several_lines_stands_between_triple_quotes():
    changed = after(LESSON, kind="set", key=["note"], value="Count aloud.\nThen softer.")
    assert 'note = """\nCount aloud.\nThen softer."""' in changed
    assert view(changed, BESIDE)["tables"]["note"] == "Count aloud.\nThen softer."


def test_a_note_may_hold_any_sign():
    for words in ('say "one"', "back\\slash", "tab\there", '"""', "é 𝄽", "'''", '\\\n"x"'):
        changed = after(LESSON, kind="set", key=["note"], value=words)
        assert tomllib.loads(changed)["note"] == words


def test_a_line_in_counts_stays_in_counts():
    text = lesson_with('counts = "1 2 3 4 | 1 & 2 3 4"  # aloud')
    assert 'counts = "1 & 2 3 4 | 1 & 2 3 4"  # aloud' in after(text, kind="touch", bar=0, tick=48)


def test_a_line_in_counts_becomes_values_where_a_place_has_no_count():
    text = lesson_with('counts = "1 2 3 4"')
    assert tomllib.loads(after(text, kind="values", bar=0, text="24 24 24 24 24 24 4 2"))["line"] == {
        "values": "24 24 24 24 24 24 4 2"
    }


def test_rows_of_bars_stay_rows():
    text = lesson_with('values = """\n4 4 4 4 | 2 2 |\n1 | 1r\n"""')
    assert 'values = """\n8 8 4 4 4 | 2 2 |\n1 | 1r\n"""' in after(text, kind="touch", bar=0, tick=48)


def test_a_longer_line_stands_on_rows_of_four_bars():
    changed = after(LESSON, kind="copy bar", bar=0)
    assert 'values = """\n4 4 8 8 4 | 4 4 8 8 4 | 8 8 4 4r 4 | 8 8 4 4r 4 |\n8 4. 2r\n"""' in changed


def test_a_pickup_stays_and_its_tie_leads_on():
    text = lesson_with('pickup = "8 [8"\nvalues = "4] 4 2"')
    changed = after(text, kind="touch", bar=0, tick=96 + 48)
    assert tomllib.loads(changed)["line"] == {"pickup": "8 [8", "values": "4] 8 8 2"}


def test_a_line_from_a_file_stands_in_the_lesson_once_it_is_changed(tmp_path):
    from music import lesson_of

    from render.paper.notation import line_musicxml

    (tmp_path / "line.musicxml").write_bytes(line_musicxml(lesson_of("4 4 4 4 | 2 2").score))
    text = lesson_with('file = "line.musicxml"')
    changed = edited(text, tmp_path / "lesson.toml", {"kind": "touch", "bar": 0, "tick": 48})
    assert tomllib.loads(changed)["line"] == {"values": "8 8 4 4 4 | 2 2"}


def test_a_line_taken_whole_brings_its_pickup_or_takes_the_old_one_away():
    taken = after(LESSON, kind="take", text="4] 4 2", pickup="8 [8")
    assert tomllib.loads(taken)["line"] == {"values": "4] 4 2", "played_on": "snare", "pickup": "8 [8"}
    assert "pickup" not in tomllib.loads(after(taken, kind="take", text="1", pickup=""))["line"]
    with pytest.raises(LessonError, match="pickup: it holds 4 beats"):
        after(LESSON, kind="take", text="1", pickup="1")


def test_a_beat_that_mixes_halves_and_thirds_has_no_counts_that_could_be_read():
    mixed = after(lesson_with('values = "8 8 4 2"'), kind="touch", bar=0, tick=32)
    (bar,) = view(mixed, BESIDE)["bars"]
    assert (bar["values"], bar["counts"]) == ("12 24 8 4 2", None)


# --- bars and beats -------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("change", "written"),
    [
        ({"kind": "touch", "tick": 0}, "4r 4 4 4 | 2 2"),
        ({"kind": "rest", "tick": 96}, "4 4r 4 4 | 2 2"),
        ({"kind": "tie", "tick": 96, "step": 48}, "2 4 4 | 2 2"),
        ({"kind": "hold", "tick": 0, "to": 144, "step": 48}, "2 4 4 | 2 2"),
        ({"kind": "accent", "tick": 0}, "4^ 4 4 4 | 2 2"),
        ({"kind": "divide", "beat": 0, "parts": 3}, "4 4 4 4 | 2 2"),
        ({"kind": "values", "text": "2 2"}, "2 2 | 2 2"),
        ({"kind": "values", "text": "2 2 | 1"}, "2 2 | 1 | 2 2"),
        ({"kind": "counts", "text": "1 & (2) & 3r (4)"}, "8 4 8 2r | 2 2"),
        ({"kind": "add bar"}, "4 4 4 4 | 1r | 2 2"),
        ({"kind": "copy bar"}, "4 4 4 4 | 4 4 4 4 | 2 2"),
        ({"kind": "clear bar"}, "1r | 2 2"),
        ({"kind": "remove bar"}, "2 2"),
    ],
)  # fmt: skip
def test_what_each_change_of_a_bar_writes(change, written):
    text = lesson_with('values = "4 4 4 4 | 2 2"')
    assert line(after(text, bar=0, **change)) == written


def test_counts_are_typed_in_a_later_bar_after_a_note_that_sounds_on():
    text = lesson_with('values = "4 4 4 4 | 2 2"')
    assert line(after(text, kind="counts", bar=1, text="(1) 2 3 4")) == "4 4 4 [4 | 4] 4 4 4"


def test_a_rest_before_a_tied_note_takes_the_tie_away():
    text = lesson_with('values = "2 [2 | 2] 2"')
    assert line(after(text, kind="rest", bar=0, tick=192)) == "2 2r | 2r 2"


def test_a_bar_one_step_easier_is_the_last_stair_before_it():
    from grooves.rhythm import Meter
    from grooves.teaching.stairs import climb_to

    text = lesson_with('values = "8 4 8 4 4"')
    goal = parse_values("8 4 8 4 4", Meter(4, 4))[0]
    assert line_of(after(text, kind="easier", bar=0), BESIDE).bars[0] == climb_to(goal, Meter(4, 4)).bars[-2]
    with pytest.raises(LessonError, match="bar 1: this bar is as easy as a stair makes it"):
        after(lesson_with('values = "4 4 4 4"'), kind="easier", bar=0)


def test_a_bar_one_step_harder_is_harder_by_one_stroke():
    from grooves.rhythm import Meter
    from grooves.teaching.complexity import reading_points
    from grooves.teaching.stairs import strokes_of

    bar = parse_values("4 4 4r 4", Meter(4, 4))[0]
    for _ in range(3):
        (harder,) = line_of(after(lesson_with(f'values = "{values_text([bar])}"'), kind="harder", bar=0), BESIDE).bars
        assert reading_points(harder, Meter(4, 4), harder) > reading_points(bar, Meter(4, 4), bar)
        assert len(set(strokes_of(harder)) ^ set(strokes_of(bar))) in (1, 2)
        bar = harder


def test_a_line_of_a_level_is_that_of_the_command_line():
    from grooves.teaching.graded import lines

    changed = after(LESSON, kind="level", level=3, bars=8, seed=5)
    assert line_of(changed, BESIDE).bars == lines(3, 8, 5)


def test_another_meter_cuts_bars_off_or_fills_them():
    text = lesson_with('values = "4 4 4 4 | 1 | 2r [2 | 4] 4 2"')
    assert line(after(text, kind="fit", groove="jazz-waltz")) == "4 4 4 | 2. | 4r 4r [4 | 4] 4 4"
    assert line(after(text, kind="fit", groove="five-four-swing")) == "4 4 4 4 4r | 1 4r | 4r 4r 2 4r | 4r 4 2 4r"


def test_of_several_lines_the_one_that_is_meant_is_changed():
    several = LESSON.replace("[line]", "[[line]]").replace(
        "[feel]", '[[line]]\ncounts = "1 2 3 4"  # the second\n\n[feel]'
    )
    changed = after(several, kind="touch", bar=0, tick=48, line=1)
    assert changed == several.replace('"1 2 3 4"', '"1 & 2 3 4"')
    assert after(several, kind="touch", bar=3, tick=0) == several.replace("8 4. 2r", "8r 4. 2r")
    shown = view(changed, BESIDE, 1)
    assert (shown["line"], shown["lines"], shown["bars"][0]["values"]) == (1, ["A", "B"], "8 8 4 4 4")
    with pytest.raises(LessonError, match="line 3: this lesson has 2"):
        after(several, kind="touch", bar=0, tick=0, line=2)
    fitted = tomllib.loads(after(several, kind="fit", groove="jazz-waltz"))["line"]
    assert [one["values"].split(" | ")[0] for one in fitted] == ["4 4 8 8", "4 4 4"]


def kept_as_written(text):
    return [said for said in text.splitlines() if not said.startswith(("[line]", "[[line]]"))]


def test_a_line_more_and_the_same_one_less_leave_the_file_as_it_was():
    two = after(LESSON, kind="add line")
    assert view(two, BESIDE)["lines"] == ["A", "B"]
    assert tomllib.loads(two)["line"][1] == {"values": "1r | 1r | 1r | 1r", "played_on": "snare"}
    assert set(kept_as_written(LESSON)) <= set(kept_as_written(two))
    assert after(two, kind="remove line", line=1) == LESSON
    three = after(two, kind="add line", line=1)
    assert after(three, kind="remove line", line=2) == two
    assert tomllib.loads(after(after(three, kind="remove line"), kind="remove line"))["line"] == {
        "values": "1r | 1r | 1r | 1r",
        "played_on": "snare",
    }


SPOKEN = """{top}
# the lines
[[line]]  # first
values = "4 4 4 4"

# sung
[[line]]
values = "2 2"  # aloud
# no rests

# how it swings
[feel]
timing_ms = 4
"""


@pytest.mark.parametrize("end", ["\n", "\r\n"])
def test_a_comment_stays_before_what_it_speaks_of_and_goes_with_it(end):
    text = SPOKEN.replace("{top}", 'title = "Harbour Street"\ntempo = 100\ngroove = "swing"').replace("\n", end)
    first, second = after(text, kind="remove line", line=1), after(text, kind="remove line", line=0)
    assert f'# the lines{end}[line]  # first{end}values = "4 4 4 4"{end}{end}# how it swings{end}[feel]' in first
    assert f'# the lines{end}# sung{end}[line]{end}values = "2 2"  # aloud{end}# no rests{end}{end}# how' in second
    three = after(text, kind="add line")
    assert f'# no rests{end}{end}[[line]]{end}values = "1r | 1r | 1r | 1r"{end}{end}# how it swings{end}[feel]' in three
    assert after(three, kind="remove line", line=2) == text


def test_a_line_at_the_very_end_of_a_file_gets_one_after_it():
    text = 'title = "Harbour Street"\ntempo = 100\ngroove = "swing"\n[line]\nvalues = "4 4 4 4"'
    two = after(text, kind="add line")
    assert two.endswith('[[line]]\nvalues = "4 4 4 4"\n\n[[line]]\nvalues = "1r | 1r | 1r | 1r"\n')
    assert after(two, kind="remove line", line=1).rstrip() == text


def test_a_new_line_is_read_as_the_one_that_is_written_now():
    text = lesson_with('values = "4 4 4 4"\nplayed_on = { long = "bass drum", short = "snare" }\nrepeat_each = 2')
    two = tomllib.loads(after(text, kind="add line"))["line"]
    assert [one["played_on"] for one in two] == [{"long": "bass drum", "short": "snare"}] * 2
    assert [one["repeat_each"] for one in two] == [2, 2]
    other = after(after(text, kind="add line"), kind="set", key=["line", 1, "played_on"], value="ride")
    assert tomllib.loads(after(other, kind="add line", line=1))["line"][2]["played_on"] == "ride"
    waltz = after(lesson_with('values = "2."', "jazz-waltz"), kind="add line")
    assert tomllib.loads(waltz)["line"][1]["values"].startswith("2.r | 2.r")


def test_several_lines_repeat_their_bars_alike_with_one_change():
    two = after(LESSON, kind="add line")
    more = after(two, kind="set", key=["line", 1, "repeat_each"], value=3)
    assert [one["repeat_each"] for one in tomllib.loads(more)["line"]] == [3, 3]


def test_letters_stay_apart_and_stay_what_a_track_calls_its_bars_by():
    taken = LESSON.replace("[line]", '[line]\nletter = "B"')
    assert view(after(taken, kind="add line"), BESIDE)["lines"] == ["B", "A"]
    three = after(after(LESSON, kind="add line"), kind="add line")
    assert view(after(three, kind="remove line"), BESIDE)["lines"] == ["A", "B"]
    named = after(three, kind="add track", name="last", table={"bars": "C"})
    fewer = after(named, kind="remove line", line=1)
    assert view(fewer, BESIDE)["lines"] == ["A", "C"]
    with pytest.raises(LessonError, match="C"):
        after(named, kind="remove line", line=2)


def test_a_lesson_has_one_line_at_least_and_twenty_six_at_most():
    with pytest.raises(LessonError, match="a lesson has at least one line; change this one"):
        after(LESSON, kind="remove line")
    with pytest.raises(LessonError, match="line 3: this lesson has 2"):
        after(after(LESSON, kind="add line"), kind="remove line", line=2)
    text = LESSON
    for _ in range(25):
        text = after(text, kind="add line")
    assert "".join(view(text, BESIDE)["lines"]) == "ABCDEFGHIJKLMNOPQRSTUVWXYZ"
    with pytest.raises(LessonError, match="a lesson has at most 26 lines, A to Z"):
        after(text, kind="add line")


def test_a_line_that_is_written_on_one_row_is_left_to_the_text():
    for said in ('line = { values = "4 4 4 4" }', 'line.values = "4 4 4 4"'):
        text = f'title = "Harbour Street"\ntempo = 100\ngroove = "swing"\n{said}\n'
        with pytest.raises(LessonError, match="^line: the file is written in a way .* change it in the text"):
            after(text, kind="add line")


# --- tracks ---------------------------------------------------------------------------------------


def test_tracks_come_and_go_and_names_stay_apart():
    one = after(LESSON, kind="add track", name="slow", table={"tempo": "60%"})
    two = after(one, kind="add track", name="slow", table={})
    assert [track["name"] for track in tomllib.loads(two)["track"]] == ["slow", "slow 2"]
    assert after(two, kind="remove track", track=1).strip() == one.strip()
    assert tomllib.loads(after(one, kind="remove track", track=0)) == tomllib.loads(LESSON)
    out = after(two, kind="set", key=["track", 1, "without"], value=["snare"])
    assert tomllib.loads(out)["track"][1] == {"name": "slow 2", "without": ["snare"]}


# --- what is refused ------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"kind": "set", "key": ["tempo"], "value": 10}, r"^tempo: 10 is out of range; a tempo runs from 30 to 400"),
        ({"kind": "set", "key": ["tempo"], "value": "fast"}, r"^tempo: 'fast' is not a tempo"),
        ({"kind": "set", "key": ["feel", "swing"], "value": 9}, r"swing"),
        ({"kind": "set", "key": ["tmepo"], "value": 10}, r"^tmepo: no such key; did you mean 'tempo'"),
        ({"kind": "set", "key": ["groove"], "value": "jazz-waltz"}, r"bar 1 holds 4 beats; 3/4 needs 3"),
        ({"kind": "set", "key": [], "value": 1}, r"a key is missing"),
        ({"kind": "set", "key": ["title", "x", 3], "value": 1}, r"change it in the text"),
        ({"kind": "set", "key": ["track", 7, "name"], "value": "x"}, r"change it in the text"),
        ({"kind": "values", "bar": 1, "text": "4 4 4"}, r"^line: bar 2 holds 3 beats; 4/4 needs 4 \(1 too few\)"),
        ({"kind": "values", "bar": 0, "text": ""}, r"^line: bar 1 is empty"),
        ({"kind": "values", "bar": 0, "text": "4 4 4 q"}, r"^line: bar 1: 'q' is not a note"),
        ({"kind": "counts", "bar": 1, "text": "1 2 3 5"}, r"^line: bar 2: count 5 is not in 4/4"),
        ({"kind": "counts", "bar": 0, "text": "(1) 2 3 4"}, r"^line: bar 1: \(1\) holds a note on, but none sounds"),
        ({"kind": "touch", "bar": 9, "tick": 0}, r"^bar: 9 does not fit; it is a whole number from 0 to 3"),
        ({"kind": "touch", "bar": 0, "tick": 384}, r"^bar 1: bar 1 has no such place"),
        ({"kind": "touch", "bar": "0", "tick": 0}, r"^bar: '0' does not fit"),
        ({"kind": "touch", "bar": True, "tick": 0}, r"^bar: true does not fit"),
        ({"kind": "hold", "bar": 0, "tick": 96, "to": 0, "step": 48}, r"not back; draw it from its beginning"),
        ({"kind": "tie", "bar": 0, "tick": 0, "step": 48}, r"^bar 1: nothing sounds before this place"),
        ({"kind": "level", "level": 99, "bars": 8, "seed": 1}, r"^level: "),
        ({"kind": "take", "text": "4 4"}, r"bar 1 holds 2 beats"),
        ({"kind": "text", "text": "title = "}, r"^line 1: title ="),
        ({"kind": "erase"}, r"'erase' is no change"),
        ({}, r"^kind: a text belongs here"),
        ({"kind": "remove track", "track": 0}, r"^track: 0 does not fit"),
        ({"kind": "fit", "groove": "waltz"}, r"^groove: 'waltz' is not shipped; did you mean 'jazz-waltz'"),
    ],
)  # fmt: skip
def test_what_cannot_be_is_refused_in_the_words_of_the_command_line(change, says):
    with pytest.raises(LessonError, match=says):
        edited(LESSON, BESIDE, change)


def test_a_line_has_at_least_one_bar():
    with pytest.raises(LessonError, match="bar 1: a line has at least one bar"):
        after(lesson_with('values = "1"'), kind="remove bar", bar=0)


# --- whatever is done in whatever order -----------------------------------------------------------

TYPED = st.sampled_from(
    ["4 4 4 4", "2 [2", "8 8 8 8 2r", "12 12 12 4 2", "1r", "4 4", "16 8 16 4 2", "% ", "6 6 6 2", ""]
)
COUNTED = st.sampled_from(["1 2 3 4", "1 & 2r (3) 4", "(1) & 2 3 4", "1r", "1 trip let 2 3 4", "1 5"])
SETTINGS = st.sampled_from([
    (["tempo"], 120), (["tempo"], 0), (["choruses"], 2), (["choruses"], None), (["note"], "Aloud.\nAnd again."),
    (["feel", "swing"], 1.5), (["feel", "swing"], None), (["balance", "line"], -4), (["line", "played_on"], "ride"),
    (["kit"], "left-handed"), (["band", "form"], "blues"), (["band"], None),
])  # fmt: skip


class Desk(RuleBasedStateMachine):
    """A teacher at a lesson: any change, undo, redo, save, in any order."""

    @initialize(text=st.sampled_from([
        LESSON,
        lesson_with('counts = "1 2 3 4 | 1 & 2 3r 4"'),
        lesson_with('values = "4 4 4 | 2. | 8 8 4 4"', "jazz-waltz"),
        lesson_with('values = "8 8 8 4 8 | 4. 4."', "six-eight"),
    ]))  # fmt: skip
    def begin(self, text):
        self.folder = tempfile.TemporaryDirectory()
        self.path = Path(self.folder.name) / "lesson.toml"
        self.path.write_text(text)
        self.desk = Folder(Path(self.folder.name))
        self.start, self.text, self.past, self.future, self.which = text, text, [], [], 0
        self.base = hash_of_bytes(text.encode())

    def change(self, **change):
        try:
            after = edited(self.text, self.path, {"line": self.which, **change})
        except LessonError:
            return
        if after != self.text:
            self.past.append(self.text)
            self.text, self.future = after, []

    @rule(kind=st.sampled_from(["touch", "rest", "tie", "accent", "hold"]), bar=st.integers(0, 3), data=st.data())
    def pencil(self, kind, bar, data):
        meter = meter_of(self.text, self.path)
        step = data.draw(st.sampled_from([24, 32, 48]))
        places = st.integers(0, int(meter.length * TICKS) // step - 1)
        self.change(kind=kind, bar=bar, tick=data.draw(places) * step, to=data.draw(places) * step, step=step)

    @rule(bar=st.integers(0, 3), beat=st.integers(0, 3), parts=st.sampled_from([2, 3, 4, 6]))
    def part(self, bar, beat, parts):
        self.change(kind="divide", bar=bar, beat=beat, parts=parts)

    @rule(bar=st.integers(0, 3), text=TYPED)
    def type_values(self, bar, text):
        self.change(kind="values", bar=bar, text=text)

    @rule(bar=st.integers(0, 3), text=COUNTED)
    def type_counts(self, bar, text):
        self.change(kind="counts", bar=bar, text=text)

    @rule(kind=st.sampled_from(["add bar", "copy bar", "clear bar", "remove bar"]), bar=st.integers(0, 3))
    def bars(self, kind, bar):
        self.change(kind=kind, bar=bar)

    @rule(kind=st.sampled_from(["add line", "remove line"]), which=st.integers(0, 2))
    def lines(self, kind, which):
        before = tomllib.loads(self.text)["line"]
        count = len(before) if isinstance(before, list) else 1
        self.which = min(which, count - 1)
        self.change(kind=kind)
        after = tomllib.loads(self.text)["line"]
        self.which = len(after) - 1 if isinstance(after, list) else 0
        assert isinstance(after, list) == (self.which > 0)

    @rule(setting=SETTINGS)
    def set(self, setting):
        self.change(kind="set", key=setting[0], value=setting[1])

    @rule()
    def undo(self):
        if self.past:
            self.future.append(self.text)
            self.text = self.past.pop()

    @rule()
    def redo(self):
        if self.future:
            self.past.append(self.text)
            self.text = self.future.pop()

    @rule()
    def save(self):
        self.base = self.desk.save("lesson.toml", self.text, self.base)
        assert self.path.read_text() == self.text

    @invariant()
    def all_three_say_the_same_and_the_file_can_be_read(self):
        meter = meter_of(self.text, self.path)
        self.which = view(self.text, self.path, self.which)["line"]
        shown = view(self.text, self.path, self.which)["bars"]
        bars = line_of(self.text, self.path, self.which).bars
        assert parse_values(" | ".join(bar["values"] for bar in shown), meter) == bars
        for bar, written in zip(shown, bars, strict=True):
            marks = [[onset * TICKS, mark.kind, mark.accent] for onset, mark in sorted(marks_of(written).items())]
            assert bar["marks"] == marks
            if bar["counts"] and written[0].kind != "held":
                assert marks_of(parse_counts(bar["counts"], meter)[0]) == marks_of(written)
        tomllib.loads(self.path.read_text())

    def teardown(self):
        if hasattr(self, "past"):
            assert (self.past or [self.text])[0] == self.start or not self.past
            while self.past:
                self.text = self.past.pop()
            assert self.text == self.start
            self.folder.cleanup()


Desk.TestCase.settings = settings(max_examples=300, stateful_step_count=4, deadline=None)
TestWhateverIsDone = Desk.TestCase


def test_places_of_every_meter_are_whole_ticks():
    from grooves.rhythm import Meter

    for meter in (Meter(4, 4), Meter(6, 8), Meter(7, 8), Meter(2, 2)):
        for start, end in beats(meter):
            assert (start * TICKS).denominator == (end * TICKS).denominator == 1
    assert Fraction(1, 24) * 4 * TICKS == 16
