"""FluidSynth, driven one block at a time: the only module that calls the synthesizer.

Through pyfluidsynth, which is imported when the first sound must be recorded; its `cfunc` declares the functions that
it lacks. Float output, reverb and chorus off, a fixed gain. FluidSynth acts on notes at blocks of 64 frames
(FLUID_BUFSIZE, FluidSynth API documentation), so everything here counts in such blocks.
"""

import contextlib
import io
import os
import sys
from collections.abc import Iterator
from ctypes import c_int, c_void_p
from functools import cache
from pathlib import Path
from types import TracebackType
from typing import Any, Self

import numpy as np
import numpy.typing as npt

from grooves.errors import LessonError
from render.soundfont.sf2 import DRUM_BANK

BLOCK = 64  # frames

# From note-on to note-off, in the samples and in the MIDI files alike, so that a synthesizer that plays
# our MIDI makes the sound of our audio. A cymbal rings on long after its note-off; this is short enough that
# a straight eighth at 287 bpm (104 ms) still finds the key up. Measured on the two tested soundfonts:
# the ride loses at most 0.3 dB of its energy against a note held for 3 s.
HIT_SECONDS = 0.1

_DRUM_CHANNEL = 9  # channel 10, counted from 0
_PITCHED_CHANNELS = (0, 1, 2, 3, 4, 5, 6, 7, 8, 10, 11, 12, 13, 14, 15)
_SETTINGS = {
    "synth.reverb.active": 0,
    "synth.chorus.active": 0,
    "synth.dynamic-sample-loading": 1,  # load one kit's samples, not a hundred instruments'
    "synth.polyphony": 256,
    "synth.lock-memory": 0,  # nothing is played live: samples need not be kept from being swapped out
}
_GAIN = 0.2  # FluidSynth's own default; the mix sets the level

_INSTALL = {
    "linux": "Debian or Ubuntu: apt install libfluidsynth3; Fedora: dnf install fluidsynth-libs",
    "darwin": "brew install fluid-synth",
}
_SILENCE, _WRITE = "fluid_set_log_function", "fluid_synth_write_float"
# What pyfluidsynth does not declare, each with what it returns and takes: FluidSynth 2 API documentation.
_FUNCTIONS: dict[str, tuple[Any, dict[str, Any]]] = {
    _SILENCE: (c_void_p, {"level": c_int, "function": c_void_p, "data": c_void_p}),
    _WRITE: (
        c_int,
        {
            "synth": c_void_p,
            "frames": c_int,
            "left": c_void_p,
            "left_from": c_int,
            "left_step": c_int,
            "right": c_void_p,
            "right_from": c_int,
            "right_step": c_int,
        },
    ),
}
_LOG_LEVELS = 5  # from panic to debug


@cache
def _library() -> tuple[Any, Any]:
    """The module pyfluidsynth, its library silenced, and the function that plays; raises LessonError without one."""
    fluidsynth = _imported()
    found = {name: fluidsynth.cfunc(name, returned, *_flagged(taken)) for name, (returned, taken) in _FUNCTIONS.items()}
    missing = [name for name, function in found.items() if function is None]
    if missing or fluidsynth.majver.value < 2:
        raise LessonError(f"the synthesizer library FluidSynth is older than 2.0{_lacks(missing)}; {_how()}")
    for level in range(_LOG_LEVELS):  # it would write its own messages to stderr; ours say it once
        found[_SILENCE](level, None, None)
    return fluidsynth, found[_WRITE]


@contextlib.contextmanager
def _nothing_on_stderr() -> Iterator[None]:
    """Keep what a library below FluidSynth says of a damaged file from the terminal; ours is one sentence."""
    with contextlib.ExitStack() as after:
        with contextlib.suppress(OSError):  # there is no stderr
            kept = os.dup(2)
            after.callback(os.close, kept)
            after.callback(os.dup2, kept, 2)
            with Path(os.devnull).open("wb") as nowhere:
                os.dup2(nowhere.fileno(), 2)
        yield


def library_version() -> str:
    """The version of the synthesizer library: `library_version()` is "2.3.1"; raises LessonError without one."""
    fluidsynth, _ = _library()
    numbers = [c_int() for _ in range(3)]
    fluidsynth.fluid_version(*numbers)
    return ".".join(str(number.value) for number in numbers)


def _imported() -> Any:
    """Import pyfluidsynth, which looks for the library, and prints where it found it when `CI` is set."""
    try:
        with contextlib.redirect_stdout(io.StringIO()):
            import fluidsynth
    except ModuleNotFoundError:
        raise LessonError("the package pyfluidsynth is missing; run: pip install pyfluidsynth") from None
    except (ImportError, OSError, TypeError):
        raise LessonError(f"the synthesizer library FluidSynth is not installed; {_how()}") from None
    return fluidsynth


def _flagged(taken: dict[str, Any]) -> list[tuple[str, Any, int]]:
    """Arguments as `cfunc` wants them: name, type, and 1 for one that goes in."""
    return [(name, kind, 1) for name, kind in taken.items()]


def _lacks(functions: list[str]) -> str:
    return f" (it lacks {', '.join(functions)})" if functions else ""


def _how() -> str:
    return f"install it: {_INSTALL.get(sys.platform, 'see fluidsynth.org for your system')}"


class Synth:
    """A running synthesizer with one soundfont: `with Synth(path, program, 44100) as synth: synth.render(1)`.

    It begins with the drum kit of that program; `choose` takes other sounds of it.
    """

    def __init__(self, path: Path, program: int, rate: int) -> None:
        """Start it; raises LessonError where FluidSynth cannot load the soundfont or has no such kit in it."""
        self._library, self._write = _library()
        self._synth: Any = self._library.Synth(_GAIN, rate, 16, **_SETTINGS)
        with _nothing_on_stderr():  # its own `sfload` takes no name that is not UTF-8
            loaded = self._library.fluid_synth_sfload(self._synth.synth, os.fsencode(path), 0)
        self._path, self._loaded, self._channels = path, loaded, dict[tuple[int, int], int]()
        self.choose(DRUM_BANK, program)

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        """Stop it and give its memory back."""
        if self._synth:
            self._synth.delete()
            self._synth = None

    def choose(self, bank: int, program: int) -> None:
        """Play this sound from now on: `synth.choose(0, 32)`; raises LessonError where FluidSynth has no such one."""
        sound = bank, program
        if sound not in self._channels:
            pitched = len([one for one in self._channels if one[0] != DRUM_BANK])
            channel = _DRUM_CHANNEL if bank == DRUM_BANK else _PITCHED_CHANNELS[pitched % len(_PITCHED_CHANNELS)]
            if self._loaded < 0 or self._synth.program_select(channel, self._loaded, *sound) != 0:
                self.close()
                why = "it is damaged or of another kind, or memory is short"
                raise LessonError(f"{self._path}: FluidSynth cannot play this soundfont; {why}")
            self._channels = {one: at for one, at in self._channels.items() if at != channel} | {sound: channel}
        self._channel = self._channels[sound]

    def on(self, key: int, velocity: int) -> None:
        """Strike a key at the next block."""
        self._synth.noteon(self._channel, key, velocity)

    def off(self, key: int) -> None:
        """Let a key go at the next block."""
        self._synth.noteoff(self._channel, key)

    def hush(self) -> None:
        """Cut every sound and play one block, so that its voices are free again."""
        self._synth.all_sounds_off(self._channel)
        self.render(1)

    def sounding(self) -> bool:
        """Say whether any voice is still playing."""
        return bool(self._synth.get_active_voice_count() > 0)

    def render(self, blocks: int) -> npt.NDArray[np.float32]:
        """Return the next blocks of 64 frames, shape (frames, 2)."""
        frames = np.empty((blocks * BLOCK, 2), np.float32)
        self.fill(frames)
        return frames

    def fill(self, frames: npt.NDArray[np.float32]) -> None:
        """Play on into frames that lie one behind the other, whole blocks of them: `synth.fill(sound[:64])`."""
        at = frames.ctypes.data
        self._write(self._synth.synth, len(frames), at, 0, 2, at, 1, 2)
