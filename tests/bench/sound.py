"""The sound against FluidSynth: is it the same sound, where do hits lie, how long does it take, how much memory.

Run: `.venv/bin/python tests/bench/sound.py` (needs the command `fluidsynth`; some minutes). Both are measured in one
run, whole processes against whole processes; times are of this machine, so read the ratios. Given words choose some of
the figures: `sound.py onsets speed`.
"""

import os
import pickle
import shutil
import subprocess
import sys
import tempfile
import time
from collections import defaultdict
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import soundfile
from one_process import STEPS
from sound_material import lesson_text, midi_file, performance, with_band

from grooves.performance import Performance
from render.sound.audio import write_tracks
from render.sound.balance import calibrate, velocities
from render.sound.events import Rendition, events_by_part
from render.sound.gain import Gain
from render.sound.midi import midi_bytes
from render.sound.stems import Stem
from render.sound.tracks import side_by_side
from render.soundfont.samples import DrumKit, held_blocks
from render.soundfont.soundfont import default_soundfont, open_kit
from render.soundfont.synth import BLOCK, Synth

FLUID = Path("/usr/share/sounds/sf2/FluidR3_GM.sf2")
RATE, MINUTES = 44100, 5
LEFT_OUT = ("", "ride", "snare", "bass drum", "hi-hat", "right hand", "left foot", "right foot")  # eight choices
TEMPOS_BPM = (100, 120, 140)
WARM, COLD = "cache", "cold"  # folders for recorded hits; the second is emptied before each try
AS_MIXED = Gain(20.0, 0.0, 0.0, limited_by_peak=False)


def seconds(works: dict[str, Callable[[], object]], folder: Path, rounds: int) -> dict[str, float]:
    """The shortest time of each work, all of them in turn, round after round: the machine has slow and fast minutes."""
    best = dict.fromkeys(works, float("inf"))
    for _ in range(rounds):
        for name, work in works.items():
            clear(folder)
            start = time.perf_counter()
            work()
            best[name] = min(best[name], time.perf_counter() - start)
    return best


def clear(folder: Path) -> None:
    """Remove what an earlier try wrote: to remove a sound file takes longer than to write it."""
    shutil.rmtree(folder / COLD, ignore_errors=True)
    for old in folder.glob("**/*.wav"):
        old.unlink()


def stock(midi: Path, soundfont: Path, wav: Path) -> None:
    """Render a MIDI file with the command fluidsynth, reverb and chorus off."""
    words = ["fluidsynth", "-ni", "-q", "-R", "0", "-C", "0", "-r", str(RATE), "-T", "wav", "-F", str(wav)]
    subprocess.run([*words, str(soundfont), str(midi)], check=True, capture_output=True)


def ours(soundfont: Path, folder: Path, cache: str = WARM) -> list[float]:
    """Render the tracks put into a folder in a process of their own; its steps in seconds, and its memory in KB."""
    script = Path(__file__).with_name("one_process.py")
    words = [sys.executable, str(script), str(folder / "tracks.pickle"), str(soundfont), str(folder)]
    settings = compiled() | {"FOURLIMB_CACHE": str(folder / cache)}
    printed = subprocess.run(words, check=True, capture_output=True, text=True, env=settings).stdout
    return [float(word) for word in printed.split()]


def residual(kit: DrumKit, _: Path) -> None:
    """Half a minute placed on FluidSynth's own grid, against FluidSynth playing the same notes on it."""
    track = performance(0.5)
    events = tuple(
        sorted(
            event._replace(frame=round(event.frame / BLOCK) * BLOCK)
            for part in events_by_part(Rendition(track, velocities(track, calibrate(kit))), RATE).values()
            for event in part
        )
    )
    theirs = on_the_grid(kit, events, round(40 * RATE / BLOCK))
    mixed = Stem("all", events, kit).block(0, len(theirs))
    heard = np.ones(len(theirs), bool)
    for event in events:
        heard[event.frame : event.frame + BLOCK] = False
    print(f"residual: {ratio_db(mixed - theirs, theirs):.1f} dB, outside the first 64 frames of each hit "
          f"{ratio_db((mixed - theirs)[heard], theirs[heard]):.1f} dB")  # fmt: skip


def ratio_db(difference: np.ndarray, whole: np.ndarray) -> float:
    """The power of a difference against the whole, in dB."""
    return 10 * np.log10(np.sum(difference.astype(float) ** 2) / np.sum(whole.astype(float) ** 2))


def on_the_grid(kit: DrumKit, events: tuple, blocks: int) -> np.ndarray:
    """FluidSynth, given the events block by block."""
    starts, ends = defaultdict(list), defaultdict(list)
    for event in events:
        starts[event.frame // BLOCK].append(event)
        ends[event.frame // BLOCK + held_blocks(RATE)].append(event.key)
    sound = []
    with Synth(kit.path, kit.preset.program, RATE) as synth:
        for block in range(blocks):
            for key in ends[block]:
                synth.off(key)
            for event in starts[block]:
                synth.on(event.key, event.velocity)
            sound.append(synth.render(1))
    return np.concatenate(sound)


def onsets(kit: DrumKit, folder: Path) -> None:
    """Ten humanized minutes, each part alone: how far every hit lies from its time, ours and the file player's."""
    track = performance(10)
    errors: dict[str, list[np.ndarray]] = {"ours": [], "stock player": []}
    for part in ("ride", "hi-hat", "snare", "bass drum"):
        alone = replace(track, hits=tuple(hit for hit in track.hits if hit.part == part))
        rendition = Rendition(alone, velocities(alone, calibrate(kit)))
        write_tracks([folder / "ours.wav"], side_by_side([rendition], kit), AS_MIXED)
        midi_file(alone, rendition.velocities, folder / "part.mid")
        stock(folder / "part.mid", kit.path, folder / "stock.wav")
        errors["ours"].append(onset_errors_ms(folder / "ours.wav", rendition, kit))
        errors["stock player"].append(onset_errors_ms(folder / "stock.wav", rendition, kit))
    for who, found in errors.items():
        every = np.concatenate(found)
        print(
            f"onset error of {len(every)} hits, {who}: mean {every.mean():+.4f} ms, spread {np.ptp(every):.4f} ms, "
            f"worst {np.abs(every).max():.4f} ms (half a sample is {500 / RATE:.4f} ms)"
        )


def onset_errors_ms(wav: Path, rendition: Rendition, kit: DrumKit) -> np.ndarray:
    """How far each hit lies from its time: where the recorded hit's first 23 ms correlate best, to the sample."""
    sound = soundfile.read(wav, dtype="float32")[0].sum(axis=1)
    errors = []
    for hit, velocity in zip(rendition.performance.hits, rendition.velocities, strict=True):
        first = max(round(hit.onset_seconds * RATE) - 400, 0)
        pattern = kit.hit(hit.key, velocity)[BLOCK:1024].sum(axis=1)
        found = first + int(np.correlate(sound[first : first + 1900 + BLOCK], pattern, "valid").argmax()) - BLOCK
        errors.append((found / RATE - hit.onset_seconds) * 1000)
    return np.array(errors)


def put(tracks: list[Performance], folder: Path) -> None:
    """Put tracks into a folder for `ours`, as the MIDI file is there for the stock player."""
    (folder / "tracks.pickle").write_bytes(pickle.dumps(tracks))


def speed(kit: DrumKit, folder: Path) -> None:
    """Five minutes: the command fluidsynth, ours with nothing on disk, ours with the hits on disk, the PCM alone."""
    track = performance(MINUTES)
    midi_file(track, velocities(track, calibrate(kit)), folder / "track.mid")
    put([track], folder)
    ours(kit.path, folder)
    pcm = (folder / "0.wav").read_bytes()
    works = {
        "fluidsynth": lambda: stock(folder / "track.mid", kit.path, folder / "stock.wav"),
        "ours cold": lambda: ours(kit.path, folder, COLD),
        "cached": lambda: ours(kit.path, folder),
        "the command fourlimb from the lesson on": command(kit.path, folder, {"full": (120, "")}),
        "the PCM written alone": lambda: (folder / "pcm.wav").write_bytes(pcm),
    }
    compare(f"{MINUTES} minutes", seconds(works, folder, 8))
    steps = ours(kit.path, folder)
    print("  of which", ", ".join(f"{name} {taken:.3f} s" for name, taken in zip(STEPS, steps, strict=False)))


def band(kit: DrumKit, folder: Path) -> None:
    """Five minutes with bass and piano: the command fluidsynth on our MIDI, ours with nothing on disk and with all of it."""
    track = with_band(MINUTES, folder)
    (folder / "track.mid").write_bytes(midi_bytes(track, velocities(track, calibrate(kit)), kit.preset.program))
    put([track], folder)
    ours(kit.path, folder)
    works = {
        "fluidsynth": lambda: stock(folder / "track.mid", kit.path, folder / "stock.wav"),
        "ours cold": lambda: ours(kit.path, folder, COLD),
        "cached": lambda: ours(kit.path, folder),
    }
    compare(f"{MINUTES} minutes with a band of {len(track.notes)} notes", seconds(works, folder, 5))
    steps = ours(kit.path, folder, COLD)
    print("  of which, cold,", ", ".join(f"{name} {taken:.3f} s" for name, taken in zip(STEPS, steps, strict=False)))


def compare(what: str, best: dict[str, float]) -> None:
    """Print seconds, and how many times as fast as the first of them the others are."""
    (first, theirs), *others = best.items()
    told = [f"{name} {taken:.3f} s, {theirs / taken:.1f} times as fast" for name, taken in others]
    print(f"{what}: {first} {theirs:.2f} s; {'; '.join(told)}")


def command(soundfont: Path, folder: Path, tracks: dict[str, tuple[float, str]]) -> Callable[[], object]:
    """`fourlimb render` for a lesson with tracks of a name, a tempo and a limb left out; no paper."""
    lesson = lesson_text(MINUTES)
    for name, (tempo_bpm, left_out) in tracks.items():
        without = f'without = ["{left_out}"]' if left_out else ""
        lesson += f'[[track]]\nname = "{name}"\ntempo = {tempo_bpm}\n{without}\n'
    (folder / "lesson.toml").write_text(lesson)
    out, words = str(folder / "out"), [sys.executable, "-m", "render", "render", str(folder / "lesson.toml")]
    words += ["--no-documents", "-o", out, "--soundfont", str(soundfont)]
    return lambda: subprocess.run(words, check=True, capture_output=True, env=compiled())


def compiled() -> dict[str, str]:
    """The environment with compiled modules, as installed packages have them."""
    return {**os.environ, "PYTHONDONTWRITEBYTECODE": ""}


def pack(kit: DrumKit, folder: Path) -> None:
    """Eight choices of limbs at three tempos, one process, against one command for each."""
    tracks = [
        performance(MINUTES, tempo_bpm, frozenset({left_out} - {""}))
        for tempo_bpm in TEMPOS_BPM
        for left_out in LEFT_OUT
    ]
    put(tracks, folder)
    ours(kit.path, folder)
    files = [(folder / f"{number}.wav").read_bytes() for number in range(3)]
    for number, track in enumerate(tracks):
        midi_file(track, velocities(track, calibrate(kit)), folder / f"{number}.mid")
    chosen = {f"{tempo} {left_out or 'full'}": (tempo, left_out) for tempo in TEMPOS_BPM for left_out in LEFT_OUT}
    works = {
        "fluidsynth": lambda: [
            stock(folder / f"{number}.mid", kit.path, folder / f"{number}.wav") for number in range(len(tracks))
        ],
        "ours": lambda: ours(kit.path, folder),
        "the command fourlimb from the lesson on": command(kit.path, folder, chosen),
        "the PCM written alone": lambda: [
            (folder / f"{number}.wav").write_bytes(files[number % 3]) for number in range(len(tracks))
        ],
    }
    compare(f"pack of {len(tracks)} tracks", seconds(works, folder, 2))


def hour(kit: DrumKit, folder: Path) -> None:
    """Ten, twenty and sixty minutes: time and memory."""
    for minutes in (10, 20, 60):
        put([performance(minutes)], folder)
        clear(folder)
        *steps, memory = ours(kit.path, folder)
        print(f"{minutes} minutes: {sum(steps):.2f} s ({1000 * sum(steps[2:]) / minutes:.1f} ms a minute for gain, "
              f"mix and writing), {memory / 1000:.0f} MB")  # fmt: skip


FIGURES = {figure.__name__: figure for figure in (residual, onsets, speed, band, pack, hour)}


def main(*chosen: str) -> None:
    """Print the figures for each soundfont that is here."""
    for soundfont in (default_soundfont(), FLUID):
        if not soundfont.is_file():
            print(f"{soundfont}: not here")
            continue
        print(soundfont.name)
        for figure in chosen or FIGURES:
            with tempfile.TemporaryDirectory() as folder:
                os.environ["FOURLIMB_CACHE"] = f"{folder}/{WARM}"
                kit = open_kit(soundfont, RATE)
                FIGURES[figure](kit, Path(folder))
                kit.close()


if __name__ == "__main__":
    main(*sys.argv[1:])
