"""Files whole or not at all: what is left on the disk after success, a fault and an interruption."""

import os

import pytest
import soundfile

from grooves.errors import LessonError
from render.files.write import make_folder, whole, write_bytes


def left(folder):
    """What lies in a folder, hidden files too."""
    return {path.name: path.read_bytes() for path in folder.iterdir()}


def test_files_written_together_appear_only_when_all_are_done(tmp_path):
    paths = [tmp_path / "a.wav", tmp_path / "b.wav"]
    with whole(paths, []) as beside:
        for number, path in enumerate(beside):
            path.write_bytes(b"%d" % number)
            assert not any(path.exists() for path in paths)
            assert path.parent == tmp_path  # on the same disk, so that to rename it is one step
            assert path.name.startswith(".")
    assert left(tmp_path) == {"a.wav": b"0", "b.wav": b"1"}


@pytest.mark.parametrize("error", [KeyboardInterrupt, OSError(28, "No space left on device"), RuntimeError("other")])
def test_after_a_fault_the_old_file_stays_and_nothing_new_is_left(error, tmp_path):
    path = tmp_path / "a.wav"
    path.write_bytes(b"old")
    with pytest.raises((LessonError, KeyboardInterrupt, RuntimeError)), whole([path, tmp_path / "b.wav"], []) as beside:
        for one in beside:
            one.write_bytes(b"half")
        raise error
    assert left(tmp_path) == {"a.wav": b"old"}


def test_a_full_disk_is_a_mistake_that_names_the_file_and_the_reason(tmp_path):
    path = tmp_path / "a.wav"
    with pytest.raises(LessonError) as raised, whole([path], []):
        raise OSError(28, "No space left on device")
    assert str(raised.value) == f"{path}: cannot be written: No space left on device"


def test_soundfile_s_errors_are_mistakes_and_others_are_not(tmp_path):
    path = tmp_path / "a.flac"
    with pytest.raises(LessonError, match=r"a\.flac: cannot be written: .*the disk"), whole([path], []):
        raise soundfile.SoundFileRuntimeError("the disk")
    with pytest.raises(RuntimeError, match="a fault of ours"), whole([path], []):
        raise RuntimeError("a fault of ours")
    assert left(tmp_path) == {}


def test_bytes_are_written_over_what_was_there(tmp_path):
    path = tmp_path / "a.mid"
    for data in (b"longer than the next", b"short"):
        write_bytes(path, data, [])
        assert left(tmp_path) == {"a.mid": data}
    with pytest.raises(LessonError, match=r"none/a\.mid: cannot be written: No such file or directory"):
        write_bytes(tmp_path / "none" / "a.mid", b"", [])


def test_a_folder_is_made_with_those_above_it_and_may_be_there(tmp_path):
    folder = tmp_path / "deep" / "down"
    assert make_folder(folder) == make_folder(folder) == folder
    assert folder.is_dir()


def test_a_file_in_a_folder_s_place_is_a_mistake(tmp_path):
    path = tmp_path / "file"
    path.write_bytes(b"kept")
    for folder in (path, path / "below"):
        with pytest.raises(LessonError, match="this is a file; name a folder"):
            make_folder(folder)
    assert left(tmp_path) == {"file": b"kept"}


def test_a_folder_that_may_not_be_written_to_is_a_mistake(tmp_path, monkeypatch):
    monkeypatch.setattr(os, "access", lambda path, mode: mode != os.W_OK)  # root may write everywhere
    with pytest.raises(LessonError, match="nothing may be written into this folder; choose another with -o"):
        make_folder(tmp_path)
