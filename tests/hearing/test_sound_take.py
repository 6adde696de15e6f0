"""Takes from a microphone that the tests make: strokes of one soundfont heard with templates of another.

mir_eval counts: an onset is right within 30 ms (`mir_eval.onset`). Two takes here; the whole table of tempos and rooms
is in `tests/bench/takes.py`, with the floors that it must hold.
"""

from dataclasses import replace

import mir_eval
import numpy as np
import pytest
from takes_made import Student, sheet
from takes_sound import (
    CLEAN,
    FLUID,
    LARGE,
    RATE,
    SMALL,
    Drums,
    Gain,
    Room,
    begun_at,
    calibration,
    in_room,
    plain_levels,
    recorded,
    saved,
)

from grooves.errors import LessonError
from grooves.takes.align import nearest_gaps
from grooves.takes.check import check_take
from render.hearing.drums import begins, kit_templates
from render.hearing.features import open_recording
from render.hearing.hello import APART_SECONDS, click_moments, click_sound, latency
from render.hearing.levels import levelled
from render.hearing.single_strokes import own_kit
from render.hearing.sound_take import listen
from render.soundfont.soundfont import default_soundfont, open_kit

pytestmark = pytest.mark.skipif(not FLUID.exists(), reason="FluidR3, the soundfont that plays these takes, is not here")
FLOORS = {"ride": 0.95, "snare": 0.98, "bass drum": 0.95, "hi-hat": 0.88}  # of one take; the bench has the mean's
STUDENT = Student(31, limb_ms={"right foot": 25.0}, missing=0.04, extra=0.02)


@pytest.fixture(scope="module")
def drums():
    return Drums()


@pytest.fixture(scope="module")
def usual():
    kit = open_kit(default_soundfont())
    return kit_templates(kit, ("ride", "snare", "bass drum", "hi-hat"))


@pytest.fixture(scope="module")
def heard(drums, usual, tmp_path_factory):
    """A take in a small room with and without the kit's own strokes, and what was played."""
    folder = tmp_path_factory.mktemp("sound")
    written = sheet(tempo=126, choruses=3)
    sound, made = recorded(written, STUDENT, drums, SMALL)
    recording = open_recording(saved(folder / "take.wav", sound))
    levels = plain_levels(written)
    kit = open_recording(saved(folder / "kit.wav", calibration(written.parts, drums, levels, SMALL)))
    own = own_kit(kit, written.parts)
    return written, made, listen(recording, written, usual), listen(recording, written, usual, own), own


def moments(take, part, late=0.0):
    return np.sort([one.onset_seconds + late for one in take.strokes if one.part == part])


def share_right(take, made, part, drums):
    truth = moments(made.take, part, begins(drums.of(part)[0], RATE) / RATE)
    return mir_eval.onset.f_measure(truth, moments(take, part), window=0.03)[0], truth


@pytest.mark.parametrize("known", [False, True], ids=["soundfont", "own kit"])
def test_each_parts_strokes_are_heard(heard, drums, known):
    _, made, without, with_kit, _ = heard
    take = with_kit if known else without
    assert not {*take.unclear} - {"hi-hat"}
    for part, floor in FLOORS.items():
        if part in take.unclear:
            continue
        assert share_right(take, made, part, drums)[0] >= floor, part


@pytest.mark.parametrize("known", [False, True], ids=["soundfont", "own kit"])
def test_the_time_of_a_stroke_is_heard_to_a_few_milliseconds(heard, drums, known):
    _, made, without, with_kit, _ = heard
    for part, limit in (("ride", 1.5), ("snare", 1.5), ("bass drum", 1.5), ("hi-hat", 4.0)):
        take = with_kit if known else without
        if part in take.unclear:
            continue
        gaps = 1000 * nearest_gaps(share_right(take, made, part, drums)[1], moments(take, part))
        gaps = gaps[np.abs(gaps) < 30]
        assert np.median(np.abs(gaps - np.median(gaps))) <= limit, part


@pytest.mark.parametrize("known", [False, True], ids=["soundfont", "own kit"])
def test_how_late_a_limb_is_comes_out_as_it_was_played(heard, drums, known):
    # Limits: what the table of `tests/bench/takes.py` asks of nine takes in ten, 8 ms of the foot's hi-hat, 4 of others.
    written, made, without, with_kit, _ = heard
    take = with_kit if known else without
    meant = {one.part: one for one in check_take(begun_at(made.take, drums, take.unclear), written).findings.limbs}
    assert meant["bass drum"].lateness_ms > 20
    for one in check_take(take, written).findings.limbs:
        if one.heard:
            within = 8 if one.part == "hi-hat" else 4
            assert one.lateness_ms == pytest.approx(meant[one.part].lateness_ms, abs=within), one.part


def test_a_phone_lacks_the_lowest_tones_so_that_loudness_is_only_held_against_single_strokes(heard):
    written, _, without, with_kit, _ = heard
    assert check_take(without, written).findings.bass_drum_lu is None and without.against_own_lu is None
    assert check_take(with_kit, written).findings.bass_drum_lu is None
    assert abs(with_kit.against_own_lu) < 3  # both were played alike, each stroke 1.5 dB louder or softer by chance


@pytest.mark.parametrize("softer_lu", [0.0, 6.0], ids=["as written", "softer by six"])
def test_the_bass_drum_is_told_to_two_lu_in_a_clean_recording(drums, tmp_path, usual, softer_lu):
    written = sheet(tempo=120, choruses=2)
    played_softer = replace(written, strokes=tuple(_softer(one, softer_lu) for one in written.strokes))
    sound, _ = recorded(played_softer, Student(35), drums, CLEAN)
    kit = calibration(written.parts, drums, plain_levels(written), CLEAN)
    own = own_kit(open_recording(saved(tmp_path / "kit.wav", kit)), written.parts)
    take = listen(open_recording(saved(tmp_path / "a.wav", sound)), written, usual, own)
    assert check_take(take, written).findings.bass_drum_lu == pytest.approx(-14 - softer_lu, abs=2)


def _softer(one, softer_lu):
    return replace(one, level_lu=one.level_lu - softer_lu * (one.part == "bass drum"))


@pytest.mark.parametrize("gain", [None, Gain(0.005, 0.5, 0.7), Gain(0.02, 1.0, 0.5), Gain(0.002, 0.25, 0.8)], ids=str)
def test_a_gain_that_moves_by_itself_is_known_by_the_noise_that_grows_after_strokes(drums, tmp_path, gain):
    levels = {"ride": 0.0, "snare": -3.0, "bass drum": -14.0, "hi-hat": -6.0}
    sound = calibration(tuple(levels), drums, levels, Room(0.3, 35, True, gain), seed=36)
    own = own_kit(open_recording(saved(tmp_path / "a.wav", sound)), tuple(levels))
    assert own.automatic == (gain is not None)


def test_where_a_gain_moved_no_levels_are_compared(heard, usual):
    *_, without, _, own = heard
    found = levelled(without, replace(own, automatic=True), usual, np.ones(39, np.float32), np.zeros((100, 8)))
    assert found.automatic and not found.levels and found.against_own_lu is None


@pytest.mark.parametrize(("tempo", "words"), [(60, "half"), (120, "")])
def test_a_take_at_half_speed_is_told_so_at_once(drums, usual, tmp_path, tempo, words):
    sound, _ = recorded(sheet(tempo=tempo, choruses=2), Student(37), drums, SMALL)
    recording = open_recording(saved(tmp_path / "a.wav", sound))
    assert listen(recording, sheet(tempo=120, choruses=2), usual).speed == words


@pytest.mark.parametrize("silent", [("hi-hat",), ("hi-hat", "snare")], ids=" and ".join)
def test_a_part_that_nobody_plays_is_not_heard(drums, usual, tmp_path, silent):
    written = sheet(tempo=120, choruses=2)
    sound, _ = recorded(written, Student(33, silent=silent), drums, CLEAN)
    take = listen(open_recording(saved(tmp_path / "a.wav", sound)), written, usual)
    answer = check_take(take, written)
    assert {one.part for one in answer.findings.limbs if one.heard}.isdisjoint(silent)


def test_a_voice_is_no_drum(usual, tmp_path):
    written = sheet(tempo=120, choruses=2)
    draw = np.random.default_rng(34)
    at = np.arange(int(written.end_seconds * RATE))
    syllables = np.interp(at, np.arange(0, len(at), RATE // 7), draw.random(len(range(0, len(at), RATE // 7))) ** 2)
    voice = np.cumsum(draw.standard_normal(len(at))) * 0.01
    voice = (voice - np.convolve(voice, np.ones(400) / 400, mode="same")) * syllables
    take = listen(open_recording(saved(tmp_path / "a.wav", voice / np.abs(voice).max() * 0.5)), written, usual)
    assert check_take(take, written).no_verdict


# --- single strokes -------------------------------------------------------------------------------


def test_single_strokes_give_a_template_each_and_their_loudness(heard):
    *_, own = heard
    assert set(own.templates) == {"ride", "snare", "bass drum", "hi-hat"} and own.level_db["ride"] == 0
    assert -20 < own.level_db["bass drum"] < -10 and abs(own.level_db["snare"]) < 6


@pytest.mark.parametrize("room", [CLEAN, LARGE], ids=["clean", "large"])
def test_a_stroke_too_few_is_said_with_the_order(drums, tmp_path, room):
    levels = {"ride": 0.0, "snare": -3.0, "bass drum": -14.0, "hi-hat": -6.0}
    sound = calibration(tuple(levels), drums, levels, room)
    short = sound[: int(RATE * 2 * 15)]
    with pytest.raises(LessonError, match="15 strokes are heard, and 4 of each of 4 parts are 16; play each alone"):
        own_kit(open_recording(saved(tmp_path / "a.wav", short)), tuple(levels))


def test_a_long_recording_is_no_kit(tmp_path):
    with pytest.raises(LessonError, match="lasts 301 s; single strokes of a kit take a minute"):
        own_kit(open_recording(saved(tmp_path / "a.wav", np.zeros(301 * 8000), 8000)), ("ride",))


def test_the_click_has_four_strokes_a_part_and_the_fourth_is_higher():
    sound, at = click_sound(4), click_moments(4)
    assert len(at) == 16 and np.diff(at) == pytest.approx(APART_SECONDS) and np.abs(sound).max() <= 0.25
    tops = [int(np.argmax(np.abs(np.fft.rfft(sound[round(one * RATE) :][:1323])))) * RATE / 1323 for one in at[:4]]
    assert tops == pytest.approx([1000, 1000, 1000, 1500], abs=40)


@pytest.mark.parametrize("delay_ms", [0, 37, 240])
def test_the_delay_of_a_device_is_measured_from_the_click_that_comes_back(tmp_path, delay_ms):
    sound = np.concatenate([np.zeros(round(delay_ms / 1000 * RATE)), click_sound(4)])
    found = latency(open_recording(saved(tmp_path / "a.wav", in_room(sound, Room(0.2, 30), 3))))
    assert found.milliseconds == pytest.approx(delay_ms, abs=4) and found.spread_ms < 3


def test_a_recording_without_the_click_says_so(tmp_path):
    with pytest.raises(LessonError, match="the clicks are not heard in it; lay the headphone at the microphone"):
        latency(open_recording(saved(tmp_path / "a.wav", np.zeros(RATE * 5))))
