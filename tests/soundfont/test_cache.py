"""The cache of samples: a soundfont that was changed is seen as another, files in the making are left alone."""

import os
import subprocess
import sys
import time

import numpy as np
import pytest
from music import text_of

from render.lesson.options import RenderOptions
from render.lesson.render_lesson import render_lesson
from render.soundfont.cache import Cache, cache_root, kit_cache, trim
from render.soundfont.entries import GAINS, LOUDNESS, PEAKS, POWERS, RELEASE, RING, SAMPLE, decode, encode, entries_in


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


def filled(tmp_path, *names):
    """A kit's cache with a file for each of some names, all powers."""
    cache = Cache(tmp_path / "cache" / "kits" / f"{'0' * 20}-32-44100-1")
    for name in names:
        cache.store(POWERS, name, np.ones((250, 1), np.float32))
        assert cache.settle()
    return cache


def half_written(folder, age_seconds):
    """What a process leaves while it writes, so many seconds old."""
    path = folder / f"entries-01234567.part-{age_seconds}"
    path.write_bytes(b"half")
    os.utime(path, (time.time() - age_seconds,) * 2)
    return path


def test_what_another_process_is_writing_is_left_and_what_a_dead_one_left_is_removed(tmp_path):
    cache = filled(tmp_path, "51")
    fresh, old = half_written(cache.folder, 60), half_written(cache.folder, 24 * 3600)
    trim(cache_root())
    assert fresh.exists()
    assert not old.exists()
    assert cache.load(POWERS, "51") is not None


def test_what_one_process_keeps_is_one_file_once_it_has_settled(tmp_path):
    cache = Cache(tmp_path)
    assert not cache.settle()  # nothing to write
    for name in ("36", "38"):
        cache.store(POWERS, name, np.full((9, 1), int(name), np.float32))
    assert not list(tmp_path.iterdir())
    assert cache.settle()
    assert len(list(tmp_path.iterdir())) == 1
    for reader in (cache, Cache(tmp_path)):
        assert [reader.load(POWERS, name)[0, 0] for name in ("36", "38")] == [36, 38]
        assert reader.load(POWERS, "3") is None
        assert reader.load(PEAKS, "36") is None


def test_many_files_of_a_kit_become_one_and_none_of_their_entries_is_lost(tmp_path):
    names = [str(number) for number in range(40)]
    cache = filled(tmp_path, *names)
    assert len(list(cache.folder.iterdir())) < 32
    assert all(Cache(cache.folder).load(POWERS, name) is not None for name in names)


def test_an_entry_that_is_damaged_in_one_file_is_taken_from_another(tmp_path):
    cache = filled(tmp_path, "36")
    (first,) = cache.folder.iterdir()
    data = bytearray(first.read_bytes())
    data[-1] ^= 1
    first.write_bytes(data)
    fresh = Cache(cache.folder)
    assert fresh.load(POWERS, "36") is None
    fresh.store(POWERS, "36", np.ones((250, 1), np.float32))
    fresh.store(POWERS, "38", np.ones((250, 1), np.float32))  # or it would have the first file's name
    assert fresh.settle()
    assert len(list(cache.folder.iterdir())) == 2
    assert Cache(cache.folder).load(POWERS, "36") is not None


@pytest.mark.parametrize("bytes_left", [0, 9, 63, 64, 700, 1100])
def test_of_a_file_that_is_cut_short_the_whole_entries_count(bytes_left, tmp_path):
    cache = Cache(tmp_path)
    for name in ("36", "38"):
        cache.store(POWERS, name, np.ones((150, 1), np.float32))  # 64 + 600 + 40 bytes
    cache.settle()
    (path,) = tmp_path.iterdir()
    path.write_bytes(path.read_bytes()[:bytes_left])
    found = [Cache(tmp_path).load(POWERS, name) is not None for name in ("36", "38")]
    assert found == [bytes_left >= 704, False]


def test_samples_lie_in_the_file_as_the_mixer_likes_them(tmp_path):
    cache = Cache(tmp_path)
    for name, frames in (("36", 5), ("38", 77)):
        cache.store(SAMPLE, name, np.ones((frames, 2), np.float32))
    cache.settle()
    assert [cache.load(SAMPLE, name).ctypes.data % 64 for name in ("36", "38")] == [0, 0]


def table(*shape, value=1.0):
    return np.full(shape, value, np.float32)


PANNED = np.array([[1.0], [0.5], [0.25]], np.float32)
FITTING = [
    (SAMPLE, table(9, 2)), (SAMPLE, PANNED), (GAINS, table(128, 1)), (GAINS, table(1, 1, value=0)),
    (LOUDNESS, table(128, 1, value=-np.inf)), (POWERS, table(7, 1)), (PEAKS, table(4, 3)), (RING, table(1, 1)),
    (RELEASE, table(1, 1, value=337)),
]  # fmt: skip


@pytest.mark.parametrize(("kind", "kept"), FITTING, ids=lambda one: getattr(one, "name", ""))
def test_an_entry_comes_back_as_it_was_kept_and_only_as_what_it_is(kind, kept):
    assert np.array_equal(decode(kind, encode(kind, "51", kept)), kept)
    others = {SAMPLE, GAINS, LOUDNESS, POWERS, PEAKS, RING, RELEASE} - {kind}
    assert all(decode(other, encode(kind, "51", kept)) is None for other in others)


NOT_FITTING = {
    "a sample of three channels": (SAMPLE, table(9, 3)),
    "a sample of no frames": (SAMPLE, table(0, 2)),
    "a sample that is no number": (SAMPLE, table(9, 2, value=np.nan)),
    "a sample past all bounds": (SAMPLE, table(9, 2, value=1e6)),
    "an infinite sample": (SAMPLE, table(9, 2, value=-np.inf)),
    "a panned sample without frames": (SAMPLE, PANNED[:2]),
    "a panned sample that is louder on a side than it is": (SAMPLE, 3 * PANNED),
    "gains of a few velocities": (GAINS, table(90, 1)),
    "gains in a row": (GAINS, table(1, 128)),
    "a gain that is no number": (GAINS, table(128, 1, value=np.nan)),
    "loudness of a few velocities": (LOUDNESS, table(1, 1)),
    "loudness past all bounds": (LOUDNESS, table(128, 1, value=np.inf)),
    "loudness below all bounds": (LOUDNESS, table(128, 1, value=-1e9)),
    "loudness that is no number": (LOUDNESS, table(128, 1, value=np.nan)),
    "negative powers": (POWERS, table(7, 1, value=-1)),
    "powers of two channels": (POWERS, table(7, 2)),
    "no powers": (POWERS, table(0, 1)),
    "peaks of one channel": (PEAKS, table(2, 3)),
    "peaks below nothing": (PEAKS, table(4, 3, value=-1)),
    "a ring of no frames": (RING, table(1, 1, value=0)),
    "a release that never ends": (RELEASE, table(1, 1, value=0)),
    "a release that is no number": (RELEASE, table(1, 1, value=np.nan)),
    "two releases": (RELEASE, table(2, 1)),
    "a ring of hours": (RING, table(1, 1, value=1e12)),
}


@pytest.mark.parametrize("name", NOT_FITTING)
def test_an_entry_that_its_kind_cannot_be_counts_as_absent_though_its_checksum_is_right(name):
    kind, kept = NOT_FITTING[name]
    assert decode(kind, encode(kind, "51", kept)) is None


KINDS = {kind.name: kind for kind in (SAMPLE, GAINS, LOUDNESS, POWERS, PEAKS, RING, RELEASE)}


def entries_of(path):
    """Kind, name and table of each entry of a file."""
    for label, entry in entries_in(memoryview(path.read_bytes())):
        kind, name = (part.rstrip(b"\0").decode() for part in (label[:8], label[8:]))
        yield KINDS[kind], name, decode(KINDS[kind], entry)


def spoilt(kind, name, kept, wrong):
    """An entry with the right checksum and a wrong value, or a wrong shape."""
    broken = np.concatenate([kept, kept, kept], axis=1) if wrong == "shape" and kind is not PEAKS else kept[:3]
    return encode(kind, name, broken if wrong == "shape" else np.full_like(kept, wrong))


@pytest.mark.parametrize("wrong", [np.nan, np.inf, -1e9, "shape"])
def test_a_render_with_wrong_entries_in_every_place_is_the_render_without_them(wrong, tmp_path):
    lesson = tmp_path / "lesson.toml"
    lesson.write_text(text_of("4 8 8 4 4", tempo=200, tracks='[[track]]\nname = "full"'))
    wholes = []
    for _ in range(2):
        report = render_lesson(lesson, RenderOptions(tmp_path / "out"))
        wholes.append({made.path.name: made.path.read_bytes() for made in report.files})
        for path in (cache_root() / "kits").glob("*/*-*"):
            path.write_bytes(b"".join(spoilt(kind, name, kept, wrong) for kind, name, kept in entries_of(path)))
    assert wholes[0] == wholes[1]


def test_two_processes_that_fill_one_cold_cache_at_once_write_the_same_sound_and_whole_entries(tmp_path):
    lesson = tmp_path / "lesson.toml"
    lesson.write_text(text_of("4 8 8 4 4", tempo=300, tracks='[[track]]\nname = "full"'))
    words = [sys.executable, "-m", "render", "render", lesson, "--no-documents", "--jobs", "1", "-o"]
    both = [subprocess.Popen([*words, tmp_path / name], stdout=subprocess.DEVNULL) for name in ("one", "two")]
    assert [process.wait(timeout=120) for process in both] == [0, 0]
    first, second = ({path.name: path.read_bytes() for path in (tmp_path / name).iterdir()} for name in ("one", "two"))
    assert first == second
    assert any(name.endswith(".wav") for name in first)
    entries = [entry for path in (cache_root() / "kits").glob("*/*") for entry in entries_of(path)]
    assert len(entries) > 10
    assert not [name for _, name, kept in entries if kept is None]
