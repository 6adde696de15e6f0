"""Which soundfont plays, and its drum kit ready to be struck.

Light to import: numpy, FluidSynth and the recorded hits come in only when a kit is opened.
"""

import os
from collections.abc import Mapping
from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING

from grooves.mistake import Mistake
from render.sf2 import Preset, choose_kit, read_presets

if TYPE_CHECKING:
    from render.hits import Kit

__all__ = ["HIT_SECONDS", "Preset", "choose_kit", "choose_soundfont", "default_soundfont", "open_kit", "read_presets"]

# From note-on to note-off, in the recorded hits and in the MIDI files alike, so that a synthesizer that plays
# our MIDI makes the sound of our audio. A cymbal rings on long after its note-off; this is short enough that
# a straight eighth at 287 bpm (104 ms) still finds the key up. Measured on the two tested soundfonts:
# the ride loses at most 0.3 dB of its energy against a note held for 3 s.
HIT_SECONDS = 0.1

ENVIRONMENT = "FOURLIMB_SOUNDFONT"
_INSTALL = "on Debian or Ubuntu: apt install fluid-soundfont-gm (large, good drums) or timgm6mb-soundfont (small)"


def default_soundfont() -> Path:
    """Find the small General MIDI soundfont that pretty_midi carries: `default_soundfont().name` is "TimGM6mb.sf2".

    Looks the package up without importing it. Raises Mistake where it is not there.
    """
    spec = find_spec("pretty_midi")
    if spec is None or spec.origin is None:
        raise Mistake(
            f"the default soundfont comes with the package pretty_midi; run: pip install pretty_midi; {_INSTALL}"
        )
    path = Path(spec.origin).with_name("TimGM6mb.sf2")
    if not path.is_file():
        raise Mistake(f"{path}: the default soundfont is missing from the package pretty_midi; {_INSTALL}")
    return path


def choose_soundfont(
    option: Path | None = None, lesson: Path | None = None, environment: Mapping[str, str] = os.environ
) -> Path:
    """Take the option, else the lesson's, else FOURLIMB_SOUNDFONT, else the default: `choose_soundfont()`.

    Raises Mistake that says who asked for a file that is not there, and what to install.
    """
    asked = environment.get(ENVIRONMENT)
    for path, who in (
        (option, "--soundfont"),
        (lesson, "the lesson"),
        (Path(asked) if asked else None, f"the variable {ENVIRONMENT}"),
    ):
        if path is not None:
            return _existing(_at_home(path, who), who)
    return default_soundfont()


def _at_home(path: Path, who: str) -> Path:
    try:
        return path.expanduser()
    except RuntimeError:
        raise Mistake(f"{who} names the soundfont {path}, and there is no such user") from None


def _existing(path: Path, who: str) -> Path:
    if path.is_dir():
        inside = ", ".join(sorted(file.name for file in path.glob("*.sf[23]"))[:5])
        raise Mistake(
            f"{who} names {path}, which is a folder; name a soundfont file in it{f': {inside}' if inside else ''}"
        )
    if not path.exists():
        raise Mistake(f"{who} names the soundfont {path}, and there is no such file; {_INSTALL}")
    return path


def open_kit(path: Path, rate: int = 44100, use_cache: bool = True) -> "Kit":
    """Open a soundfont's drum kit: `open_kit(default_soundfont()).hit(51, 90)` is one stroke on the ride.

    `rate` is 44100 or 48000 Hz. Raises Mistake for a soundfont that is damaged or has no drum kit.
    """
    from render.hits import Kit

    if rate not in (44100, 48000):
        raise Mistake(f"rate: {rate} is not a sample rate of ours; choose 44100 or 48000")
    try:
        preset = choose_kit(read_presets(path))
    except Mistake as mistake:
        raise Mistake(str(mistake) if str(path) in str(mistake) else f"{path}: {mistake}") from None
    return Kit.open(path, preset, rate, use_cache)
