"""A rhythm that was tapped, and a score that was dropped: both are read as files are, and come back as note values."""

import math
import tempfile
from collections.abc import Mapping, Sequence
from fractions import Fraction
from pathlib import Path
from typing import Any

from grooves.errors import LessonError, at
from grooves.groove import Groove
from grooves.rhythm import Bar, values_text
from render.desk.asked import number, word
from render.desk.line_text import in_rows
from render.lesson.groove_files import find_groove

MOST_TAPS = 2_000
EARLY = Fraction(1, 4)  # of a quarter: a first note that comes before its beat by less belongs to it
LONGEST_TAPPED = 64  # bars


def tapped(body: Mapping[str, Any], path: Path) -> dict[str, Any]:
    """Read taps, in seconds from bar 1, over so many bars: the line in values, and how it was read.

    `tapped({"groove": "swing", "tempo": 100, "bars": 4, "seconds": [0.0, 0.6]}, path)["values"]`; raises LessonError.
    """
    with at("tap"):
        groove = find_groove(word(body, "groove"), path.parent)
        bars = number(body, "bars", 1, LONGEST_TAPPED)
        tempo = body.get("tempo")
        if isinstance(tempo, bool) or not isinstance(tempo, int | float) or not 30 <= tempo <= 400:
            raise LessonError("a tempo runs from 30 to 400")
        seconds = body.get("seconds")
        if not isinstance(seconds, list) or len(seconds) > MOST_TAPS or not all(map(_is_time, seconds)):
            raise LessonError("the taps are not a list of seconds")
        line, report = _read_taps(seconds, float(tempo), bars, groove)
    return {"values": in_rows(values_text(line)), "report": list(report)}


def _is_time(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value) and abs(value) < 1e5


def _read_taps(
    seconds: Sequence[float], tempo_bpm: float, bars: int, groove: Groove
) -> tuple[tuple[Bar, ...], tuple[str, ...]]:
    """Taps as a line: quantized as a MIDI file that a hand has played."""
    from render.reading.lengths import lay_out
    from render.reading.midi_report import reading_report
    from render.reading.played import PlayedNote
    from render.reading.quantize import quantize

    meter = groove.meter
    quarter_seconds = 60.0 / (tempo_bpm * float(groove.beat))
    onsets = [Fraction(one / quarter_seconds).limit_denominator(10_000) for one in sorted(seconds)]
    notes = [
        PlayedNote(max(onset, Fraction(0)), None, quarter_seconds)
        for onset in onsets
        if -EARLY <= onset < meter.length * bars - EARLY
    ]
    if not notes:
        raise LessonError("no tap was heard in these bars; tap after the count-in")
    quantized = quantize(notes, meter, Fraction(1, 10_000))
    return tuple(lay_out(quantized, meter, bars)[:bars]), reading_report(quantized, meter)


def read_score(data: bytes, file: str, part: str, groove: str, folder: Path) -> dict[str, Any]:
    """A line from the bytes of a MusicXML or MIDI file: its values, pickup and report; raises LessonError.

    `part` is a part's name or number, "" where the file has but one.
    """
    from render.reading.read_line import read_line

    meter = find_groove(groove, folder).meter
    with tempfile.TemporaryDirectory() as beside:
        path = Path(beside) / (Path(file.replace("\\", "/")).name or "line")
        try:
            path.write_bytes(data)
        except (OSError, ValueError):
            raise LessonError("the file's name cannot be used; rename it") from None
        line = read_line(path, meter, int(part) if part.isdecimal() else part or None)
    told = {"values": in_rows(values_text(line.bars)), "report": list(line.report), "pickup": ""}
    if line.pickup:
        told["pickup"], *rest = values_text([line.pickup, *line.bars]).split(" | ")
        told["values"] = in_rows(" | ".join(rest))
    return told
