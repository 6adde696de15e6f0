"""Files written together: all of them or none, and the one that is in the way is named."""

import errno
import os
from pathlib import Path

import pytest

from grooves.mistake import Mistake
from render.write import whole, write_bytes


def write_all(paths):
    with whole(paths) as beside:
        for written in beside:
            written.write_bytes(b"new")


@pytest.fixture
def paths(tmp_path):
    return [tmp_path / f"{name}.wav" for name in ("first", "second", "third")]


def test_files_appear_together_and_replace_the_old_ones(paths, tmp_path):
    paths[1].write_bytes(b"old")
    write_all(paths)
    assert [path.read_bytes() for path in paths] == [b"new"] * 3
    assert sorted(tmp_path.iterdir()) == sorted(paths)


def test_a_folder_in_the_way_of_one_file_is_named_and_no_file_is_written(paths, tmp_path):
    paths[1].mkdir()
    paths[0].write_bytes(b"old")
    with pytest.raises(Mistake, match="second.wav: there is a folder of that name; move it away"):
        write_all(paths)
    assert paths[0].read_bytes() == b"old"
    assert sorted(tmp_path.iterdir()) == paths[:2]


def test_a_folder_that_nobody_may_write_into_is_named_with_the_file(paths, tmp_path, monkeypatch):
    monkeypatch.setattr(os, "access", lambda path, mode: Path(path) != tmp_path)  # whoever runs this may write there
    with pytest.raises(Mistake, match=f"first.wav: nothing may be written into {tmp_path}; choose another place"):
        write_all(paths)


def test_the_file_that_cannot_be_opened_or_put_in_its_place_is_the_one_named(paths, tmp_path, monkeypatch):
    with pytest.raises(Mistake, match=r"none/b\.mid: cannot be written: No such file or directory"):
        write_all([tmp_path / "a.mid", tmp_path / "none" / "b.mid"])
    rename = os.replace

    def busy(self, target):
        if target == paths[2]:
            raise OSError(errno.EBUSY, "Device or resource busy", str(self), None, str(target))
        rename(self, target)

    monkeypatch.setattr(Path, "replace", busy)
    with pytest.raises(Mistake, match=r"third\.wav: cannot be written: Device or resource busy"):
        write_all(paths)
    assert not [path for path in tmp_path.iterdir() if path.suffix == ".part"]


def test_an_interruption_leaves_what_was_there(paths, tmp_path):
    paths[0].write_bytes(b"old")
    with pytest.raises(KeyboardInterrupt), whole(paths) as beside:
        beside[0].write_bytes(b"new")
        raise KeyboardInterrupt
    assert [(path, path.read_bytes()) for path in tmp_path.iterdir()] == [(paths[0], b"old")]


def test_one_file_is_written_in_one_go(tmp_path):
    write_bytes(tmp_path / "a.mid", b"MThd")
    assert (tmp_path / "a.mid").read_bytes() == b"MThd"
