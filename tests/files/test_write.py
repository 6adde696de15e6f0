"""Files whole or not at all: what is left on the disk after success, a fault and an interruption."""

import os
import signal
import subprocess
import sys

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


# --- what is not written over ---------------------------------------------------------------------


def test_what_is_read_from_is_not_written_over_by_any_of_its_names(tmp_path):
    (tmp_path / "line.mid").write_bytes(b"line")
    (tmp_path / "link.mid").symlink_to("line.mid")
    (tmp_path / "second.mid").hardlink_to(tmp_path / "line.mid")
    for name in ("line.mid", "link.mid", "second.mid", "../" + tmp_path.name + "/line.mid"):
        with pytest.raises(LessonError, match=r"\.mid: the lesson is read from this file; write to another folder"):
            write_bytes(tmp_path / name, b"new", [tmp_path / "gone", tmp_path / "line.mid"])
    assert (tmp_path / "line.mid").read_bytes() == b"line"
    write_bytes(tmp_path / "other.mid", b"new", [tmp_path / "line.mid"])


def test_a_lesson_that_is_there_is_never_replaced(tmp_path):
    write_bytes(tmp_path / "a.toml", b"first", [])
    with pytest.raises(LessonError, match=r"a\.toml: there is a file of that name already; choose another"):
        write_bytes(tmp_path / "a.toml", b"second", [])
    assert left(tmp_path) == {"a.toml": b"first"}


# --- all or none ----------------------------------------------------------------------------------


@pytest.mark.parametrize("links", [True, False])
def test_where_a_rename_fails_those_before_it_are_taken_back(links, tmp_path, monkeypatch):
    if not links:  # as on a file system without hard links
        monkeypatch.setattr(os, "link", lambda *_, **__: (_ for _ in ()).throw(PermissionError(1, "no links here")))
    paths = [tmp_path / name for name in ("new.wav", "old.wav", "folder.wav", "last.wav")]
    paths[1].write_bytes(b"old")
    with (
        pytest.raises(LessonError, match=r"folder\.wav: cannot be written: Is a directory"),
        whole(paths, []) as beside,
    ):
        for path in beside:
            path.write_bytes(b"new")
        paths[2].mkdir()  # by somebody else, meanwhile
    paths[2].rmdir()
    assert left(tmp_path) == {"old.wav": b"old" if links else b"new"}


def test_files_are_on_the_disk_before_the_first_of_them_is_renamed(tmp_path, monkeypatch):
    done = []
    fsync, replace = os.fsync, os.replace
    monkeypatch.setattr(os, "fsync", lambda file: (done.append("sync"), fsync(file)))
    monkeypatch.setattr(os, "replace", lambda *names: (done.append("rename"), replace(*names)))
    with whole([tmp_path / "a", tmp_path / "b"], []) as beside:
        for path in beside:
            path.write_bytes(b"new")
    assert done == ["sync", "sync", "rename", "rename"]


def test_a_file_that_nobody_wrote_is_a_mistake_and_none_appears(tmp_path):
    with (
        pytest.raises(LessonError, match=r"b\.wav: cannot be written: No such file"),
        whole([tmp_path / "a.wav", tmp_path / "b.wav"], []) as (first, _),
    ):
        first.write_bytes(b"new")
    assert left(tmp_path) == {}


@pytest.fixture
def small_disk(tmp_path):
    """A disk of 200 kB, where one can be mounted."""
    place = tmp_path / "disk"
    place.mkdir()
    mounted = subprocess.run(["mount", "-t", "tmpfs", "-o", "size=200k", "tmpfs", place], capture_output=True)
    if mounted.returncode:
        pytest.skip("no disk can be mounted here")
    yield place
    subprocess.run(["umount", place], check=True)


def test_a_disk_that_fills_up_keeps_the_old_files_and_no_part_of_the_new(small_disk):
    paths = [small_disk / "a.wav", small_disk / "b.wav"]
    for path in paths:
        path.write_bytes(b"old" * 20_000)
    with (
        pytest.raises(LessonError, match=r"\.wav: cannot be written: No space left on device"),
        whole(paths, []) as beside,
    ):
        for path in beside:
            path.write_bytes(b"new" * 20_000)
    assert left(small_disk) == {"a.wav": b"old" * 20_000, "b.wav": b"old" * 20_000}


def test_a_render_onto_a_disk_that_fills_up_leaves_what_was_there(small_disk, tmp_path):
    from music import text_of

    from render.lesson.options import RenderOptions
    from render.lesson.render_lesson import render_lesson

    lesson = tmp_path / "page.toml"
    lesson.write_text(text_of("4 8 8 4 4", tempo=300, top="count_in = 0"))
    render_lesson(lesson, RenderOptions(small_disk, audio=False))
    before = left(small_disk)
    lesson.write_text(text_of("8 8 4 4 4", tempo=300, top="count_in = 0"))
    for form in ("wav", "flac", "ogg", "mp3"):
        with pytest.raises(LessonError, match=rf"\.{form}: cannot be written"):
            render_lesson(lesson, RenderOptions(small_disk, format=form, stems=True))
        assert left(small_disk) == before


# --- what the dead have left ----------------------------------------------------------------------


def test_what_a_process_that_died_left_half_written_goes_at_the_next_run_in_that_folder(tmp_path):
    program = (
        "import os, signal, sys; from pathlib import Path; from render.files.write import whole\n"
        "with whole([Path(sys.argv[1])], []) as (beside,):\n"
        "    beside.write_bytes(b'half'); os.kill(os.getpid(), signal.SIGKILL)"
    )
    dead = subprocess.run([sys.executable, "-c", program, tmp_path / "a.wav"])
    assert dead.returncode == -signal.SIGKILL
    (part,) = left(tmp_path)
    assert part.startswith(".a.wav.") and part.endswith(".part")
    for kept in (
        f".a.wav.elsewhere.{dead_process()}-1.part",  # of another machine, on a disk that both use
        f"{part.rpartition('.')[0].rpartition('.')[0]}.{os.getppid()}-1.part",  # of one that lives
        ".mine.part", f"a.wav.here.{dead_process()}-1.part",
    ):  # fmt: skip
        (tmp_path / kept).touch()
    write_bytes(tmp_path / "b.wav", b"new", [])
    assert part not in left(tmp_path)
    assert len(left(tmp_path)) == 5


def dead_process():
    """The number of a process that has ended."""
    process = subprocess.Popen(["true"])
    process.wait()
    return process.pid


def test_two_threads_that_write_one_file_write_it_one_after_the_other(tmp_path):
    with whole([tmp_path / "a"], []) as (first,), whole([tmp_path / "a"], []) as (second,):
        first.write_bytes(b"first")
        second.write_bytes(b"second")
    assert left(tmp_path) == {"a": b"first"}
