"""Grooves from their files, and the text of any file that a teacher writes."""

from functools import lru_cache
from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING, Any

from grooves.errors import LessonError, at, nearest

if TYPE_CHECKING:
    from grooves.groove import Groove

LARGEST_FILE_BYTES = 1_000_000  # a lesson or a groove is a page of text


def read_text(path: Path) -> str:
    """Read a text file: `read_text(Path("tuesday.toml"))`; raises LessonError saying why it cannot be read."""
    data = _content(path)
    if len(data) > LARGEST_FILE_BYTES:
        raise LessonError(f"this file is larger than {LARGEST_FILE_BYTES // 1_000_000} MB; a lesson is a page of text")
    try:
        return data.decode("utf-8-sig")  # some editors begin a text with a mark
    except UnicodeDecodeError as error:
        raise LessonError(f"this is not UTF-8 text (byte {error.start}); save it as UTF-8") from None


def _content(path: Path) -> bytes:
    """What a file holds, and no more of it than a byte too many; raises LessonError."""
    try:
        if path.is_dir():
            raise LessonError("this is a folder; name a file in it")
        if path.exists() and not path.is_file():  # a pipe would be waited for, a device may never end
            raise LessonError("this is a device or a pipe; name a file")
        with path.open("rb") as file:
            return file.read(LARGEST_FILE_BYTES + 1)  # the size that the system says need not be true
    except FileNotFoundError:
        raise LessonError(f"there is no such file{_meant(path)}") from None
    except LessonError:
        raise
    except (OSError, ValueError) as error:
        raise LessonError(f"this cannot be read: {getattr(error, 'strerror', None) or error}") from None


def _meant(path: Path) -> str:
    """Which file was probably meant, where one is near: "; did you mean 'tuesday.toml'?"."""
    from difflib import get_close_matches

    here = sorted(one.stem for one in path.parent.glob("*.toml")) if path.parent.is_dir() else []
    found = get_close_matches(path.name.removesuffix(".toml"), here, n=1)
    return f"; did you mean '{found[0]}.toml'?" if found else ""


def shipped_grooves() -> tuple[str, ...]:
    """Names of the grooves that come along: "swing" is among them."""
    return tuple(sorted(p.name.removesuffix(".toml") for p in _library().iterdir() if p.name.endswith(".toml")))


def groove_table(name: str) -> dict[str, Any]:
    """A shipped groove as its file says it: `groove_table("swing")["meter"]` is "4/4"."""
    import tomllib

    return tomllib.loads(read_text(_library() / f"{name}.toml"))


def _library() -> Path:
    return Path(str(files("grooves"))) / "library"


def find_groove(name: str, folder: Path) -> "Groove":
    """Find a shipped groove by name, or a groove file beside the lesson: `find_groove("swing", Path("."))`."""
    if name in shipped_grooves():
        return _parsed(read_text(_library() / f"{name}.toml"))
    if name.endswith(".toml"):
        with at(name):
            return _parsed(read_text(folder / name))
    raise LessonError(
        f"'{name}' is not shipped; {nearest(name, shipped_grooves(), 'name a groove file ending in .toml')}"
    )


@lru_cache(maxsize=64)
def _parsed(text: str) -> "Groove":
    """A groove of its text: the same text is read once, since whoever writes a lesson asks for it again and again."""
    from grooves.groove import parse_groove

    return parse_groove(text)
