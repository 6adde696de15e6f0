"""FluidSynth, driven one block at a time: the only module that calls the synthesizer.

Float output, reverb and chorus off, a fixed gain. FluidSynth acts on notes at blocks of 64 frames (FLUID_BUFSIZE,
FluidSynth API documentation), so everything here counts in such blocks.
"""

import contextlib
import ctypes
import io
import sys
from pathlib import Path
from types import TracebackType
from typing import Any, Self

import numpy as np
import numpy.typing as npt

from grooves.mistake import Mistake
from render.sf2 import DRUM_BANK

BLOCK = 64  # frames
CHANNEL = 9  # channel 10, counted from 0
_GAIN = 0.2  # FluidSynth's own default; the mix sets the level

_INSTALL = {
    "linux": "Debian or Ubuntu: apt install libfluidsynth3; Fedora: dnf install fluidsynth-libs",
    "darwin": "brew install fluid-synth",
}


def _library() -> Any:
    """The module pyfluidsynth, silenced; raises Mistake where it or the FluidSynth library is missing."""
    try:
        with contextlib.redirect_stdout(io.StringIO()):  # it prints where it looks when the variable CI is set
            import fluidsynth
    except (ImportError, OSError) as error:
        how = _INSTALL.get(sys.platform, "see fluidsynth.org for your system")
        raise Mistake(f"the synthesizer library FluidSynth is not installed ({error}); install it: {how}") from None
    silence = fluidsynth.cfunc(
        "fluid_set_log_function",
        ctypes.c_void_p,
        ("level", ctypes.c_int, 1),
        ("fun", ctypes.c_void_p, 1),
        ("data", ctypes.c_void_p, 1),
    )
    for level in range(5):  # it would write its own messages to stderr; ours say it once
        silence(level, None, None)
    return fluidsynth


def _float_writer(library: Any) -> Any:
    pointer, number = ctypes.c_void_p, ctypes.c_int
    names = ("synth", "len", "lout", "loff", "lincr", "rout", "roff", "rincr")
    kinds = (pointer, number, pointer, number, number, pointer, number, number)
    return library.cfunc(
        "fluid_synth_write_float", number, *((name, kind, 1) for name, kind in zip(names, kinds, strict=True))
    )


class Synth:
    """A running synthesizer with one drum kit: `with Synth(path, program, 44100) as synth: synth.render(1)`."""

    def __init__(self, path: Path, program: int, rate: int) -> None:
        """Start it; raises Mistake where FluidSynth cannot load the soundfont or has no such kit in it."""
        self._fs = _library()
        self._write = _float_writer(self._fs)
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
        loaded = self._fs.fluid_synth_sfload(self._synth, str(path).encode(), 0)
        if loaded < 0 or self._fs.fluid_synth_program_select(self._synth, CHANNEL, loaded, DRUM_BANK, program) != 0:
            self.close()
            raise Mistake(f"{path}: FluidSynth cannot play this soundfont; it is damaged or of another kind")

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
        """Strike a key at the next block."""
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
        self._write(self._synth, len(frames), at, 0, 2, at, 1, 2)
        return frames
