"""The lesson file: what it means, and what is said of one that is wrong."""

import re
from pathlib import Path

import pytest
from music import lesson_of, of_part, parse_text, played

from grooves.errors import LessonError
from grooves.lesson import bar_numbers, pace_bpm
from grooves.lesson_tables import BandTable, FeelTable, LineTable, TrackTable
from grooves.passages import Ladder
from render.lesson.load import load_lesson

GOOD = """
title = "Harbour Street, test page"
tempo = 120
groove = "swing"
[line]
values = "4 4 4 4 | 8 8 4 2"
"""


def test_a_lesson_needs_only_title_tempo_groove_and_a_line():
    lesson = parse_text(GOOD)
    assert [track.name for track in lesson.tracks] == ["time", "ride-and-line", "full", "without-line"]
    assert (lesson.choruses, lesson.count_in, lesson.score.tempo_bpm) == (1, 2, 120)


def test_the_feel_has_the_defaults_of_the_contract():
    feel = parse_text(GOOD).feel
    assert (feel.swing, feel.upbeat_accent_lu, feel.timing_ms, feel.level_lu, feel.seed) == ("by tempo", 2, 6, 1, 1)


# (what is changed in the good lesson, what is put there, the message in full)
TOP = 'title = "Harbour Street, test page"'
LINE = 'values = "4 4 4 4 | 8 8 4 2"'
TRACK = '[[track]]\nname = "mine"\n'
WRONG = [
    (TOP, "", "title: missing; write title = \"Harbour Street, first line\""),
    (TOP, "title = 3", "title: 3 is not a text; write it between quotes"),
    (TOP, 'title = "  "', "title: '  ' is not a text; write something between the quotes"),
    (TOP, f'{TOP}\ntempoo = 1', "tempoo: no such key; did you mean 'tempo'?"),
    (TOP, f'{TOP}\nzzz = 1', "zzz: no such key; choose from title, tempo, note, groove, line, choruses, count_in, kit, soundfont, kit_program, feel, balance, band, track"),
    ("tempo = 120", "", "tempo: missing; write tempo = 120"),
    ("tempo = 120", "tempo = 0", "tempo: 0 is out of range; a tempo runs from 30 to 400"),
    ("tempo = 120", "tempo = -1", "tempo: -1 is out of range; a tempo runs from 30 to 400"),
    ("tempo = 120", "tempo = 1e9", "tempo: 1e+09 is out of range; a tempo runs from 30 to 400"),
    ("tempo = 120", "tempo = nan", "tempo: nan is not a tempo; write a number from 30 to 400"),
    ("tempo = 120", "tempo = inf", "tempo: inf is not a tempo; write a number from 30 to 400"),
    ("tempo = 120", 'tempo = "fast"', "tempo: 'fast' is not a tempo; write a number from 30 to 400"),
    ("tempo = 120", "tempo = true", "tempo: true is not a tempo; write a number from 30 to 400"),
    ("tempo = 120", "tempo = [1]", "tempo: [1] is not a tempo; write a number from 30 to 400"),
    ("tempo = 120", "tempo = ", "line 3: tempo =: write a value after it"),
    ("tempo = 120", "tempo = slow", "line 3: tempo = slow: words are written between quotes"),
    ("tempo = 120", "tempo = 120\ntempo = 90", "line 4: tempo = 90: this key stands in the table twice; keep one"),
    ('groove = "swing"', 'groove = "swing', "line 4: groove = \"swing: a quote is missing at the end; a text of several lines stands between \"\"\" and \"\"\""),
    ('groove = "swing"', 'groove = "swng"', "groove: 'swng' is not shipped; did you mean 'swing'? Or name a groove file ending in .toml"),
    ('groove = "swing"', "groove = 4", "groove: 4 is not a groove; write it between quotes"),
    ('groove = "swing"', 'groove = "mine.toml"', "groove: mine.toml: there is no such file"),
    ('groove = "swing"', 'groove = "swing"\nchoruses = 0', "choruses: 0 is out of range; a number of choruses runs from 1 to 1000"),
    ('groove = "swing"', 'groove = "swing"\ncount_in = 1.5', "count_in: 1.5 is not a number of bars; write a whole number from 0 to 16"),
    ('groove = "swing"', 'groove = "swing"\nkit = "left handed"', "kit: 'left handed' is not known; did you mean 'left-handed'?"),
    ('groove = "swing"', 'groove = "swing"\nleads = "left"', 'leads: this is now called kit; a left-handed one is kit = "left-handed"'),
    ("tempo = 120", 'tempo = "120"', "tempo: '120' is a text; leave the quotes out: 120"),
    ("tempo = 120", "tempo: 120", "line 3: tempo: 120: write tempo = 120, not a colon"),
    (TOP, "title = “Harbour Street”", 'line 2: title = “Harbour Street”: the quotes are curly ones; write straight ones, "…"'),
    (TOP, 'title = "Harbour\nStreet"', 'line 2: title = "Harbour: a quote is missing at the end; a text of several lines stands between """ and """'),
    (TOP, 'title = "Harbour', 'line 2: title = "Harbour: a quote is missing at the end; a text of several lines stands between """ and """'),
    (TOP, f"{TOP}\nleft_handed = true", 'left_handed: no such key; write kit = "left-handed"'),
    (TOP, f"{TOP}\n[track]]", "line 3: [track]]: what follows belongs on a line of its own"),
    (TOP, f'{TOP}\nname = "a" "b"', 'line 3: name = "a" "b": what follows belongs on a line of its own'),
    (TOP, f"{TOP}\nwithout = ['snare']", "without: this belongs below [[track]]"),
    (TOP, f"{TOP}\ntiming_ms = 3", "timing_ms: this belongs below [feel]"),
    ('groove = "swing"', 'groove = "swing"\nkit = "left_handed"', "kit: 'left_handed' is not known; did you mean 'left-handed'?"),
    (LINE, f"{LINE}\nchoruses = 2", "line.choruses: this belongs above [line]"),
    (LINE, f"{LINE}\n[feel]\nchoruses = 2", "feel.choruses: this belongs above the first heading"),
    (LINE, f"{LINE}\n{TRACK}tempo = 90\nkit = 'left-handed'", "track 1, kit: this belongs above the first heading"),
    (LINE, f'{LINE}\neach_bar = ["snare"]', "line.each_bar: no such key; write played_on = { each_bar = […] }"),
    (LINE, f'{LINE}\nreads_with = "right foot"', "line.reads_with: 'right foot' is not known; choose from right hand, left hand"),
    (LINE, f'{LINE}\nplayed_on = "bass drum"\nreads_with = "right hand"', "line: reads_with: the line is on the bass drum, which a foot plays; leave reads_with out"),
    (LINE, f'{LINE}\nplayed_on = {{ hands = "alternate" }}\nreads_with = "right hand"', "line: reads_with: both hands read in turn; leave it out"),
    (LINE, f"{LINE}\n{TRACK}trade = {{ with = 4, without = 2, echo = true }}", "track 1 (mine): trade: an echo gives the same bars back, so write as many without as with"),
    (LINE, f"{LINE}\n{TRACK}trade = {{ with = 4, without = 4, swap = 1 }}", "track 1, trade, swap: 1 is neither true nor false; write one of them, without quotes"),
    (LINE, 'counts = "1 2 r3 4"', "line: counts: bar 1: 'r3' is now called 3r: a rest's r comes last, as in the values"),
    (LINE, f"{LINE}\n[feel]\noffbeat_accent = 1", "feel.offbeat_accent: this is now called upbeat_accent"),
    (LINE, f"{LINE}\n[feel]\nheld_offbeat_accent = 1", "feel.held_offbeat_accent: this is now called held_upbeat_accent"),
    (LINE, f"{LINE}\n[balance]\nfill = -9", "balance: fill is now called gaps"),
    (LINE, f"{LINE}\n{TRACK}gap = {{ play = 4, rest = 4 }}", "track 1, gap: this is now called silence"),
    (f"[line]\n{LINE}", "", "line: missing; write [line] and below it values = \"4 4 4 4\""),
    (f"[line]\n{LINE}", "line = 3", "line: 3 is not a table; write its keys: values, counts, file, pickup, part, played_on, each_chorus, reads_with, repeat_each, bars, letter, sections"),
    (LINE, "", "line: there is no rhythm; write one of values, counts or file"),
    (LINE, 'values = ""', "line.values: '' is not a line; write something between the quotes"),
    (LINE, 'values = "|"', "line: values: the line is empty; write at least one bar, such as 4 4 4 4"),
    (LINE, 'value = "4"', "line.value: no such key; did you mean 'values'?"),
    (LINE, f'{LINE}\ncounts = "1"', "line: values and counts stand here; write one of values, counts or file"),
    (LINE, 'values = "4 4 4"', "line: values: bar 1 holds 3 beats; 4/4 needs 4 (1 too few)"),
    (LINE, 'values = "4 4 4 4 | 4 4 4 4 4."', "line: values: bar 2 holds 5 1/2 beats; 4/4 needs 4 (1 1/2 too many)"),
    (LINE, 'values = "4 4 4 [4"', "line: values: bar 1: a tie is opened with '[' and goes nowhere; close it with ']' on the last tied note"),
    (LINE, f'{LINE}\npart = "snare"', "line: part: it names a part of a notation file; write it beside file only"),
    (LINE, f"{LINE}\nbars = 3", "line: bars: there is no bar 3; it has bars 1, 2"),
    (LINE, f'{LINE}\nbars = "2-1"', "line: bars: '2-1' runs backwards; write 1-2"),
    (LINE, f'{LINE}\nbars = "one"', "line: bars: 'one' is not a bar; write numbers and ranges, such as \"1-4, 7\""),
    (LINE, f"{LINE}\nrepeat_each = 0", "line.repeat_each: 0 is out of range; a number of times runs from 1 to 64"),
    (LINE, f'{LINE}\nplayed_on = "kick"', "line: played_on: 'kick' cannot read the line; did you mean 'bass drum'?"),
    (LINE, f'{LINE}\nplayed_on = "rimshot"', "line: played_on: 'rimshot' cannot read the line; a rimshot, head and rim at once, is not in the kit, nor is it a cross-stick"),
    (LINE, f'{LINE}\nplayed_on = "snair"', "line: played_on: 'snair' cannot read the line; did you mean 'snare'?"),
    (LINE, f'{LINE}\nplayed_on = {{ notes = "snare", gaps = "snare" }}', "line: played_on: notes and gaps are both on the snare; give the gaps to another limb"),
    (LINE, f"{LINE}\neach_chorus = []", "line: each_chorus: [] is not a list; write the readers in turn, such as [\"snare\", \"bass drum\"]"),
    (LINE, f'{LINE}\nplayed_on = "snare"\neach_chorus = ["snare"]', "line: played_on and each_chorus both stand here; write one of them"),
    (LINE, f"{LINE}\n[feel]\nswing = 5", "feel: swing: 5 is out of range; the ratio long:short runs from 1.0 (straight) to 4.0"),
    (LINE, f'{LINE}\n[feel]\nswing = "hard"', "feel: swing: 'hard' is not known; choose from by tempo, as measured, straight, or write a ratio such as 2.0"),
    (LINE, f"{LINE}\n[feel]\nswing = true", "feel: swing: true is not a ratio; write a number from 1.0 to 4.0, or one of by tempo, as measured, straight"),
    (LINE, f"{LINE}\n[feel]\nupbeat_acent = 1", "feel.upbeat_acent: no such key; did you mean 'upbeat_accent'?"),
    (LINE, f"{LINE}\n[feel]\ntiming_ms = -1", "feel.timing_ms: -1 is out of range; a standard deviation in milliseconds runs from 0 to 30"),
    (LINE, f"{LINE}\n[feel]\nseed = -1", "feel.seed: -1 is out of range; a seed runs from 0 to 4294967295"),
    (LINE, f"{LINE}\n[feel]\nahead_ms = {{ snar = 3 }}", "feel: ahead_ms: 'snar' is neither a part here nor a limb; did you mean 'snare'?"),
    (LINE, f"{LINE}\n[feel]\nahead_ms = {{ snare = 3 }}\nbehind_ms = {{ \"left hand\" = 3 }}", "feel: behind_ms: the left hand is placed twice; keep one of them"),
    (LINE, f"{LINE}\n[balance]\nride = 3", "balance: the ride is what the others are measured against; leave it out"),
    (LINE, f"{LINE}\n[balance]\nsnare = -3", "balance: snare keeps no time in swing; it has bass drum, hi-hat. For the reading line write line"),
    (LINE, f"{LINE}\n[balance]\nhihat = -3", "balance: no part is called 'hihat'; did you mean 'hi-hat'?"),
    (LINE, f"{LINE}\n[balance]\nhi-hat = -60", "balance: hi-hat: -60 does not fit; write a number of LU from -40 to 6"),
    (LINE, f"{LINE}\n[[track]]\ntempo = 80", "track 1, name: missing; write name = \"slow\""),
    (LINE, f'{LINE}\n{TRACK}with_out = ["ride"]', "track 1, with_out: no such key; did you mean 'without'?"),
    (LINE, f'{LINE}\n{TRACK}without = "snare"', "track 1, without: 'snare' stands alone; write a list, such as [\"snare\"]"),
    (LINE, f'{LINE}\n{TRACK}without = ["snar"]', "track 1 (mine): without: 'snar' is neither a part nor a limb; did you mean 'snare'?"),
    (LINE, f'{LINE}\n{TRACK}without = ["cross-stick"]', "track 1 (mine): without: nobody plays cross-stick in this lesson; it has ride, snare, bass drum, hi-hat"),
    (LINE, f'{LINE}\n{TRACK}without = ["snare"]\nonly = ["ride"]', "track 1 (mine): write either without or only"),
    (LINE, f'{LINE}\n{TRACK}without = ["ride", "snare", "bass drum", "hi-hat"]', "track 1 (mine): nobody is left to play; leave fewer parts out"),
    (LINE, f"{LINE}\n{TRACK}bars = 7", "track 1 (mine): bars: there is no bar 7; it has bars 1, 2"),
    (LINE, f'{LINE}\n{TRACK}tempo = "10%"', "track 1 (mine): tempo: 10% of 120 is 12; a tempo runs from 30 to 400"),
    (LINE, f'{LINE}\n{TRACK}tempo = "slow"', "track 1, tempo: 'slow' is not a tempo; write a number from 30 to 400, or a share such as \"60%\""),
    (LINE, f'{LINE}\n{TRACK}click = "2 + 4"', "track 1, click: '2 + 4' is not known; did you mean '2 and 4'?"),
    (LINE, f'{LINE}\n{TRACK}softer = {{ snare = 3 }}', "track 1, softer: snare: 3 does not fit; write a number of LU from -60 to 0"),
    (LINE, f'{LINE}\n{TRACK}ladder = {{ from = "100%", to = "60%", step = 4 }}', "track 1 (mine): ladder: it runs from 120 down to 72; a ladder rises, so swap from and to"),
    (LINE, f'{LINE}\n{TRACK}ladder = {{ from = "60%", step = 4 }}', 'track 1, ladder, to: missing; write to = "100%"'),
    (LINE, f'{LINE}\n{TRACK}ladder = {{ from = 60, to = 90, step = 0 }}', "track 1, ladder, step: 0 is out of range; a step in beats a minute runs from 0.5 to 100"),
    (LINE, f'{LINE}\n{TRACK}trade = {{ with = 4 }}', "track 1, trade, without: missing; write without = 4"),
    (LINE, f'{LINE}\n{TRACK}trade = {{ with = 4, without = 4 }}\nfade = {{ times = 4, to = -30 }}', "track 1 (mine): fade and trade both move your part; keep one of them"),
    (LINE, f'{LINE}\n{TRACK}ladder = {{ from = 60, to = 90, step = 4 }}\ntempo = 80', "track 1 (mine): ladder already says the tempo; leave tempo out"),
    (LINE, f'{LINE}\n[track]\nname = "x"', "track: write each track under its own [[track]]"),
    (LINE, f"{LINE}\n{TRACK}{TRACK}", "track 2 (mine): track 1 (mine) would write the same files; choose another name"),
]  # fmt: skip


def wrong_lesson(old: str, new: str) -> str:
    assert old in GOOD
    return GOOD.replace(old, new)


@pytest.mark.parametrize(
    ("old", "new", "message"), WRONG, ids=[f"{n}-{new[:30]}" for n, (_, new, _) in enumerate(WRONG)]
)
def test_a_wrong_lesson_gets_one_message_that_says_what_would_be_right(old, new, message, tmp_path):
    with pytest.raises(LessonError, match=f"^{re.escape(message)}$"):
        parse_text(wrong_lesson(old, new), tmp_path)


def test_the_file_stands_before_every_message(tmp_path):
    lesson = tmp_path / "wrong.toml"
    lesson.write_text(wrong_lesson("tempo = 120", "tempo = 0"))
    with pytest.raises(LessonError, match=f"^{re.escape(str(lesson))}: tempo: 0 is out of range"):
        load_lesson(lesson)


def test_a_file_that_is_no_text_is_refused(tmp_path):
    lesson = tmp_path / "bytes.toml"
    lesson.write_bytes(b'title = "\xff\xfe"')
    with pytest.raises(LessonError, match="this is not UTF-8 text \\(byte 9\\); save it as UTF-8"):
        load_lesson(lesson)


def test_a_folder_is_refused_by_name(tmp_path):
    with pytest.raises(LessonError, match="this is a folder; name a file in it"):
        load_lesson(tmp_path)


def test_a_missing_file_is_looked_for_by_nearest_name(tmp_path):
    (tmp_path / "tuesday.toml").write_text(GOOD)
    with pytest.raises(LessonError, match="there is no such file; did you mean 'tuesday.toml'\\?"):
        load_lesson(tmp_path / "tusday.toml")


def test_a_huge_file_is_refused_unread(tmp_path):
    huge = tmp_path / "huge.toml"
    with huge.open("wb") as file:
        file.truncate(3_000_000)
    with pytest.raises(LessonError, match="larger than 1 MB"):
        load_lesson(huge)


def test_a_deeply_nested_file_is_refused():
    with pytest.raises(LessonError, match="^this is nested too deeply; no table of a lesson has more than one inside$"):
        parse_text("a = " + "[" * 50_000 + "]" * 50_000)


# --- what the keys do ------------------------------------------------------------------------------


def test_bars_choose_from_the_line_and_keep_their_numbers():
    lesson = lesson_of("4 4 4 4 | 2 2 | 1 | 4 2 4", line='bars = "2, 4"')
    assert [bar.number for bar in lesson.score.bars] == [2, 4]
    assert [mark.label for mark in played(lesson).bars] == ["count-in", "count-in", "bar 2", "bar 4"]


def test_every_bar_is_repeated_as_often_as_asked():
    lesson = lesson_of("4 4 4 4 | 2 2", line="repeat_each = 3")
    assert [bar.number for bar in lesson.score.bars] == [1, 1, 1, 2, 2, 2]


def test_choruses_repeat_the_whole_line():
    assert len(played(lesson_of("1 | 1", top="choruses = 3")).bars) == 2 + 6


def test_the_count_in_is_as_long_as_asked():
    assert [m.label for m in played(lesson_of("1", top="count_in = 0")).bars] == ["bar 1"]
    assert len(of_part(played(lesson_of("1", top="count_in = 2")), "count-in")) == 6


def test_a_left_handed_lesson_swaps_right_and_left_everywhere():
    right, left = lesson_of("4 4 4 4"), lesson_of("4 4 4 4", top='kit = "left-handed"')
    assert {hit.part: hit.limb for hit in played(right).hits if hit.limb} == {
        "ride": "right hand", "snare": "left hand", "bass drum": "right foot", "hi-hat": "left foot",
    }  # fmt: skip
    assert {hit.part: hit.limb for hit in played(left).hits if hit.limb} == {
        "ride": "left hand", "snare": "right hand", "bass drum": "left foot", "hi-hat": "right foot",
    }  # fmt: skip
    silent = lesson_of("4 4 4 4", top='kit = "left-handed"', tracks='[[track]]\nname="x"\nwithout=["left hand"]')
    assert "ride" not in played(silent, "x").parts


def test_a_groove_file_beside_the_lesson_is_found(tmp_path):
    (tmp_path / "mine.toml").write_text(
        'name = "mine"\ntitle = "Mine"\nmeter = "3/4"\nswing = "straight"\ntempo = [60, 200]\n[ride]\ncounts = "1 2 3"\n'
    )
    (tmp_path / "x.toml").write_text(GOOD.replace('"swing"', '"mine.toml"').replace("4 4 4 4 | 8 8 4 2", "4 4 4"))
    assert load_lesson(tmp_path / "x.toml").lesson.score.meter.count == 3


def test_bar_numbers_are_read_as_a_teacher_writes_them():
    assert bar_numbers("1-3, 7", range(1, 9)) == (1, 2, 3, 7)
    assert bar_numbers(6, range(1, 9)) == (6,)


def test_a_share_of_the_tempo_is_of_the_lesson_s():
    assert pace_bpm("60%", 120) == 72
    assert pace_bpm(80, 120) == 80


def test_a_ladder_is_read_in_shares_and_numbers():
    lesson = lesson_of(tracks='[[track]]\nname="up"\nladder={from="50%", to=100, step=10, times_each=2}')
    assert lesson.tracks[0].ladder == Ladder(60, 100, 10, 2)


@pytest.mark.parametrize("path", sorted((Path(__file__).parents[2] / "examples").glob("*.toml")), ids=lambda p: p.stem)
def test_the_examples_are_lessons(path):
    assert load_lesson(path).lesson.tracks


TEMPLATE = (Path(__file__).parents[2] / "render" / "lesson" / "lesson.toml").read_text()
OFFERED = [line for line in TEMPLATE.splitlines() if re.match(r"# ([a-z_-]+|\"[a-z ]+\") +=", line)]


def test_the_lesson_that_new_writes_is_a_lesson_and_offers_every_key_of_line_feel_and_track():
    assert parse_text(TEMPLATE).tracks
    for table in (LineTable, FeelTable, BandTable, TrackTable):
        for key in set(table.model_fields) - {"only"}:
            assert re.search(rf"^(# )?{key} +=", TEMPLATE, re.MULTILINE), key


# Keys that the new lesson shows at their defaults: taking the line changes nothing.
SHOWN_AS_THEY_ARE = {
    "count_in", "swing", "upbeat_accent", "held_upbeat_accent", "downbeat_quarters", "accent",
    "timing_ms", "level_lu", "correlation", "together", "seed",
}  # fmt: skip


@pytest.mark.parametrize("offered", [line for line in OFFERED if not line.startswith(("# file", "# part"))])
def test_every_line_that_new_offers_can_be_taken(offered):
    text = TEMPLATE.replace(offered, offered.removeprefix("# "), 1)
    key = offered.split()[1]
    given = {"counts": "values", "played_on": "played_on", "each_chorus": "played_on"}.get(key)
    if given:  # it takes the place of the line that stands there
        text = re.sub(rf"^{given} +=(?!.*{re.escape(offered[6:])}).*$", "", text, count=1, flags=re.MULTILINE)
    of_track = TEMPLATE.index(offered) > TEMPLATE.index("# [[track]]")
    if TEMPLATE.index("# [band]") < TEMPLATE.index(offered) < TEMPLATE.index("# [[track]]"):
        text = text.replace("# [band]", "[band]").replace("# form =", "form =" if key != "chords" else "# form =")
    if of_track:
        text = text.replace("# [[track]]", "[[track]]").replace("# name =", "name =")
    if key == "soundfont":
        assert parse_text(text).soundfont == "drums.sf2"
    assert (parse_text(text) == parse_text(TEMPLATE)) is (key in SHOWN_AS_THEY_ARE and not of_track)
