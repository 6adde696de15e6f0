"""An entry on the desktop that opens the desk, so that no terminal is needed once it is installed.

Linux: a Desktop Entry (freedesktop.org, Desktop Entry Specification 1.5). macOS: a `.command` file, which its Finder
runs by a double click. Windows: a `.lnk`, written by the system's own WScript.Shell through PowerShell.
"""

import os
import shlex
import subprocess
import sys
from pathlib import Path

from grooves.errors import LessonError
from render.files.write import make_folder, write_bytes

NAME = "Fourlimb desk"


def write_shortcut(folder: Path, system: str = sys.platform, home: Path | None = None) -> Path:
    """Write the entry for a folder of lessons: `write_shortcut(Path("lessons"))`; raises LessonError."""
    home = home or Path.home()
    folder = make_folder(folder).resolve()
    command = [sys.executable, "-m", "render", "desk", str(folder)]
    if system == "win32":
        return _windows(command, home)
    if system == "darwin":
        return _written(home / "Desktop" / f"{NAME}.command", _mac(command))
    return _written(_applications(home) / "fourlimb-desk.desktop", _linux(command, folder))


def _applications(home: Path) -> Path:
    """Where a person's own entries lie (XDG Base Directory Specification: XDG_DATA_HOME)."""
    data = os.environ.get("XDG_DATA_HOME", "")
    return (Path(data) if Path(data).is_absolute() else home / ".local" / "share") / "applications"


def _written(path: Path, text: str) -> Path:
    make_folder(path.parent)
    write_bytes(path, text.encode(), ())
    path.chmod(0o755)
    return path


def _linux(command: list[str], folder: Path) -> str:
    return (
        "[Desktop Entry]\nType=Application\nVersion=1.5\n"
        f"Name={NAME}\nComment=Write, hear and give away drum lessons\n"
        f"Exec={' '.join(map(_desktop_word, command))}\nPath={_desktop_value(str(folder))}\n"
        "Terminal=true\nCategories=Education;Music;\n"
    )


def _desktop_word(word: str) -> str:
    r"""A word of Exec: between quotes, with " ` $ \ escaped, and % doubled."""
    for sign in '\\"`$':
        word = word.replace(sign, f"\\{sign}")
    return _desktop_value(f'"{word}"'.replace("%", "%%"))


def _desktop_value(text: str) -> str:
    """A value of an entry: a backslash is written twice, a line break would begin another key."""
    if "\n" in text or "\r" in text:
        raise LessonError("the folder's name has a line break in it; no entry can hold that")
    return text.replace("\\", "\\\\")


def _mac(command: list[str]) -> str:
    return f"#!/bin/sh\nexec {shlex.join(command)}\n"


def _windows(command: list[str], home: Path) -> Path:
    """The link, made by the system: its values go by the environment, so that none can be read as a command."""
    path = home / "Desktop" / f"{NAME}.lnk"
    script = (
        "$s = (New-Object -ComObject WScript.Shell).CreateShortcut($env:DESK_LINK); $s.TargetPath = $env:DESK_PROGRAM; "
        "$s.Arguments = $env:DESK_WORDS; $s.WindowStyle = 7; $s.Save()"
    )
    told = {"DESK_LINK": str(path), "DESK_PROGRAM": command[0], "DESK_WORDS": subprocess.list2cmdline(command[1:])}
    try:
        subprocess.run(
            ["powershell", "-NoProfile", "-Command", script],
            check=True,
            capture_output=True,
            env={**os.environ, **told},
        )
    except (OSError, subprocess.CalledProcessError) as error:
        raise LessonError(f"{path}: Windows did not write the link: {error}") from None
    return path
