"""Stems and tracks, measured from the sound: where hits lie, what is left when parts are taken away, how loud it gets."""

import subprocess
import sys
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import soundfile
from music import EXACT, lesson_of
from scipy.signal import correlate, resample_poly
from sounding import NO_GAIN, humanized, struck

from grooves.errors import LessonError
from grooves.passages import Track, track_passages
from grooves.performance import perform
from render.sound.audio import FORMATS, write_tracks
from render.sound.balance import calibrate, velocities
from render.sound.events import NEVER, Rendition, SoundEvent, events_by_part
from render.sound.gain import gain_for
from render.sound.loudness import integrated_loudness
from render.sound.mix import mix, mix_tracks
from render.sound.stems import Stem, add
from render.sound.tracks import rendition_frames, side_by_side
from render.soundfont.recording import packed, unpacked
from render.soundfont.samples import held_blocks
from render.soundfont.soundfont import default_soundfont, open_kit
from render.soundfont.synth import BLOCK, Synth

RATE = 44100
SOUNDFONTS = {"bundled": default_soundfont(), "large": Path("/usr/share/sounds/sf2/FluidR3_GM.sf2")}


@pytest.fixture(scope="module")
def kit():
    opened = open_kit(default_soundfont())
    yield opened
    opened.close()


@pytest.fixture(scope="module")
def rendition(kit):
    return humanized(kit)


def sound(rendition, kit, gain=NO_GAIN, **options):
    """A rendition's whole sound."""
    return np.concatenate(list(mix(rendition, kit, gain, **options)))


def test_the_stems_add_up_to_the_track_to_the_last_bit(rendition, kit):
    gain = gain_for(side_by_side([rendition], kit))
    stems = [sound(replace(rendition, only=frozenset({part})), kit, gain) for part in rendition.performance.parts]
    assert len(stems) >= 5  # ride, snare, bass drum, hi-hat, count-in
    assert np.array_equal(np.sum(stems, axis=0, dtype=np.int32), sound(rendition, kit, gain))


@pytest.mark.parametrize("part", ["snare", "ride", "bass drum"])
def test_the_full_track_less_the_one_without_a_part_is_that_part(part, rendition, kit):
    gain = gain_for(side_by_side([rendition], kit))
    without = replace(rendition, only=frozenset(rendition.performance.parts) - {part})
    alone = replace(rendition, only=frozenset({part}))
    blocks = mix_tracks(side_by_side([rendition, without, alone], kit), gain)
    full, less, alone = (np.concatenate(track) for track in zip(*blocks, strict=True))
    assert alone.any()
    assert np.array_equal(full.astype(np.int32) - less, alone)


def test_a_track_of_a_pack_is_the_same_as_alone(rendition, kit):
    short = struck((0.0, "snare"), seconds=1.0)
    together = [
        np.concatenate(blocks)
        for blocks in zip(*mix_tracks(side_by_side([rendition, short], kit), NO_GAIN), strict=True)
    ]
    assert np.array_equal(together[0], sound(rendition, kit))
    assert np.array_equal(together[1], sound(short, kit))


@pytest.mark.parametrize("rate", [44100, 48000])
def test_a_humanized_hit_begins_at_the_sample_nearest_to_its_time(rate):
    kit = open_kit(default_soundfont(), rate)
    onsets = (np.arange(12) * 0.5 + np.random.default_rng(5).uniform(0, 0.02, 12)).tolist()
    made = sound(struck(*((at, "snare") for at in onsets), seconds=6.0), kit, replace(NO_GAIN, db=20.0))
    hit = kit.hit(38, 100)[:1500, 0]
    for at in onsets:
        first = int(at * rate) - 200 if at > 0.01 else 0
        window = made[first : first + 2500, 0].astype(float)
        found = first + int(correlate(window, hit, "valid").argmax())
        assert abs(found - at * rate) <= 0.5 + 1e-6
    kit.close()


def test_the_foot_on_the_hi_hat_chokes_an_open_hat(kit):
    open_hat = frozenset({"open hi-hat"})
    ringing = sound(struck((0.0, "open hi-hat"), only=open_hat), kit)
    choked = sound(struck((0.0, "open hi-hat"), (0.5, "hi-hat"), only=open_hat), kit)

    def level_db(pcm, seconds):
        at = round(seconds * RATE)
        return 10 * np.log10(np.mean(pcm[at : at + 2000].astype(float) ** 2))

    assert level_db(choked, 0.4) == pytest.approx(level_db(ringing, 0.4), abs=0.01)
    # FluidSynth lets go of a voice of the same exclusive class at about 105 dB a second.
    assert level_db(ringing, 0.6) - level_db(choked, 0.6) > 9
    assert level_db(ringing, 0.8) - level_db(choked, 0.8) > 15


def test_only_a_hat_chokes_and_only_what_comes_before_it():
    parts = events_by_part(struck((0.0, "open hi-hat"), (0.25, "ride"), (0.5, "hi-hat")), RATE)
    assert parts == {
        "open hi-hat": (SoundEvent(0, 46, 100, 22050),),
        "ride": (SoundEvent(11025, 51, 100),),
        "hi-hat": (SoundEvent(22050, 44, 100),),
    }


def test_in_a_loop_the_first_hat_chokes_the_last():
    rendition = struck((0.0, "hi-hat"), (3.0, "open hi-hat"))
    assert events_by_part(rendition, RATE, wrap=True)["open hi-hat"] == (SoundEvent(3 * RATE, 46, 100, RATE),)
    assert events_by_part(rendition, RATE)["open hi-hat"] == (SoundEvent(3 * RATE, 46, 100),)


def test_a_loop_s_chokes_go_by_its_own_clock():
    late = struck((0.5, "open hi-hat"), (4.2, "hi-hat"))  # behind the last barline, so 0.2 s into the loop
    assert events_by_part(late, RATE, wrap=True) == {
        "open hi-hat": (SoundEvent(RATE // 2, 46, 100, round(3.7 * RATE)),),
        "hi-hat": (SoundEvent(round(4.2 * RATE), 44, 100, round(0.3 * RATE)),),
    }


def test_a_limb_that_plays_early_is_early_in_every_turn_of_a_loop(kit):
    # The first stroke lies 40 ms before the loop begins, so it sounds 40 ms before it ends.
    lesson = lesson_of("4 4 4 4", feel=f"{EXACT}\nahead_ms = {{ ride = 40 }}", tempo=200)
    loop = Track("loop", only=frozenset({"ride"}), times=3, count_in=0)
    performance = perform(lesson.score, track_passages(loop, lesson.score), lesson.feel)
    one = Rendition(performance, velocities(performance, calibrate(kit)))
    turns = sound(one, kit, wrap=True).reshape(3, -1, 2)
    assert np.array_equal(turns[0], turns[1])
    assert np.array_equal(turns[1], turns[2])
    assert events_by_part(one, RATE, wrap=True)["ride"][0].frame == round(-0.04 * RATE)
    assert (
        np.abs(turns[0][-round(0.04 * RATE) :]).max()
        > 2 * np.abs(turns[0][-round(0.08 * RATE) : -round(0.04 * RATE)]).max()
    )


def test_a_loop_is_as_long_as_its_bars_and_the_tail_sounds_at_its_start(kit):
    rendition = struck((3.9, "ride"))
    loop, track = sound(rendition, kit, wrap=True), sound(rendition, kit)
    assert len(loop) == rendition_frames(rendition, kit, wrap=True) == 4 * RATE
    assert len(track) == rendition_frames(rendition, kit)
    assert np.abs(loop[:100]).max() > 20 * max(np.abs(track[:100]).max(), 1)


@pytest.mark.parametrize("kind", ["wav", "flac"])
def test_the_written_file_reaches_its_loudness_or_its_ceiling_and_never_passes_it(kind, rendition, kit, tmp_path):
    # EBU R 128: true peak at most -1 dBTP; here eight times oversampled by scipy, ITU-R BS.1770 annex 2 asks for four.
    tracks = side_by_side([rendition], kit)
    gain = gain_for(tracks)
    path = tmp_path / f"full.{kind}"
    write_tracks([path], tracks, gain, kind)
    made, rate = soundfile.read(path, dtype="float32")
    peak_dbtp = 20 * np.log10(np.abs(resample_poly(made, 8, 1, axis=0)).max())
    assert rate == RATE
    assert peak_dbtp <= -1.0
    assert peak_dbtp == pytest.approx(gain.peak_dbtp, abs=0.1)
    bars = made[: round(rendition.performance.length_seconds * RATE)]
    assert integrated_loudness([bars], RATE) == pytest.approx(gain.loudness_lufs, abs=0.3)
    assert gain.limited_by_peak or gain.loudness_lufs == pytest.approx(-16)


def test_other_tracks_lower_the_gain_where_they_peak_higher(rendition, kit):
    loud = struck(*((0.0, name) for name in ("snare", "bass drum", "ride bell", "sticks")), velocity=127)
    assert gain_for(side_by_side([rendition, loud], kit)).db < gain_for(side_by_side([rendition], kit)).db


def test_a_silent_track_has_no_gain(kit):
    with pytest.raises(LessonError, match="the full track is silent"):
        gain_for(side_by_side([struck()], kit))


def test_the_gain_makes_it_louder_by_as_many_decibels(kit):
    rendition = struck((0.0, "snare"))
    soft, loud = (np.abs(sound(rendition, kit, replace(NO_GAIN, db=db)).astype(float)).max() for db in (0.0, 6.0))
    assert 20 * np.log10(loud / soft) == pytest.approx(6.0, abs=0.05)


def test_stems_that_do_not_fit_stop_at_the_end_of_the_scale():
    high = np.full((4, 2), 30000, np.int16)
    assert add([[(0, high)], [(0, high)]], 4).tolist() == [[32767, 32767]] * 4
    assert add([[(0, -high)], [(0, -high)]], 4).tolist() == [[-32768, -32768]] * 4
    assert not add([], 4).any()


def test_a_stem_is_silent_where_it_does_not_sound(rendition, kit):
    alone = replace(rendition, only=frozenset({"hi-hat"}))
    frames = sound(alone, kit, gain_for(side_by_side([rendition], kit)))
    heard = np.zeros(len(frames), bool)
    for event in events_by_part(alone, RATE)["hi-hat"]:
        heard[event.frame : event.frame + kit.sample(event.key, event.velocity)[0].frames] = True
    assert 0.02 < heard.mean() < 0.5
    assert not frames[~heard].any()  # not even dither
    assert np.abs(frames[heard]).mean() > 10


@pytest.mark.parametrize(
    ("long_frames", "sides", "channels"), [(1, (0.5, 1.0), 1), (1, (1.0, 0.25), 1), (1, (1.0, 1.0), 1), (9999, (0.5, 1.0), 2)]
)  # fmt: skip
def test_one_signal_that_is_only_panned_is_kept_as_one_channel(long_frames, sides, channels):
    one = np.random.default_rng(3).standard_normal(5000).astype(np.float32)
    both = np.stack([one * np.float32(side) for side in sides], axis=1)
    sample = unpacked("51-127", packed(both, long_frames))
    assert (sample.name, sample.frames, sample.channels) == ("51-127", 5000, channels)
    assert np.allclose(sample.sound(), both, atol=1e-6)


def test_two_different_channels_are_both_kept():
    both = np.random.default_rng(4).standard_normal((5000, 2)).astype(np.float32)
    assert np.array_equal(unpacked("51-127", packed(both, 1)).sound(), both)


def opened(name):
    """The bundled soundfont's kit, or Debian's, whose bass drum and snare have velocity layers."""
    path = SOUNDFONTS[name]
    if not path.is_file():
        pytest.skip(f"{path} is not installed: apt install fluid-soundfont-gm")
    return closing(open_kit(path, use_cache=False))


def played_by_fluidsynth(kit, strokes, blocks):
    """FluidSynth itself, which starts notes at blocks of 64 frames: `strokes` are (key, velocity) by block."""
    held = held_blocks(RATE)
    with Synth(kit.path, kit.preset.program, RATE) as synth:
        sounds = []
        for number in range(blocks):
            if number - held in strokes:
                synth.off(strokes[number - held][0])
            if number in strokes:
                synth.on(*strokes[number])
            sounds.append(synth.render(1))
    return np.concatenate(sounds)


def residual_db(ours, theirs, strokes):
    """What differs, against their sound; but the first block of a note fades in from whatever its voice played last."""
    heard = np.ones(len(theirs), bool)
    for number in strokes:
        heard[number * BLOCK : (number + 1) * BLOCK] = False
    apart, whole = ours[heard] - theirs[heard], theirs[heard]
    return 10 * np.log10(np.sum(apart**2, dtype=float) / np.sum(whole**2, dtype=float))


@pytest.mark.parametrize(
    ("name", "played"),
    [
        ("bundled", [((38, 36, 51, 37)[n % 4], 40 + 7 * n) for n in range(12)]),
        ("large", [(key, velocity) for velocity in (40, 80, 84, 92, 100, 108, 116, 127) for key in (36, 38)]),
    ],
)
def test_on_its_own_grid_fluidsynth_plays_the_same(name, played):
    with opened(name) as kit:
        struck_layers = {
            low for low, high in kit.preset.layers(36) for _, velocity in played if low <= velocity <= high
        }
        assert len(struck_layers) == (1 if name == "bundled" else 7)
        strokes = {200 * number: stroke for number, stroke in enumerate(played)}
        theirs = played_by_fluidsynth(kit, strokes, 200 * len(played) + 400)
        events = tuple(SoundEvent(number * BLOCK, *stroke) for number, stroke in strokes.items())
        ours = Stem("all", events, kit).block(0, len(theirs))
    assert residual_db(ours, theirs, strokes) < -100


@pytest.mark.parametrize("name", SOUNDFONTS)
@pytest.mark.parametrize("velocity", [60, 110])
def test_a_choked_open_hat_dies_as_fluidsynth_lets_it_die(name, velocity):
    # No published source: our fade against FluidSynth's own. Closed half a second after the stroke it measures -44 dB
    # on the bundled soundfont and -67 dB on Debian's; a hat that rings on, -21 and -14 dB.
    closes = 344  # blocks
    with opened(name) as kit:
        strokes = {0: (46, velocity), closes: (44, velocity)}
        theirs = played_by_fluidsynth(kit, strokes, closes + 1500)
        rendition = struck((0.0, "open hi-hat"), (closes * BLOCK / RATE, "hi-hat"), velocity=velocity)
        ours, ringing = (np.zeros_like(theirs) for _ in range(2))
        for part, events in events_by_part(rendition, RATE).items():
            ours += Stem(part, events, kit).block(0, len(theirs))
            ringing += Stem(part, [event._replace(choked_after=NEVER) for event in events], kit).block(0, len(theirs))
    assert residual_db(ours, theirs, strokes) < -40
    assert residual_db(ringing, theirs, strokes) > -25


def test_a_stretch_of_a_stem_is_the_same_alone(kit):
    stem = Stem("snare", tuple(SoundEvent(n * 9000, 38, 90) for n in range(9)), kit)
    assert np.array_equal(stem.block(20000, 5000), stem.block(0, 60000)[20000:25000])
    assert stem.block(10**7, 100) is None


LONG = """
import sys
from pathlib import Path
sys.path[:0] = [{tests!r}, {bench!r}]
from sound_material import performance
from render.sound.balance import calibrate, velocities
from render.sound.gain import gain_for
from render.sound.mix import mix
from render.soundfont.soundfont import default_soundfont, open_kit
from render.sound.events import Rendition
from render.sound.tracks import side_by_side
kit, track = open_kit(default_soundfont()), performance(20)
full = Rendition(track, velocities(track, calibrate(kit)))
frames = sum(len(block) for block in mix(full, kit, gain_for(side_by_side([full], kit))))
# Not resource.getrusage: its peak is inherited from the process that started this one.
print(frames, *[line.split()[1] for line in Path("/proc/self/status").read_text().splitlines() if "VmHWM" in line])
"""


@pytest.mark.skipif(sys.platform != "linux", reason="reads the peak of memory from /proc")
def test_twenty_minutes_are_mixed_in_the_memory_of_a_few_blocks():
    tests = Path(__file__).parents[1]
    code = LONG.format(tests=str(tests), bench=str(tests / "bench"))
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, timeout=300)
    frames, kilobytes = map(int, done.stdout.split())
    assert frames > 20 * 60 * RATE  # 212 MB as 16-bit stereo
    assert kilobytes < 150_000


@pytest.mark.parametrize("kind", FORMATS)
def test_every_format_is_written_and_read_back(kind, kit, tmp_path):
    path = tmp_path / f"hit.{kind}"
    write_tracks([path], side_by_side([struck((0.0, "snare"), seconds=1.0)], kit), NO_GAIN, kind)
    assert soundfile.info(path).samplerate == RATE
    assert np.abs(soundfile.read(path)[0]).max() > 0.01


def test_an_unknown_format_is_a_mistake(rendition, kit, tmp_path):
    with pytest.raises(LessonError, match="format: 'flak' is not a sound format of ours; .*flac"):
        write_tracks([tmp_path / "a"], side_by_side([rendition], kit), NO_GAIN, "flak")
    assert not list(tmp_path.iterdir())
