"""Several lines in one lesson, as files: what they are read from, and what is written from such a lesson."""

import json
import re
import tomllib

import pytest

from grooves.errors import LessonError
from grooves.rhythm import values_text
from render.command.cli import main
from render.lesson.bar_report import stairs_lesson
from render.lesson.check_files import practice_tables
from render.lesson.lesson_text import lesson_text
from render.lesson.load import load_lesson
from render.lesson.term_lessons import group_jobs, plan_lessons

TOP = 'title = "Harbour Street, two lines"\ntempo = 120\ngroove = "swing"\n'
A = '[[line]]\nvalues = "4 8 8 4 4 | 2 2"\n'
B = '[[line]]\nvalues = "4 4 2 | 8r 4 4 [8 8] 8"\nplayed_on = "bass drum"\n'
FROM_FILE = '[[line]]\nfile = "line.musicxml"\nplayed_on = "bass drum"\n'


@pytest.fixture
def two(tmp_path):
    """A lesson of two lines."""
    path = tmp_path / "two.toml"
    path.write_text(TOP + A + B)
    return path


@pytest.fixture
def from_file(tmp_path):
    """A lesson whose second line is a notation file."""
    (tmp_path / "plain.toml").write_text(TOP + '[line]\nvalues = "4 4 2 | 1"\n')
    assert main(["chart", str(tmp_path / "plain.toml"), "-o", str(tmp_path / "line.musicxml")]) == 0
    path = tmp_path / "two.toml"
    path.write_text(TOP + A + FROM_FILE)
    return path


def test_a_line_of_several_is_read_from_its_file_which_is_never_written_over(from_file, tmp_path):
    loaded = load_lesson(from_file)
    assert values_text([bar.line for bar in loaded.lesson.score.bars]) == "4 8 8 4 4 | 2 2 | 4 4 2 | 1"
    assert loaded.reads == (from_file, tmp_path / "line.musicxml")


def test_a_line_whose_file_is_not_there_says_which_line(tmp_path):
    (tmp_path / "two.toml").write_text(TOP + A + FROM_FILE)
    with pytest.raises(LessonError, match=r"two\.toml: line 2: file: .*line\.musicxml: there is no such file"):
        load_lesson(tmp_path / "two.toml")


def test_a_terms_copy_finds_the_files_of_all_its_lines(from_file, tmp_path):
    week = '[[group.week]]\nweek = 1\nlesson = "two.toml"\n'
    (tmp_path / "t.toml").write_text(
        f'title = "t"\nweeks = 1\n[[group]]\nname = "Monday"\nlevel = 1\ntempo = 80\nbars = 2\n{week}'
    )
    _, (job,) = group_jobs(tmp_path / "t.toml", tmp_path / "out")
    (own,) = plan_lessons(job)[1]
    (tmp_path / "out" / "monday").mkdir(parents=True)
    (tmp_path / "out" / own.path).write_text(own.text)
    assert load_lesson(tmp_path / "out" / own.path).lesson.score == load_lesson(from_file).lesson.score


def test_stairs_to_a_bar_of_the_second_line_are_read_as_that_line_is(two, tmp_path):
    for number, reader in ((2, "snare"), (4, "bass drum")):
        stairs = stairs_lesson(two, number, None, tmp_path / "stairs.toml")
        line = tomllib.loads(stairs.text)["line"]
        assert line.get("played_on", "snare") == reader
        assert line["values"].endswith(values_text([load_lesson(two).lesson.score.bars[number - 1].line]))


def test_the_lesson_of_the_worst_bars_keeps_both_lines_and_finds_their_files(from_file, tmp_path):
    tables = practice_tables(load_lesson(from_file), [], tmp_path, tmp_path / "check")
    assert [sorted(line) for line in tables["line"]] == [["values"], ["file", "played_on"]]
    (tmp_path / "check").mkdir()
    again = tmp_path / "check" / "again.toml"
    again.write_text(lesson_text({key: value for key, value in tables.items() if value != []}))
    assert load_lesson(again).lesson.score.bars == load_lesson(from_file).lesson.score.bars


def test_a_letter_chooses_bars_for_a_loop_and_a_chart(two, tmp_path, capsys):
    words = ["loop", str(two), "--bars", "B", "--tempo", "60%", "-o", str(tmp_path / "out"), "--json"]
    assert main(words) == 0
    made = [one["path"] for one in json.loads(capsys.readouterr().out)["files"]]
    assert str(tmp_path / "out" / "two-loop-bar-b.mid") in made
    assert main(["chart", str(two), "--bars", "b", "-o", str(tmp_path / "b.musicxml")]) == 0
    written = (tmp_path / "b.musicxml").read_text()
    assert re.findall(r'<measure number="(\d)"', written) == ["3", "4"] * 2
    assert main(["loop", str(two), "--bars", "C", "-o", str(tmp_path / "out")]) == 2
    assert "--bars: 'C' is not a bar; write numbers and ranges, such as \"1-4, 7\", or a letter: A, B" in (
        capsys.readouterr().err
    )


def test_lines_in_turn_render_page_and_report_like_one(two, tmp_path, capsys):
    assert main(["render", str(two), "-o", str(tmp_path / "out"), "--track", "full", "--no-audio", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["files"]
    assert main(["bars", str(two), "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert sorted(one["bar"] for one in told["bars"]) == [1, 2, 3, 4]
