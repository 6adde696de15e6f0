"""Files of an earlier render that lie in the folder still, of tracks that the lesson no longer has."""

import re
from collections.abc import Iterable
from glob import escape
from pathlib import Path

from grooves.file_names import slug
from render.lesson.plan import Plan

_NAMED = 6  # of such files, before the rest are counted
_OTHERS = ("loop-bar-", "balance")  # what `loop` and `balance` call their tracks
_STEM = re.compile(r"-stem-[a-z0-9-]+$")


def earlier_note(plan: Plan) -> tuple[str, ...]:
    """One sentence that names them, or none: `earlier_note(plan)` is `()` in a fresh folder."""
    names = sorted({path.name for path in earlier_files(plan)})
    if not names:
        return ()
    rest = f" and {len(names) - _NAMED} more" if len(names) > _NAMED else ""
    listed = ", ".join(names[:_NAMED])
    return (f"the folder also holds {listed}{rest}, of tracks that this lesson no longer has",)


def earlier_files(plan: Plan) -> list[Path]:
    """Files in the plan's folder that are named like this lesson's tracks and belong to none of them."""
    folder, stem = plan.options.folder, plan.path.stem
    own = {slug(track.name) for track in plan.lesson.tracks}
    kept = {path.name for path in plan.loaded.reads}
    found = []
    for midi in folder.glob(f"{escape(stem)}-*.mid"):  # every track has one
        track = midi.stem.removeprefix(f"{stem}-")
        if track in own or track.startswith(_OTHERS) or midi.name in kept or _is_of_another(midi, plan.path):
            continue
        found += [midi, *_sounds(folder, midi.stem)]
    return found


def _sounds(folder: Path, stem: str) -> Iterable[Path]:
    """The sound files of a track, its stems among them."""
    for path in folder.glob(f"{escape(stem)}*"):
        if path.suffix in (".wav", ".flac", ".ogg", ".mp3") and _STEM.sub("", path.stem) == stem:
            yield path


def _is_of_another(midi: Path, lesson: Path) -> bool:
    """Whether a lesson beside this one, with a longer name, made a file: tue-b-full.mid is that of tue-b.toml."""
    pattern = f"{escape(lesson.stem)}-*.toml"
    others = (path.stem for folder in {lesson.parent, midi.parent} for path in folder.glob(pattern))
    return any(midi.stem.startswith(f"{other}-") for other in others)
