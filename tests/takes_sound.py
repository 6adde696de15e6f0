"""Takes as a microphone hears them: strokes of a soundfont, each varied in tone and level, in a room that is made.

The room is an exponential decay of noise (M. R. Schroeder 1965, J. Acoust. Soc. Am. 37), the phone a band from 100 Hz
to 8 kHz, both as filters in the frequency domain. All invented; no real recording is behind them.
"""

from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np
from takes_made import Made, Student, played

from grooves.kit import INSTRUMENTS
from grooves.takes.sheet import Sheet
from grooves.takes.take import Take
from render.hearing.drums import begins
from render.sound.loudness import hit_loudness
from render.soundfont.soundfont import default_soundfont, open_kit

RATE = 44100
FLUID = Path("/usr/share/sounds/sf2/FluidR3_GM.sf2")
TONES = 12  # different strokes of one drum
TAIL_SECONDS = 2.5
RIDE_LUFS = -20.0


@dataclass(frozen=True)
class Gain:
    """An automatic gain: how fast it turns down and up again, and by how many dB for each dB that comes in louder."""

    attack_seconds: float = 0.005
    release_seconds: float = 0.5
    power: float = 0.7


@dataclass(frozen=True)
class Room:
    """Where it is recorded: seconds of reverberation, noise below the drums in dB, a phone's band, its automatic gain."""

    rt60_seconds: float = 0.0
    noise_db: float | None = None
    phone: bool = False
    automatic: Gain | None = None


CLEAN, SMALL, LARGE = Room(), Room(0.3, 30, True), Room(0.6, 20, True)


@dataclass
class Drums:
    """Single strokes of a kit at one loudness, several of each part."""

    path: Path = FLUID
    velocity: int = 90
    tone_db: float = 2.0
    strokes: dict[str, list[np.ndarray]] = field(default_factory=dict)

    def of(self, part: str) -> list[np.ndarray]:
        """Strokes of a part, varied in tone by a smooth random curve, all as loud as the ride's plain stroke."""
        if part not in self.strokes:
            kit = open_kit(self.path, RATE)
            draw = np.random.default_rng(sum(map(ord, part)))
            key = INSTRUMENTS[part].key
            made = []
            for _ in range(TONES):
                hit = kit.hit(key, self.velocity + int(draw.integers(-8, 9)))[: int(TAIL_SECONDS * RATE)]
                hit = _toned(hit, draw.normal(0, self.tone_db, 9))
                made.append((hit * 10 ** ((RIDE_LUFS - hit_loudness(hit, RATE)) / 20)).mean(axis=1))
            kit.close()
            self.strokes[part] = made
        return self.strokes[part]


def _toned(hit: np.ndarray, gains_db: np.ndarray) -> np.ndarray:
    spectrum = np.fft.rfft(hit, axis=0)
    hertz = np.fft.rfftfreq(len(hit), 1 / RATE)
    curve = np.interp(np.log(np.maximum(hertz, 30)), np.log(np.geomspace(60, 14000, len(gains_db))), gains_db)
    return np.fft.irfft(spectrum * 10 ** (curve[:, None] / 20), len(hit), axis=0)


def mixed(strokes, drums: Drums, seconds: float, seed: int) -> np.ndarray:
    """Strokes as (seconds, part, level in LU) added up."""
    draw = np.random.default_rng(seed)
    sound = np.zeros(int((seconds + TAIL_SECONDS + 1) * RATE))
    for onset, part, level_lu in strokes:
        wave = drums.of(part)[int(draw.integers(TONES))] * 10 ** ((level_lu + draw.normal(0, 1.5)) / 20)
        start = max(round(onset * RATE), 0)
        wave = wave[: max(len(sound) - start, 0)]
        sound[start : start + len(wave)] += wave
    return sound[: int((seconds + 1) * RATE)]


def in_room(sound: np.ndarray, room: Room, seed: int) -> np.ndarray:
    """What arrives at the microphone."""
    draw = np.random.default_rng(seed)
    length = len(sound) + int(room.rt60_seconds * RATE)
    spectrum = np.fft.rfft(sound, length)
    hertz = np.fft.rfftfreq(length, 1 / RATE)
    if room.rt60_seconds:
        at = np.arange(int(room.rt60_seconds * RATE)) / RATE
        echo = draw.standard_normal(len(at)) * 10 ** (-3 * at / room.rt60_seconds)
        echo *= np.sqrt((0.5 if room.rt60_seconds < 0.5 else 1.0) / np.sum(echo**2))
        echo[0] += 1.0
        spectrum *= np.fft.rfft(echo, length)
    if room.phone:
        spectrum *= 1 / np.sqrt(1 + (100 / np.maximum(hertz, 1)) ** 4) / np.sqrt(1 + (hertz / 8000) ** 8)
    heard = np.fft.irfft(spectrum, length)[: len(sound)]
    if room.noise_db is not None:  # of the room, so that a gain turns it up and down too
        heard = heard + draw.standard_normal(len(heard)) * np.sqrt(np.mean(heard**2)) * 10 ** (-room.noise_db / 20)
    if room.automatic:
        heard = _automatic(heard, room.automatic)
    return heard * 0.5 / max(np.abs(heard).max(), 1e-9)


def _automatic(sound: np.ndarray, gain: Gain) -> np.ndarray:
    """A recorder's automatic gain: its level follows the peaks of every 2 ms, fast up and slowly down."""
    hop = RATE // 500
    peaks = np.abs(sound[: len(sound) // hop * hop]).reshape(-1, hop).max(axis=1)
    up, down = (1 - np.exp(-hop / RATE / one) for one in (gain.attack_seconds, gain.release_seconds))
    level = np.zeros(len(peaks))
    now = 0.0
    for place, peak in enumerate(peaks):
        now += (peak - now) * (up if peak > now else down)
        level[place] = now
    turned = 1 / np.maximum(level, level.max() / 30) ** gain.power
    return sound * np.interp(np.arange(len(sound)), np.arange(len(turned)) * hop, turned)


def recorded(written: Sheet, how: Student, drums: Drums, room: Room = CLEAN) -> tuple[np.ndarray, Made]:
    """A take as sound, and what was played in it."""
    made = played(written, how)
    level = {place: one.level_lu for place, one in enumerate(written.strokes)}
    plain = {part: np.median([one.level_lu for one in written.strokes if one.part == part]) for part in written.parts}
    of = {hit: place for place, hit in enumerate(made.truth) if hit >= 0}
    strokes = [
        (one.onset_seconds, one.part, level[of[n]] if n in of else plain[one.part])
        for n, one in enumerate(made.take.strokes)
    ]
    sound = mixed(strokes, drums, made.take.seconds, how.seed)
    return in_room(sound, room, how.seed + 1000), made


def calibration(parts, drums: Drums, levels: dict[str, float], room: Room = CLEAN, seed=77) -> np.ndarray:
    """Four strokes of each part, two seconds apart."""
    strokes = [
        (0.7 + 2.0 * (4 * number + turn), part, levels[part]) for number, part in enumerate(parts) for turn in range(4)
    ]
    return in_room(mixed(strokes, drums, 2.0 * 4 * len(parts) + 0.5, seed), room, seed)


def begun_at(take: Take, drums: Drums, unclear=()) -> Take:
    """What was played, each stroke where its sound begins, without a verdict on parts that were not heard clearly."""
    later = {part: float(np.median([begins(one, RATE) for one in drums.of(part)])) / RATE for part in drums.strokes}
    strokes = [replace(one, onset_seconds=one.onset_seconds + later[one.part]) for one in take.strokes]
    return replace(take, strokes=tuple(sorted(strokes, key=lambda one: one.onset_seconds)), unclear=unclear)


def plain_levels(written: Sheet) -> dict[str, float]:
    """How loud each part's usual stroke is."""
    return {
        part: float(np.median([one.level_lu for one in written.strokes if one.part == part])) for part in written.parts
    }


def saved(path: Path, sound: np.ndarray, rate: int = RATE, subtype: str = "PCM_16") -> Path:
    """A sound file."""
    import soundfile

    soundfile.write(str(path), sound, rate, subtype)
    return path


DEFAULT = default_soundfont
