"""The band's notes as they sound: where they lie, at what pitch, how loud, how they end, and what else they move."""

from contextlib import closing
from dataclasses import replace
from pathlib import Path

import numpy as np
import pyloudnorm
import pytest
from band_played import PROGRAMS, band, note, rendition, ride, trio
from scipy.signal import correlate, resample_poly
from sounding import NO_GAIN, pitch_hertz

from render.sound.balance import RANGES, calibrate, out_of_reach, plain_balance, velocities
from render.sound.gain import gain_for, loudness_of
from render.sound.loudness import hit_loudness
from render.sound.mix import mix, mix_tracks
from render.sound.peaks import highest_peak
from render.sound.tracks import side_by_side
from render.soundfont.recording import prime
from render.soundfont.soundfont import default_soundfont, open_kit
from render.soundfont.synth import BLOCK, Synth

RATE = 44100
SOUNDFONTS = {"bundled": default_soundfont(), "large": Path("/usr/share/sounds/sf2/FluidR3_GM.sf2")}
LOUD = replace(NO_GAIN, db=20.0)


@pytest.fixture(scope="module", params=SOUNDFONTS)
def font(request):
    return request.param


@pytest.fixture(scope="module")
def kit(font):
    """A kit, recorded afresh; the large soundfont only where it is installed."""
    if not SOUNDFONTS[font].is_file():
        pytest.skip(f"{SOUNDFONTS[font]} is not installed: apt install fluid-soundfont-gm")
    with closing(open_kit(SOUNDFONTS[font], use_cache=False)) as opened:
        yield opened


def sound(performance, kit, gain=LOUD, **options):
    """A performance's whole sound, full scale 1.0."""
    return np.concatenate(list(mix(rendition(performance, kit), kit, gain, **options))).astype(float) / 32768


@pytest.mark.parametrize("part", PROGRAMS)
def test_a_note_begins_at_the_sample_nearest_to_its_time(part, kit):
    low, high = RANGES[part]
    onsets = (np.arange(8) * 1.5 + np.random.default_rng(5).uniform(0.01, 0.03, 8)).tolist()
    keys = np.linspace(low, high, 8).astype(int).tolist()
    played = rendition(band(*(note(part, at, key) for at, key in zip(onsets, keys, strict=True))), kit)
    made = np.concatenate(list(mix(played, kit, LOUD)))[:, 0] / 32768
    for at, key, velocity in zip(onsets, keys, played.velocities, strict=True):
        own = kit.instrument(PROGRAMS[part]).note(key, velocity, 300)
        pattern = 10 * own.gain * own.sample.sound()[:6000, 0].astype(float)
        first = round(at * RATE) - 200
        window = made[first : first + 6400]
        sums = np.concatenate([[0.0], np.cumsum(window**2)])
        powers = sums[len(pattern) :] - sums[: -len(pattern)]
        found = first + int((powers - 2 * correlate(window, pattern, "valid")).argmin())  # where they differ least
        assert abs(found - at * RATE) <= 0.5 + 1e-6


# The keys that the soundfonts themselves play more than 5 cents off equal temperament at A4 = 440 Hz, and by how much:
# measured on FluidSynth's own output. Of the bundled one only the lowest four, whose strings start sharp.
OUT_OF_TUNE = {
    "bundled": {28: 6.0, 29: 5.8, 30: 5.5, 31: 5.4},
    "large": {42: -12.0, 43: -10.6, 44: -10.3, 45: -9.6, 46: -8.7, 47: 6.9, 48: 6.4, 49: 6.3, 50: 5.6, 51: 5.2},
}


def test_every_bass_note_has_its_pitch_within_5_cents_or_is_known_to_be_out_of_tune(kit, font):
    keys = range(28, 56)
    made, cents = sound(band(*(note("bass", 1.0 * n, key, 0.8) for n, key in enumerate(keys))), kit), {}
    for n, key in enumerate(keys):
        tempered = 440 * 2 ** ((key - 69) / 12)
        heard = pitch_hertz(made[n * RATE + 4410 : n * RATE + round(0.8 * RATE)], tempered)
        cents[key] = 1200 * np.log2(heard / tempered)
    known = OUT_OF_TUNE[font]
    assert {key: value for key, value in cents.items() if abs(value) > 5 and key not in known} == {}
    assert {key: cents[key] for key in known} == pytest.approx(known, abs=1.0)


@pytest.mark.parametrize("part", ["bass", "piano", "ride"])
def test_leaving_out_a_part_moves_nothing_of_the_others_to_the_last_bit(part, kit):
    full = rendition(trio(), kit)
    parts = frozenset(full.performance.parts)
    assert parts == {"bass", "piano", "ride"}
    without, alone = replace(full, only=parts - {part}), replace(full, only=frozenset({part}))
    tracks = side_by_side([full, without, alone], kit)
    whole, less, own = (np.concatenate(one) for one in zip(*mix_tracks(tracks, gain_for(tracks)), strict=True))
    assert own.any()
    assert np.array_equal(whole.astype(np.int32) - less, own)


def test_a_performance_without_the_bass_has_the_same_piano(kit):
    performance = trio()
    without = replace(performance, notes=tuple(one for one in performance.notes if one.part != "bass"))
    heard = [
        np.concatenate(list(mix(rendition(one, kit, frozenset({"piano"})), kit, NO_GAIN)))
        for one in (performance, without)
    ]
    assert np.array_equal(*heard)


@pytest.mark.parametrize("part", PROGRAMS)
def test_a_part_is_as_loud_against_the_ride_as_its_level_says_on_average_over_its_keys(part, kit):
    # Momentary loudness (ITU-R BS.1770, 400 ms) from the rendered sound; the range is measured every fourth key.
    low, high = RANGES[part]
    for level_lu in (-6.0, -14.0):
        notes = [note(part, 2.0 * n, key, 0.6, level_lu) for n, key in enumerate(range(low, high + 1, 2))]
        made = sound(band(*notes, hits=[ride(2.0 * len(notes))], seconds=2.0 * len(notes) + 2), kit)
        levels = [
            hit_loudness(made[n * 2 * RATE : n * 2 * RATE + RATE].astype(np.float32), RATE)
            for n in range(len(notes) + 1)
        ]
        assert np.mean(levels[:-1]) - levels[-1] == pytest.approx(level_lu, abs=0.75)


def test_a_level_that_no_velocity_of_a_part_gives_is_told(kit):
    said = out_of_reach(band(note("bass", 0.0, 40, 0.5, 40.0)), calibrate(kit, [51]))
    assert len(said) == 1
    assert said[0].startswith("bass: no velocity of ") and "reaches +40.0 LU against the ride" in said[0]


def test_an_unknown_sound_module_plays_notes_by_the_published_law():
    # DLS Level 1 and SoundFont 2.04 section 8.4.1: 40·log10(v/127) dB, as for the drums.
    assert velocities(band(note("bass", 0.0, 40, level_lu=-14.0), hits=[ride(0.0)]), plain_balance()) == (90, 40)


def played_by_fluidsynth(kit, performance, loud):
    """FluidSynth itself, given each note at its block and let go of it when its key goes up."""
    acts = []
    for one, velocity in zip(performance.notes, loud, strict=True):
        start, held = (round(seconds * RATE / BLOCK) for seconds in (one.onset_seconds, one.length_seconds))
        acts += [(start, "on", one, velocity), (start + held, "off", one, 0)]
    with Synth(kit.path, kit.preset.program, RATE) as synth:
        for program in sorted({one.program for one in performance.notes}):
            synth.choose(0, program)
            prime(synth, 60, 90)
        sounds, now = [], 0
        for block, act, one, velocity in sorted(acts, key=lambda act: (act[0], act[1])):
            if block > now:
                sounds.append(synth.render(block - now))
                now = block
            synth.choose(0, one.program)
            synth.on(one.key, velocity) if act == "on" else synth.off(one.key)
        sounds.append(synth.render(round(performance.length_seconds * RATE / BLOCK) - now))
    return np.concatenate(sounds)


@pytest.mark.parametrize("part", PROGRAMS)
def test_on_its_own_grid_fluidsynth_plays_the_same_notes(part, kit):
    # Notes at blocks of 64 frames, at the velocities that are recorded, overlapping as far as their releases do. What
    # differs is the release, a straight line in dB here. No published source; a hard cut measures -20 dB and worse.
    low, high = RANGES[part]
    beats, rng = 0.4 * np.arange(16), np.random.default_rng(3)
    notes = [
        note(part, round(at * RATE / BLOCK) * BLOCK / RATE, int(key), float(rng.uniform(0.1, 0.39)))
        for at, key in zip(beats, rng.integers(low, high + 1, 16), strict=True)
    ]
    performance, loud = band(*notes, seconds=8.0), rng.choice([64, 80, 96], 16).tolist()
    theirs = played_by_fluidsynth(kit, performance, loud).astype(float)
    one = replace(rendition(performance, kit), velocities=tuple(loud))
    ours = side_by_side([one], kit).stems[0].block(0, len(theirs))
    heard = np.ones(len(theirs), bool)
    for at in beats:  # FluidSynth's voices fade in from the gain of what they played last
        start = round(at * RATE / BLOCK) * BLOCK
        heard[start : start + BLOCK] = False
    apart_db = 10 * np.log10(np.sum((ours - theirs)[heard] ** 2) / np.sum(theirs[heard] ** 2))
    assert apart_db < -38


def test_a_note_ends_when_its_key_goes_up_on_the_grid_of_64_frames(kit):
    short, long = (sound(band(note("bass", 0.0, 40, length), seconds=3.0), kit) for length in (0.4, 0.9))
    up = round(0.4 * RATE / BLOCK) * BLOCK
    assert np.abs(short[:up] - long[:up]).max() <= 2.1 / 32768  # rounding and dither
    later = slice(up + round(0.1 * RATE), up + round(0.2 * RATE))
    assert np.sum(short[later] ** 2) < 0.01 * np.sum(long[later] ** 2)


def test_the_gain_knows_the_loudness_and_the_highest_peak_of_a_band(kit):
    tracks = side_by_side([rendition(trio(), kit)], kit)
    made = sum(stem.block(0, 8 * RATE).astype(float) for stem in tracks.stems)
    meter = pyloudnorm.Meter(RATE)  # another meter after ITU-R BS.1770
    assert loudness_of(tracks) == pytest.approx(meter.integrated_loudness(made), abs=0.5)
    # ITU-R BS.1770 annex 2: four times oversampled, here by scipy.
    alone = [np.abs(resample_poly(stem.block(0, stem.end), 4, 1, axis=0)).max() for stem in tracks.stems]
    whole = np.abs(resample_poly(made, 4, 1, axis=0)).max()
    assert 20 * np.log10(highest_peak(tracks) / max(whole, *alone)) == pytest.approx(0, abs=0.03)


def test_in_a_loop_what_rings_past_the_end_sounds_at_the_start(kit):
    last = band(note("piano", 1.9, 60, 0.3), seconds=2.0)
    loop = sound(last, kit, wrap=True)
    assert len(loop) == 2 * RATE
    assert np.abs(loop[:2000]).max() > 0.003 > np.abs(loop[RATE : RATE + 2000]).max()
