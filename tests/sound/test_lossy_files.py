"""Ogg Vorbis and MP3: what is heard is what was mixed, and two runs write the same bytes."""

import struct

import numpy as np
import pytest
import soundfile
from sounding import struck

from render.sound.audio import AudioFile, write_tracks
from render.sound.gain import gain_for
from render.sound.mix import mix_tracks
from render.sound.ogg import SERIAL, check_sum, number_stream
from render.sound.tracks import side_by_side
from render.soundfont.soundfont import default_soundfont, open_kit

KINDS = ("ogg", "mp3")


@pytest.fixture(scope="module")
def tracks():
    kit = open_kit(default_soundfont())
    yield side_by_side([struck(*[(beat / 4, "snare") for beat in range(8)], seconds=3.0)], kit)
    kit.close()


@pytest.mark.parametrize("kind", KINDS)
def test_a_lossy_file_sounds_like_what_was_mixed(kind, tracks, tmp_path):
    gain, path = gain_for(tracks), tmp_path / f"a.{kind}"
    write_tracks([path], tracks, gain, kind)
    mixed = np.concatenate([blocks[0] for blocks in mix_tracks(tracks, gain)]) / 2**15
    read, _ = soundfile.read(path)
    rms = np.sqrt(np.mean(mixed**2))
    assert np.sqrt(np.mean((read - mixed) ** 2)) < 0.3 * rms  # coding noise lies 10 dB and more below the sound
    assert np.abs(read).max() <= 1.1 * np.abs(mixed).max()


@pytest.mark.parametrize("kind", KINDS)
def test_silence_stays_silence(kind, tmp_path):
    with AudioFile(tmp_path / "a", 44100, kind) as file:
        file.write(np.zeros((44100, 2), np.int16))
    assert not np.any(soundfile.read(tmp_path / "a")[0])


@pytest.mark.parametrize("kind", KINDS)
def test_two_files_of_the_same_sound_are_the_same_bytes(kind, tracks, tmp_path):
    gain = gain_for(tracks)
    for name in ("a", "b"):
        write_tracks([tmp_path / name], tracks, gain, kind)
    assert (tmp_path / "a").read_bytes() == (tmp_path / "b").read_bytes()


def pages(data):
    """The pages of an Ogg file: head of 27 bytes, the lengths of its segments, then those (RFC 3533, section 6)."""
    while data:
        end = 27 + data[26] + sum(data[27 : 27 + data[26]])
        yield data[:end]
        data = data[end:]


def test_the_check_sum_of_a_page_is_that_of_the_encoder(tmp_path):
    sound = np.random.default_rng(1).normal(0, 3000, (30000, 2)).astype(np.int16)
    soundfile.write(tmp_path / "a", sound, 44100, format="OGG", subtype="VORBIS")
    for page in pages((tmp_path / "a").read_bytes()):
        assert struct.unpack_from("<I", page, 22)[0] == check_sum(page[:22] + bytes(4) + page[26:])
    heard = soundfile.read(tmp_path / "a")[0]
    number_stream(tmp_path / "a")
    found = [*pages((tmp_path / "a").read_bytes())]
    assert len(found) > 3
    assert {struct.unpack_from("<I", page, 14)[0] for page in found} == {SERIAL}
    assert np.array_equal(soundfile.read(tmp_path / "a")[0], heard)


@pytest.mark.parametrize("data", [b"OggS", b"RIFF" + bytes(40)])
def test_what_is_no_row_of_pages_is_an_error(data, tmp_path):
    (tmp_path / "a").write_bytes(data)
    with pytest.raises(OSError, match="no row of Ogg pages"):
        number_stream(tmp_path / "a")
