"""The sound against FluidSynth's own player: where hits lie, and how long a track and a pack take.

Run: `.venv/bin/python tests/bench/sound.py` (needs the command `fluidsynth`). Times are of this machine; read the ratios.
"""

import os
import subprocess
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import soundfile
from sound_material import midi_file, performance

from grooves.feel import Feel
from render.balance import calibrate, velocities
from render.hits import Kit
from render.mix import Gain, Take, gain_for, mix, mix_pack, write_audio, write_pack
from render.soundfont import default_soundfont, open_kit
from render.synth import BLOCK

RATE, MINUTES, PACK = 44100, 5, 24


def timed(work: Callable[[], object]) -> float:
    """Seconds that some work takes."""
    start = time.perf_counter()
    work()
    return time.perf_counter() - start


def stock(midi: Path, wav: Path) -> None:
    """Render a MIDI file with the command fluidsynth, reverb and chorus off."""
    quiet = ["-o", "synth.reverb.active=0", "-o", "synth.chorus.active=0"]
    command = ["fluidsynth", "-ni", "-q", *quiet, "-r", str(RATE), "-F", str(wav), str(default_soundfont()), str(midi)]
    subprocess.run(command, check=True, capture_output=True)


def render(take: Take, wav: Path) -> None:
    """The whole way to one file, a kit opened from the cache included."""
    kit = open_kit(default_soundfont(), RATE)
    write_audio(wav, mix(take, kit, gain_for(take, kit)), RATE)
    kit.close()


def onset_errors_ms(sound: np.ndarray, onsets: list[float]) -> np.ndarray:
    """How far each snare hit lies from its time: by correlation with the recorded hit, to the sample."""
    hit = open_kit(default_soundfont(), RATE).hit(38, 100)[BLOCK:1500, 0]
    errors = []
    for onset in onsets:
        first = round(onset * RATE) - 600
        window = sound[max(first, 0) : first + 3000, 0]
        found = max(first, 0) + int(np.correlate(window, hit, "valid").argmax()) - BLOCK
        errors.append((found / RATE - onset) * 1000)
    return np.array(errors)


def say_errors(who: str, errors: np.ndarray) -> None:
    """Print the spread of errors."""
    print(
        f"onset error, {who}: mean {errors.mean():+.4f} ms, spread {np.ptp(errors):.4f} ms, worst {abs(errors).max():.4f} ms"
    )


def compare_onsets(kit: Kit, folder: Path) -> None:
    """Print the onset errors of a minute of humanized snare hits, ours and stock."""
    snare = performance(1, without=frozenset({"ride", "bass drum", "hi-hat"}), feel=Feel(timing_ms=6))
    snare = type(snare)(snare.title, snare.meter, tuple(hit for hit in snare.hits if hit.key == 38), snare.bars)
    onsets = [hit.onset_seconds for hit in snare.hits]
    take = Take(snare, (100,) * len(onsets))
    say_errors(
        "ours", onset_errors_ms(np.concatenate(list(mix(take, kit, Gain(20.0, 0, 0, False)))).astype(float), onsets)
    )
    midi_file(snare, take.velocities, folder / "snare.mid")
    stock(folder / "snare.mid", folder / "snare.wav")
    say_errors("stock", onset_errors_ms(soundfile.read(folder / "snare.wav")[0], onsets))


def main() -> None:
    """Print all figures."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        os.environ["FOURLIMB_CACHE"] = str(folder / "cache")
        kit = open_kit(default_soundfont(), RATE)
        compare_onsets(kit, folder)
        track = performance(MINUTES)
        full = Take(track, velocities(track, calibrate(kit)))
        midi_file(track, full.velocities, folder / "full.mid")
        theirs = min(timed(lambda: stock(folder / "full.mid", folder / "stock.wav")) for _ in range(3))
        os.environ["FOURLIMB_CACHE"] = str(folder / "cold")
        cold = timed(lambda: render(full, folder / "cold.wav"))
        cached = min(timed(lambda: render(full, folder / "ours.wav")) for _ in range(3))
        print(
            f"{MINUTES} minutes: fluidsynth {theirs:.2f} s; ours cold {cold:.2f} s ({theirs / cold:.1f} times as fast), "
            f"cached {cached:.2f} s ({theirs / cached:.1f} times as fast)"
        )
        parts = sorted(track.parts)
        takes = [
            Take(
                track, full.velocities, frozenset(parts) - {parts[n % len(parts)], parts[n // len(parts) % len(parts)]}
            )
            for n in range(PACK)
        ]
        targets = [folder / f"{n}.wav" for n in range(PACK)]
        pack = timed(lambda: write_pack(targets, mix_pack(takes, kit, gain_for(full, kit, takes)), RATE))
        print(
            f"pack of {PACK} tracks of {MINUTES} minutes: {pack:.2f} s, {PACK * theirs / pack:.1f} times as fast as fluidsynth"
        )


if __name__ == "__main__":
    main()
