"""The lesson of stairs that is written from a lesson: all but the line as the lesson says it."""

import json
import os
import shutil
import subprocess
import sys
import tomllib
from pathlib import Path
from typing import Any

import pytest
from music import parse_text, text_of

from grooves.errors import LessonError
from grooves.lesson import Lesson
from grooves.lesson_tables import FeelTable, LessonFile, TrackTable
from grooves.passages import default_tracks
from grooves.rhythm import parse_values, values_text
from render.command.cli import main
from render.lesson.bar_report import Stairs, stairs_lesson
from render.lesson.lesson_text import lesson_text
from render.lesson.load import load_lesson
from render.soundfont.soundfont import default_soundfont

ROOT = Path(__file__).parents[2]
LINE = "4 4 4 4 | 8r 4 4 [8 8] 8 | 4 8 8 4 4 | 1r"


def stairs_of(folder: Path, text: str, number: int, start: int | None = None) -> Stairs:
    """The stairs up to a bar of a lesson, saved as `stairs.toml` beside it."""
    lesson = folder / "lesson.toml"
    lesson.write_text(text, encoding="utf-8")
    found = stairs_lesson(lesson, number, start, folder / "stairs.toml")
    (folder / "stairs.toml").write_text(found.text, encoding="utf-8")
    return found


def written_back(folder: Path, text: str, number: int, start: int | None = None) -> Lesson:
    """The stairs up to a bar, saved and read again as a teacher would."""
    stairs_of(folder, text, number, start)
    return load_lesson(folder / "stairs.toml").lesson


def line_of(lesson: Lesson) -> list[str]:
    return [values_text([bar.line]) for bar in lesson.score.bars[: lesson.score.chorus_length]]


# --- the line -----------------------------------------------------------------------------------


def test_stairs_are_a_lesson_that_plays_each_step_four_times(tmp_path: Path) -> None:
    found = written_back(tmp_path, text_of(LINE, tempo=96.123456789), 2)
    steps = ["4 4 4 4", "8r 8 4 4 4", "8r 8 4 4. 8", "8r 8 4. 4 8", "8r 4 4 [8 8] 8"]
    assert line_of(found) == [step for step in steps for _ in range(4)]
    assert found.title == "Harbour Street, test page: up to bar 2"
    assert (found.groove, found.score.tempo_bpm) == ("swing", 96.123456789)


def test_what_every_step_changes_is_said_beside_it(tmp_path: Path) -> None:
    assert stairs_of(tmp_path, text_of(LINE), 2).steps == (
        "step 1: 4 4 4 4",
        "step 2: move the note on 1 to 1&",
        "step 3: move the note on 4 to 4&",
        "step 4: move the note on 3 to 3&",
        "step 5: move the note on 2 to 2&",
    )


def test_stairs_may_begin_at_another_bar_of_the_line(tmp_path: Path) -> None:
    steps = line_of(written_back(tmp_path, text_of(LINE), 2, start=3))[::4]
    assert (steps[0], steps[-1]) == ("4 8 8 4 4", "8r 4 4 [8 8] 8")


def test_a_tie_into_the_bar_is_a_rest_in_its_stairs(tmp_path: Path) -> None:
    tied = text_of("4 4 4 [4 | 8] 8 4 2 | [1 | 8] 8 2.")
    assert line_of(written_back(tmp_path, tied, 2))[-1] == "8r 8 4 2"
    assert line_of(written_back(tmp_path, tied, 2, start=4))[0] == "8r 8 2."


def test_bars_that_the_lesson_chooses_and_repeats_keep_their_numbers(tmp_path: Path) -> None:
    chosen = text_of(LINE, line='bars = "2-3"\nrepeat_each = 2')
    assert line_of(written_back(tmp_path, chosen, 3))[::4] == ["4 4 4 4", "4 8 8 4 4"]


READERS = [
    'played_on = "snare"',
    'played_on = "bass drum"',
    'played_on = "hi-hat"',
    'played_on = "ride"',
    'played_on = "cross-stick"',
    'played_on = { long = "bass drum", short = "snare" }',
    'played_on = { notes = "bass drum", gaps = "snare" }',
    'played_on = { hands = "alternate" }',
    'played_on = { each_bar = ["snare", "bass drum"] }',
    'played_on = { each_chorus = ["snare", { notes = "snare", gaps = "bass drum" }, { hands = "alternate" }] }',
    'each_chorus = ["bass drum", { long = "bass drum", short = "snare" }]',
]


@pytest.mark.parametrize("readers", READERS)
def test_who_reads_the_line_climbs_its_stairs(readers: str, tmp_path: Path) -> None:
    text = text_of(LINE, line=readers)
    lesson, found = parse_text(text), written_back(tmp_path, text, 2)
    assert found.score.played_on == lesson.score.played_on
    assert found.score.readings == lesson.score.readings == found.choruses
    (key,) = said = tomllib.loads(readers)
    assert tomllib.loads((tmp_path / "stairs.toml").read_text(encoding="utf-8"))["line"][key] == said[key]


@pytest.mark.parametrize(("groove", "line"), [("jazz-waltz", "8r 4 4 8"), ("six-eight", "8 8 8 4 8")])
def test_stairs_keep_the_groove_and_its_meter(groove: str, line: str, tmp_path: Path) -> None:
    text = text_of(line, groove=groove)
    lesson, found = parse_text(text), written_back(tmp_path, text, 1)
    assert (found.groove, found.score.groove) == (groove, lesson.score.groove)
    assert found.score.bars[-1].line == parse_values(line, lesson.score.meter)[0]


@pytest.mark.parametrize(
    "title", ['the "long" one', "back\\slash", "Größe – ♩", "two\nlines", "del\x7fete", "\U0001f941"]
)
def test_a_title_is_kept_letter_by_letter(title: str, tmp_path: Path) -> None:
    escaped = "".join(f"\\U{ord(letter):08X}" for letter in title)
    text = text_of(LINE).replace("Harbour Street, test page", escaped)
    assert written_back(tmp_path, text, 1).title == f"{title}: up to bar 1"


@pytest.mark.parametrize(
    ("number", "start", "message"),
    [
        (12, None, "there is no bar 12 in this line; it has bars 1, 2, 3, 4$"),
        (0, None, "there is no bar 0 in this line"),
        (2, 9, "there is no bar 9 in this line; it has bars 1, 2, 3, 4$"),
        (4, None, "the bar to reach has no notes"),
        (2, 4, "the bar to start from has no notes"),
    ],
)
def test_a_bar_without_stairs_is_refused_with_what_there_is(
    number: int, start: int | None, message: str, tmp_path: Path
) -> None:
    with pytest.raises(LessonError, match=message):
        stairs_of(tmp_path, text_of(LINE), number, start)


def test_a_long_line_names_its_last_bar_only(tmp_path: Path) -> None:
    with pytest.raises(LessonError, match="there is no bar 13 in this line; the last bar is 12$"):
        stairs_of(tmp_path, text_of(" | ".join(["1"] * 12)), 13)


# --- what sounds as in the lesson ---------------------------------------------------------------

# Every key of a lesson, none at its default.
ALL = f"""
title = "Harbour Street, test page"
tempo = 112.5
note = "Count aloud."
groove = "mine.toml"
choruses = 3
count_in = 1
kit = "left-handed"
soundfont = "kits/mine.sf2"
kit_program = 40
[line]
values = "{LINE}"
played_on = {{ long = "bass drum", short = "snare" }}
[feel]
swing = 2.2
line_swing = 1.7
upbeat_accent = 2.5
held_upbeat_accent = 0.5
downbeat_quarters = 0.25
accent = 4
timing_ms = 5.5
level_lu = 0.75
correlation = 0.5
together = 0.6
ahead_ms = {{ ride = 3 }}
behind_ms = {{ snare = 8, "right foot" = 2 }}
seed = 4294967295
[balance]
hi-hat = -7
"bass drum" = -15.5
line = -3
gaps = -9
[band]
form = "blues"
[[track]]
name = "you play the snare"
note = "The left hand is yours."
without = ["snare"]
softer = {{ "bass drum" = -6 }}
tempo = "60%"
times = 2
count_in = 0
click = "2 and 4"
[[track]]
name = "climbing"
ladder = {{ from = "60%", to = 100, step = 20, times_each = 2 }}
[[track]]
name = "feet"
only = ["left foot", "right foot"]
silence = {{ play = 2, rest = 1 }}
[[track]]
name = "fading"
without = ["left foot"]
fade = {{ times = 3, to = -30 }}
[[track]]
name = "trading"
trade = {{ with = 4, without = 8 }}
[[track]]
name = "time"
line = false
"""
SAID: dict[str, Any] = tomllib.loads(ALL)
BY_THE_STAIRS = {"title", "line", "choruses"}  # what they say themselves


@pytest.fixture
def beside(tmp_path: Path) -> Path:
    """A folder with the groove file that the lesson names."""
    swing = (ROOT / "grooves" / "library" / "swing.toml").read_text(encoding="utf-8")
    (tmp_path / "mine.toml").write_text(swing.replace('"Swing"', '"Ours"'), encoding="utf-8")
    return tmp_path


def read(tables: dict[str, Any], folder: Path) -> Lesson:
    return parse_text(lesson_text(tables), folder)


def heard(lesson: Lesson) -> tuple[object, ...]:
    """All that a lesson says, but for its line and the numbers of its bars."""
    said = (lesson.feel, lesson.balance_lu, lesson.tracks, lesson.count_in, lesson.kit, lesson.soundfont)
    band = lesson.score.band.parts if lesson.score.band else ()
    said = (*said, lesson.note, lesson.kit_program, band)
    return (*said, lesson.groove, lesson.score.groove, lesson.score.tempo_bpm, lesson.score.played_on)


def without(tables: dict[str, Any], key: str, place: str | int | None) -> dict[str, Any]:
    """The tables without one key, of one of its tables or of one of its tracks."""
    copy = json.loads(json.dumps(tables))
    where = copy if place is None else copy["track"][place] if isinstance(place, int) else copy[place]
    del where[key]
    return copy


CARRIED = [
    *((key, None) for key in SAID if key not in {*BY_THE_STAIRS, "tempo", "groove"}),
    *((key, table) for table in ("feel", "balance") for key in SAID[table]),
    *((key, number) for number, track in enumerate(SAID["track"]) for key in track if key != "name"),
]


def test_the_lesson_that_is_carried_over_sets_every_key_away_from_its_default() -> None:
    assert set(SAID) == set(LessonFile.model_fields)
    assert set(SAID["feel"]) == set(FeelTable.model_fields)
    said = {key for track in SAID["track"] for key in track}
    assert said == set(TrackTable.model_fields) - {"bars"}
    for table, fields in ((SAID, LessonFile.model_fields), (SAID["feel"], FeelTable.model_fields)):
        assert not [key for key in table if table[key] == fields[key].default]


def test_all_of_a_lesson_is_said_again_value_by_value(beside: Path) -> None:
    assert heard(written_back(beside, ALL, 2)) == heard(parse_text(ALL, beside))


@pytest.mark.parametrize(("key", "place"), CARRIED)
def test_no_key_could_be_dropped_unnoticed(key: str, place: str | int | None, beside: Path) -> None:
    stairs_of(beside, ALL, 2)
    tables = tomllib.loads((beside / "stairs.toml").read_text(encoding="utf-8"))
    wanted = heard(parse_text(ALL, beside))
    assert heard(read(tables, beside)) == wanted
    assert heard(read(without(tables, key, place), beside)) != wanted


@pytest.mark.parametrize("key", sorted(set(SAID["feel"]) - {"ahead_ms", "behind_ms"}))
def test_what_the_feel_says_is_said_in_the_same_words(key: str, beside: Path) -> None:
    stairs_of(beside, ALL, 2)
    assert tomllib.loads((beside / "stairs.toml").read_text(encoding="utf-8"))["feel"][key] == SAID["feel"][key]


@pytest.mark.parametrize("swing", ['swing = "straight"', "swing = 2.5", ""])
def test_stairs_swing_as_their_lesson_does(swing: str, tmp_path: Path) -> None:
    text = text_of(LINE, feel=swing)
    assert written_back(tmp_path, text, 2).feel.swing == parse_text(text).feel.swing
    assert ("swing =" in (tmp_path / "stairs.toml").read_text(encoding="utf-8")) is bool(swing)


def test_a_lesson_that_says_little_has_stairs_that_say_little(tmp_path: Path) -> None:
    text = 'title = "x"\ntempo = 90\ngroove = "swing"\n[line]\nvalues = "4 8 8 2"\n[balance]\n'
    stairs_of(tmp_path, text, 1)
    written = tomllib.loads((tmp_path / "stairs.toml").read_text(encoding="utf-8"))
    assert {key: list(value) if isinstance(value, dict) else value for key, value in written.items()} == {
        "title": "x: up to bar 1",
        "tempo": 90,
        "groove": "swing",
        "line": ["values", "repeat_each"],
    }


def test_a_left_handed_lesson_climbs_left_handed(tmp_path: Path) -> None:
    found = written_back(tmp_path, text_of("4 4 4 4 | 8 4 4 4 8", top='kit = "left-handed"'), 2)
    limbs = {stroke.part: stroke.limb for stroke in found.score.bars[0].strokes}
    assert (limbs["ride"], limbs["snare"]) == ("left hand", "right hand")


@pytest.mark.parametrize("kit", ["left-handed", "right-handed"])
@pytest.mark.parametrize(
    "readers",
    ['played_on = { hands = "alternate" }', 'played_on = { long = "bass drum", short = "snare" }'],
)
def test_a_part_that_is_placed_keeps_its_limb_where_the_stairs_lack_it(readers: str, kit: str, tmp_path: Path) -> None:
    text = text_of("4 8 8 4 4 | 2 2", line=readers, top=f'kit = "{kit}"', feel="behind_ms = { snare = 8 }")
    lesson, found = parse_text(text), written_back(tmp_path, text, 2)
    assert found.feel.placement_ms == lesson.feel.placement_ms
    assert len(found.feel.placement_ms) == 1


def test_choruses_are_left_out_and_it_is_said(tmp_path: Path) -> None:
    assert stairs_of(tmp_path, text_of(LINE, top="choruses = 4"), 2).notes == (
        "left out: choruses = 4; the stairs are climbed once",
    )
    turns = text_of(LINE, top="choruses = 4", line='each_chorus = ["snare", "bass drum"]')
    assert written_back(tmp_path, turns, 2).choruses == 2
    assert stairs_of(tmp_path, turns, 2).notes == (
        "left out: choruses = 4; the stairs are climbed 2 times, once for each reader",
    )
    enough = text_of(LINE, top="choruses = 2", line='each_chorus = ["snare", "bass drum"]')
    assert stairs_of(tmp_path, enough, 2).notes == ()


# --- tracks on the stairs -----------------------------------------------------------------------


def track(name: str, *keys: str) -> str:
    return "\n".join(["[[track]]", f'name = "{name}"', *keys, ""])


def test_a_track_of_the_bar_to_reach_plays_the_last_step(tmp_path: Path) -> None:
    text = text_of(LINE, tracks=track("bar 2, climbing", "bars = 2", 'ladder = { from = "50%", to = "90%", step = 8 }'))
    lesson, found = parse_text(text), written_back(tmp_path, text, 2)
    (old,), (new,) = lesson.tracks, found.tracks
    assert [found.score.bars[bar].line for bar in new.bars] == [lesson.score.bars[bar].line for bar in old.bars]
    assert (new.name, new.ladder) == (old.name, old.ladder)
    assert stairs_of(tmp_path, text, 2).notes == (
        "track 1 (bar 2, climbing): bar 2 of the line is bar 5 of the stairs",
    )


def test_a_track_of_the_bar_to_start_from_plays_the_first_step(tmp_path: Path) -> None:
    text = text_of(LINE, tracks=track("there and here", 'bars = "2, 3, 2"'))
    found = written_back(tmp_path, text, 2, start=3)
    assert [line_of(found)[bar] for bar in found.tracks[0].bars] == [
        "8r 4 4 [8 8] 8", "4 8 8 4 4", "8r 4 4 [8 8] 8",
    ]  # fmt: skip


def test_a_bar_struck_like_the_bar_to_reach_but_written_otherwise_is_no_step(tmp_path: Path) -> None:
    text = text_of("4 4 4 4 | 8 8r 4 4 4", tracks=track("short", "bars = 2"))
    assert stairs_of(tmp_path, text, 1, start=2).notes[0] == (
        "left out: track 1 (short): it plays bar 2 of the line, which is no step of these stairs"
    )


def test_a_bar_that_keeps_its_number_is_not_spoken_of(tmp_path: Path) -> None:
    text = text_of("4 4 4 4 | 4 8 8 4 4", tracks=track("hard", "bars = 2"))
    assert stairs_of(tmp_path, text, 2).notes == ()
    assert written_back(tmp_path, text, 2).tracks[0].bars == (4,)


def test_tracks_of_other_bars_are_left_out_by_name(tmp_path: Path) -> None:
    text = text_of(LINE, tracks=track("whole") + track("bars 1 and 2", 'bars = "1-2"') + track("slow", "tempo = 80"))
    assert [one.name for one in written_back(tmp_path, text, 2).tracks] == ["whole", "slow"]
    assert stairs_of(tmp_path, text, 2).notes == (
        "left out: track 2 (bars 1 and 2): it plays bar 1 of the line, which is no step of these stairs",
    )


def test_a_track_that_names_a_part_the_stairs_lack_is_left_out_with_the_reason(tmp_path: Path) -> None:
    text = text_of(
        "4 8 8 4 4 | 2 2",
        line='played_on = { long = "bass drum", short = "snare" }',
        tracks=track("mine", 'without = ["snare"]') + track("time", "line = false"),
    )
    assert stairs_of(tmp_path, text, 2).notes == (
        "left out: track 1 (mine): on the stairs: without: nobody plays snare in this lesson; "
        "it has ride, bass drum, hi-hat",
    )
    assert [one.name for one in written_back(tmp_path, text, 2).tracks] == ["time"]


def test_where_no_track_is_left_the_stairs_have_the_usual_ones(tmp_path: Path) -> None:
    text = text_of(LINE, tracks=track("easy", "bars = 1"))
    assert written_back(tmp_path, text, 2).tracks == default_tracks()
    assert stairs_of(tmp_path, text, 2).notes[-1] == (
        "no track of the lesson is left, so the stairs have the usual ones"
    )


# --- the command --------------------------------------------------------------------------------


@pytest.fixture
def week(beside: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder with a lesson, its groove and its soundfont; the folder above is where the teacher stands."""
    folder = beside / "week"
    (folder / "kits").mkdir(parents=True)
    (beside / "mine.toml").rename(folder / "mine.toml")
    shutil.copy(default_soundfont(), folder / "kits" / "mine.sf2")
    (folder / "lesson.toml").write_text(ALL, encoding="utf-8")
    monkeypatch.chdir(beside)
    return folder


@pytest.mark.parametrize("target", ["week/up.toml", "up.toml", "other/up.toml", "a/b/up.toml", "{full}/other/up.toml"])
def test_groove_and_soundfont_beside_the_lesson_are_found_from_where_the_stairs_lie(target: str, week: Path) -> None:
    path = Path(target.format(full=week.parent))
    assert main(["bars", "week/lesson.toml", "--stairs", "2", "-o", str(path)]) == 0
    tables = tomllib.loads(path.read_text(encoding="utf-8"))
    assert (path.parent / tables["groove"]).samefile(week / "mine.toml")
    assert (path.parent / tables["soundfont"]).samefile(week / "kits" / "mine.sf2")
    assert not Path(tables["groove"]).is_absolute()
    assert load_lesson(path).lesson.score.groove == load_lesson(week / "lesson.toml").lesson.score.groove


def test_absolute_names_are_kept_and_shipped_grooves_are_no_files(week: Path) -> None:
    kit = week / "kits" / "mine.sf2"
    text = ALL.replace("mine.toml", "swing").replace("kits/mine.sf2", str(kit))
    (week / "lesson.toml").write_text(text, encoding="utf-8")
    assert main(["bars", "week/lesson.toml", "--stairs", "2", "-o", "up/up.toml"]) == 0
    tables = tomllib.loads(Path("up/up.toml").read_text(encoding="utf-8"))
    assert (tables["groove"], tables["soundfont"]) == ("swing", str(kit))


def test_stairs_in_another_folder_render_with_the_lesson_s_own_groove_and_soundfont(week: Path) -> None:
    def fourlimb(*words: str) -> None:
        done = subprocess.run(
            [sys.executable, "-m", "render", *words],
            capture_output=True,
            text=True,
            check=False,
            env={**os.environ, "PYTHONPATH": str(ROOT)},
        )
        assert (done.returncode, done.stderr) == (0, "")

    fourlimb("bars", "week/lesson.toml", "--stairs", "2", "-o", "elsewhere/up.toml")
    fourlimb("render", "elsewhere/up.toml", "-o", "out", "--no-audio", "--no-documents")
    names = ("climbing", "fading", "feet", "time", "trading", "you-play-the-snare")
    assert sorted(path.name for path in Path("out").iterdir()) == [f"up-{name}.mid" for name in names]


def test_what_was_left_out_is_said_to_a_person_and_in_json(week: Path, capsys: pytest.CaptureFixture[str]) -> None:
    note = "left out: choruses = 3; the stairs are climbed once"
    assert main(["bars", "week/lesson.toml", "--stairs", "2"]) == 0
    said = capsys.readouterr().out.splitlines()
    assert said[-2:] == [note, str(Path("week/lesson-stairs-to-2.toml"))]
    assert main(["bars", "week/lesson.toml", "--stairs", "2", "-o", "up.toml", "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["notes"] == [note]
    assert told["steps"] == said[:-2]
    assert told["files"] == [{"track": "", "kind": "lesson", "path": "up.toml"}]
