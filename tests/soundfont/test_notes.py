"""Notes recorded from a soundfont's pitched sounds: which recordings they share, and what is said where there is none."""

import struct
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from music import text_of

from grooves.errors import LessonError
from render.lesson.options import RenderOptions
from render.lesson.render_lesson import render_lesson
from render.soundfont.entries import GAINS
from render.soundfont.recording import heard_frames, prime, strength, strike
from render.soundfont.sf2 import DRUM_BANK, Zone, read_presets
from render.soundfont.soundfont import default_soundfont, open_kit
from render.soundfont.synth import Synth

RATE, BLOCK = 44100, 64
LARGE = Path("/usr/share/sounds/sf2/FluidR3_GM.sf2")


@pytest.fixture(autouse=True)
def own_cache(tmp_path, monkeypatch):
    monkeypatch.setenv("FOURLIMB_CACHE", str(tmp_path / "cache"))


@pytest.fixture
def kit():
    with closing(open_kit(default_soundfont(), use_cache=False)) as opened:
        yield opened


def without_programs(*programs):
    """The bundled soundfont with some programs of bank 0 moved to bank 9. Headers of presets: SoundFont 2.04, 7.2."""
    data = bytearray(default_soundfont().read_bytes())
    start = data.index(b"phdr", data.rindex(b"pdta")) + 8
    length = struct.unpack_from("<I", data, start - 4)[0]
    for at in range(start, start + length, 38):
        program, bank = struct.unpack_from("<HH", data, at + 20)
        if bank == 0 and program in programs:
            struct.pack_into("<H", data, at + 22, 9)
    return bytes(data)


@pytest.mark.parametrize(
    ("program", "named"), [(32, "acoustic bass"), (0, "acoustic grand piano"), (66, "tenor saxophone"), (35, "sound")]
)
def test_a_soundfont_without_the_program_is_one_message(program, named, tmp_path):
    path = tmp_path / "drums.sf2"
    path.write_bytes(without_programs(program))
    with closing(open_kit(path)) as kit:
        assert np.abs(kit.hit(51, 90)).max() > 0.001  # its drums play
        with pytest.raises(LessonError) as raised:
            kit.instrument(program)
    said = f"no {named} in it (General MIDI program {program}); choose another soundfont, or leave out who plays it"
    assert str(raised.value) == f"{path}: {said}"


def test_of_a_program_the_zones_of_that_one_are_read_and_no_others():
    read = [(preset.bank, preset.program) for preset in read_presets(default_soundfont(), 32) if preset.zones]
    assert read == [(0, 32)]
    assert {preset.bank for preset in read_presets(default_soundfont()) if preset.zones} == {DRUM_BANK}


def measured_on(kit, keys):
    """On which keys it is measured whether velocity is a gain, once some keys have been asked for."""
    for key in keys:
        kit.instrument(32).recorded(key, 80)
    return {int(name.rpartition("-")[2]) for kind, name in kit._kept if kind == GAINS}


def test_whether_velocity_is_a_gain_is_measured_on_every_eighth_key(kit):
    kit.instrument(32).preset = replace(kit.instrument(32).preset, zones=(Zone((0, 127), (0, 127)),))
    assert measured_on(kit, range(28, 56)) == {32, 40, 48, 56}


def test_a_key_with_other_samples_than_the_nearest_eighth_is_measured_by_itself(kit):
    zones = (Zone((0, 49), (0, 127)), Zone((50, 127), (0, 127)))
    kit.instrument(32).preset = replace(kit.instrument(32).preset, zones=zones)
    assert measured_on(kit, range(46, 54)) == {48, 50, 51, 52, 56}


@pytest.mark.parametrize("floor_db", [-105.0, -60.0, -0.5])
def test_a_sound_is_heard_up_to_the_last_frame_above_the_floor(floor_db):
    random = np.random.default_rng(1)
    for frames in (1, 700, 4096, 4097, 20000):
        for channels in (1, 2):
            fade = np.exp(-np.arange(frames) / random.uniform(50, 3000))[:, None]
            sound = (random.standard_normal((frames, channels)) * fade).astype(np.float32)
            above = strength(sound) > strength(sound).max() * 10 ** (floor_db / 20)
            assert heard_frames(sound, floor_db) == np.flatnonzero(above)[-1] + 1


def test_a_lesson_whose_band_a_soundfont_lacks_is_one_message_and_no_file(tmp_path):
    font, lesson, out = tmp_path / "drums.sf2", tmp_path / "lesson.toml", tmp_path / "out"
    font.write_bytes(without_programs(0))
    lesson.write_text(text_of("4 4 4 4", tempo=200) + '[band]\nform = "blues"\n')
    with pytest.raises(LessonError, match=r"drums.sf2: no acoustic grand piano in it \(General MIDI program 0\)"):
        render_lesson(lesson, RenderOptions(out, soundfont=font))
    assert not list(out.glob("*"))
    lesson.write_text(lesson.read_text() + 'piano = "off"\n')
    assert render_lesson(lesson, RenderOptions(out, soundfont=font)).files


@pytest.mark.parametrize(
    ("key", "velocity", "said"),
    [(120, 90, "key 120"), (40, 0, "velocity 0 of key 40"), (40, 128, "velocity 128 of key 40")],
)
def test_a_note_that_a_sound_does_not_have_is_one_message(key, velocity, said, kit):
    with pytest.raises(LessonError, match=f"TimGM6mb.sf2: its 'Acoustic Bass' has no sound on {said}; choose another"):
        kit.instrument(32).note(key, velocity, 100)


def test_notes_of_one_class_of_length_share_a_recording_and_end_by_themselves(kit):
    bass = kit.instrument(32)
    short, long, longer = (bass.note(40, 96, blocks) for blocks in (300, 400, 2000))
    assert short.sample is long.sample
    assert long.sample is not longer.sample
    assert [one.held_frames for one in (short, long, longer)] == [300 * BLOCK, 400 * BLOCK, 2000 * BLOCK]
    frames = min(short.sample.frames, longer.sample.frames)
    assert np.array_equal(short.sample.sound()[:frames], longer.sample.sound()[:frames])


def test_a_recording_holds_a_note_and_its_release(kit):
    for program, key in ((0, 60), (66, 70)):
        for blocks in (50, 300, 700):
            note = kit.instrument(program).note(key, 80, blocks)
            assert note.sample.frames >= note.held_frames + 70 / note.release_db_per_second * RATE


@pytest.mark.parametrize("velocity", [20, 48, 90, 112])
def test_where_velocity_is_a_pure_gain_one_recording_serves_all(velocity, kit):
    # DLS Level 1 and SoundFont 2.04 section 8.4.1: 40·log10(v/127) dB; here against FluidSynth playing that velocity.
    note = kit.instrument(32).note(40, velocity, 300)
    assert note.sample is kit.instrument(32).note(40, 127, 300).sample
    assert 20 * np.log10(note.gain) == pytest.approx(40 * np.log10(velocity / 127))
    with Synth(default_soundfont(), 32, RATE) as synth:
        synth.choose(0, 32)
        prime(synth, 40, velocity)
        theirs = strike(synth, 40, velocity, 300)[BLOCK:].astype(float)
    ours = note.sample.beginning(300 * BLOCK)[BLOCK:] * note.gain
    level = np.vdot(ours, theirs) / np.vdot(ours, ours)
    assert 20 * np.log10(level) == pytest.approx(0, abs=0.1)  # FluidSynth looks its law up in a table
    assert 10 * np.log10(np.sum((ours * level - theirs) ** 2) / np.sum(theirs**2)) < -70


@pytest.mark.skipif(not LARGE.is_file(), reason="apt install fluid-soundfont-gm")
def test_a_note_is_recorded_in_its_own_velocity_layer_where_that_is_wider_than_a_step_of_16():
    with closing(open_kit(LARGE, use_cache=False)) as kit:
        piano = kit.instrument(0)
        layers = piano.preset.layers(60)
        assert layers[0] == (0, 64) and len(layers) > 5
        assert {piano.recorded(60, velocity)[0] for velocity in range(1, 65)} == {1, 16, 32, 48, 64}
        assert {piano.recorded(60, velocity)[0] for velocity in range(65, 128)} == {64, 80, 96, 112, 127}


def test_a_layer_wider_than_a_step_is_not_left_for_the_nearest_recording(kit):
    bass = kit.instrument(32)
    zones = [replace(bass.preset.zones[0], keys=(0, 127), velocities=both) for both in ((0, 69), (70, 127))]
    bass.preset = replace(bass.preset, zones=tuple(zones))
    assert [bass.recorded(40, velocity)[0] for velocity in (60, 66, 69, 70, 72, 90)] == [64, 64, 64, 70, 70, 96]


def test_a_second_kit_reads_notes_from_disk_without_the_synthesizer():
    with closing(open_kit(default_soundfont())) as first:
        note = first.instrument(32).note(40, 96, 300)
    with closing(open_kit(default_soundfont())) as second:
        again = second.instrument(32).note(40, 96, 300)
        assert second._synth is None
    assert np.array_equal(note.sample.sound(), again.sample.sound())
    assert note.release_db_per_second == again.release_db_per_second


def test_drums_are_the_same_whether_notes_were_recorded_before_or_not(kit):
    before = kit.hit(38, 90)
    with closing(open_kit(default_soundfont(), use_cache=False)) as other:
        other.instrument(32).note(40, 96, 300)
        other.instrument(0).note(60, 96, 300)
        assert np.array_equal(other.hit(38, 90), before)


def test_the_rate_changes_the_length_of_a_note_in_frames():
    with closing(open_kit(default_soundfont(), 48000, use_cache=False)) as kit:
        note = kit.instrument(32).note(40, 96, 300)
        assert note.sample.frames / 48000 == pytest.approx(1.5, abs=0.01)
