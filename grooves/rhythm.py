"""Written rhythm: meters, bars of notes and rests, note values read and written.

Conventions: every place and length is a `Fraction` of quarter notes, in every meter; a place is
counted from the start of its bar. Values are Humdrum **recip numbers (4 quarter, 8 eighth,
12 triplet eighth, 6 triplet quarter), with rests and ties marked as in **kern.
Sources: D. Huron, The Humdrum Toolkit Reference, **recip and **kern.
Spoken counts are read and written by `grooves.counts`.
"""

import re
from collections.abc import Iterable
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import lru_cache
from typing import Literal

from grooves.barlines import numbered_bars
from grooves.errors import LessonError, visible
from grooves.meter import EIGHTH as EIGHTH
from grooves.meter import QUARTER as QUARTER
from grooves.meter import SIXTEENTH as SIXTEENTH
from grooves.meter import Meter as Meter
from grooves.meter import parse_meter as parse_meter
from grooves.meter import rest_lengths

Kind = Literal["struck", "held", "rest"]


@dataclass(frozen=True)
class Symbol:
    """One note or rest as it stands on the page: `Symbol(Fraction(1), QUARTER)` is a quarter note on 2."""

    onset: Fraction
    length: Fraction
    kind: Kind = "struck"  # held: tied to the note before it, so not struck again
    accent: bool = False

    @property
    def end(self) -> Fraction:
        """The place where it stops."""
        return self.onset + self.length


Bar = tuple[Symbol, ...]


def amount(quarters: Fraction) -> str:
    """Write a fraction as a teacher says it: `amount(Fraction(7, 2))` is "3 1/2"."""
    whole, part = divmod(abs(quarters), 1)
    return " ".join(str(piece) for piece in (whole, part) if piece) or "0"


# --- note values --------------------------------------------------------------------------------

_TOKEN = re.compile(r"(?P<before>[\[_^]*)(?P<number>\d+)(?P<dots>\.{0,2})(?P<after>[\]_^r]*)")
_NUMBERS = (1, 2, 4, 8, 16, 32, 3, 6, 12, 24)
_LENGTHS = {
    f"{number}{'.' * dots}": Fraction(4, number) * (2 - Fraction(1, 2**dots))
    for dots in (0, 1, 2)
    for number in _NUMBERS
    if not dots or number % 3
}
_NAMES = {length: name for name, length in reversed(_LENGTHS.items())}
_LONGEST_FIRST = sorted(_NAMES, reverse=True)


def value_length(value: str) -> Fraction:
    """Quarters of one **recip value: `value_length("8.")` is 3/4; an unknown value raises LessonError."""
    if value not in _LENGTHS:
        raise LessonError(
            f"'{visible(value, 40)}' is not a note value; write 1, 2, 4, 8, 16, 32, dotted as 4. or 8., "
            "or a triplet: 3 half, 6 quarter, 12 eighth, 24 sixteenth"
        )
    return _LENGTHS[value]


def value_name(length: Fraction) -> str | None:
    """The **recip value of a length, if one sign can write it: `value_name(Fraction(3, 2))` is "4."."""
    return _NAMES.get(length)


def is_triplet(length: Fraction) -> bool:
    """Whether a length is one of the triplet values: `is_triplet(Fraction(2, 3))` is true."""
    return length.denominator % 3 == 0


def parse_values(text: str, meter: Meter) -> tuple[Bar, ...]:
    """Read bars of note values: `parse_values("4 8 8 2r | 1", Meter(4, 4))` gives two bars of symbols.

    `|` parts the bars; a suffix r is a rest, ^ an accent; `[8 8]` ties, with `4_` inside a longer tie.
    Raises LessonError with the bar's number.
    """
    bars = []
    open_tie = 0
    for number, tokens in numbered_bars(text):
        bar, open_tie = _read_bar(tokens, number, open_tie)
        check_bar(bar, meter, number)
        bars.append(bar)
    if open_tie:
        raise LessonError(
            f"bar {open_tie}: a tie is opened with '[' and goes nowhere; close it with ']' on the last tied note"
        )
    return tuple(bars)


def _read_bar(tokens: list[str], number: int, open_tie: int) -> tuple[Bar, int]:
    """One bar's symbols, and the bar where a tie that is still open began (0 for none)."""
    symbols: list[Symbol] = []
    onset = Fraction(0)
    for token in tokens:
        found = _TOKEN.fullmatch(token)
        if not found:
            raise LessonError(f"bar {number}: '{visible(token, 40)}' is not a note; {_as_meant(token)}")
        try:
            length = value_length(found["number"] + found["dots"])
        except LessonError as error:
            raise LessonError(f"bar {number}: {error}") from None
        kind, open_tie = _tie(token, found["before"] + found["after"], number, open_tie)
        symbols.append(Symbol(onset, length, kind, accent="^" in token))
        onset += length
    return tuple(symbols), open_tie


def _as_meant(token: str) -> str:
    """The spelling that was probably meant: `_as_meant("r4")` is "did you mean 4r?"."""
    found = re.fullmatch(r"([\[_^]*)(r?)(\d{1,2})(r?)(\.{0,2})(r?)([\]_^]*)", token.lower())
    if found and "".join(found.group(3, 5)) in _LENGTHS and "".join(found.group(2, 4, 6)) in ("", "r"):
        return f"did you mean {''.join(found.group(1, 3, 5, 2, 4, 6, 7))}?"
    return "write a value such as 8, with r for a rest, ^ for an accent"


def _tie(token: str, marks: str, number: int, open_tie: int) -> tuple[Kind, int]:
    where = f"bar {number}: '{visible(token, 40)}'"
    if len(set(marks)) != len(marks) or sum(mark in marks for mark in "[_]") > 1:
        raise LessonError(f"{where} has signs that do not go together")
    if "r" in marks and len(marks) > 1:
        raise LessonError(f"{where}: a rest takes neither tie nor accent")
    if "[" in marks:
        if open_tie:
            raise LessonError(f"{where} opens a tie inside another; inside a tie write {token.strip('[')}_")
        return "struck", number
    if "_" in marks or "]" in marks:
        if not open_tie:
            raise LessonError(f"{where} is tied to nothing; open the tie with '[' on the note before")
        if "^" in marks:
            raise LessonError(f"{where}: a tied note is not struck again, so it takes no accent")
        return "held", 0 if "]" in marks else open_tie
    if open_tie:
        raise LessonError(
            f"{where} stands inside a tie; write {token}] if the tie ends on it, {token}_ if it goes on, "
            "or close the tie before it with ']'"
        )
    return ("rest" if "r" in marks else "struck"), 0


def check_bar(bar: Bar, meter: Meter, number: int) -> None:
    """Raise LessonError unless a bar is full and its triplets are complete."""
    for symbol in bar:
        where = f"bar {number}, beat {place_name(symbol.onset, meter)}"
        if value_name(symbol.length) is None:
            raise LessonError(f"{where}: triplets and other values do not mix within a beat")
        if is_triplet(symbol.length) and symbol.onset % (symbol.length / symbol.length.numerator):
            raise LessonError(f"{where}: a triplet must start with its beat")
        if not is_triplet(symbol.length) and symbol.onset.denominator % 3 == 0:
            raise LessonError(f"{where}: the triplet before it is not complete")
    total = bar[-1].end
    if total != meter.length:
        held, needed = amount(total / meter.step), amount(meter.length / meter.step)
        off = amount((total - meter.length) / meter.step)
        raise LessonError(
            f"bar {number} holds {held} {'beat' if held == '1' else 'beats'}; {meter} needs {needed} "
            f"({off} too {'many' if total > meter.length else 'few'})"
        )


def values_text(bars: Iterable[Bar]) -> str:
    """Write bars as note values, the inverse of `parse_values`: `values_text(bars)` is "4 8 8 2r | 1"."""
    written = [list(bar) for bar in bars]
    held = [symbol.kind == "held" for bar in written for symbol in bar]
    tied_on = iter([*held[1:], False])
    return " | ".join(" ".join(_value_token(symbol, next(tied_on)) for symbol in bar) for bar in written)


def _value_token(symbol: Symbol, tied_on: bool) -> str:
    value = value_name(symbol.length)
    if value is None:
        raise LessonError(f"{amount(symbol.length)} quarters cannot be written as one note value")
    if symbol.kind == "rest":
        return f"{value}r"
    if symbol.kind == "held":
        return f"{value}_" if tied_on else f"{value}]"
    return f"{'[' if tied_on else ''}{value}{'^' if symbol.accent else ''}"


# --- places and spelling ------------------------------------------------------------------------

_WITHIN = {
    Fraction(0): "",
    Fraction(1, 4): "e",
    Fraction(1, 2): "&",
    Fraction(3, 4): "a",
    Fraction(1, 3): "trip",
    Fraction(2, 3): "let",
}


def syllable(onset: Fraction, meter: Meter) -> str:
    """What is said at a place: `syllable(Fraction(3, 2), Meter(4, 4))` is "&", on a beat its number."""
    number, within = divmod(onset / meter.step, 1)
    return _WITHIN.get(within, f"+{within}") if within else str(number + 1)


def place_name(onset: Fraction, meter: Meter) -> str:
    """A place as beat and syllable: `place_name(Fraction(3, 2), Meter(4, 4))` is "2&"."""
    number = int(onset // meter.step) + 1
    return str(number) if onset % meter.step == 0 else f"{number}{syllable(onset, meter)}"


def spell(bar: Bar, meter: Meter) -> Bar:
    """Split what one note sign cannot write, showing the beats: a length of 5/2 from beat 1 becomes 2 tied to 8.

    Rests follow `rest_lengths`; triplets over a beat are parted and tied unless their bracket has only such.
    """
    pieces: list[Symbol] = []
    for symbol in bar:
        if symbol.kind == "rest" and not (is_triplet(symbol.length) and value_name(symbol.length)):
            pieces += spell_rest(symbol, meter)
            continue
        if not is_triplet(symbol.length) and is_one_sign(symbol.onset, symbol.length, meter):
            pieces.append(symbol)
            continue
        if len(bar) > 1 and _crosses(symbol) and not over_beat(symbol, bar):
            pieces.append(symbol)
            continue
        left = symbol
        after: Kind = "rest" if symbol.kind == "rest" else "held"
        while (cut := min(_first_length(left.onset, left.length, meter), _to_beat(left, bar))) < left.length:
            pieces.append(replace(left, length=cut))
            left = Symbol(left.onset + cut, left.length - cut, after)
        pieces.append(left)
    return tuple(pieces)


def is_one_sign(onset: Fraction, length: Fraction, meter: Meter) -> bool:
    """Whether one note sign writes a note: `is_one_sign(Fraction(0), Fraction(5, 2), Meter(4, 4))` is false."""
    return _first_length(onset, length, meter) >= length


def spell_rest(rest: Symbol, meter: Meter) -> list[Symbol]:
    """A rest as the rule of `rest_lengths` writes it: a half rest over the middle of 4/4 becomes two quarter rests."""
    pieces, onset = [], rest.onset
    for length in rest_lengths(rest.onset, rest.end, meter):
        pieces.append(Symbol(onset, length, "rest"))
        onset += length
    return pieces


def over_beat(symbol: Symbol, bar: Bar) -> bool:
    """Whether a triplet value runs over a beat in a bracket that has other values: the 6 of `12 12 6 12 12`."""
    if len(bar) == 1 or not _crosses(symbol):
        return False
    starts = (symbol.onset - symbol.length * before for before in range(3))
    return not any(_is_bracket(start, symbol.length, bar) for start in starts if start.denominator == 1)


def _crosses(symbol: Symbol) -> bool:
    """Whether a triplet value runs over a beat."""
    third = is_triplet(symbol.length) and value_name(symbol.length) is not None and symbol.end % 1 != 0
    return third and symbol.onset // 1 != (symbol.end - symbol.length / 2) // 1


def _is_bracket(start: Fraction, length: Fraction, bar: Bar) -> bool:
    """Whether the three places from here hold nothing but this value."""
    end = start + 3 * length
    inside = [one for one in bar if start <= one.onset < end]
    return bool(inside) and inside[-1].end == end and not any((one.onset - start) % length for one in inside)


def _to_beat(symbol: Symbol, bar: Bar) -> Fraction:
    return 1 - symbol.onset % 1 if over_beat(symbol, bar) else symbol.length


@lru_cache(maxsize=4096)
def _first_length(onset: Fraction, length: Fraction, meter: Meter) -> Fraction:
    """The longest legible start of a note or rest: printed habit shows the beat, and the middle of 4/4."""
    beat, end = meter.pulse, onset + length
    in_triplet = any(place.denominator % 3 == 0 for place in (onset, end))
    candidates = (one for one in _LONGEST_FIRST if one <= length and (in_triplet or not is_triplet(one)))
    legible = (one for one in candidates if _is_legible(onset, one, beat, meter) and _alike(onset + one, end))
    return next(legible, min(length, beat - onset % beat))


def _alike(cut: Fraction, end: Fraction) -> bool:
    """Whether a note may be cut here: within its last beat only at a place of the same kind, triplet or not."""
    apart = cut // QUARTER != end // QUARTER or not cut % QUARTER or not end % QUARTER
    return apart or (cut.denominator % 3 == 0) == (end.denominator % 3 == 0)


def _is_legible(onset: Fraction, length: Fraction, beat: Fraction, meter: Meter) -> bool:
    """Whether one sign at this place reads well: triplets within their beat or bracket, ties across 4/4's middle."""
    end = onset + length
    if is_triplet(length) or onset.denominator % 3 == 0:
        within_beat = onset // QUARTER == (end - length / 2) // QUARTER and end - onset // QUARTER <= QUARTER
        within_bracket = onset % length == 0 and onset // (3 * length) == (end - length / 2) // (3 * length)
        on_grid = is_triplet(length) and length < QUARTER and onset % (length / length.numerator) == 0
        return on_grid and end.denominator in (1, 3) and (within_beat or within_bracket)
    if onset // beat == (end - SIXTEENTH / 8) // beat:
        return True
    if onset % beat == 0:
        return meter.compound is False or end % beat == 0
    middle = Fraction(2) if meter == Meter(4, 4) else None
    crosses = middle is not None and onset < middle < end
    return onset % beat == beat / 2 and not meter.compound and not crosses and length <= beat * 3 / 2
