"""Samples: single drum hits recorded from a soundfont, once for each key and velocity that sounds different.

On most keys velocity is a pure gain: one recording at velocity 127 and a table of 127 gains say it all. Keys with
velocity layers, or with a filter that follows velocity, are recorded at each velocity asked for.

A hit is recorded after a throw-away hit at the same velocity: FluidSynth's voices fade in from the gain of the last
sound they played, so the first block of a fresh synthesizer would come out weaker.
"""

import math
import os
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import numpy.typing as npt

from grooves.errors import LessonError, at
from grooves.kit import INSTRUMENTS
from render.files.parallel import share_out
from render.soundfont.cache import Cache, cache_root, kit_cache, trim
from render.soundfont.entries import GAINS, SAMPLE, Kind, Table
from render.soundfont.notes import Instrument
from render.soundfont.recording import (
    LONGEST_SECONDS,
    LOUDEST,
    SILENT_PEAK,
    TAIL_DB,
    Sample,
    Sound,
    crawls,
    heard_frames,
    packed,
    peak_of,
    prime,
    strength,
    strike,
    unpacked,
)
from render.soundfont.sf2 import DRUM_BANK, Preset, Range, choose_program, read_presets
from render.soundfont.synth import BLOCK, HIT_SECONDS, Synth

_PURE_DB = -70.0  # two recordings closer than this are one sound at two gains
_SWEEP_FRAMES = 1024  # enough to measure a gain on, past the onset
_LATEST_SECONDS = 0.5  # a hit that only comes later than this is not worth 127 measurements
_CHUNK_BLOCKS = 64
_LONG_SECONDS = 1.0  # hits that ring for longer overlap, and are worth a look whether their channels are one signal


@dataclass
class DrumKit:
    """A soundfont's drum kit: `open_kit(path).hit(51, 90)`; recordings are made when first asked for, then kept."""

    path: Path
    preset: Preset
    rate: int
    cache: Cache | None
    processes: int = 1  # that may share its recording
    _synth: Synth | None = None
    _kept: dict[tuple[Kind, str], Table] = field(default_factory=dict)
    _ranges: dict[int, tuple[Range, ...]] = field(default_factory=dict)
    _samples: dict[tuple[int, int], Sample] = field(default_factory=dict)
    _instruments: dict[int, Instrument] = field(default_factory=dict)

    @classmethod
    def open(cls, path: Path, preset: Preset, rate: int, use_cache: bool, processes: int = 1) -> "DrumKit":
        """Open a kit without striking anything yet."""
        return cls(path, preset, rate, kit_cache(path, preset.program, rate) if use_cache else None, processes)

    def hit(self, key: int, velocity: int) -> Sound:
        """One stroke from its onset to the end of its tail: `kit.hit(51, 90)`, shape (frames, 2), float32.

        Raises LessonError where the kit has no sound on that key or velocity.
        """
        sample, gain = self.sample(key, velocity)
        return sample.sound() if gain == 1.0 else sample.sound() * np.float32(gain)

    def sample(self, key: int, velocity: int) -> tuple[Sample, float]:
        """A recording for the mixer, and the gain that makes it the stroke of that velocity.

        Example: `kit.sample(51, 90)[0].name` is "51-127". Raises LessonError as `hit` does.
        """
        recorded, gain = self._stroke(key, velocity)
        return self._recorded(key, recorded), gain

    def _stroke(self, key: int, velocity: int) -> tuple[int, float]:
        """The velocity whose recording plays a stroke, and at what gain."""
        self._check(key, velocity)
        gains = self._gains(key)
        return (velocity, 1.0) if gains is None else (LOUDEST, float(gains[velocity]))

    def is_pure_gain(self, key: int) -> bool:
        """Say whether velocity changes only how loud a key sounds, not its colour."""
        self._check(key, LOUDEST)
        return self._gains(key) is not None

    def instrument(self, program: int) -> Instrument:
        """A pitched sound of the same soundfont, by its General MIDI program: `kit.instrument(32)` is a bass.

        Raises LessonError where the soundfont has no such sound.
        """
        if program not in self._instruments:
            with at(str(self.path)):
                preset = choose_program(read_presets(self.path, program), program)
            self._instruments[program] = Instrument(self.path, preset, self.rate, self.keep, self._running)
        return self._instruments[program]

    def beginning(self, key: int, velocity: int, seconds: float) -> Sound:
        """The first moments of a stroke, recorded afresh: for measuring, where the whole tail is not needed."""
        self._check(key, velocity)
        blocks = round(seconds * self.rate / BLOCK)
        return _primed(self._drums(), key, velocity, blocks, min(blocks, held_blocks(self.rate)))

    def close(self) -> None:
        """Stop the synthesizer, if one was needed, and see to it that what it played is kept."""
        if self.cache and self.cache.settle():
            trim(cache_root())
        if self._synth is not None:
            self._synth.close()
            self._synth = None

    def _check(self, key: int, velocity: int) -> None:
        if not 1 <= velocity <= 127:
            raise LessonError(f"velocity: {velocity} is out of range; a stroke has 1 to 127")
        if not any(low <= velocity <= high for low, high in self._layers(key)):
            where = f"velocity {velocity} of key" if self.preset.has(key) else "key"
            raise LessonError(
                f"{self.path}: its kit '{self.preset.name}' has no sound on {where} {key} ({_instrument(key)}); "
                "choose another soundfont"
            )

    def _layers(self, key: int) -> tuple[Range, ...]:
        if key not in self._ranges:
            self._ranges[key] = self.preset.layers(key)
        return self._ranges[key]

    def _recorded(self, key: int, velocity: int) -> Sample:
        if (key, velocity) not in self._samples:
            long_frames = round(_LONG_SECONDS * self.rate)
            kept = self.keep(SAMPLE, f"{key}-{velocity}", lambda: packed(self._record(key, velocity), long_frames))
            self._samples[key, velocity] = unpacked(f"{key}-{velocity}", kept)
        return self._samples[key, velocity]

    def _gains(self, key: int) -> npt.NDArray[np.float32] | None:
        """Gain against velocity 127 for each velocity from 0 to 127; None where velocity changes more than that."""
        (low, high), *more = self._layers(key)
        if more or low > 1 or high < LOUDEST:
            return None
        gains = self.keep(GAINS, f"{key}", lambda: self._sweep(key))[:, 0]
        return gains if len(gains) == LOUDEST + 1 else None

    def keep(self, kind: Kind, name: str, make: Callable[[], Table]) -> Table:
        """Memory first, then disk, then made: `kit.keep(RING, "51", measure)`."""
        if not self.has(kind, name):
            self._note(kind, name, make())
        return self._kept[kind, name]

    def has(self, kind: Kind, name: str) -> bool:
        """Say whether something is in memory, or on disk: `kit.has(RING, "51")`."""
        if (kind, name) not in self._kept and self.cache and (found := self.cache.load(kind, name)) is not None:
            self._kept[kind, name] = found
        return (kind, name) in self._kept

    def _note(self, kind: Kind, name: str, made: Table) -> None:
        made.flags.writeable = False
        self._kept[kind, name] = made
        if self.cache:
            self.cache.store(kind, name, made)

    def share_out(self, jobs: Sequence[Callable[[], object]]) -> None:
        """Do jobs that keep something, several processes at once: `kit.share_out([partial(kit.hit, 51, 90)])`.

        Whoever is free takes the next one, so the longest come first. What all of them have kept is kept here.
        """
        turns, end = os.pipe()  # of which every process reads its next job's number
        os.write(end, bytes(range(len(jobs))))
        os.close(end)

        def share(_: int, __: int) -> dict[tuple[Kind, str], Table]:
            known = set(self._kept)
            while turn := os.read(turns, 1):
                jobs[turn[0]]()
            return {what: table for what, table in self._kept.items() if what not in known}

        try:
            for kept in share_out(share, min(self.processes, len(jobs))):
                for what, table in kept.items():
                    if what not in self._kept:
                        self._note(*what, table)
        finally:
            os.close(turns)
        if self.cache:
            self.cache.begin_to_settle()

    def _running(self) -> Synth:
        if self._synth is None:
            self._synth = Synth(self.path, self.preset.program, self.rate)
        return self._synth

    def _drums(self) -> Synth:
        synth = self._running()
        synth.choose(DRUM_BANK, self.preset.program)
        return synth

    def _record(self, key: int, velocity: int) -> Sound:
        synth, began = self._drums(), time.thread_time()
        prime(synth, key, velocity)
        chunks = [strike(synth, key, velocity, held_blocks(self.rate))]
        peak = float(np.abs(chunks[0]).max())
        while synth.sounding() and len(chunks) * _CHUNK_BLOCKS * BLOCK < LONGEST_SECONDS * self.rate:
            chunks.append(synth.render(_CHUNK_BLOCKS))
            loudest = float(np.abs(chunks[-1]).max())
            peak = max(peak, loudest)
            if loudest < peak * 10 ** (TAIL_DB / 20):
                break
            self._check_pace(key, began, len(chunks) * _CHUNK_BLOCKS)
        synth.hush()
        return self._without_silence(np.concatenate(chunks), key)

    def _check_pace(self, key: int, began: float, blocks: int) -> None:
        if crawls(began, blocks, self.rate):
            raise self._bad(key, "takes FluidSynth too long to play")

    def _without_silence(self, sound: Sound, key: int) -> Sound:
        peak = float(peak_of(sound))
        if peak < SILENT_PEAK or not np.isfinite(peak):
            raise self._bad(key, "is silent")
        return sound[: heard_frames(sound, TAIL_DB)]

    def _bad(self, key: int, what: str) -> LessonError:
        return LessonError(
            f"{self.path}: its sample for key {key} ({_instrument(key)}) {what}; choose another soundfont"
        )

    def _sweep(self, key: int) -> Table:
        """Measure the gain of every velocity on the first moments of the hit; one zero row where it is no pure gain."""
        loudest = self._recorded(key, LOUDEST).sound()
        if _difference_db(self._record(key, 32), loudest) > _PURE_DB:
            return np.zeros((1, 1), np.float32)
        loud = strength(loudest)
        onset = int(np.argmax(loud > loud.max() / 2))
        if onset > _LATEST_SECONDS * self.rate:
            return np.zeros((1, 1), np.float32)
        blocks = (onset + _SWEEP_FRAMES) // BLOCK + 2
        began = time.thread_time()
        strokes = np.stack([self._settled(key, velocity, blocks, began) for velocity in range(1, LOUDEST + 1)])
        rows = strokes.reshape(LOUDEST, -1).astype(np.float64)
        if _powers(rows).min() < SILENT_PEAK**2:  # some velocity is silent
            return np.zeros((1, 1), np.float32)
        gains = rows @ rows[-1] / (rows[-1] @ rows[-1])
        rest = rows - gains[:, None] * rows[-1]
        if (_powers(rest) > 10 ** (_PURE_DB / 10) * _powers(rows)).any():
            return np.zeros((1, 1), np.float32)
        return np.append(0, gains).astype(np.float32)[:, None]

    def _settled(self, key: int, velocity: int, blocks: int, began: float) -> Sound:
        """A stroke past its first block, in which the synthesizer fades in from the gain of an earlier sound."""
        sound = strike(self._drums(), key, velocity, blocks)[BLOCK:]
        self._drums().hush()
        self._check_pace(key, began, velocity * blocks)
        return sound


def held_blocks(rate: int) -> int:
    """Blocks of 64 frames from note-on to note-off: `held_blocks(44100)` is 69."""
    return round(HIT_SECONDS * rate / BLOCK)


def _instrument(key: int) -> str:
    return " or ".join(name for name, instrument in INSTRUMENTS.items() if instrument.key == key) or "not in our kit"


def _primed(synth: Synth, key: int, velocity: int, blocks: int, held: int | None = None) -> Sound:
    prime(synth, key, velocity)
    sound = strike(synth, key, velocity, held or blocks)
    if held is not None and blocks > held:
        sound = np.concatenate([sound, synth.render(blocks - held)])
    synth.hush()
    return sound


def _difference_db(sound: Sound, reference: Sound) -> float:
    """What is left of a sound once the reference at the nearest gain is taken away, against the sound."""
    frames = min(len(sound), len(reference))
    sound, reference = sound[:frames], reference[:frames]
    if not (sound.any() and reference.any()):
        return 0.0
    rest = sound - np.float32(np.vdot(reference, sound) / np.vdot(reference, reference)) * reference
    return 10 * math.log10(max(_power(rest) / _power(sound), 1e-20))


def _power(sound: Sound) -> float:
    return float(np.einsum("ij,ij->", sound, sound))


def _powers(rows: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    powers: npt.NDArray[np.float64] = np.einsum("ij,ij->i", rows, rows)
    return powers
