"""A reading line from a notation file: MusicXML (.musicxml, .xml, .mxl) or a Standard MIDI File (.mid, .midi).

The file comes from anywhere, so it is held to a size before it is opened, and every reader refuses what it does not
know with one `LessonError`. `bars_from_musicxml` and `bars_from_midi` do the reading, on bytes.
"""

from pathlib import Path

from grooves.errors import LessonError
from grooves.rhythm import Meter
from render.reading.imported_line import ImportedLine
from render.reading.parts import shown
from render.reading.read_midi import bars_from_midi
from render.reading.read_musicxml import bars_from_musicxml

# A line of a thousand bars takes about 1.5 MB as MusicXML and a tenth of that as MIDI; by trial.
LARGEST_BYTES = {".musicxml": 10_000_000, ".xml": 10_000_000, ".mxl": 2_000_000, ".mid": 1_000_000, ".midi": 1_000_000}


def read_line(path: Path, meter: Meter, part: str | int | None = None) -> ImportedLine:
    """Read a line from a file: `read_line(Path("line.musicxml"), Meter(4, 4), part="Snare").bars`.

    `part` is a name or a number from 1, needed where several parts have notes. Raises LessonError naming the file.
    """
    try:
        data = _content(path)
        if path.suffix.lower() in (".mid", ".midi"):
            return bars_from_midi(data, meter, part)
        return bars_from_musicxml(data, meter, part)
    except LessonError as error:
        raise LessonError(f"{path.name}: {error}") from None


def _content(path: Path) -> bytes:
    suffix = path.suffix.lower()
    if suffix not in LARGEST_BYTES:
        raise LessonError(f"a line is read from {', '.join(LARGEST_BYTES)}, not from '{shown(suffix)}'")
    try:
        if not path.exists():
            raise LessonError("there is no such file; its place is looked up beside the lesson")
        if not path.is_file():  # a pipe would be waited for, a device may never end
            raise LessonError(
                f"is a {'folder' if path.is_dir() else 'device or a pipe'}, not a file; name the score's file"
            )
        limit = LARGEST_BYTES[suffix]
        with path.open("rb") as file:
            data = file.read(limit + 1)  # the size that the system says need not be true
        if len(data) > limit:
            holds = max(path.stat().st_size, len(data)) / 1e6
            most = f"a reading line has at most {limit / 1e6:.0f} MB"
            raise LessonError(f"holds {holds:.1f} MB; {most}, so export the line's part alone")
    except (OSError, ValueError) as fault:
        if isinstance(fault, LessonError):
            raise
        raise LessonError(
            f"cannot be opened ({getattr(fault, 'strerror', None) or 'its name is not a path'})"
        ) from None
    if not data:
        raise LessonError("is empty; export the line again")
    return data
