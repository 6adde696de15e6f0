"""A generated line as a whole lesson: what is asked for stands in it, and nothing is written over."""

from pathlib import Path

import pytest

from grooves.rhythm import Meter, values_text
from grooves.teaching.graded import lines
from render.command.cli import main
from render.lesson.load import load_lesson

ROOT = Path(__file__).parents[2]


@pytest.fixture
def asked(tmp_path, monkeypatch):
    """The lesson that a command line writes."""
    monkeypatch.chdir(tmp_path)

    def ask(*words):
        assert main(["lines", "--level", "4", "-o", "week/a.toml", *words]) == 0
        lesson = load_lesson(Path("week/a.toml")).lesson
        Path("week/a.toml").unlink()
        return lesson

    return ask


def line_of(lesson):
    return values_text([bar.line for bar in lesson.score.bars])


def test_a_lesson_holds_the_line_that_its_level_and_seed_give(asked):
    lesson = asked("--bars", "4", "--seed", "3")
    assert line_of(lesson) == values_text(lines(4, 4, 3, Meter(4, 4)))
    assert (lesson.title, lesson.groove, lesson.score.tempo_bpm) == ("A line of level 4", "swing", 100)


def test_title_groove_and_tempo_are_as_asked(asked):
    lesson = asked("--title", 'Harbour Street, "late"', "--groove", "jazz-waltz", "--tempo", "96.5")
    assert (lesson.title, lesson.groove) == ('Harbour Street, "late"', "jazz-waltz")
    assert (lesson.score.tempo_bpm, str(lesson.score.meter)) == (96.5, "3/4")


def test_a_meter_alone_finds_a_groove_of_its_own(asked):
    assert asked("--meter", "3/4").groove == "jazz-waltz"
    assert asked("--meter", "5/4").score.meter == Meter(5, 4)


def test_a_groove_file_is_found_from_where_the_lesson_lies(asked, tmp_path):
    (tmp_path / "mine.toml").write_text((ROOT / "grooves" / "library" / "jazz-waltz.toml").read_text())
    lesson = asked("--groove", "mine.toml")
    assert (lesson.groove, lesson.score.meter) == ("../mine.toml", Meter(3, 4))


WRONG = [
    (["-o", "a.txt"], "a.txt: a lesson's name ends in .toml; write a.toml"),
    (["-o", "there.toml"], "there.toml: there is a file of that name already; choose another"),
    (["-o", "a.toml", "--groove", "swnig"], "--groove: 'swnig' is not shipped; did you mean 'swing'?"),
    (["-o", "a.toml", "--groove", "swing", "--meter", "3/4"], "--meter: 3/4 does not fit the groove 'swing', which is"),
    (["-o", "a.toml", "--meter", "13/8"], "--meter: no groove in 13/8 is shipped; name a groove file with --groove"),
    (["-o", "a.toml", "--tempo", "500"], "tempo: 500 is out of range"),
    (["-o", "a.toml", "--level", "99"], "level 99 does not exist"),
    (["--title", "x"], "--title: this belongs to a whole lesson; add -o and a file's name, such as"),
    (["--tempo", "90"], "--tempo: this belongs to a whole lesson"),
    (["--groove", "swing"], "--groove: this belongs to a whole lesson"),
]


@pytest.mark.parametrize(("words", "message"), WRONG, ids=[" ".join(words) for words, _ in WRONG])
def test_what_does_not_fit_is_one_message_and_nothing_is_written(words, message, tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    Path("there.toml").write_text("mine")
    assert main(["lines", "--level", "4", *words]) == 2
    said = capsys.readouterr()
    assert message in said.err and len(said.err.splitlines()) == 1 and said.out == ""
    assert [path.name for path in tmp_path.iterdir()] == ["there.toml"]
    assert Path("there.toml").read_text() == "mine"
