"""`fourlimb doctor`: what this machine has of what the program needs, and one line of advice for what it lacks."""

import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

from grooves.errors import LessonError
from render.command.options import Json
from render.command.report import as_json, show_lines, show_table

EXAMPLE = "fourlimb doctor"
LEAST_FREE_BYTES = 500_000_000  # about ten lessons' audio; ours


@dataclass(frozen=True)
class Finding:
    """One thing that is looked for: what it is for, what is here, and what to do where it is not."""

    what: str
    needed_for: str
    found: str
    advice: str = ""  # "" where it is here

    @property
    def good(self) -> bool:
        """Whether it is here."""
        return not self.advice


def doctor(json: Json = False) -> int:
    """Say what is here of all that the program needs, and what to do about what is missing."""
    findings = list(examine())
    if json:
        print(as_json({"good": all(one.good for one in findings), "findings": findings}))
    else:
        rows = [("" if one.good else "!", one.what, one.found or "missing", one.needed_for) for one in findings]
        show_table("What is here", ("", "what", "found", "for"), rows)
        show_lines(f"! {one.what}: {one.advice}" for one in findings if not one.good)
    return 0 if all(one.good for one in findings) else 2


def examine() -> Iterator[Finding]:
    """Look at the machine, thing by thing: `next(examine()).what` is "Python"."""
    version = ".".join(map(str, sys.version_info[:3]))
    old = "" if sys.version_info >= (3, 11) else "install Python 3.11 or newer"
    yield Finding("Python", "everything", version, old)
    yield _found("FluidSynth", "recording the drums and the band", _synthesizer)
    yield _found("soundfont", "the sound of all parts", _soundfont)
    yield _found("cache", "a second render that need not record again", _cache)
    yield _found("disk", "audio: about 10 MB a minute", _disk)


def _found(what: str, needed_for: str, look: Callable[[], str]) -> Finding:
    try:
        return Finding(what, needed_for, look())
    except LessonError as error:
        return Finding(what, needed_for, "", str(error))


def _synthesizer() -> str:
    from render.soundfont.synth import library_version

    return library_version()


def _soundfont() -> str:
    from render.soundfont.installed import describe_soundfont
    from render.soundfont.soundfont import choose_soundfont

    path = choose_soundfont()
    kits = describe_soundfont(path)
    return f"{path}, kit '{next(kit.name for kit in kits if kit.used)}'"


def _cache() -> str:
    from render.soundfont.cache import cache_root

    root = cache_root()
    there = next(folder for folder in (root, *root.parents) if folder.exists())
    if not _writable(there):
        raise LessonError(
            f"nothing may be written into {there}; set FOURLIMB_CACHE to a folder that you may write into"
        )
    held = sum(path.stat().st_size for path in root.rglob("*") if path.is_file())
    return f"{root}, {held / 1e6:.0f} MB"


def _writable(folder: Path) -> bool:
    import os

    return os.access(folder, os.W_OK)


def _disk() -> str:
    import shutil

    free = shutil.disk_usage(Path()).free
    if free < LEAST_FREE_BYTES:
        raise LessonError(
            f"{free / 1e6:.0f} MB are free in {Path().resolve()}; make room, or choose another place with -o"
        )
    return f"{free / 1e9:.1f} GB free here"
