"""What each limb plays while it keeps time: the groove and its file.

A groove file is TOML: `name`, `title`, `meter`, `swing`, `tempo = [low, high]`, and one table per part
with `limb`, `instrument`, `counts` or `values` (one or more bars, cycled), `accents` (counts) with
`accent` (LU), `light` (counts) with `lighter` (LU), `level` (LU against the ride's plain stroke), and
`spread` (how much of the lesson's level deviation it takes). `beat` is the value that the tempo counts.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Any

from grooves.counts import parse_counts, parse_places
from grooves.errors import LessonError, at, nearest, quoted, shown, visible
from grooves.keys import GROOVE_KEYS, PART_KEYS
from grooves.kit import INSTRUMENTS, LIMBS, PARTS
from grooves.rhythm import Meter, parse_meter, parse_values, value_length
from grooves.toml_text import read_toml

Swing = float | str  # a ratio long:short, or one of SWING_WORDS
SWING_WORDS = ("by tempo", "as measured", "straight")


@dataclass(frozen=True)
class PatternStroke:
    """One stroke of a pattern: `PatternStroke(Fraction(1), QUARTER, 2.0)` is an accented 2."""

    onset: Fraction
    length: Fraction
    accent_lu: float = 0.0


@dataclass(frozen=True)
class Part:
    """What one limb plays on one instrument: a cycle of bars of strokes."""

    name: str
    limb: str
    instrument: str
    level_lu: float  # of its plain stroke, against the ride's plain stroke
    bars: tuple[tuple[PatternStroke, ...], ...]
    spread: float = 1.0  # share of the lesson's level deviation: 0.3 for even, feathered strokes


@dataclass(frozen=True)
class Groove:
    """How a band's drummer keeps time: `groove.parts[0].name` is "ride"."""

    name: str
    title: str
    meter: Meter
    swing: Swing
    tempo_bpm: tuple[float, float]  # the range where it is at home
    beat: Fraction  # quarters of the beat that the tempo counts
    parts: tuple[Part, ...]
    source: str = ""  # what it rests on

    def part(self, name: str) -> Part | None:
        """The part of that name, if the groove has it."""
        return next((part for part in self.parts if part.name == name), None)


def swings(groove: Groove) -> bool:
    """Whether written eighths are long and short: true for swing in quarters, never in x/8."""
    return groove.swing not in ("straight", 1.0) and groove.meter.unit < 8


def parse_groove(text: str) -> Groove:
    """Read a groove file's text: `parse_groove(text).meter` is `Meter(4, 4)`; raises LessonError naming the key."""
    table = read_toml(text)
    for key, value in table.items():
        if key not in (*GROOVE_KEYS, *PARTS):
            raise LessonError(f"{visible(key, 60)}: not a key of a groove; {nearest(key, (*GROOVE_KEYS, *PARTS))}")
        if (key in PARTS) != isinstance(value, dict):
            raise LessonError(f"{key}: {'a part is a table' if key in PARTS else 'this is not a table'}")
    meter = parse_meter(_text(table, "meter"))
    parts = tuple(_read_part(name, table[name], meter) for name in PARTS if name in table)
    if not parts:
        raise LessonError(f"the groove has no part; add a table such as [ride] ({', '.join(PARTS)})")
    return Groove(
        name=_text(table, "name"),
        title=_text(table, "title"),
        meter=meter,
        swing=check_swing(table.get("swing", "straight"), meter),
        tempo_bpm=_tempo_range(table.get("tempo")),
        beat=_beat(table["beat"]) if "beat" in table else meter.pulse if meter.unit >= 8 else Fraction(1),
        parts=parts,
        source=_text(table, "source") if "source" in table else "",
    )


def check_swing(swing: object, meter: Meter) -> Swing:
    """Return a swing that can be played, else raise LessonError: `check_swing(2, Meter(4, 4))` is 2.0."""
    if isinstance(swing, str) and swing not in SWING_WORDS:
        raise LessonError(
            f"swing: {quoted(swing)} is not known; {nearest(swing, SWING_WORDS, 'write a ratio such as 2.0')}"
        )
    if isinstance(swing, bool) or not isinstance(swing, str | int | float | Fraction):
        raise LessonError(
            f"swing: {quoted(swing)} is not a ratio; write a number from 1.0 to 4.0, or one of {', '.join(SWING_WORDS)}"
        )
    if not isinstance(swing, str) and not 1 <= swing <= 4:
        ratio = shown(swing if isinstance(swing, int) else float(swing))
        raise LessonError(f"swing: {ratio} is out of range; the ratio long:short runs from 1.0 (straight) to 4.0")
    if meter.unit >= 8 and swing not in ("straight", 1):
        raise LessonError(
            f'swing: in {meter} the eighths are the beat, so they stay straight; write swing = "straight"'
        )
    return swing if isinstance(swing, str) else float(swing)


def _nearest(value: object, words: Sequence[str]) -> str:
    return nearest(value if isinstance(value, str) else "", words)


def _beat(value: object) -> Fraction:
    with at("beat"):
        return value_length(value if isinstance(value, str) else quoted(value))


def _text(table: dict[str, Any], key: str) -> str:
    if not isinstance(table.get(key), str) or not table[key].strip():
        raise LessonError(f"{key}: missing; write {GROOVE_KEYS[key].example}")
    return str(table[key])


def _tempo_range(value: object) -> tuple[float, float]:
    match value:
        case [int() | float() as low, int() | float() as high] if 30 <= low <= high <= 400:
            return float(low), float(high)
    raise LessonError(f"tempo: {quoted(value)} is not a range; write [low, high] within 30 to 400, such as [100, 220]")


def _read_part(name: str, table: dict[str, Any], meter: Meter) -> Part:
    for key in table:
        if key not in PART_KEYS:
            raise LessonError(f"{name}.{visible(key, 60)}: not a key of a part; {nearest(key, PART_KEYS)}")
    limb = table.get("limb", INSTRUMENTS[name].limb)
    instrument = table.get("instrument", name)
    if limb not in LIMBS:
        raise LessonError(f"{name}.limb: {quoted(limb)} is not a limb; {_nearest(limb, LIMBS)}")
    if instrument not in PARTS:
        raise LessonError(f"{name}.instrument: {quoted(instrument)} is not in the kit; {_nearest(instrument, PARTS)}")
    if ("counts" in table) == ("values" in table):
        raise LessonError(f"{name}: write its pattern either as counts or as values")
    try:
        level_lu = _number(table, "level", 0.0, -40, 12)
        return Part(name, limb, instrument, level_lu, _pattern(table, meter), _number(table, "spread", 1.0, 0, 2))
    except LessonError as error:
        raise LessonError(f"{name}: {error}") from None


def _number(table: dict[str, Any], key: str, default: float, low: float, high: float) -> float:
    value = table.get(key, default)
    if isinstance(value, bool) or not isinstance(value, int | float) or not low <= value <= high:
        raise LessonError(f"{key}: {quoted(value)} does not fit; write a number from {low:g} to {high:g}")
    return float(value)


def _pattern(table: dict[str, Any], meter: Meter) -> tuple[tuple[PatternStroke, ...], ...]:
    for key in ("counts", "values", "light", "accents"):
        if not isinstance(table.get(key, ""), str):
            raise LessonError(
                f"{key}: {quoted(table[key])} is not a text; write it between quotes: {PART_KEYS[key].example}"
            )
    bars = (
        parse_counts(table["counts"], meter, to_the_end=False)
        if "counts" in table
        else parse_values(table["values"], meter)
    )
    changes: dict[Fraction, float] = dict.fromkeys(
        parse_places(table.get("light", ""), meter), _number(table, "lighter", 0.0, -40, 12)
    )
    changes |= dict.fromkeys(parse_places(table.get("accents", ""), meter), _number(table, "accent", 0.0, -40, 12))
    return tuple(
        tuple(PatternStroke(s.onset, s.length, changes.get(s.onset, 0.0)) for s in bar if s.kind == "struck")
        for bar in bars
    )
