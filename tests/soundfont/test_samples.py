"""Recorded hits: how long a key is held, and what counts as one sound at two gains."""

import io
from contextlib import closing

import damaged
import mido
import numpy as np
import pytest
from music import EXACT, lesson_of, of_part, played

from render.sound.midi import midi_bytes
from render.soundfont.samples import held_blocks
from render.soundfont.soundfont import default_soundfont, open_kit
from render.soundfont.synth import BLOCK, HIT_SECONDS, Synth

RATE = 44100
RIDE, CUTOFF, VELOCITY = 51, 8, 2  # generator and source of modulators: SoundFont 2.04, sections 8.1.2 and 8.2.1


def ride_stroke(held, blocks=700):
    """FluidSynth's own ride at velocity 100, its key down for so many blocks of 64 frames."""
    with Synth(default_soundfont(), 32, RATE) as synth:
        synth.on(RIDE, 100)
        sound = synth.render(held)
        synth.off(RIDE)
        return np.concatenate([sound, synth.render(blocks - held)]).astype(float)


def test_a_ride_whose_key_goes_up_rings_on():
    short, whole = (np.sum(ride_stroke(held) ** 2) for held in (held_blocks(RATE), 690))
    assert 10 * np.log10(whole / short) == pytest.approx(0, abs=0.3)


def residual_db(ours, theirs):
    """What differs past the first block, which fades in from what a voice played last."""
    frames = slice(BLOCK, min(len(ours), len(theirs)))
    return 10 * np.log10(np.sum((ours[frames] - theirs[frames]) ** 2) / np.sum(theirs[frames] ** 2))


def test_a_sample_is_of_a_key_held_for_a_tenth_of_a_second():
    # The value is ours, in whole blocks of 64 frames; MIDI files say the same.
    with closing(open_kit(default_soundfont(), use_cache=False)) as kit:
        ours = kit.hit(RIDE, 100).astype(float)
    assert residual_db(ours, ride_stroke(round(0.1 * RATE / BLOCK))) < -90
    assert all(residual_db(ours, ride_stroke(round(held * RATE / BLOCK))) > -60 for held in (0.09, 0.11))


def test_the_key_is_up_again_before_the_next_straight_eighth_of_a_very_fast_tune():
    performance = played(lesson_of("8 8 8 8 8 8 8 8", tempo=287, feel=f"{EXACT}\nswing = 1.0"))
    data = midi_bytes(performance, [64] * len(performance.hits))
    snare = next(track for track in mido.MidiFile(file=io.BytesIO(data)).tracks if track.name == "snare")
    notes = [message for message in snare if message.type.startswith("note")]
    assert len(notes) == 2 * len(of_part(performance, "snare"))
    ticks_per_second = 287 / 60 * 960
    for off, on in zip(notes[1::2], notes[2::2], strict=False):
        assert (off.type, on.type) == ("note_off", "note_on")
        assert off.time == pytest.approx(HIT_SECONDS * ticks_per_second, abs=1)  # not cut short by the next
        assert on.time > 0


@pytest.mark.parametrize(("cents", "pure"), [(0, True), (30, False), (300, False)])
def test_a_key_whose_filter_follows_velocity_is_no_pure_gain(cents, pure, tmp_path):
    font, path = damaged.Font(), tmp_path / "kit.sf2"
    if cents:
        font.shape(RIDE, (CUTOFF, 13500 - 1200 * 4))
        font.aim(RIDE, (VELOCITY, CUTOFF, cents))
    path.write_bytes(font.bytes())
    with closing(open_kit(path, use_cache=False)) as kit:
        assert kit.is_pure_gain(RIDE) == pure
        soft, loud = (kit.beginning(RIDE, velocity, 0.09).astype(float) for velocity in (32, 127))  # each recorded
    apart = soft - loud * (np.vdot(loud, soft) / np.vdot(loud, loud))
    assert (10 * np.log10(np.sum(apart**2) / np.sum(soft**2)) < -70) == pure
