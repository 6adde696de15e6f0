"""Forms: bars of chords, from a form file or from a lesson's own text, in any key.

A form file is TOML: `name`, `title`, `key` (a tonic, with m for minor), `meters` that it is for, `chords`, `source`.
Bars stand between `|`; each chord of a bar gets as many of its felt beats, the first ones one more where that does not
come out; `-` lets the chord before it sound on, for a share of a bar or for a whole one.
"""

import tomllib
from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from importlib.resources import files
from itertools import groupby, zip_longest
from typing import Any

from grooves.band.chords import LETTERS, Chord, parse_chord, pitch_class, transposed
from grooves.errors import LessonError, at, nearest
from grooves.meter import Meter, parse_meter

# Keys that a key signature can write, of up to seven signs; MIDI and MusicXML count them from -7 to 7.
_FIFTHS = ("Cb", "Gb", "Db", "Ab", "Eb", "Bb", "F", "C", "G", "D", "A", "E", "B", "F#", "C#")
_MINOR_FIFTHS = ("Ab", "Eb", "Bb", "F", "C", "G", "D", "A", "E", "B", "F#", "C#", "G#", "D#", "A#")
KEYS = (*_FIFTHS, *(f"{tonic}m" for tonic in _MINOR_FIFTHS))


@dataclass(frozen=True)
class PlacedChord:
    """A chord in its bar: `PlacedChord(Fraction(0), Fraction(2), chord)` lasts two quarters from the barline."""

    onset: Fraction
    length: Fraction
    chord: Chord


BARS_TO_A_LINE = 4

FormBar = tuple[PlacedChord, ...]


@dataclass(frozen=True)
class Form:
    """Bars of chords: `form.bars[0][0].chord.symbol` is "F7" in a blues in F."""

    name: str
    title: str
    key: str  # "" where a lesson's own chords name none
    bars: tuple[FormBar, ...]
    source: str = ""

    @property
    def fifths(self) -> int:
        """Signs of its key signature: sharps above 0, flats below; 0 where there is no key."""
        return key_fifths(self.key) if self.key else 0


def key_fifths(key: str) -> int:
    """Sharps (or flats, below 0) of a key: `key_fifths("Dm")` is -1."""
    return _MINOR_FIFTHS.index(key[:-1]) - 7 if key.endswith("m") else _FIFTHS.index(key) - 7


# --- a text of chords -----------------------------------------------------------------------------


def parse_chords(text: str, meter: Meter) -> tuple[FormBar, ...]:
    """Read bars of chords: `parse_chords("F7 | Cm7 F7", Meter(4, 4))[1][1].onset` is 2; raises LessonError."""
    if not text.strip().strip("|").strip():
        raise LessonError('there are no chords; write some, such as "F7 | Bb7 | F7 | C7"')
    bars: list[FormBar] = []
    last: Chord | None = None
    for number, words in enumerate(text.strip().removeprefix("|").removesuffix("|").split("|"), 1):
        bar = _read_bar(words.split(), meter, last, number)
        last = bar[-1].chord
        bars.append(bar)
    return tuple(bars)


def _read_bar(words: list[str], meter: Meter, last: Chord | None, number: int) -> FormBar:
    shares = _shares(len(words), meter, number)
    chords: list[Chord] = []
    for word in words:
        with at(f"bar {number}"):
            kept = chords[-1] if chords else last
            if word == "-" and kept is None:
                raise LessonError("'-' lets the chord before it sound on, and there is none; write a chord, such as F7")
            chords.append(kept if word == "-" and kept else parse_chord(word))
    placed, onset = [], Fraction(0)
    for chord, same in groupby(zip(chords, shares, strict=True), key=lambda one: one[0]):
        length = sum((share for _, share in same), Fraction(0))
        placed.append(PlacedChord(onset, length, chord))
        onset += length
    return tuple(placed)


def _shares(chords: int, meter: Meter, number: int) -> list[Fraction]:
    """How long each chord of a bar lasts: in 4/4 two take two quarters each, three take 2, 1 and 1."""
    if not chords:
        raise LessonError(f"bar {number}: it has no chord; write one, or - for the one before")
    if chords > meter.pulses:
        raise LessonError(
            f"bar {number}: {chords} chords do not fit {meter}, which has {meter.pulses} "
            f"{'beat' if meter.pulses == 1 else 'beats'} to a bar; put a | between bars"
        )
    each, over = divmod(meter.pulses, chords)
    return [meter.pulse * (each + (place < over)) for place in range(chords)]


def chords_text(form: Form, meter: Meter) -> str:
    """A form as a lesson file writes it, four bars to a line, `-` where a chord goes on."""
    words, last = [], None
    for bar in form.bars:
        beats: list[str] = []
        for placed in bar:
            beats += ["-" if placed.chord == last else placed.chord.symbol]
            last = placed.chord
            if len(bar) > 1 and [share.length for share in bar] != _shares(len(bar), meter, 1):
                beats += ["-"] * (int(placed.length / meter.pulse) - 1)
        words.append(" ".join(beats))
    rows = [words[first : first + BARS_TO_A_LINE] for first in range(0, len(words), BARS_TO_A_LINE)]
    widths = [max(map(len, column)) for column in zip_longest(*rows, fillvalue="")]
    lines = [" | ".join(word.ljust(width) for word, width in zip(row, widths, strict=False)) for row in rows]
    return " |\n".join(lines).rstrip()


# --- keys -----------------------------------------------------------------------------------------


def check_key(key: str) -> str:
    """Return a key that can be written, else raise LessonError: `check_key("Bb")` is "Bb", "H" is none."""
    if key in KEYS:
        return key
    tonic, minor = key.removesuffix("m"), "m" if key.endswith("m") else ""
    plain = tonic[:1].upper().replace("H", "B") + tonic[1:2]
    same = [one for one in KEYS if one.endswith("m") == bool(minor) and _is_name(plain)]
    near = next((one for one in same if one == plain + minor), "") or next(
        (one for one in same if pitch_class(one.removesuffix("m")) == pitch_class(plain)), ""
    )
    hint = f"did you mean '{near}'?" if near else "write a tonic such as F, Bb or F#, with m for minor"
    raise LessonError(f"'{key}' is not a key; {hint}")


def _is_name(text: str) -> bool:
    return text[:1] in tuple(LETTERS) and text[1:] in ("", "b", "#")


def in_key(form: Form, key: str) -> Form:
    """A form in another key: `in_key(blues, "Bb").bars[0][0].chord.symbol` is "Bb7"; raises LessonError.

    A form in minor takes its tonic with or without the m.
    """
    minor = form.key.endswith("m")
    if key.endswith("m") and not minor:
        check_key(key)
        raise LessonError(f"'{key}' is in minor and {form.name} is in major; write {key[:-1]}, or take another form")
    wanted = key if key.endswith("m") or not minor else f"{key}m"
    if wanted not in KEYS:
        check_key(key if key not in KEYS else wanted)
    old, new = form.key.removesuffix("m"), wanted.removesuffix("m")
    moved = {placed.chord: transposed(placed.chord, old, new) for bar in form.bars for placed in bar}
    bars = tuple(tuple(PlacedChord(p.onset, p.length, moved[p.chord]) for p in bar) for bar in form.bars)
    return replace(form, key=wanted, bars=bars)


# --- forms that come along ------------------------------------------------------------------------

_KEYS_OF_A_FILE = ("name", "title", "key", "meters", "chords", "source")


def shipped_forms() -> tuple[str, ...]:
    """Names of the forms that come along: "blues" is among them."""
    here = files("grooves.band").joinpath("forms").iterdir()
    return tuple(sorted(one.name.removesuffix(".toml") for one in here if one.name.endswith(".toml")))


def form_table(name: str) -> dict[str, Any]:
    """A shipped form's file as a table: `form_table("blues")["key"]` is "F"; raises LessonError for a stranger."""
    if name not in shipped_forms():
        raise LessonError(f"'{name}' is not a form; {nearest(name, shipped_forms())}, or write chords of your own")
    return tomllib.loads(files("grooves.band").joinpath("forms", f"{name}.toml").read_text("utf-8"))


def find_form(name: str, meter: Meter | None = None, key: str = "") -> Form:
    """A shipped form in a meter and a key: `find_form("blues", Meter(4, 4), "Bb")`; raises LessonError.

    Without a meter or a key it comes in those that it is at home in.
    """
    table = form_table(name)
    meters: Sequence[str] = table["meters"]
    if meter and str(meter) not in meters:
        there = [form for form in shipped_forms() if str(meter) in form_table(form)["meters"]]
        others = f"; in {meter} there are {', '.join(there)}" if there else "; write chords of your own"
        raise LessonError(f"{name} is for {', '.join(meters)}, and this groove is in {meter}{others}")
    bars = parse_chords(table["chords"].replace("\n", " "), meter or parse_meter(meters[0]))
    form = Form(table["name"], table["title"], table["key"], bars, table["source"])
    return in_key(form, key) if key else form
