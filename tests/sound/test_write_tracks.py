"""Tracks mixed into files: the same whoever shares the work, never past the end of the scale, their peak found."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import soundfile
from scipy.signal import resample_poly
from sounding import NO_GAIN, humanized, struck

from render.sound.audio import write_tracks
from render.sound.gain import gain_for
from render.sound.mix import mix_tracks
from render.sound.peaks import highest_peak
from render.sound.tracks import side_by_side
from render.soundfont.entries import RING
from render.soundfont.recording import Sample
from render.soundfont.soundfont import default_soundfont, open_kit

RATE = 44100
FLUID = Path("/usr/share/sounds/sf2/FluidR3_GM.sf2")


@pytest.fixture(scope="module")
def kit():
    opened = open_kit(default_soundfont())
    yield opened
    opened.close()


@pytest.fixture(scope="module")
def rendition(kit):
    return humanized(kit)


@pytest.mark.parametrize("kind", ["wav", "flac"])
def test_several_processes_write_the_same_files_as_one(kind, rendition, kit, tmp_path):
    short = struck((0.0, "snare"), (0.2, "bass drum"), seconds=0.5)
    without = replace(rendition, only=frozenset(rendition.performance.parts) - {"snare"})
    tracks = side_by_side([rendition, without, short], kit)
    gain, files = gain_for(tracks), {}
    for processes in (1, 2, 3):
        paths = [tmp_path / f"{processes} {number}.{kind}" for number in range(3)]
        write_tracks(paths, tracks, gain, kind, processes)
        files[processes] = [path.read_bytes() for path in paths]
    assert files[1] == files[2] == files[3]
    for number, frames in enumerate(tracks.lengths):
        read, rate = soundfile.read(tmp_path / f"2 {number}.{kind}", dtype="int16")
        assert (len(read), rate) == (frames, RATE)
        assert np.array_equal(read, np.concatenate([blocks[number] for blocks in mix_tracks(tracks, gain)]))


def test_a_wav_file_has_a_right_header_though_it_is_written_in_pieces(kit, tmp_path):
    # Canonical WAVE of 16-bit PCM: 44 bytes of header, sizes of the chunks in it (Microsoft RIFF, 1991; from memory).
    path = tmp_path / "a.wav"
    tracks = side_by_side([struck((0.0, "snare"), seconds=2.0)], kit)
    write_tracks([path], tracks, NO_GAIN, processes=2)
    data = path.read_bytes()
    assert data[:4] + data[8:16] + data[36:40] == b"RIFFWAVEfmt data"
    assert int.from_bytes(data[4:8], "little") == len(data) - 8
    assert int.from_bytes(data[40:44], "little") == len(data) - 44 == 4 * tracks.lengths[0]


def test_progress_is_told_from_0_to_nearly_1(rendition, kit, tmp_path):
    for kind, processes in (("wav", 2), ("flac", 1)):
        told = []
        tracks = side_by_side([rendition], kit)
        write_tracks([tmp_path / f"a.{kind}"], tracks, NO_GAIN, kind, processes, told.append)
        assert told == sorted(told)
        assert 0 <= told[0] < 0.2
        assert 0.6 < told[-1] <= 1


def test_a_track_known_to_fit_is_the_same_as_one_that_is_looked_at(rendition, kit):
    tracks = side_by_side([rendition], kit)
    gain = gain_for(tracks)
    other = side_by_side([rendition], kit)
    assert gain.fits(tracks)
    assert gain.fits(tracks.only([0]))
    assert not gain.fits(other)
    for ours, looked_at in zip(mix_tracks(tracks, gain), mix_tracks(other, gain), strict=True):
        assert np.array_equal(ours[0], looked_at[0])


def test_a_gain_for_other_tracks_never_wraps_around(kit):
    loud = side_by_side([struck((0.0, "snare"), (0.0, "bass drum"), (0.0, "sticks"), velocity=127, seconds=0.5)], kit)
    made_for_less = gain_for(side_by_side([struck((0.0, "snare"), velocity=30)], kit))
    block = next(iter(mix_tracks(loud, made_for_less)))[0]
    scale = 32768 * 10 ** (made_for_less.db / 20)
    wanted = sum(np.clip(stem.block(0, len(block)) * scale, -32768, 32767) for stem in loud.stems)
    assert np.abs(wanted).max() > 40000
    assert np.abs(block - np.clip(wanted, -32768, 32767)).max() <= 6  # dither and rounding of three stems


@pytest.mark.parametrize("wrap", [False, True])
@pytest.mark.parametrize("soundfont", [default_soundfont(), FLUID], ids=lambda path: path.stem)
def test_the_highest_true_peak_is_that_of_the_whole_sound_oversampled(soundfont, wrap):
    # ITU-R BS.1770 annex 2: four times oversampled; here by scipy, over every sample of the tracks.
    if not soundfont.is_file():
        pytest.skip(f"{soundfont} is not here")
    kit = open_kit(soundfont)
    full = humanized(kit, choruses=3)
    quiet = replace(full, only=frozenset({"hi-hat", "bass drum"}))
    for renditions in ([full, quiet], [quiet]):
        tracks = side_by_side(renditions, kit, wrap)
        sums = [sum(tracks.stems[n].block(0, tracks.lengths[0]) for n in numbers) for numbers in tracks.sums]
        whole = max(float(np.abs(resample_poly(sound, 4, 1, axis=0)).max()) for sound in sums)
        alone = max(float(np.abs(resample_poly(stem.block(0, stem.end), 4, 1, axis=0)).max()) for stem in tracks.stems)
        found = highest_peak(tracks)
        assert 20 * np.log10(found / max(whole, alone)) == pytest.approx(0, abs=0.03)
        assert highest_peak(tracks, processes=2) == found
    kit.close()


class Swelling:
    """A kit whose strokes snap and then, 28 dB lower, swell a tenth of a second later."""

    rate = RATE

    def __init__(self):
        self.values = np.zeros((3 * RATE // 10, 2), np.float32)
        self.values[100:104] = 1.0
        self.values[RATE // 10 : RATE // 5] = 0.04 * np.hanning(RATE // 5 - RATE // 10)[:, None]

    def sample(self, key, velocity):
        return Sample(f"{key}-{velocity}", self.values.reshape(-1), 2, (1.0, 1.0)), 1.0

    def keep(self, kind, name, make):
        return np.array([[0]], np.float32) if kind is RING else make()


def test_quiet_tails_that_add_up_to_the_highest_peak_are_found():
    kit = Swelling()
    tracks = side_by_side([struck(*((n * 0.001, "ride") for n in range(80)), seconds=1.0)], kit)
    whole = tracks.stems[0].block(0, tracks.lengths[0])
    highest = float(np.abs(resample_poly(whole, 4, 1, axis=0)).max())
    assert highest > 1.9  # while no two snaps fall together
    assert highest_peak(tracks) == pytest.approx(highest, rel=0.003)
