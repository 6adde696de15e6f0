"""The cache of recorded hits: a soundfont that was changed is seen as another, files in the making are left alone."""

import os
import time

import numpy as np
import pytest

from render.soundfont.cache import Cache, cache_root, kit_cache, trim


@pytest.fixture(autouse=True)
def own_cache(tmp_path, monkeypatch):
    monkeypatch.setenv("FOURLIMB_CACHE", str(tmp_path / "cache"))


def folder_of(path):
    return kit_cache(path, 32, 44100).folder


def set_back(path, state):
    """Give a file the times of another state of it, as a copying program does."""
    os.utime(path, ns=(state.st_atime_ns, state.st_mtime_ns))


def test_a_soundfont_put_in_another_s_place_with_its_size_and_time_is_another(tmp_path):
    path, other = tmp_path / "kit.sf2", tmp_path / "other.sf2"
    path.write_bytes(b"one kit")
    before, state = folder_of(path), path.stat()
    assert folder_of(path) == before
    other.write_bytes(b"another")
    set_back(other, state)
    other.replace(path)
    assert (path.stat().st_size, path.stat().st_mtime_ns) == (state.st_size, state.st_mtime_ns)
    assert folder_of(path) != before


def test_a_soundfont_changed_in_place_with_its_old_time_is_another(tmp_path):
    path = tmp_path / "kit.sf2"
    path.write_bytes(b"one kit")
    before, state = folder_of(path), path.stat()
    while path.stat().st_ctime_ns == state.st_ctime_ns:  # until the clock of the disk has moved on
        with path.open("r+b") as file:
            file.write(b"another")
        set_back(path, state)
    assert (path.stat().st_size, path.stat().st_mtime_ns, path.stat().st_ino) == (
        state.st_size,
        state.st_mtime_ns,
        state.st_ino,
    )
    assert folder_of(path) != before


@pytest.mark.parametrize(
    ("content", "what"),
    [(b"another", "its content"), (b"one kit, longer", "its size")],
)
def test_a_soundfont_written_anew_is_another(content, what, tmp_path):
    path = tmp_path / "kit.sf2"
    path.write_bytes(b"one kit")
    os.utime(path, (1, 1))
    before = folder_of(path)
    path.write_bytes(content)
    assert folder_of(path) != before, what


def half_written(folder, age_seconds):
    """What a process leaves while it writes, so many seconds old."""
    path = folder / f"hit-51-127.part-{age_seconds}"
    path.write_bytes(b"half")
    os.utime(path, (time.time() - age_seconds,) * 2)
    return path


def test_what_another_process_is_writing_is_left_and_what_a_dead_one_left_is_removed(tmp_path):
    cache = Cache(tmp_path / "cache" / "kits" / f"{'0' * 20}-32-44100-1")
    cache.store("hit-1", np.ones((9, 1), np.float32))
    fresh, old = half_written(cache.folder, 60), half_written(cache.folder, 24 * 3600)
    trim(cache_root())
    assert fresh.exists()
    assert not old.exists()
    assert cache.load("hit-1") is not None
