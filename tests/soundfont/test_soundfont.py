"""Soundfonts that are not what they should be, the kit's velocities, and the cache of recorded hits."""

import math
import os
import shutil
import struct
import subprocess
import sys
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import mido
import numpy as np
import pytest
from music import text_of

from grooves.errors import LessonError
from render.lesson.load import load_lesson
from render.lesson.options import RenderOptions
from render.lesson.render_lesson import render_lesson
from render.sound.balance import calibrate
from render.soundfont.cache import Cache, cache_root, kit_cache, trim
from render.soundfont.entries import POWERS, SAMPLE
from render.soundfont.sf2 import Preset, Zone, choose_kit, read_presets
from render.soundfont.soundfont import choose_soundfont, default_soundfont, kit_for, open_kit


@pytest.fixture(autouse=True)
def own_cache(tmp_path, monkeypatch):
    monkeypatch.setenv("FOURLIMB_CACHE", str(tmp_path / "cache"))
    monkeypatch.delenv("FOURLIMB_SOUNDFONT", raising=False)


def chunk_places(data):
    """Start and length of each table of the list pdta, by name."""
    at = data.rindex(b"pdta") + 4
    places = {}
    while at + 8 <= len(data):
        name, length = struct.unpack_from("<4sI", data, at)
        places[name.decode()] = (at + 8, length)
        at += 8 + length + length % 2
    return places


def without_bank_128(data):
    """The same soundfont with its drum kits moved to bank 0."""
    edited = bytearray(data)
    start, length = chunk_places(data)["phdr"]
    for at in range(start, start + length, 38):
        if struct.unpack_from("<H", data, at + 22)[0] == 128:
            struct.pack_into("<H", edited, at + 22, 0)
    return bytes(edited)


def without_ride(data):
    """The same soundfont with every zone that is the ride's key alone moved to key 127."""
    edited = bytearray(data)
    start, length = chunk_places(data)["igen"]
    for at in range(start, start + length, 4):
        if edited[at : at + 4] == bytes((43, 0, 51, 51)):
            edited[at + 2 : at + 4] = bytes((127, 127))
    return bytes(edited)


def silent_samples(data):
    """The same soundfont with every sample's frames set to zero."""
    edited = bytearray(data)
    at = data.index(b"smpl")
    length = struct.unpack_from("<I", data, at + 4)[0]
    edited[at + 8 : at + 8 + length] = bytes(length)
    return bytes(edited)


DATA = default_soundfont().read_bytes()
CUTS = [len(DATA) * tenth // 10 + tenth for tenth in range(10)]
BROKEN = {
    "empty": (b"", "the file is empty"),
    "random": (np.random.default_rng(3).bytes(5000), "not a SoundFont 2 file"),
    "garbage": (b"RIFF" + struct.pack("<I", 5004) + b"sfbk" + np.random.default_rng(4).bytes(5000), "damaged"),
    "no-kit": (without_bank_128(DATA), "no drum kit in it"),
} | {f"cut-{cut}": (DATA[:cut], "not a SoundFont 2 file|cut short|empty") for cut in CUTS}


def command(*arguments):
    """Run the command line in a process of its own."""
    return subprocess.run(
        [sys.executable, "-m", "render", *map(str, arguments)], capture_output=True, text=True, timeout=120
    )


@pytest.mark.parametrize("kind", BROKEN)
def test_a_file_that_is_no_whole_soundfont_with_a_kit_is_one_mistake_that_names_it(kind, tmp_path):
    data, said = BROKEN[kind]
    path = tmp_path / "kit.sf2"
    path.write_bytes(data)
    with pytest.raises(LessonError, match=said) as raised:
        open_kit(path)
    assert str(raised.value).count(str(path)) == 1
    assert "\n" not in str(raised.value)


@pytest.mark.parametrize("kind", ["random", "no-kit", f"cut-{CUTS[5]}"])
def test_the_command_line_ends_with_2_on_a_broken_soundfont_and_dies_of_no_signal(kind, tmp_path):
    path, lesson = tmp_path / "kit.sf2", tmp_path / "lesson.toml"
    path.write_bytes(BROKEN[kind][0])
    lesson.write_text(text_of(tempo=200))
    rendered = command("render", lesson, "--soundfont", path, "--out", tmp_path / "out")
    assert rendered.returncode == 2, rendered.stderr
    assert "kit.sf2" in rendered.stderr and "Traceback" not in rendered.stderr
    assert not list(tmp_path.glob("out/**/*.*"))
    if kind != "no-kit":  # one without a kit can still be described
        assert command("soundfonts", path).returncode == 2


def test_a_soundfont_that_is_not_there_says_who_asked_for_it(tmp_path):
    missing = tmp_path / "none.sf2"
    with pytest.raises(LessonError, match="--soundfont names the soundfont .*none.sf2, and there is no such file"):
        choose_soundfont(option=missing)
    with pytest.raises(LessonError, match="the lesson names"):
        choose_soundfont(lesson=missing)
    with pytest.raises(LessonError, match="the variable FOURLIMB_SOUNDFONT names"):
        choose_soundfont(environment={"FOURLIMB_SOUNDFONT": str(missing)})
    with pytest.raises(LessonError, match="there is no such file"):
        read_presets(missing)


def test_a_soundfont_of_an_unknown_user_says_who_asked_for_it():
    unknown = Path("~nobodyhere/x.sf2")
    with pytest.raises(
        LessonError, match="--soundfont names the soundfont ~nobodyhere/x.sf2, and there is no such user"
    ):
        choose_soundfont(option=unknown)
    with pytest.raises(LessonError, match="the lesson names .*no such user"):
        choose_soundfont(lesson=unknown)
    with pytest.raises(LessonError, match="the variable FOURLIMB_SOUNDFONT names .*no such user"):
        choose_soundfont(environment={"FOURLIMB_SOUNDFONT": str(unknown)})


@pytest.mark.parametrize("named", ["~/own.sf2", "../home/own.sf2"])
def test_a_lesson_s_own_soundfont_lies_beside_it_or_at_home_from_wherever_it_is_rendered(named, tmp_path, monkeypatch):
    home, lesson = tmp_path / "home", tmp_path / "term" / "lesson.toml"
    home.mkdir()
    lesson.parent.mkdir()
    shutil.copy(default_soundfont(), home / "own.sf2")
    monkeypatch.setenv("HOME", str(home))
    lesson.write_text(f'soundfont = "{named}"\n' + text_of(tempo=200))
    for place in (tmp_path, lesson.parent):
        monkeypatch.chdir(place)
        path = Path(os.path.relpath(lesson, place))
        with kit_for(path, load_lesson(path).lesson, None, 44100, use_cache=False) as kit:
            assert kit.path.resolve() == home / "own.sf2"


def test_a_folder_in_place_of_a_soundfont_lists_what_lies_in_it(tmp_path):
    (tmp_path / "drums.sf2").write_bytes(b"")
    with pytest.raises(LessonError, match="is a folder; name a soundfont file in it: drums.sf2"):
        choose_soundfont(option=tmp_path)
    with pytest.raises(LessonError, match="this is a folder"):
        open_kit(tmp_path)


def test_the_option_comes_before_the_lesson_before_the_variable_before_the_default(tmp_path):
    option, lesson, variable = (tmp_path / name for name in ("a.sf2", "b.sf2", "c.sf2"))
    for path in (option, lesson, variable):
        path.write_bytes(b"")
    environment = {"FOURLIMB_SOUNDFONT": str(variable)}
    assert choose_soundfont(option, lesson, environment) == option
    assert choose_soundfont(None, lesson, environment) == lesson
    assert choose_soundfont(None, None, environment) == variable
    assert choose_soundfont(None, None, {}) == default_soundfont()


def test_a_kit_without_a_ride_is_a_mistake_when_the_ride_is_struck(tmp_path):
    path = tmp_path / "no-ride.sf2"
    path.write_bytes(without_ride(DATA))
    kit = open_kit(path, use_cache=False)
    assert not kit.preset.has(51)
    with pytest.raises(LessonError, match=r"no-ride.sf2.*has no sound on key 51 \(ride\)"):
        calibrate(kit)


def test_a_silent_sample_is_a_mistake(tmp_path):
    path = tmp_path / "silent.sf2"
    path.write_bytes(silent_samples(DATA))
    with pytest.raises(LessonError, match=r"sample for key 51 \(ride\) is silent"):
        open_kit(path, use_cache=False).hit(51, 90)


def test_rate_and_velocity_out_of_range_are_mistakes():
    with pytest.raises(LessonError, match="22050 is not a sample rate of ours; choose 44100 or 48000"):
        open_kit(default_soundfont(), 22050)
    kit = open_kit(default_soundfont(), use_cache=False)
    for velocity in (0, 128):
        with pytest.raises(LessonError, match=f"velocity: {velocity} is out of range"):
            kit.hit(51, velocity)


def test_the_jazz_kit_comes_before_the_standard_kit_before_any_other():
    zones = read_presets(default_soundfont())
    jazz = choose_kit(zones)
    assert (jazz.bank, jazz.program) == (128, 32)
    others = tuple(preset for preset in zones if preset.program != 32)
    assert choose_kit(others).program == 0
    assert choose_kit(tuple(p for p in others if p.program)).bank == 128
    with pytest.raises(LessonError, match="no drum kit"):
        choose_kit((Preset(128, 0, "empty"),))


@pytest.mark.parametrize(
    ("wanted", "program"), [(None, 32), (40, 40), ("40", 40), ("Brush", 40), (" brush ", 40), (0, 0)]
)
def test_a_kit_is_chosen_by_its_number_or_its_name(wanted, program):
    # Roland GS: 0 standard, 32 jazz, 40 brush; the bundled soundfont numbers and names them so.
    with closing(open_kit(default_soundfont(), program=wanted)) as kit:
        assert (kit.preset.bank, kit.preset.program) == (128, program)


@pytest.mark.parametrize("wanted", [41, -1, "brushes", "", 10**400])
def test_a_kit_that_a_soundfont_does_not_have_is_told_with_those_it_has(wanted):
    said = "is no drum kit of it; it has 0 Standard, 8 Room, 16 Power, .*32 Jazz, 40 Brush"
    with pytest.raises(LessonError, match=f"TimGM6mb.sf2: kit_program: .*{said}") as raised:
        open_kit(default_soundfont(), program=wanted)
    assert len(str(raised.value)) < 400


def program_of(lesson, out, **options):
    """The drum kit that a lesson's MIDI file asks for, and its sound."""
    files = render_lesson(lesson, RenderOptions(out, **options)).files
    midi, sound = (next(made.path for made in files if made.kind == kind) for kind in ("midi", "audio"))
    programs = {
        message.program for track in mido.MidiFile(midi).tracks for message in track if message.type == "program_change"
    }
    return programs, sound.read_bytes()


def test_a_lesson_s_kit_sounds_and_stands_in_its_midi_file_unless_the_options_name_another(tmp_path):
    lesson = tmp_path / "lesson.toml"
    made = {}
    for top, options in (
        ("", {}),
        ('kit_program = "Brush"', {}),
        ("kit_program = 40", {}),
        ("kit_program = 40", {"kit_program": 0}),
    ):
        lesson.write_text(f"{top}\n" + text_of(tempo=200, tracks='[[track]]\nname = "full"'))
        made[top, *options] = program_of(lesson, tmp_path / "out", **options)
    usual, named, numbered, other = made.values()
    assert [programs for programs, _ in made.values()] == [{32}, {40}, {40}, {0}]
    assert named == numbered
    assert named[1] != usual[1] == other[1]  # the bundled soundfont's jazz kit has the sounds of its standard kit


@pytest.mark.parametrize("key", [36, 38, 51])
def test_velocity_sets_loudness_by_the_published_law_on_the_bundled_soundfont(key):
    # DLS Level 1 and SoundFont 2.04 section 8.4.1: 40·log10(v/127) dB.
    kit = open_kit(default_soundfont(), use_cache=False)
    for velocity in (16, 40, 64, 90, 110):
        gain = kit.sample(key, velocity)[1]
        assert 20 * math.log10(gain) == pytest.approx(40 * math.log10(velocity / 127), abs=0.1)


@pytest.mark.parametrize("velocities", [(40, 127), (2, 127)])
def test_a_key_whose_one_layer_leaves_velocities_out_is_recorded_at_each(velocities):
    kit = open_kit(default_soundfont(), use_cache=False)
    zones = tuple(replace(zone, velocities=velocities) if zone.keys == (38, 38) else zone for zone in kit.preset.zones)
    kit.preset = replace(kit.preset, zones=zones)
    assert not kit.is_pure_gain(38)
    assert np.abs(kit.hit(38, 100)).max() > 0.001
    assert np.isfinite(calibrate(kit, [38]).level_of(38, 100))
    with pytest.raises(LessonError, match=r"has no sound on velocity 1 of key 38 \(snare\)"):
        kit.hit(38, 1)


def test_a_layer_of_velocity_0_alone_is_no_layer():
    kit = open_kit(default_soundfont(), use_cache=False)
    kit.preset = replace(kit.preset, zones=(*kit.preset.zones, Zone((38, 38), (0, 0))))
    assert np.isfinite(calibrate(kit, [38]).level_of(38, 1))


def test_the_rate_changes_the_length_of_a_hit_in_frames():
    low, high = (len(open_kit(default_soundfont(), rate, use_cache=False).hit(38, 100)) for rate in (44100, 48000))
    assert high / low == pytest.approx(48000 / 44100, rel=0.05)


def test_the_variable_moves_the_cache_and_a_second_kit_reads_from_it(tmp_path):
    first = open_kit(default_soundfont())
    hit = first.hit(38, 100)
    first.close()
    assert cache_root() == tmp_path / "cache"
    assert list((tmp_path / "cache" / "kits").glob("*/entries-*"))
    second = open_kit(default_soundfont())
    assert np.array_equal(second.hit(38, 100), hit)
    assert second._synth is None  # no synthesizer was started


def test_no_cache_writes_nothing(tmp_path):
    open_kit(default_soundfont(), use_cache=False).hit(38, 100)
    assert not (tmp_path / "cache").exists()


@pytest.mark.parametrize(
    "damage",
    [
        lambda data: data[:5000],
        lambda data: data[:40] + b"\xff" + data[41:],
        lambda data: data[:4000] + b"\xff" + data[4001:],
        lambda _: b"x",
    ],
)
def test_a_damaged_entry_of_the_cache_is_made_again(damage, tmp_path):
    with closing(open_kit(default_soundfont())) as kit:
        hit = kit.hit(38, 127)
    (path,) = (tmp_path / "cache" / "kits").glob("*/*")
    path.write_bytes(damage(path.read_bytes()))
    assert Cache(path.parent).load(SAMPLE, "38-127") is None
    with closing(open_kit(default_soundfont())) as kit:
        assert np.array_equal(kit.hit(38, 127), hit)
    assert np.array_equal(Cache(path.parent).load(SAMPLE, "38-127").reshape(-1)[-200:], hit.reshape(-1)[-200:])


def test_another_soundfont_program_or_rate_has_a_folder_of_its_own(tmp_path):
    copy = tmp_path / "copy.sf2"
    shutil.copy(default_soundfont(), copy)
    assert kit_cache(copy, 32, 44100).folder == kit_cache(default_soundfont(), 32, 44100).folder  # by content, not name
    copy.write_bytes(without_ride(DATA))
    folders = {
        kit_cache(path, program, rate).folder
        for path, program, rate in [
            (default_soundfont(), 32, 44100),
            (default_soundfont(), 0, 44100),
            (default_soundfont(), 32, 48000),
            (copy, 32, 44100),
        ]
    }
    assert len(folders) == 4


def test_two_processes_fill_the_cache_at_once(tmp_path):
    code = "from render.soundfont.soundfont import *; k = open_kit(default_soundfont()); print([float(abs(k.hit(x, 90)).sum()) for x in (36, 38, 44)]); k.close()"
    running = [subprocess.Popen([sys.executable, "-c", code], stdout=subprocess.PIPE, text=True) for _ in range(2)]
    said = [process.communicate(timeout=120)[0] for process in running]
    assert [process.returncode for process in running] == [0, 0]
    kit = open_kit(default_soundfont())
    assert said == [f"{[float(abs(kit.hit(x, 90)).sum()) for x in (36, 38, 44)]}\n"] * 2
    assert not list((tmp_path / "cache").glob("**/*.part-*"))


@pytest.mark.parametrize("used", [False, True])
def test_a_full_cache_drops_what_was_not_used_longest(used, tmp_path):
    cache = Cache(tmp_path / "cache" / "kits" / f"{'0' * 20}-32-44100-1")
    for name in ("36", "38"):
        before = set(cache.folder.glob("*"))
        cache.store(POWERS, name, np.ones((250, 1), np.float32))
        cache.settle()
        (made,) = set(cache.folder.glob("*")) - before
        os.utime(made, (1, 1) if name == "36" else (2, 2))
    if used:
        assert Cache(cache.folder).load(POWERS, "36") is not None
    trim(cache_root(), limit_bytes=1500)
    cache = Cache(cache.folder)
    assert (cache.load(POWERS, "36") is not None) == used
    assert (cache.load(POWERS, "38") is not None) != used


def test_a_full_cache_leaves_other_people_s_files_alone(tmp_path):
    cache = Cache(tmp_path / "cache" / "kits" / f"{'0' * 20}-32-44100-1")
    cache.store(POWERS, "51", np.ones((250, 1), np.float32))
    assert cache.settle()
    others = [
        tmp_path / "cache" / name for name in ("a.wav", "photos/b/c.raw", "kits/mine/powers-1", "digests/notes.txt")
    ]
    for other in others:
        other.parent.mkdir(parents=True, exist_ok=True)
        other.write_bytes(bytes(2000))
    trim(cache_root(), limit_bytes=0)
    assert Cache(cache.folder).load(POWERS, "51") is None
    assert all(other.is_file() for other in others)


def test_a_cache_that_cannot_be_written_is_no_error(tmp_path, monkeypatch):
    (tmp_path / "file").write_text("")
    monkeypatch.setenv("FOURLIMB_CACHE", str(tmp_path / "file"))
    with closing(open_kit(default_soundfont())) as kit:
        assert len(kit.hit(38, 127))
    assert (tmp_path / "file").read_text() == ""


SHORT = """
import resource, sys
from pathlib import Path
import numpy as np
from grooves.errors import LessonError
from render.lesson.load import load_lesson
from render.soundfont.soundfont import kit_for

path = Path(sys.argv[1])
try:
    with kit_for(path, load_lesson(path).lesson, None, 44100, use_cache=True) as kit:
        kit.hit(38, 90)
        resource.setrlimit(resource.RLIMIT_AS, (100 << 20, resource.RLIM_INFINITY))
        np.zeros(1 << 26)
except LessonError as error:
    print(error)
"""


@pytest.mark.skipif(sys.platform != "linux", reason="limits memory as Linux does")
def test_memory_that_runs_out_in_the_midst_is_one_message(tmp_path):
    lesson = tmp_path / "lesson.toml"
    lesson.write_text(text_of(tempo=200))
    done = subprocess.run([sys.executable, "-c", SHORT, str(lesson)], capture_output=True, text=True, timeout=60)
    said = "there is not enough memory for its sound; close other programs, or render fewer tracks at a time (--track)"
    assert (done.stdout, done.stderr) == (f"{lesson}: {said}\n", "")
