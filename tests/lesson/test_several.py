"""Several lessons at once: where they go, in which order, at which level."""

from pathlib import Path

import numpy as np
import pytest
import soundfile
from music import text_of

from grooves.errors import LessonError
from render.files import there
from render.lesson.documents import page_files
from render.lesson.load import lessons_in
from render.lesson.options import RenderOptions
from render.lesson.several import Workers, lesson_places, render_lessons

FULL = '[[track]]\nname = "full"\n'
SHORT = text_of("4 8 8 4 4", tempo=300, top="count_in = 0", tracks=FULL)


@pytest.fixture
def term(tmp_path):
    """A folder of a term: weeks, a folder in it, a groove, and what is hidden."""
    folder = tmp_path / "term"
    for name in ("week 10", "week 2", "Week 1", "brushes/week 3", "brushes/deep/b", ".trash/week 4"):
        path = folder / f"{name}.toml"
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(SHORT.replace("Harbour Street, test page", name))
    swing = Path(__file__).parents[2] / "grooves" / "library" / "swing.toml"
    (folder / "mine.toml").write_text(swing.read_text())
    return folder


def test_lessons_come_in_the_order_of_their_numbers_folder_by_folder(term):
    assert [path.relative_to(term).as_posix() for path in lessons_in(term)] == [
        "brushes/deep/b.toml", "brushes/week 3.toml", "Week 1.toml", "week 2.toml", "week 10.toml",
    ]  # fmt: skip


def test_a_folder_with_far_more_than_lessons_is_refused_before_it_is_read(term, monkeypatch):
    monkeypatch.setattr(
        there, "MOST_LOOKED_AT", 8
    )  # five lessons, a groove, two folders; what is hidden is not counted
    assert len(lessons_in(term)) == 5
    (term / "brushes" / "deep" / "notes.txt").write_text("one more")
    with pytest.raises(LessonError, match=f"{term}: more than 8 files lie in it; name a smaller folder of it"):
        lessons_in(term)


def test_folders_inside_folders_are_rendered_into_folders_of_the_same_names(term, tmp_path):
    reports = render_lessons([term], RenderOptions(tmp_path / "out", audio=False), Workers(1))
    assert sorted(path.relative_to(tmp_path / "out").as_posix() for path in (tmp_path / "out").rglob("*.mid")) == [
        "Week 1-full.mid", "brushes/deep/b-full.mid", "brushes/week 3-full.mid", "week 10-full.mid", "week 2-full.mid",
    ]  # fmt: skip
    assert [report.title for report in reports][-2:] == ["week 2", "week 10"]


def test_an_index_has_its_lessons_in_order_and_leads_into_folders(term):
    index, *pages = page_files(term, None, None, 44100, True)
    assert index == term / "index.html"
    text = index.read_text()
    places = [text.index(f'href="{name}.html"') for name in ("brushes/week%203", "Week%201", "week%202", "week%2010")]
    assert places == sorted(places)
    assert all(page.exists() and page.with_suffix(".toml").exists() for page in pages)
    assert len(pages) == 5


def test_one_name_in_two_folders_is_no_quarrel_but_in_one_place_it_is(term, tmp_path):
    (term / "brushes" / "week 2.toml").write_text(SHORT)
    assert len(lesson_places([term], Path("out"))) == 6
    with pytest.raises(LessonError, match="week 2.toml and .*brushes/week 2.toml would write the same files"):
        lesson_places([term / "week 2.toml", term / "brushes" / "week 2.toml"], Path("out"))
    assert len(lesson_places([term, term / "week 2.toml"], Path("out"))) == 6  # named twice, rendered once


# --- one level ------------------------------------------------------------------------------------


def ride_level(folder, name):
    """The level of the ride's first plain stroke in a stem, in dB: its highest sample in the first 20 ms."""
    sound, rate = soundfile.read(folder / f"{name}-full-stem-ride.wav")
    return 20 * np.log10(np.abs(sound[: rate // 50]).max())


@pytest.fixture
def two(tmp_path):
    """A quiet lesson and one whose bass drum is loud, so that its peaks ask for another gain."""
    (tmp_path / "soft.toml").write_text(SHORT)
    loud = text_of("4 8 8 4 4", tempo=300, top="count_in = 0", balance='"bass drum" = 6', tracks=FULL)
    (tmp_path / "loud.toml").write_text(loud)
    return [tmp_path / "soft.toml", tmp_path / "loud.toml"]


def test_lessons_rendered_together_share_one_gain_unless_told_otherwise(two, tmp_path):
    levels = {}
    for how in ("shared", "per-lesson"):
        options = RenderOptions(tmp_path / how, stems=True, level=how)
        reports = render_lessons(two, options, Workers(1))
        levels[how] = [ride_level(tmp_path / how, name) for name in ("soft", "loud")]
        shared = [note for report in reports for note in report.notes if "as loud in all lessons" in note]
        assert len(shared) == (2 if how == "shared" else 0)
    assert levels["shared"][0] == pytest.approx(levels["shared"][1], abs=0.02)
    assert levels["per-lesson"][0] > levels["per-lesson"][1] + 2
    # The level that all of them allow is that of the one that allows least.
    assert levels["shared"][1] == pytest.approx(levels["per-lesson"][1], abs=0.001)
    loud = [(tmp_path / how / "loud-full.wav").read_bytes() for how in levels]
    assert loud[0] == loud[1]


def test_one_lesson_alone_has_its_own_gain(two, tmp_path):
    (report,) = render_lessons(two[:1], RenderOptions(tmp_path / "out"))
    assert "as loud in all lessons" not in " ".join(report.notes)


def test_all_that_is_wrong_is_told_before_anything_is_rendered(term, tmp_path):
    (term / "week 2.toml").write_text(SHORT.replace("300", "0"))
    (term / "brushes" / "week 3.toml").write_text(SHORT.replace("swing", "swong"))
    with pytest.raises(LessonError) as raised:
        render_lessons([term], RenderOptions(tmp_path / "out"))
    first, second, last = str(raised.value).splitlines()
    assert "week 3.toml: groove" in first and "week 2.toml: tempo" in second
    assert last == "nothing was rendered"
    assert not (tmp_path / "out").exists()
