"""Lessons written as text, and the files they name found again from another folder."""

import os
import tomllib
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from render.lesson.lesson_text import lesson_text, named_from

TEXTS = st.text(st.characters(exclude_categories=["Cs"]), max_size=8)
SINGLE = TEXTS | st.booleans() | st.integers(-(2**63), 2**63 - 1) | st.floats(allow_nan=False)
VALUES = st.recursive(SINGLE, lambda one: st.lists(one, max_size=3) | st.dictionaries(TEXTS, one, max_size=3))


@given(st.dictionaries(TEXTS, VALUES, max_size=6))
def test_what_is_written_is_read_again(tables: dict[str, object]) -> None:
    assert tomllib.loads(lesson_text(tables)) == tables


def test_tables_follow_the_single_keys_and_lists_of_tables_come_last() -> None:
    tables = {
        "track": [{"name": "a", "ladder": {"from": "60%", "to": 120}}, {"name": "b", "line": False}],
        "balance": {"bass drum": -14.5},
        "tempo": 96,
    }
    assert lesson_text(tables) == (
        "tempo = 96\n\n"
        '[balance]\n"bass drum" = -14.5\n\n'
        '[[track]]\nname = "a"\nladder = {from = "60%", to = 120}\n\n'
        '[[track]]\nname = "b"\nline = false\n'
    )


@pytest.mark.parametrize(
    ("folder", "name", "beside", "named"),
    [
        ("week", "mine.toml", "week", "mine.toml"),
        ("week", "./mine.toml", "week", "mine.toml"),
        ("up", "mine.toml", "week", "../week/mine.toml"),
        ("week/up", "mine.toml", "week", "../mine.toml"),
        (".", "mine.toml", "week", "week/mine.toml"),
        ("up", "grooves/mine.toml", "week", "../week/grooves/mine.toml"),
        ("up", "../mine.toml", "week", "../mine.toml"),
    ],
)
def test_a_file_is_named_on_the_way_from_the_new_folder(
    folder: str, name: str, beside: str, named: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    assert named_from(Path(folder), name, Path(beside)) == named
    assert named_from(tmp_path / folder, name, Path(beside)) == named
    assert named_from(Path(folder), name, tmp_path / beside) == named


def test_an_absolute_name_stays() -> None:
    assert named_from(Path("up"), "/kits/jazz.sf2", Path("week")) == "/kits/jazz.sf2"


def test_links_to_folders_lead_to_the_same_file(tmp_path: Path) -> None:
    (tmp_path / "far" / "away").mkdir(parents=True)
    (tmp_path / "week").mkdir()
    (tmp_path / "week" / "mine.toml").write_text("mine")
    (tmp_path / "up").symlink_to(tmp_path / "far" / "away")
    (tmp_path / "linked").symlink_to(tmp_path / "week")
    for beside in ("week", "linked"):
        named = named_from(tmp_path / "up", "mine.toml", tmp_path / beside)
        assert not Path(named).is_absolute()
        assert (tmp_path / "up" / named).read_text() == "mine"
    assert named_from(tmp_path / "far", "mine.toml", tmp_path / "linked") == "../week/mine.toml"


def test_a_file_that_is_a_link_keeps_its_own_name(tmp_path: Path) -> None:
    (tmp_path / "store.sf2").write_text("kit")
    (tmp_path / "week").mkdir()
    (tmp_path / "week" / "kit.sf2").symlink_to(tmp_path / "store.sf2")
    assert named_from(tmp_path / "up", "kit.sf2", tmp_path / "week") == "../week/kit.sf2"


def test_a_file_in_the_home_folder_is_named_as_the_lesson_finds_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("HOME", str(tmp_path / "home"))
    monkeypatch.chdir(tmp_path)
    assert named_from(Path("up"), "~/kit.sf2", Path()) == "../home/kit.sf2"
    assert named_from(Path("up"), "~/kit.sf2", Path("week")) == "../home/kit.sf2"
    assert named_from(Path("up"), "~nobodyhere/kit.sf2", Path()) == "~nobodyhere/kit.sf2"


def test_without_a_way_between_the_folders_the_name_is_absolute(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def two_drives(*_: object) -> str:
        raise ValueError("path is on mount 'D:', start on mount 'C:'")

    monkeypatch.setattr(os.path, "relpath", two_drives)
    assert named_from(tmp_path / "up", "mine.toml", tmp_path) == str(tmp_path / "mine.toml")
