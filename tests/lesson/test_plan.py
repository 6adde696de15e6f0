"""What lessons will make, told beforehand: the files that come out, and no two of them one."""

import pytest
from test_render_lesson import LESSON

from grooves.errors import LessonError
from grooves.passages import Track, track_passages
from grooves.performance import perform
from render.command.cli import main
from render.lesson.load import load_lesson
from render.lesson.options import RenderOptions
from render.lesson.plan import plan_lesson, sounding_parts
from render.lesson.render_lesson import render_lesson
from render.lesson.size import length_seconds

SHAPES = """
[[track]]
name = "traded"
times = 2
trade = { with = 1, without = 1 }
[[track]]
name = "climbing"
bars = "2"
click = "every beat"
ladder = { from = 100, to = 130, step = 10, times_each = 2 }
[[track]]
name = "feet"
only = ["right foot", "left foot"]
count_in = 0
"""


@pytest.fixture
def lesson(tmp_path):
    path = tmp_path / "page.toml"
    path.write_text(LESSON + SHAPES)
    return path


def test_the_files_planned_are_those_that_are_made(lesson, tmp_path):
    options = RenderOptions(tmp_path / "out", stems=True, paper=True)
    planned = [file.path for file in plan_lesson(lesson, options).files]
    made = [made.path for made in render_lesson(lesson, options).files]
    assert sorted(planned) == sorted(made) == sorted((tmp_path / "out").iterdir())


def test_lengths_and_parts_are_those_of_the_performance(lesson):
    loaded = load_lesson(lesson).lesson
    for track in (*loaded.tracks, Track("time", groove_alone=True, without=frozenset({"ride"}))):
        passages = track_passages(track, loaded.score, loaded.choruses, loaded.count_in)
        performance = perform(loaded.score, passages, loaded.feel)
        assert length_seconds(loaded.score, passages) == pytest.approx(performance.length_seconds)
        assert sounding_parts(loaded.score, passages) == performance.parts


def test_a_track_called_like_another_s_stem_is_refused_where_stems_are_made(tmp_path):
    path = tmp_path / "page.toml"
    path.write_text(LESSON + '[[track]]\nname = "full stem ride"\n')
    with pytest.raises(LessonError) as raised:
        render_lesson(path, RenderOptions(tmp_path / "out", stems=True))
    target = tmp_path / "out" / "page-full-stem-ride.wav"
    assert str(raised.value) == (
        f"{path}: track 'full', its stem ride and {path}: track 'full stem ride' would both be written to {target}; "
        "rename one of them"
    )
    assert not (tmp_path / "out").exists()
    assert render_lesson(path, RenderOptions(tmp_path / "out", tracks=("full", "full stem ride"), audio=False)).files


def test_two_lessons_whose_tracks_would_be_one_file_are_refused(tmp_path, capsys):
    for name, track in (("a", "b full"), ("a-b", "full")):
        text = LESSON.partition("[[track]]")[0] + f'[[track]]\nname = "{track}"\n'
        (tmp_path / f"{name}.toml").write_text(text)
    assert main(["render", str(tmp_path), "-o", str(tmp_path / "out"), "--no-audio", "--no-documents"]) == 2
    said = capsys.readouterr().err
    assert "a.toml: track 'b full'" in said and "a-b.toml: track 'full'" in said
    assert "a-b-full.mid; rename one of them" in said
    assert not (tmp_path / "out").exists()


@pytest.mark.parametrize(
    "words", [["render", "a.toml", "-o", "."], ["chart", "a.toml", "-o", "a.musicxml"], ["render", ".", "-o", "."]]
)
def test_what_a_line_is_read_from_is_not_written_over(tmp_path, monkeypatch, capfd, words):
    monkeypatch.chdir(tmp_path)
    line = tmp_path / "first.toml"
    line.write_text(LESSON)
    assert main(["chart", "first.toml", "-o", "a.musicxml"]) == 0
    line.unlink()
    (tmp_path / "a.toml").write_text('title = "a"\ntempo = 120\ngroove = "swing"\n[line]\nfile = "a.musicxml"\n')
    before = (tmp_path / "a.musicxml").read_bytes()
    assert main(words) == 2
    assert "a.musicxml: the lesson is read from this file; write to another folder or name" in capfd.readouterr().err
    assert (tmp_path / "a.musicxml").read_bytes() == before
    assert sorted(path.name for path in tmp_path.iterdir()) == ["a.musicxml", "a.toml"]
