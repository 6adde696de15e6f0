"""A take against its lesson from file to answer: the report's keys are the contract's."""

import json
from itertools import pairwise

import mido
import pytest
from kept_paper import paper
from takes_made import LINE, Student, played
from written import LIBRARY

from grooves.errors import LessonError
from grooves.takes.check import student_track
from grooves.takes.sheet import sheet_of
from render.command.cli import main
from render.lesson.check import CheckOptions, check_lesson
from render.lesson.load import load_lesson
from render.lesson.options import RenderOptions
from render.lesson.render_lesson import render_lesson

KEYS = {"ride": 51, "snare": 38, "bass drum": 36, "hi-hat": 44}
LESSON = f"""
title = "Harbour Street, eight in the evening"
tempo = 126
groove = "swing"
choruses = 6
[line]
values = "{LINE}"
[feel]
timing_ms = 8
"""


@pytest.fixture
def lesson(tmp_path):
    path = tmp_path / "evening.toml"
    path.write_text(LESSON)
    return path


def take_of(lesson, how, keys=None, name="take.mid", track=None):
    """A take of the lesson as a file of pads."""
    read = load_lesson(lesson).lesson
    wanted = next((one for one in read.tracks if one.name == track), student_track(read.tracks))
    made = played(sheet_of(read, wanted), how)
    notes, now = [], 0
    for one in made.take.strokes:
        tick = max(round(one.onset_seconds * 960), 0)
        notes.append(mido.Message("note_on", channel=9, note=(keys or KEYS)[one.part], velocity=80, time=tick - now))
        now = tick
    file = mido.MidiFile(type=0, ticks_per_beat=480)
    file.tracks.append(mido.MidiTrack(notes))
    file.save(lesson.with_name(name))
    return lesson.with_name(name)


def test_the_report_has_the_keys_of_the_contract(lesson, capsys):
    take = take_of(lesson, Student(1, limb_ms={"right foot": 24.0}))
    assert main(["check", str(lesson), str(take), "--json"]) == 0
    report = json.loads(capsys.readouterr().out)
    assert {
        "track",
        "offset_ms",
        "drift_ms_per_minute",
        "swing",
        "bass_drum_lu",
        "limbs",
        "bars",
        "sentences",
        "files",
    } <= {*report}
    assert report["track"] == "without-line" and {*report["swing"]} == {"asked", "played"}
    limb = {"limb", "part", "heard", "written", "hit", "missed", "unsure", "extra", "lateness_ms", "spread_ms"}
    assert limb | {"within_20", "within_30", "within_50"} == {*report["limbs"][0]}
    foot = next(one for one in report["limbs"] if one["part"] == "bass drum")
    assert foot["limb"] == "right foot" and foot["lateness_ms"] == pytest.approx(24, abs=3)
    assert report["offset_ms"] == pytest.approx(180, abs=3) and report["bass_drum_lu"] is None
    assert {"bar", "written", "hit", "missed"} <= {*report["bars"][0]} and report["files"] == []


def test_the_terminal_says_sentences_first_then_limbs_and_bars(lesson, capsys):
    take = take_of(lesson, Student(2, limb_ms={"left foot": -25.0}))
    assert main(["check", str(lesson), str(take)]) == 0
    said = capsys.readouterr().out
    assert said.index("Your left foot (hi-hat) came") < said.index("late ms") < said.index("beats off")


def test_the_students_own_track_is_the_last_that_leaves_somebody_out_unless_one_is_named(lesson):
    take = take_of(lesson, Student(3), track="full")
    assert check_lesson(lesson, take, CheckOptions()).track == "without-line"
    assert check_lesson(lesson, take, CheckOptions(track="full")).track == "full"
    with pytest.raises(LessonError, match="there is no track 'fulll'; did you mean 'full'"):
        check_lesson(lesson, take, CheckOptions(track="fulll"))


def test_only_the_asked_bars_are_judged(lesson):
    take = take_of(lesson, Student(4))
    assert [bar.bar for bar in check_lesson(lesson, take, CheckOptions(bars="2-3")).bars] == [2, 3]
    with pytest.raises(LessonError, match=r"--bars: there is no bar 9; it has bars 1, 2, 3, 4"):
        check_lesson(lesson, take, CheckOptions(bars="9"))


def test_a_known_delay_makes_lateness_that_against_the_track(lesson):
    take = take_of(lesson, Student(5, offset_ms=150))
    ride = check_lesson(lesson, take, CheckOptions(latency_ms=110)).limbs[0]
    assert ride.lateness_ms == pytest.approx(40, abs=3)
    with pytest.raises(LessonError, match="--latency: 5000 is out of range; write -100 to 1000 ms"):
        check_lesson(lesson, take, CheckOptions(latency_ms=5000))


def test_a_guessed_pad_is_said_and_an_unclear_one_asked_for(lesson):
    take = take_of(lesson, Student(6), {**KEYS, "hi-hat": 22})
    assert "Key 22 was taken for the hi-hat." in check_lesson(lesson, take, CheckOptions()).sentences
    lesson.write_text(LESSON.replace(LINE, "4 4 4 4"))
    both = take_of(lesson, Student(6, silent=("bass drum",)), {**KEYS, "snare": 22})
    said = check_lesson(lesson, both, CheckOptions()).sentences[-1]
    assert said.startswith(
        "What is played on key 22 is not clear. Record one stroke of each pad, in this order: ride, snare"
    )


def test_recorded_pads_are_believed(lesson):
    keys = {"ride": 22, "snare": 26, "bass drum": 60, "hi-hat": 61}
    order = load_lesson(lesson).lesson.score.parts
    notes = [mido.Message("note_on", channel=9, note=keys[part], velocity=80, time=960) for part in order]
    file = mido.MidiFile(type=0, ticks_per_beat=480)
    file.tracks.append(mido.MidiTrack(notes))
    file.save(lesson.with_name("pads.mid"))
    found = check_lesson(lesson, take_of(lesson, Student(7), keys), CheckOptions(kit=lesson.with_name("pads.mid")))
    assert all(one.heard and one.missed == 0 for one in found.limbs)
    assert not any("was taken for" in sentence for sentence in found.sentences)
    with pytest.raises(LessonError, match=r"--kit: .*take\.mid: .* pads are struck here"):
        check_lesson(
            lesson, lesson.with_name("pads.mid"), CheckOptions(kit=take_of(lesson, Student(7, silent=("ride",))))
        )


def test_the_tracks_own_midi_file_is_no_take(lesson, tmp_path):
    render_lesson(lesson, RenderOptions(tmp_path / "out", audio=False))
    found = check_lesson(lesson, tmp_path / "out" / "evening-without-line.mid", CheckOptions())
    assert found.sentences == ("This is the track itself; record what you play while you hear it.",)


def test_a_take_of_no_notes_is_answered_in_a_sentence(lesson, capsys):
    file = mido.MidiFile(type=0)
    file.tracks.append(mido.MidiTrack())
    file.save(lesson.with_name("none.mid"))
    assert main(["check", str(lesson), str(lesson.with_name("none.mid"))]) == 0
    assert "No stroke of this lesson's parts is in this take." in capsys.readouterr().out


def test_what_is_missing_on_the_command_line_is_said(lesson, capsys):
    assert main(["check", str(lesson)]) == 2
    assert "check holds a take against a lesson; name both" in capsys.readouterr().err
    assert main(["check", str(lesson), str(lesson.with_name("no.mid"))]) == 2
    assert "no.mid: there is no such file" in capsys.readouterr().err


# --- what is written ------------------------------------------------------------------------------


def gone_in_bar_two(lesson):
    """A take whose snare leaves out bar 2."""
    read = load_lesson(lesson).lesson
    written = sheet_of(read, student_track(read.tracks))
    path = take_of(lesson, Student(30))
    made = played(written, Student(30))
    lost = [
        round(made.take.strokes[made.truth[place]].onset_seconds * 960)
        for place, one in enumerate(written.strokes)
        if one.part == "snare" and written.bars[one.bar].number == 2
    ]
    file, now, kept = mido.MidiFile(path), 0, []
    for message in file.tracks[0]:
        now += message.time
        if message.type == "note_on" and not (message.note == 38 and now in lost):
            kept.append((now, message))
    track = mido.MidiTrack()
    for (before, _), (tick, message) in pairwise([(0, None), *kept]):
        track.append(message.copy(time=tick - before))
    file.tracks[0] = track
    file.save(path)
    return path


def test_a_folder_gets_pictures_and_practice_of_the_worst_bars_for_the_limb_that_missed(lesson, tmp_path):
    take = gone_in_bar_two(lesson)
    out = tmp_path / "again"
    report = check_lesson(lesson, take, CheckOptions(folder=out))
    names = {made.path.name for made in report.files}
    assert {"evening-check.svg", "evening-check.pdf", "evening-after-take.toml"} <= names
    assert {"evening-after-take-loop-bar-2.wav", "evening-after-take-bar-2-up-to-tempo.wav"} <= names
    assert all(made.path.stat().st_size for made in report.files)
    assert not list(out.glob(".*"))
    practice = load_lesson(out / "evening-after-take.toml").lesson
    slow, climb = practice.tracks[0], practice.tracks[1]
    assert slow.bars == climb.bars == (1,) and slow.without == climb.without == {"left hand"}
    assert slow.tempo_bpm == pytest.approx(0.6 * 126) and climb.ladder.to_bpm == 126


def test_a_take_that_ends_before_its_track_has_its_picture(lesson, tmp_path):
    whole = mido.MidiFile(gone_in_bar_two(lesson))
    (track,) = whole.tracks
    del track[len(track) * 3 // 5 :]
    whole.save(tmp_path / "half.mid")
    report = check_lesson(lesson, tmp_path / "half.mid", CheckOptions(folder=tmp_path / "again"))
    assert 2 <= report.bars[0].times <= 4  # of six rounds
    assert "Bar 2: " in (tmp_path / "again" / "evening-check.svg").read_text()


def test_a_take_is_held_against_the_track_that_it_fits(lesson):
    lesson.write_text(
        LESSON
        + '[[track]]\nname = "whole line"\nwithout = ["snare"]\n'
        + '[[track]]\nname = "climb"\nbars = "2"\nwithout = ["snare"]\nladder = { from = "60%", to = "100%", step = 5 }\n'
    )
    for name in ("whole line", "climb"):
        take = take_of(lesson, Student(5), track=name)
        assert check_lesson(lesson, take, CheckOptions()).track == name


def test_a_take_that_a_page_kept_is_held_against_what_the_page_played_whatever_the_tracks(lesson):
    lesson.write_text(
        LESSON
        + '[[track]]\nname = "whole line"\nwithout = ["snare"]\n'
        + '[[track]]\nname = "bar 2"\nbars = "2"\ntimes = 9\nwithout = ["snare"]\n'
    )
    read = load_lesson(lesson).lesson
    sheet = sheet_of(read, read.tracks[0])
    kept = paper(read, sheet, played(sheet, Student(5)).take)
    lesson.with_name("take.json").write_text(json.dumps(kept))
    report = check_lesson(lesson, lesson.with_name("take.json"), CheckOptions())
    assert report.track == "Your turn"
    assert all(one.hit == one.written for one in report.limbs)


def test_a_take_checked_twice_writes_the_same_and_another_lesson_is_kept(lesson, tmp_path):
    take = gone_in_bar_two(lesson)
    out = tmp_path / "again"
    first = {made.path: made.path.read_bytes() for made in check_lesson(lesson, take, CheckOptions(folder=out)).files}
    second = {made.path: made.path.read_bytes() for made in check_lesson(lesson, take, CheckOptions(folder=out)).files}
    assert first == second
    (out / "evening-after-take.toml").write_text("title = 'mine'")
    (out / "evening-check.svg").unlink()
    with pytest.raises(LessonError, match=r"evening-after-take\.toml: there is a file of that name already"):
        check_lesson(lesson, take, CheckOptions(folder=out))
    assert not (out / "evening-check.svg").exists()


def test_without_a_folder_nothing_is_written(lesson):
    take = take_of(lesson, Student(31, missing=0.1))
    before = sorted(lesson.parent.iterdir())
    assert check_lesson(lesson, take, CheckOptions()).files == ()
    assert sorted(lesson.parent.iterdir()) == before


def test_a_take_without_a_fault_gives_no_practice(lesson, tmp_path):
    take = take_of(lesson, Student(32, spread_ms=4))
    report = check_lesson(lesson, take, CheckOptions(folder=tmp_path / "again"))
    assert [made.kind for made in report.files] == ["check", "check"]


def test_a_lesson_that_names_files_finds_them_from_the_folder(lesson, tmp_path):
    (lesson.parent / "own.toml").write_text(
        (LIBRARY / "swing.toml").read_text().replace('name = "swing"', 'name = "own"')
    )
    lesson.write_text(LESSON.replace('groove = "swing"', 'groove = "own.toml"'))
    report = check_lesson(lesson, gone_in_bar_two(lesson), CheckOptions(folder=tmp_path / "far" / "again"))
    again = next(made.path for made in report.files if made.kind == "lesson")
    assert load_lesson(again).lesson.score.groove.name == "own"
