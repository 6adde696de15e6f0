"""The soundfonts installed on this machine, and what is in them."""

from dataclasses import dataclass
from pathlib import Path

from grooves.errors import LessonError
from grooves.kit import INSTRUMENTS
from render.soundfont.soundfont import choose_kit, choose_soundfont, default_soundfont, read_presets

# Where Debian's soundfont packages, Fedora's and Homebrew put their files.
PLACES = ("/usr/share/sounds/sf2", "/usr/share/soundfonts", "/opt/homebrew/share/soundfonts")


@dataclass(frozen=True)
class ListedKit:
    """One drum kit of a soundfont, and what it lacks of ours."""

    program: int
    name: str
    used: bool
    missing: tuple[str, ...]
    layered: tuple[str, ...]


@dataclass(frozen=True)
class InstalledSoundfont:
    """One soundfont: `*` marks the one that plays when nothing else is said."""

    mark: str
    path: Path
    kit: str
    state: str


def describe_soundfont(path: Path) -> tuple[ListedKit, ...]:
    """List a soundfont's drum kits: `describe_soundfont(default_soundfont())[0].name` is "Standard"."""
    presets = read_presets(path)
    used = choose_kit(presets)
    return tuple(
        ListedKit(
            preset.program,
            preset.name,
            preset is used,
            tuple(one.name for one in INSTRUMENTS.values() if not preset.has(one.key)),
            tuple(one.name for one in INSTRUMENTS.values() if len(preset.layers(one.key)) > 1),
        )
        for preset in presets
        if preset.bank == 128
    )


def installed_soundfonts() -> tuple[InstalledSoundfont, ...]:
    """Look where soundfonts usually are: the default is always among them."""
    chosen = choose_soundfont()
    found = [path for place in PLACES for path in sorted(Path(place).glob("*.sf[23]"))]
    paths = dict.fromkeys(path.resolve() for path in (chosen, default_soundfont(), *found))
    return tuple(_described(path, path == chosen.resolve()) for path in paths)


def _described(path: Path, chosen: bool) -> InstalledSoundfont:
    mark = "*" if chosen else ""
    try:
        kit = choose_kit(read_presets(path))
    except LessonError as error:
        return InstalledSoundfont(mark, path, "", str(error))
    lacks = [one.name for one in INSTRUMENTS.values() if not kit.has(one.key)]
    return InstalledSoundfont(
        mark, path, f"{kit.name} ({kit.program})", f"lacks {', '.join(lacks)}" if lacks else "complete"
    )
