"""A reading line from a notation file: MusicXML (.musicxml, .xml, .mxl) or a Standard MIDI File (.mid, .midi).

The file comes from anywhere, so it is held to a size before it is opened, and every reader refuses what it does not
know with one `Mistake`. `render.read_musicxml` and `render.read_midi` do the reading, on bytes.
"""

from dataclasses import dataclass
from pathlib import Path

from grooves.mistake import Mistake
from grooves.rhythm import Bar, Meter
from render.read_parts import shown

# A line of a thousand bars takes about 1.5 MB as MusicXML and a tenth of that as MIDI; by trial.
LARGEST_BYTES = {".musicxml": 10_000_000, ".xml": 10_000_000, ".mxl": 2_000_000, ".mid": 1_000_000, ".midi": 1_000_000}


@dataclass(frozen=True)
class ReadLine:
    """A line as read: its bars, and what was found, chosen and simplified on the way, a sentence each."""

    bars: tuple[Bar, ...]
    report: tuple[str, ...] = ()


def read_line(path: Path, meter: Meter, part: str | int | None = None) -> ReadLine:
    """Read a line from a file: `read_line(Path("line.musicxml"), Meter(4, 4), part="Snare").bars`.

    `part` is a name or a number from 1, needed where several parts have notes. Raises Mistake, which names the file.
    """
    try:
        data = _content(path)
        if path.suffix.lower() in (".mid", ".midi"):
            from render.read_midi import bars_from_midi

            return bars_from_midi(data, meter, part)
        from render.read_musicxml import bars_from_musicxml

        return bars_from_musicxml(data, meter, part)
    except Mistake as mistake:
        raise Mistake(f"{path.name}: {mistake}") from None


def _content(path: Path) -> bytes:
    suffix = path.suffix.lower()
    if suffix not in LARGEST_BYTES:
        raise Mistake(f"a line is read from {', '.join(LARGEST_BYTES)}, not from '{shown(suffix)}'")
    try:
        if not path.is_file():
            raise Mistake("there is no such file; its place is looked up beside the lesson")
        if path.stat().st_size > LARGEST_BYTES[suffix]:
            raise Mistake(
                f"holds {path.stat().st_size / 1e6:.0f} MB; a reading line has at most "
                f"{LARGEST_BYTES[suffix] / 1e6:.0f} MB, so export the line's part alone"
            )
        data = path.read_bytes()
    except (OSError, ValueError) as fault:
        if isinstance(fault, Mistake):
            raise
        raise Mistake(f"cannot be opened ({getattr(fault, 'strerror', None) or 'its name is not a path'})") from None
    if not data:
        raise Mistake("is empty; export the line again")
    return data
