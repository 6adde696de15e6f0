"""A take that a lesson page kept, read from its paper: what was written while it was played, and what was played.

The paper is JSON (docs/formats.md): a file of its own, a chunk named "take" in a WAV file (RIFF; IBM & Microsoft 1991,
whose readers pass unknown chunks over), or a file beside a recording that has the same name and ends in .json.
"""

import json
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from grooves.errors import LessonError, visible
from grooves.kit import LIMBS, PARTS
from grooves.lesson import FASTEST_BPM, SLOWEST_BPM
from grooves.rhythm import Meter
from grooves.score import Role
from grooves.takes.pads import Struck
from grooves.takes.sheet import Sheet, SheetBar, Written
from render.hearing.files import LARGEST_KEPT

FORMAT, VERSION = "fourlimb-take", 1
CHUNK = b"take"
MOST_ROWS = 100_000  # of strokes: more than two hours of a full kit
_LONGEST = 3 * 3600.0

Seconds = Annotated[float, Field(ge=-10, le=_LONGEST)]
Length = Annotated[float, Field(gt=0, le=60)]
Index = Annotated[int, Field(ge=0, lt=MOST_ROWS)]
Place = Annotated[int, Field(gt=-MOST_ROWS, lt=MOST_ROWS)]  # below 0 in a pickup
Byte = Annotated[int, Field(ge=0, le=127)]


class _Table(BaseModel):
    model_config = ConfigDict(strict=True, allow_inf_nan=False, frozen=True)


class _Lesson(_Table):
    title: str
    hash: str


class _Paper(_Table):
    """The keys of docs/formats.md; others are passed over."""

    lesson: _Lesson
    kind: Literal["cable", "drum", "kit"]
    tempo_bpm: Annotated[float, Field(ge=SLOWEST_BPM, le=FASTEST_BPM)]
    step: str = ""
    delay_ms: Annotated[float, Field(ge=-100, le=1000)] | None = None
    swing: Annotated[float, Field(ge=1, le=4)] | None = None
    divisions: Annotated[int, Field(ge=1, le=10_000)]
    voices: Annotated[list[Annotated[list[str], Field(min_length=3, max_length=3)]], Field(max_length=100)]
    bars: Annotated[list[tuple[Index, Index, Seconds, Length, Length]], Field(min_length=1, max_length=MOST_ROWS)]
    written: Annotated[list[tuple[Seconds, Index, Index, Place, Literal[0, 1]]], Field(max_length=MOST_ROWS)]
    pads: dict[str, str] | None = None
    played: Annotated[list[tuple[Seconds, Byte, Byte]], Field(max_length=MOST_ROWS)] | None = None


@dataclass(frozen=True)
class KeptTake:
    """A take's paper: `kept.sheet` is what was written, `kept.struck` what was played, None where the sound tells."""

    title: str
    lesson_hash: str
    kind: str  # "cable", "drum" (one, by microphone) or "kit" (by microphone)
    step: str
    tempo_bpm: float
    delay_ms: float | None
    sheet: Sheet
    sounding: tuple[tuple[str, float], ...]  # parts and moments of the track itself
    struck: tuple[Struck, ...] | None
    pads: Mapping[int, str] | None  # as the student told them


def kept_take(path: Path, meter: Meter) -> KeptTake | None:
    """The paper of a take, None where it has none: `kept_take(Path("take.json"), Meter(4, 4)).sheet`.

    Raises LessonError naming the file that is damaged.
    """
    text, where = _text(path)
    if text is None or (where != path and not _is_paper(text)):
        return None
    try:
        return _read(text, meter)
    except LessonError as error:
        raise LessonError(f"{where}: {error}") from None


def _text(path: Path) -> tuple[bytes | None, Path]:
    """The paper's text and the file it stands in: the take itself, else the one beside it."""
    beside = path.with_suffix(".json")
    try:
        if path.suffix.lower() == ".wav" and (inside := _chunk(path)) is not None:
            return inside, path
        if not beside.is_file():
            return None, path
        if beside.stat().st_size > LARGEST_KEPT:
            raise LessonError(f"{beside}: holds {beside.stat().st_size / 1e6:.0f} MB, which is no take's paper")
        return beside.read_bytes(), beside
    except OSError as error:
        raise LessonError(f"{path}: cannot be read: {error.strerror or error}") from None


def _is_paper(text: bytes) -> bool:
    """Whether a file beside a recording is its paper: a report may have been saved under that name too."""
    try:
        table = json.loads(text)
    except (ValueError, RecursionError):
        return False
    return isinstance(table, dict) and table.get("format") == FORMAT


def _chunk(path: Path) -> bytes | None:
    """What a WAV file's chunk holds, None where it has none."""
    with path.open("rb") as file:
        head = file.read(12)
        if head[:4] != b"RIFF" or head[8:] != b"WAVE":
            return None
        while len(named := file.read(8)) == 8:
            size = int.from_bytes(named[4:], "little")
            if named[:4] == CHUNK:
                return file.read(min(size, LARGEST_KEPT))
            file.seek(size + size % 2, 1)
    return None


# --- the door -------------------------------------------------------------------------------------


def _read(text: bytes, meter: Meter) -> KeptTake:
    try:
        table = json.loads(text)
    except (ValueError, RecursionError):
        raise LessonError("this is not a take that a lesson page kept: it is not JSON") from None
    if not isinstance(table, dict) or table.get("format") != FORMAT:
        raise LessonError(f'this is not a take that a lesson page kept: its format is not "{FORMAT}"')
    if table.get("version") != VERSION:
        raise LessonError(f"this take is of version {visible(repr(table.get('version')), 20)}; {VERSION} can be read")
    try:
        paper = _Paper.model_validate_json(text)
    except ValidationError as error:
        raise LessonError(_explain(error)) from None
    return _taken(paper, meter)


def _explain(error: ValidationError) -> str:
    """The first thing wrong, and where."""
    found = error.errors()[0]
    where = ", ".join(str(step + 1) if isinstance(step, int) else step for step in found["loc"][:3])
    if found["type"] == "missing":
        return f"this take is damaged: {where} is missing; keep it on its page once more"
    given = visible(repr(found["input"]), 40)
    return f"this take is damaged: {where}: {given} does not fit ({found['msg'].lower()})"


def _taken(paper: _Paper, meter: Meter) -> KeptTake:
    strokes = tuple(sorted(_strokes(paper), key=lambda one: (one.onset_seconds, one.part)))
    sounding = tuple((paper.voices[row[1]][1], row[0]) for row in paper.written if row[4])
    sheet = Sheet(strokes, tuple(_bars(paper)), meter, None if meter.unit >= 8 else paper.swing)
    struck = None if paper.played is None else tuple(Struck(*row) for row in paper.played)
    return KeptTake(
        paper.lesson.title,
        paper.lesson.hash,
        paper.kind,
        paper.step,
        paper.tempo_bpm,
        paper.delay_ms,
        sheet,
        () if paper.kind == "cable" else sounding,  # no pad hears the track
        struck,
        None if paper.pads is None else _pads(paper.pads),
    )


def _bars(paper: _Paper) -> Iterator[SheetBar]:
    rounds: Counter[int] = Counter()
    before = -_LONGEST
    for number, score_bar, onset, length, beat in paper.bars:
        if onset <= before:
            raise LessonError("this take is damaged: its bars are not in order of time; keep it on its page once more")
        before = onset
        rounds[number] += 1
        yield SheetBar(number, rounds[number], score_bar, onset, length, beat)


def _strokes(paper: _Paper) -> Iterator[Written]:
    voices = [_voice(row) for row in paper.voices]
    for onset, voice, bar, place, _ in paper.written:
        if voice >= len(voices) or bar >= len(paper.bars):
            raise LessonError("this take is damaged: a stroke is of no voice or bar that it has")
        limb, part, role = voices[voice]
        yield Written(onset, limb, part, bar, Fraction(place, paper.divisions), role)


def _voice(row: Sequence[str]) -> tuple[str, str, Any]:
    limb, part, role = row
    if limb not in LIMBS or part not in PARTS or role not in Role.__args__:  # type: ignore[attr-defined]
        raise LessonError(f"this take is damaged: {visible(', '.join(row), 60)} is nobody who plays")
    return limb, part, role


def _pads(table: Mapping[str, str]) -> dict[int, str]:
    for key, part in table.items():
        if not (key.isascii() and key.isdigit() and int(key) <= 127) or part not in PARTS:
            raise LessonError(f"pads: {visible(key, 20)} = {visible(part, 20)} is no pad; keys run from 0 to 127")
    return {int(key): part for key, part in table.items()}
