"""Which soundfont plays, and its drum kit ready to be struck.

Light to import: numpy, FluidSynth and the samples come in only when a kit is opened.
"""

import os
from collections.abc import Iterator, Mapping
from contextlib import closing, contextmanager
from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING

from grooves.errors import LessonError
from render.files.there import is_there
from render.soundfont.sf2 import Preset, choose_kit, read_presets

if TYPE_CHECKING:
    from grooves.lesson import Lesson
    from render.soundfont.samples import DrumKit

__all__ = [
    "Preset",
    "choose_kit",
    "choose_soundfont",
    "default_soundfont",
    "kit_for",
    "open_kit",
    "read_presets",
    "soundfont_of",
]

ENVIRONMENT = "FOURLIMB_SOUNDFONT"
_LESS = "close other programs, or render fewer tracks at a time (--track)"
_INSTALL = "on Debian or Ubuntu: apt install fluid-soundfont-gm (large, good drums) or timgm6mb-soundfont (small)"


def default_soundfont() -> Path:
    """Find the small General MIDI soundfont that pretty_midi carries: `default_soundfont().name` is "TimGM6mb.sf2".

    Looks the package up without importing it. Raises LessonError where it is not there.
    """
    spec = find_spec("pretty_midi")
    if spec is None or spec.origin is None:
        raise LessonError(
            f"the default soundfont comes with the package pretty_midi; run: pip install pretty_midi; {_INSTALL}"
        )
    path = Path(spec.origin).with_name("TimGM6mb.sf2")
    if not path.is_file():
        raise LessonError(f"{path}: the default soundfont is missing from the package pretty_midi; {_INSTALL}")
    return path


def choose_soundfont(
    option: Path | None = None, lesson: Path | None = None, environment: Mapping[str, str] = os.environ
) -> Path:
    """Take the option, else the lesson's, else FOURLIMB_SOUNDFONT, else the default: `choose_soundfont()`.

    Raises LessonError that says who asked for a file that is not there, and what to install.
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
        raise LessonError(f"{who} names the soundfont {path}, and there is no such user") from None


def _existing(path: Path, who: str) -> Path:
    if not is_there(path):
        raise LessonError(f"{who} names the soundfont {path}, and there is no such file; {_INSTALL}")
    if path.is_dir():
        inside = ", ".join(sorted(file.name for file in path.glob("*.sf[23]"))[:5])
        raise LessonError(
            f"{who} names {path}, which is a folder; name a soundfont file in it{f': {inside}' if inside else ''}"
        )
    return path


def open_kit(
    path: Path, rate: int = 44100, use_cache: bool = True, program: str | int | None = None, processes: int = 1
) -> "DrumKit":
    """Open a soundfont's drum kit: `open_kit(default_soundfont()).hit(51, 90)` is one stroke on the ride.

    `rate` is 44100 or 48000 Hz, `program` as for `choose_kit`; so many processes may share its recording. Raises
    LessonError for a soundfont that is damaged, has no drum kit, or not that one.
    """
    from render.soundfont.samples import DrumKit

    if rate not in (44100, 48000):
        raise LessonError(f"rate: {rate} is not a sample rate of ours; choose 44100 or 48000")
    try:
        preset = choose_kit(read_presets(path), program)
    except LessonError as error:
        raise LessonError(str(error) if str(path) in str(error) else f"{path}: {error}") from None
    return DrumKit.open(path, preset, rate, use_cache, processes)


def soundfont_of(path: Path, lesson: "Lesson", soundfont: Path | None = None) -> Path:
    """The soundfont that plays a lesson: the one asked for, else the lesson's own, else the default; LessonError."""
    named = lesson.soundfont
    own = Path(named) if named.startswith("~") else path.parent / named
    return choose_soundfont(soundfont, own if named else None)


@contextmanager
def kit_for(
    path: Path, lesson: "Lesson", soundfont: Path | None, rate: int, use_cache: bool, processes: int = 1
) -> Iterator["DrumKit"]:
    """Open the kit that plays a lesson: the one asked for, else the lesson's own, else the default.

    Raises LessonError where it cannot be opened, and where memory runs out while it is in use.
    """
    try:
        chosen = soundfont_of(path, lesson, soundfont)
        with closing(open_kit(chosen, rate, use_cache, lesson.kit_program, processes)) as kit:
            yield kit
    except MemoryError:
        raise LessonError(f"{path}: there is not enough memory for its sound; {_LESS}") from None
