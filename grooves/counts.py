"""Spoken counts read and written: `1 & (2) & 3r 4` as a drummer says a bar aloud.

A number is struck on its beat; `e & a` are the sixteenths after it, `trip let` its triplets.
`(n)` is said but not struck, so the last note still sounds; `3r` starts a rest; `^` accents.
Common practice, no source.
"""

import re
from collections.abc import Iterable
from dataclasses import dataclass
from fractions import Fraction

from grooves.barlines import numbered_bars
from grooves.errors import LessonError, visible
from grooves.rhythm import Bar, Kind, Meter, Symbol, check_bar, place_name, spell, syllable

_TOKEN = re.compile(r"(?P<open>\()?(?P<word>\d{1,3}|e|&|a|trip|let)(?P<rest>r)?(?P<accent>\^)?(?P<close>\))?")
_PARTS = {
    "e": Fraction(1, 4),
    "&": Fraction(1, 2),
    "a": Fraction(3, 4),
    "trip": Fraction(1, 3),
    "let": Fraction(2, 3),
}


@dataclass(frozen=True)
class Count:
    """One spoken count: `Count(Fraction(1, 2), "struck")` is a note on the & of 1."""

    onset: Fraction
    kind: Kind
    accent: bool = False


def parse_counts(text: str, meter: Meter, to_the_end: bool = True) -> tuple[Bar, ...]:
    """Read bars of spoken counts: `parse_counts("1 & (2) & 3 4", Meter(4, 4))` gives one bar of five notes.

    Lengths are written so that the beats show. A bar is counted to its last beat, or to a rest that lasts as long;
    `to_the_end=False` lets a last note sound on unsaid. Raises LessonError with bar and count.
    """
    bars: list[Bar] = []
    sounding = False
    for number, tokens in numbered_bars(text):
        counts = _read_counts(tokens, meter, f"bar {number}")
        bar = _lay_out(counts, meter, number, sounding)
        check_bar(bar, meter, number)
        if to_the_end:
            _check_end(counts, meter, number)
        sounding = bar[-1].kind != "rest"
        bars.append(bar)
    return tuple(bars)


def parse_places(text: str, meter: Meter) -> tuple[Fraction, ...]:
    """The struck places of one bar of counts: `parse_places("2 4", Meter(4, 4))` is (1, 3)."""
    return tuple(count.onset for count in _read_counts(text.split(), meter, f"'{text}'") if count.kind == "struck")


def _read_counts(tokens: list[str], meter: Meter, where: str) -> list[Count]:
    counts: list[Count] = []
    beat = Fraction(0)
    for token in tokens:
        found = _TOKEN.fullmatch(token)
        if not found or bool(found["open"]) != bool(found["close"]):
            raise LessonError(f"{where}: {_not_a_count(token)}")
        if found["rest"] and found["accent"]:
            raise LessonError(f"{where}: '{token}' is a rest, so it takes no ^")
        if found["open"] and (found["rest"] or found["accent"]):
            raise LessonError(f"{where}: '{token}' is not struck, so it takes neither r nor ^")
        word = found["word"]
        if word.isdigit():
            if not 1 <= int(word) <= meter.count:
                raise LessonError(f"{where}: count {word} is not in {meter}, which counts 1 to {meter.count}")
            beat = (int(word) - 1) * meter.step
        onset = beat + _PARTS.get(word, Fraction(0)) * meter.step
        if counts and onset <= counts[-1].onset:
            raise LessonError(
                f"{where}: '{token}' comes after {place_name(counts[-1].onset, meter)}; "
                "say the beat between, such as (2)"
            )
        if counts and onset // meter.step == counts[-1].onset // meter.step and _mixed(onset, counts[-1].onset, meter):
            raise LessonError(
                f"{where}: '{token}' after {place_name(counts[-1].onset, meter)} mixes halves and thirds of a beat"
            )
        kind: Kind = "held" if found["open"] else "rest" if found["rest"] else "struck"
        counts.append(Count(onset, kind, bool(found["accent"])))
    return counts


def _check_end(counts: list[Count], meter: Meter, number: int) -> None:
    """A bar that stops early leaves open whether its last note sounds on or a rest begins: let it be said."""
    last, end = counts[-1], meter.length - meter.pulse
    resting = next((count.kind == "rest" for count in reversed(counts) if count.kind != "held"), False)
    if not resting and last.onset < end:
        beat = syllable(end, meter)
        raise LessonError(
            f"bar {number} stops at {place_name(last.onset, meter)}; {meter} is counted to {beat}: "
            f"write ({beat}) to hold the note, {beat}r for a rest"
        )


def _not_a_count(token: str) -> str:
    before = re.fullmatch(r"r(\d{1,3}|e|&|a|trip|let)", token)
    if before:
        return f"'{token}' is now called {before[1]}r: a rest's r comes last, as in the values"
    if _TOKEN.fullmatch(token.lower()):
        return f"'{token}' is not a count; did you mean {token.lower()}?"
    said = visible(token, 40)
    return f"'{said}' is not a count; write 1, &, e, a, trip, let, (2) for not struck or 3r for a rest"


def _mixed(onset: Fraction, before: Fraction, meter: Meter) -> bool:
    """Whether one place is a half or quarter of its beat and the other a third."""
    within = [place / meter.step % 1 for place in (onset, before) if place % meter.step]
    return len({place.denominator % 3 == 0 for place in within}) == 2


def _lay_out(counts: list[Count], meter: Meter, number: int, sounding: bool) -> Bar:
    """Let every note last until the next note or rest, or the barline."""
    if counts[0].onset > 0:
        raise LessonError(
            f"bar {number} does not say what happens on 1; write 1, (1) for the last note held on, or 1r for a rest"
        )
    if counts[0].kind == "held" and not sounding:
        raise LessonError(f"bar {number}: (1) holds a note on, but none sounds before it; write 1r for a rest")
    events = [counts[0]] + [count for count in counts[1:] if count.kind != "held"]
    ends = [event.onset for event in events[1:]] + [meter.length]
    symbols = (
        Symbol(event.onset, end - event.onset, event.kind, event.accent)
        for event, end in zip(events, ends, strict=True)
    )
    return spell(tuple(symbols), meter)


def counts_text(bars: Iterable[Bar], meter: Meter) -> str:
    """Write bars as spoken counts, the inverse of `parse_counts`: "1 & (2) & 3 4".

    Raises LessonError for a place that has no syllable, such as a triplet sixteenth.
    """
    return " | ".join(" ".join(_counts_of(bar, meter)) for bar in bars)


def _counts_of(bar: Bar, meter: Meter) -> list[str]:
    words: list[str] = []
    spoken = Fraction(0)  # places before this one are said
    for symbol in bar:
        beat = symbol.onset // meter.step * meter.step
        if symbol.onset > beat >= spoken:  # the beat must be said before its syllable
            words.append(f"({syllable(beat, meter)})")
        word = syllable(symbol.onset, meter)
        if word.startswith("+"):
            raise LessonError(
                f"the place {place_name(symbol.onset, meter)} has no spoken count; write the line as values"
            )
        mark = "^" if symbol.accent else ""
        still_silent = symbol.kind == "rest" and bool(words) and words[-1].endswith("r")
        if symbol.kind == "held" or still_silent:
            words.append(f"({word})")
        else:
            words.append(f"{word}{'r' if symbol.kind == 'rest' else mark}")
        spoken = symbol.onset + meter.step / 24
    last = meter.length - meter.pulse
    if bar[-1].kind != "rest" and bar[-1].onset < last:  # a bar is counted to its last beat
        words.append(f"({syllable(last, meter)})")
    return words
