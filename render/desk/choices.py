"""What may be chosen from at the desk: grooves, forms, who reads, levels, with their names for people."""

from pathlib import Path
from typing import Any

from grooves.checks import LONGEST_NOTE
from grooves.lesson_readers import READERS
from grooves.lesson_tables import LessonFile, keys_of
from grooves.passages import CLICKS
from grooves.players import BASSES, HORNS, PIANOS
from grooves.teaching.levels import LEVELS
from render.lesson.groove_files import groove_table, shipped_grooves


def choices(path: Path) -> dict[str, Any]:
    """The choices for a lesson: `choices(path)["grooves"][0]["name"]`; grooves beside it come last."""
    from grooves.band.forms import shipped_forms

    grooves = [_groove(name) for name in shipped_grooves()]
    beside = [{"name": one.name, "title": one.name, "meter": ""} for one in _grooves_beside(path)]
    return {
        "grooves": [*grooves, *beside],
        "forms": list(shipped_forms()),
        "readers": list(READERS),
        "levels": {number: level.title for number, level in LEVELS.items()},
        "clicks": list(CLICKS),
        "basses": list(BASSES),
        "pianos": list(PIANOS),
        "horns": list(HORNS),
        "longest note": LONGEST_NOTE,
        "keys": {name: key.what for name, key in keys_of(LessonFile).items()},
    }


def _groove(name: str) -> dict[str, Any]:
    table = groove_table(name)
    return {"name": name, "title": table["title"], "meter": table["meter"]}


def _grooves_beside(path: Path) -> list[Path]:
    from render.lesson.load import is_groove

    return sorted(one for one in path.parent.glob("*.toml") if not one.name.startswith(".") and is_groove(one))
