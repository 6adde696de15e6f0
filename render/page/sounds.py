"""The recorded hits that a lesson page carries: FLAC as base64, one for each key, or for each layer of a key.

A hit is cut where it has died away by 60 dB and at most after 2.2 seconds, with a fade at its end, and brought
near full scale so that 16 bits suffice; `scale` undoes that. How loud a velocity sounds is said by `loudness`.
"""

import base64
import hashlib
import io
import math
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import Any
from weakref import finalize

import numpy as np

from grooves.kit import INSTRUMENTS
from grooves.lesson import Lesson
from grooves.passages import Passage, Track, track_passages
from grooves.performance import Performance, perform
from render.files.interrupts import signals_later
from render.sound.balance import Balance, velocities
from render.sound.events import Rendition
from render.sound.gain import gain_for
from render.sound.tracks import side_by_side
from render.soundfont.recording import Sound, heard_frames
from render.soundfont.samples import DrumKit

_TAIL_DB = -60.0  # below this a tail is lost under the next stroke of the ride; by ear
_LONGEST_SECONDS = 2.2  # most of a page's size is the ride's ring; by ear
_FADE_SECONDS = 0.4  # at the end of a hit that was cut, so that it does not break off
_PEAK = 0.95  # of full scale: room for the coder's rounding
_NO_SOUND_LU = -999.0
_HELPERS = ("sticks", "click")
_MOST_KEPT = 100  # some two megabytes
_lately: dict[bytes, str] = {}  # hits as FLAC, by the hash of their samples: pages of one kit share them
_of_kits: dict[int, dict[tuple[int, int], dict[str, Any]]] = {}  # the hits of each kit that is there, by its id


def keys_of(lessons: Sequence[Lesson]) -> tuple[int, ...]:
    """The keys that a lesson's page can strike, wherever its line is put, count-in and click among them."""
    bars = [bar for lesson in lessons for bar in lesson.score.bars]
    used = {stroke.instrument for bar in bars for stroke in (*bar.strokes, *bar.groove_alone)}
    return tuple(sorted({INSTRUMENTS[name].key for name in (*used, *_HELPERS)}))


def sound_data(lessons: Sequence[Lesson], kit: DrumKit, balance: Balance) -> dict[str, Any]:
    """Hits, loudness tables and the gain of a lesson, ready for JSON: `sound_data([lesson], kit, balance)["gain"]`.

    `lessons` are the lesson and the same with its line on other drums. The gain is that of the lesson's sound files.

    Raises LessonError where the kit has no sound on a key.
    """
    keys = keys_of(lessons)
    used = _velocities_used(lessons, balance) if not all(map(kit.is_pure_gain, keys)) else {key: [] for key in keys}
    return {
        "hits": [_hit_data(kit, key, *layer) for key in used for layer in _layers(kit, key, used[key])],
        "loudness": {key: [level_number(level) for level in balance.curves[key]] for key in used},
        "gain": round(10 ** (_gain_db(lessons[0], kit, balance) / 20), 6),
    }


def _velocities_used(lessons: Sequence[Lesson], balance: Balance) -> dict[int, list[int]]:
    """How hard each key is struck."""
    used: dict[int, list[int]] = {key: [] for key in keys_of(lessons)}
    for lesson in lessons:
        everyone = replace(_everyone(lesson), notes=())
        for hit, velocity in zip(everyone.hits, velocities(everyone, balance), strict=True):
            used[hit.key].append(velocity)
    return used


def _gain_db(lesson: Lesson, kit: DrumKit, balance: Balance) -> float:
    """The gain at which the full track has the loudness of a sound file."""
    score = lesson.score
    whole = perform(score, track_passages(Track("full"), score, lesson.choruses, 0), lesson.feel, lesson.balance_lu)
    full = replace(whole, notes=())  # the drums; the page has no band
    return gain_for(side_by_side([Rendition(full, velocities(full, balance))], kit)).db


def _everyone(lesson: Lesson) -> Performance:
    """Every bar once with everyone and a click on each beat: as loud as it gets at the lesson's tempo."""
    bars = tuple(range(len(lesson.score.bars)))
    passage = Passage(bars, lesson.score.tempo_bpm, click="every beat")
    return perform(lesson.score, (passage,), lesson.feel, lesson.balance_lu)


def _layers(kit: DrumKit, key: int, used: Sequence[int]) -> Iterator[tuple[int, int]]:
    """The recordings that a key needs: up to which velocity each serves, and the velocity it is recorded at.

    One recording serves all velocities of a layer at its commonest velocity, so the usual stroke has its own colour.
    """
    if kit.is_pure_gain(key):
        yield 127, 127
        return
    loudest = max(used, default=127)
    for low, high in kit.preset.layers(key):
        inside = Counter(velocity for velocity in used if low <= velocity <= high)
        if low <= loudest:
            yield high, inside.most_common(1)[0][0] if inside else high


def _hit_data(kit: DrumKit, key: int, high: int, at: int) -> dict[str, Any]:
    """One recording: key, highest velocity it serves, its own velocity, FLAC in base64, and the scale it was cut by."""
    if id(kit) not in _of_kits:
        finalize(kit, _of_kits.pop, id(kit))
    known = _of_kits.setdefault(id(kit), {})
    if (key, at) not in known:
        known[key, at] = _recorded(kit, key, at)
    return {"key": key, "high": high, "at": at, **known[key, at]}


def _recorded(kit: DrumKit, key: int, at: int) -> dict[str, Any]:
    sound = shortened(kit.hit(key, at), kit.rate)
    peak = float(np.abs(sound).max())
    flac = _encoded(sound * np.float32(_PEAK / peak), kit.rate)
    return {"scale": round(peak / _PEAK, 9), "flac": flac}


def _encoded(sound: Sound, rate: int) -> str:
    """A sound as FLAC in base64; one that was encoded lately is not encoded again."""
    key = hashlib.blake2b(sound.tobytes() + rate.to_bytes(4)).digest()
    if key not in _lately:
        if len(_lately) >= _MOST_KEPT:
            _lately.clear()
        _lately[key] = base64.b64encode(flac_bytes(sound, rate)).decode()
    return _lately[key]


def shortened(sound: Sound, rate: int) -> Sound:
    """A hit without the end of its tail: `shortened(kit.hit(51, 127), 44100)` is at most 2.2 seconds long."""
    frames = min(heard_frames(sound, _TAIL_DB), round(_LONGEST_SECONDS * rate))
    if frames == len(sound):
        return sound
    fade = min(round(_FADE_SECONDS * rate), frames // 4)
    cut = sound[:frames].copy()
    cut[frames - fade :] *= np.linspace(1.0, 0.0, fade, dtype=np.float32)[:, None]
    return cut


def flac_bytes(sound: Sound, rate: int) -> bytes:
    """A sound within full scale as 16-bit FLAC: the same sound gives the same bytes."""
    import soundfile

    file = io.BytesIO()
    with signals_later():  # it calls us back
        soundfile.write(file, sound, rate, format="FLAC", subtype="PCM_16", compression_level=1.0)
    return file.getvalue()


def level_number(level_lu: float) -> float:
    """A level as JSON may say it, silence too: `level_number(-3.14159265)` is -3.1416."""
    return round(level_lu, 4) if math.isfinite(level_lu) else _NO_SOUND_LU
