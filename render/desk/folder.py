"""The folder of lessons: which are there, and everything that is done to their files.

A file is written whole or not at all, and only over what its writer has seen. A name stays inside the folder,
wherever links lead. Beside a lesson that is being changed lies its draft, `.name.toml.draft`, until it is saved.
"""

import difflib
import json
from dataclasses import dataclass
from pathlib import Path
from threading import RLock
from typing import Any

from grooves.errors import LessonError, visible
from grooves.file_names import slug
from render.desk.listing import Listing, listing
from render.desk.toml_edit import with_values
from render.files.write import make_folder, write_bytes
from render.lesson.groove_files import read_text
from render.lesson.load import lesson_of_text
from render.lesson.term_record import hash_of_bytes

FIRST_LESSON = """title    = "Lesson"
tempo    = 100           # beats a minute
groove   = "swing"
choruses = 2             # times through the line in each track

[line]
values    = "4 4 4 4 | 4 4 4 4 | 4 4 4 4 | 4 4 4 4"
played_on = "snare"
"""
SUFFIX = ".draft"


class ChangedOnDiskError(LessonError):
    """A lesson that somebody else changed since it was read: `error.text` is what stands there now."""

    def __init__(self, message: str, text: str) -> None:
        super().__init__(message)
        self.text = text


@dataclass(frozen=True)
class Opened:
    """A lesson's text as it stands on the disk, its hash, and unsaved work that was found beside it."""

    text: str
    base: str
    draft: str | None = None


class Folder:
    """The lessons of one folder: `Folder(Path("term")).open("tuesday.toml").text`; every method raises LessonError."""

    def __init__(self, path: Path) -> None:
        self.path = make_folder(path).resolve()
        self._lock = RLock()  # one file operation at a time, so that what is compared is what is replaced

    # --- names ---

    def place(self, name: str, suffix: str = ".toml") -> Path:
        """The file of a name: inside the folder, wherever links lead, or LessonError."""
        said = visible(name, 60)
        if not name or "\0" in name or "\\" in name or len(name) > 300:
            raise LessonError(f"'{said}' is no name of a lesson here")
        path = self.path / name
        inside = Path(name)
        if inside.is_absolute() or any(part in ("..", ".") or part.startswith(".") for part in inside.parts):
            raise LessonError(f"'{said}' is not in this folder")
        if path.suffix != suffix:
            raise LessonError(f"'{said}' does not end in {suffix}")
        try:
            if not path.resolve().is_relative_to(self.path) or path.is_symlink():
                raise LessonError(f"'{said}' leads out of this folder")
        except (OSError, RuntimeError):
            raise LessonError(f"'{said}' is no name of a lesson here") from None
        return path

    def name(self, path: Path) -> str:
        """A file's name in this folder: the way back of `place`."""
        return path.relative_to(self.path).as_posix()

    def listing(self) -> Listing:
        """The lessons that are there, in order; none in an empty folder."""
        return listing(self.path)

    def _free(self, title: str) -> Path:
        """A file that is not there yet for a lesson of this title."""
        stem = slug(title, "lesson")[:60]
        for number in range(1, 1000):
            path = self.place(f"{stem}-{number}.toml" if number > 1 else f"{stem}.toml")
            if not path.exists():
                return path
        raise LessonError(f"there are a thousand lessons called '{visible(title, 60)}'; choose another title")

    # --- lessons ---

    def open(self, name: str) -> Opened:
        """A lesson's text, and a draft that was left beside it."""
        with self._lock:
            path = self.place(name)
            text = read_text(path)
            draft = self._draft_text(path)
            return Opened(text, hash_of_bytes(path.read_bytes()), draft if draft != text else None)

    def new(self, title: str) -> str:
        """Write a lesson to start from: four bars of quarters; its name."""
        title = _title(title)
        text = with_values(FIRST_LESSON, [(["title"], title)])
        with self._lock:
            path = self._free(title)
            write_bytes(path, text.encode(), ())
            return self.name(path)

    def copy(self, name: str, title: str) -> str:
        """Write a lesson once more under another title, its words and comments with it."""
        with self._lock:
            source = self.place(name)
            text = with_values(read_text(source), [(["title"], _title(title))])
            path = self._free(title)
            return self._beside(source, path, text)

    def rename(self, name: str, title: str) -> str:
        """Give a lesson another title, and its file the name that goes with it."""
        with self._lock:
            old = self.place(name)
            text = with_values(read_text(old), [(["title"], _title(title))])
            path = self._free(title) if slug(title, "lesson") != old.stem else old
            if path == old:
                write_bytes(old, text.encode(), (), own=(old,))
                return name
            renamed = self._beside(old, path, text)
            old.unlink()
            self.forget(name)
            return renamed

    def _beside(self, source: Path, path: Path, text: str) -> str:
        """Write a lesson's text in the folder of another, whose files it may name."""
        path = source.parent / path.name
        if path.exists():
            raise LessonError(f"there is a lesson '{path.name}' already; choose another title")
        write_bytes(path, text.encode(), ())
        return self.name(path)

    def delete(self, name: str) -> None:
        """Put a lesson into the system's trash."""
        from send2trash import send2trash
        from send2trash.exceptions import TrashPermissionError

        with self._lock:
            path = self.place(name)
            if not path.is_file():
                raise LessonError(f"{name}: there is no such lesson any more")
            try:
                send2trash(path)
            except (OSError, TrashPermissionError) as error:
                raise LessonError(f"{name}: it cannot be put into the trash: {error}") from None
            self.forget(name)

    # --- saving ---

    def save(self, name: str, text: str, base: str) -> str:
        """Write a lesson's text over what was read as `base`, and the hash of what stands there now.

        Raises ChangedOnDiskError, and writes nothing, where somebody else has changed it since.
        """
        with self._lock:
            path = self.place(name)
            lesson_of_text(text, path)
            now = path.read_bytes() if path.is_file() else None
            if now is not None and hash_of_bytes(now) != base:
                raise ChangedOnDiskError(
                    f"{name}: it was changed on the disk since it was opened here; nothing was written", read_text(path)
                )
            write_bytes(path, text.encode(), (), own=(path,))
            self.forget(name)
            return hash_of_bytes(text.encode())

    def save_as(self, text: str, title: str, beside: str) -> str:
        """Write a lesson's text as a new lesson beside another; its name."""
        with self._lock:
            source = self.place(beside)
            text = with_values(text, [(["title"], _title(title))])
            lesson_of_text(text, source)
            return self._beside(source, self._free(title), text)

    def keep(self, name: str, text: str, base: str) -> None:
        """Note unsaved work beside its lesson, in case that browser, server or machine break off."""
        with self._lock:
            path = self.place(name)
            if path.is_file() and hash_of_bytes(path.read_bytes()) == hash_of_bytes(text.encode()):
                self.forget(name)
                return
            data = json.dumps({"base": base, "text": text}, ensure_ascii=False)
            write_bytes(_draft(path), data.encode(), ())

    def forget(self, name: str) -> None:
        """Take away the note of unsaved work."""
        with self._lock:
            _draft(self.place(name)).unlink(missing_ok=True)

    def _draft_text(self, path: Path) -> str | None:
        """Unsaved work beside a lesson, if it is whole and can be read."""
        try:
            kept: Any = json.loads(_draft(path).read_bytes())
            return kept["text"] if isinstance(kept["text"], str) else None
        except (OSError, ValueError, KeyError, TypeError):
            return None


def _draft(path: Path) -> Path:
    return path.with_name(f".{path.name}{SUFFIX}")


def _title(title: str) -> str:
    title = " ".join(title.split())
    if not title or len(title) > 200:
        raise LessonError("a lesson has a title of 1 to 200 signs; write one")
    return title


def difference(mine: str, theirs: str) -> list[str]:
    """The lines that differ between two texts, as `diff -u` shows them: `difference(mine, theirs)[2:]`."""
    lines = difflib.unified_diff(theirs.splitlines(), mine.splitlines(), "on the disk", "here", lineterm="", n=2)
    return list(lines)[:400]
