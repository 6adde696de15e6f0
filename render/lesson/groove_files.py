"""Grooves from their files, and the text of any file that a teacher writes."""

from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING, Any

from grooves.errors import LessonError, at, nearest

if TYPE_CHECKING:
    from grooves.groove import Groove

LARGEST_FILE_BYTES = 2_000_000  # a lesson or a groove is a page of text


def read_text(path: Path) -> str:
    """Read a text file, or raise LessonError saying why it cannot be read."""
    try:
        if path.stat().st_size > LARGEST_FILE_BYTES:
            raise LessonError(
                f"this file is larger than {LARGEST_FILE_BYTES // 1_000_000} MB; a lesson is a page of text"
            )
        return path.read_text(encoding="utf-8-sig")  # some editors begin a text with a mark
    except FileNotFoundError:
        here = sorted(p.name for p in path.parent.glob(f"*{path.suffix}")) if path.parent.is_dir() else []
        hint = f"; {nearest(path.name, here[:12])}" if here else ""
        raise LessonError(f"there is no such file{hint}") from None
    except IsADirectoryError:
        raise LessonError("this is a folder; name a file in it") from None
    except UnicodeDecodeError as error:
        raise LessonError(f"this is not UTF-8 text (byte {error.start}); save it as UTF-8") from None
    except (OSError, ValueError) as error:
        raise LessonError(f"this cannot be read: {getattr(error, 'strerror', None) or error}") from None


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
    from grooves.groove import parse_groove

    if name in shipped_grooves():
        return parse_groove(read_text(_library() / f"{name}.toml"))
    if name.endswith(".toml"):
        with at(name):
            return parse_groove(read_text(folder / name))
    raise LessonError(
        f"'{name}' is not shipped; {nearest(name, shipped_grooves(), 'name a groove file ending in .toml')}"
    )
