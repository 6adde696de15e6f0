"""A desk that serves, its folder with one lesson in it, and its page on a screen."""

import shutil

import pytest
from desk_lessons import LESSON
from desk_screen import opened
from desk_server import served


@pytest.fixture(scope="module")
def desk(tmp_path_factory):
    with served(tmp_path_factory.mktemp("lessons")) as one:
        yield one


@pytest.fixture
def folder(desk):
    """The desk's folder with one lesson in it and nothing else."""
    folder = desk.desk.folder.path
    for path in folder.iterdir():
        shutil.rmtree(path) if path.is_dir() else path.unlink()
    (folder / "first.toml").write_text(LESSON)
    return folder


@pytest.fixture
def page(chrome, desk, folder):
    with opened(chrome, desk) as one:
        yield one
