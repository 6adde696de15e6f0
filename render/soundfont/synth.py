"""FluidSynth, driven one block at a time: the only module that calls the synthesizer.

Float output, reverb and chorus off, a fixed gain. FluidSynth acts on notes at blocks of 64 frames (FLUID_BUFSIZE,
FluidSynth API documentation), so everything here counts in such blocks.
"""

import contextlib
import ctypes
import os
import sys
from functools import cache
from pathlib import Path
from types import TracebackType
from typing import Any, Self

import numpy as np
import numpy.typing as npt

from grooves.errors import LessonError
from render.soundfont.sf2 import DRUM_BANK

BLOCK = 64  # frames

# From note-on to note-off, in the recorded hits and in the MIDI files alike, so that a synthesizer that plays
# our MIDI makes the sound of our audio. A cymbal rings on long after its note-off; this is short enough that
# a straight eighth at 287 bpm (104 ms) still finds the key up. Measured on the two tested soundfonts:
# the ride loses at most 0.3 dB of its energy against a note held for 3 s.
HIT_SECONDS = 0.1

CHANNEL = 9  # channel 10, counted from 0
_GAIN = 0.2  # FluidSynth's own default; the mix sets the level

# By their names on Linux and on macOS, Homebrew's folders included; else the system is asked, which takes longer.
_NAMES = (
    "libfluidsynth.so.3",
    "libfluidsynth.3.dylib",
    "/opt/homebrew/lib/libfluidsynth.dylib",
    "/usr/local/lib/libfluidsynth.dylib",
)
_INSTALL = {
    "linux": "Debian or Ubuntu: apt install libfluidsynth3; Fedora: dnf install fluidsynth-libs",
    "darwin": "brew install fluid-synth",
}

_pointer, _number, _name = ctypes.c_void_p, ctypes.c_int, ctypes.c_char_p
_FUNCTIONS: dict[str, tuple[Any, ...]] = {  # what each returns and takes: FluidSynth 2 API documentation
    "fluid_set_log_function": (_pointer, _number, _pointer, _pointer),
    "new_fluid_settings": (_pointer,),
    "delete_fluid_settings": (None, _pointer),
    "fluid_settings_setint": (_number, _pointer, _name, _number),
    "fluid_settings_setnum": (_number, _pointer, _name, ctypes.c_double),
    "new_fluid_synth": (_pointer, _pointer),
    "delete_fluid_synth": (None, _pointer),
    "fluid_synth_sfload": (_number, _pointer, _name, _number),
    "fluid_synth_program_select": (_number, _pointer, _number, _number, _number, _number),
    "fluid_synth_noteon": (_number, _pointer, _number, _number, _number),
    "fluid_synth_noteoff": (_number, _pointer, _number, _number),
    "fluid_synth_all_sounds_off": (_number, _pointer, _number),
    "fluid_synth_get_active_voice_count": (_number, _pointer),
    "fluid_synth_write_float": (_number, _pointer, _number, _pointer, _number, _number, _pointer, _number, _number),
}


@cache
def _library() -> Any:
    """The FluidSynth library, silenced, with the functions that we call; raises LessonError where it is missing."""
    library = _loaded()
    try:
        for name, (returned, *taken) in _FUNCTIONS.items():
            function = getattr(library, name)
            function.restype, function.argtypes = returned, taken
    except AttributeError as error:
        raise LessonError(f"the synthesizer library FluidSynth is older than 2.0 ({error}); {_how()}") from None
    for level in range(5):  # it would write its own messages to stderr; ours say it once
        library.fluid_set_log_function(level, None, None)
    return library


def _loaded() -> Any:
    for name in _NAMES:
        with contextlib.suppress(OSError):
            return ctypes.CDLL(name)
    found = find_library("fluidsynth")
    if found is None:
        raise LessonError(f"the synthesizer library FluidSynth is not installed; {_how()}")
    return ctypes.CDLL(found)


def _how() -> str:
    return f"install it: {_INSTALL.get(sys.platform, 'see fluidsynth.org for your system')}"


def find_library(name: str) -> str | None:
    """Ask the system for a library: `find_library("fluidsynth")`."""
    from ctypes.util import find_library as ask

    return ask(name)


class Synth:
    """A running synthesizer with one drum kit: `with Synth(path, program, 44100) as synth: synth.render(1)`."""

    def __init__(self, path: Path, program: int, rate: int) -> None:
        """Start it; raises LessonError where FluidSynth cannot load the soundfont or has no such kit in it."""
        self._fs = _library()
        self._settings = self._fs.new_fluid_settings()
        for name, number in (("synth.gain", _GAIN), ("synth.sample-rate", float(rate))):
            self._fs.fluid_settings_setnum(self._settings, name.encode(), number)
        for name, whole in (
            ("synth.reverb.active", 0),
            ("synth.chorus.active", 0),
            ("synth.dynamic-sample-loading", 1),  # load one kit's samples, not a hundred instruments'
            ("synth.polyphony", 256),
        ):
            self._fs.fluid_settings_setint(self._settings, name.encode(), whole)
        self._synth = self._fs.new_fluid_synth(self._settings)
        loaded = self._fs.fluid_synth_sfload(self._synth, os.fsencode(path), 0)
        if loaded < 0 or self._fs.fluid_synth_program_select(self._synth, CHANNEL, loaded, DRUM_BANK, program) != 0:
            self.close()
            raise LessonError(f"{path}: FluidSynth cannot play this soundfont; it is damaged or of another kind")

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        """Stop it and give its memory back."""
        if self._synth:
            self._fs.delete_fluid_synth(self._synth)
            self._fs.delete_fluid_settings(self._settings)
            self._synth = None

    def on(self, key: int, velocity: int) -> None:
        """SoundEvent a key at the next block."""
        self._fs.fluid_synth_noteon(self._synth, CHANNEL, key, velocity)

    def off(self, key: int) -> None:
        """Let a key go at the next block."""
        self._fs.fluid_synth_noteoff(self._synth, CHANNEL, key)

    def hush(self) -> None:
        """Cut every sound and play one block, so that its voices are free again."""
        self._fs.fluid_synth_all_sounds_off(self._synth, CHANNEL)
        self.render(1)

    def sounding(self) -> bool:
        """Say whether any voice is still playing."""
        return bool(self._fs.fluid_synth_get_active_voice_count(self._synth) > 0)

    def render(self, blocks: int) -> npt.NDArray[np.float32]:
        """Return the next blocks of 64 frames, shape (frames, 2)."""
        frames = np.zeros((blocks * BLOCK, 2), np.float32)
        at = frames.ctypes.data
        self._fs.fluid_synth_write_float(self._synth, len(frames), at, 0, 2, at, 1, 2)
        return frames
