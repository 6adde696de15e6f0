"""What is heard of a recording: bands, blocks, files of every kind; numpy's and soundfile's own reading beside it."""

import numpy as np
import pytest
from takes_sound import RATE, saved

from grooves.errors import LessonError
from render.hearing.faults import faults, refusal
from render.hearing.features import BANDS, HOP_SECONDS, LOW_BANDS, bands_of, blocks, heard, open_recording, read_mono


def tone(hertz, seconds=1.0, rate=RATE):
    return 0.3 * np.sin(2 * np.pi * hertz * np.arange(round(seconds * rate)) / rate)


@pytest.mark.parametrize("rate", [8000, 22050, 44100, 48000, 96000])
@pytest.mark.parametrize("hertz", [60.0, 180.0, 700.0, 3000.0])
def test_a_tone_is_heard_in_the_band_that_it_lies_in_at_any_rate(rate, hertz):
    found = bands_of(tone(hertz, rate=rate).astype(np.float32), np.array([rate // 2]), rate)[:, 0]
    # W. M. Hartmann, Signals, Sound and Sensation: bands in equal ratios; the edges are our own, 45 to 400, to 16000
    edges = np.concatenate([np.geomspace(45, 400, 10)[:-1], np.geomspace(400, 16000, 31)])
    meant = int(np.searchsorted(edges, hertz)) - 1
    low = slice(0, LOW_BANDS) if hertz < 400 else slice(LOW_BANDS, BANDS)
    assert abs(int(np.argmax(found[low])) + low.start - meant) <= 1


def test_twice_as_loud_is_twice_as_much_in_every_band():
    noise = np.random.default_rng(1).standard_normal(RATE).astype(np.float32)
    once, twice = (bands_of(loud * noise, np.array([9000, 20000]), RATE) for loud in (1, 2))
    assert twice == pytest.approx(2 * once, rel=1e-4)


def test_blocks_are_the_whole_cut_in_pieces(tmp_path):
    noise = np.random.default_rng(2).standard_normal(RATE * 3) * 0.1
    recording = open_recording(saved(tmp_path / "a.wav", noise))
    whole = heard(recording, 0, recording.moments)
    cut = np.concatenate([piece for _, piece in blocks(recording, 100)], axis=1)
    assert whole.shape == (BANDS, recording.moments) and cut == pytest.approx(whole, rel=1e-4, abs=1e-6)


def test_a_stroke_is_heard_at_its_moment(tmp_path):
    sound = np.zeros(RATE)
    sound[RATE // 2 :] = np.random.default_rng(3).standard_normal(RATE // 2) * 0.1
    found = heard(open_recording(saved(tmp_path / "a.wav", sound)), 0, 200)[LOW_BANDS:].sum(axis=0)
    assert abs(int(np.argmax(found > found.max() / 2)) * HOP_SECONDS - 0.5) <= HOP_SECONDS


@pytest.mark.parametrize("ending", [".wav", ".flac", ".ogg", ".mp3"])
def test_every_kind_of_file_is_read_and_both_sides_are_heard(tmp_path, ending):
    import soundfile

    stereo = np.stack([tone(700), np.zeros(RATE)], axis=1)
    soundfile.write(str(tmp_path / f"a{ending}"), stereo, RATE)
    recording = open_recording(tmp_path / f"a{ending}")
    middle = read_mono(recording, 10_000, 20_000)
    assert np.sqrt(np.mean(middle**2)) == pytest.approx(0.3 / 2**1.5, rel=0.1)


def test_beyond_both_ends_is_silence(tmp_path):
    recording = open_recording(saved(tmp_path / "a.wav", np.full(100, 0.5)))
    assert read_mono(recording, -5, 110) == pytest.approx([0] * 5 + [0.5] * 100 + [0] * 5, abs=1e-4)


def test_what_is_no_number_is_silence(tmp_path):
    bad = np.array([0.1, np.nan, np.inf, -np.inf, 0.1] * 100)
    recording = open_recording(saved(tmp_path / "a.wav", bad, subtype="FLOAT"))
    assert np.isfinite(heard(recording, 0, recording.moments)).all()


@pytest.mark.parametrize(("data", "message"), [
    (b"RIFF\0\0\0\0WAVE", "a.wav: is no sound that can be read"),
    (b"not a sound at all" * 9, "a.wav: is no sound that can be read .*; record it again or save it as .wav"),
])  # fmt: skip
def test_a_damaged_file_is_refused_in_one_message(tmp_path, data, message):
    (tmp_path / "a.wav").write_bytes(data)
    with pytest.raises(LessonError, match=message):
        open_recording(tmp_path / "a.wav")


def test_a_kind_that_cannot_be_read_here_says_what_to_save_it_as(tmp_path):
    (tmp_path / "a.m4a").write_bytes(b"\0\0\0\x20ftypM4A " + b"\0" * 200)
    with pytest.raises(LessonError, match=r"a\.m4a: is no sound that can be read .*; save it as \.wav or \.flac"):
        open_recording(tmp_path / "a.m4a")


def test_a_rate_too_low_for_cymbals_is_refused(tmp_path):
    with pytest.raises(LessonError, match="has 4000 samples a second; record with 44100 or 48000"):
        open_recording(saved(tmp_path / "a.wav", tone(300, rate=4000), rate=4000))


# --- recordings that say nothing ------------------------------------------------------------------


def test_silence_too_little_and_clipping_are_each_told_in_a_sentence(tmp_path):
    draw = np.random.default_rng(4)
    noise = draw.standard_normal(RATE * 6) * 0.1
    silent = open_recording(saved(tmp_path / "silent.wav", np.zeros(RATE * 6)))
    short = open_recording(saved(tmp_path / "short.wav", noise[: RATE * 2]))
    clipped = open_recording(saved(tmp_path / "clipped.wav", np.clip(np.cumsum(noise) % 4 - 2, -1, 1)))
    good = open_recording(saved(tmp_path / "good.wav", noise))
    assert refusal(silent) == "There is no sound in this take: was the microphone on?"
    assert refusal(short).startswith("This take is too short")
    assert refusal(clipped).startswith("This take is clipped: turn the microphone down")
    assert refusal(good) == "" and faults(good).cuts_a_second == 0


def test_a_loud_recording_that_is_not_cut_is_not_called_clipped(tmp_path):
    loud = 0.99 * np.random.default_rng(5).standard_normal(RATE * 6)
    recording = open_recording(saved(tmp_path / "a.wav", loud / np.abs(loud).max() * 0.99))
    assert refusal(recording) == ""
