"""Chord symbols as tones: what a chord is made of, which scale lies around it, how it is spelt in another key.

Conventions: a pitch class is 0 for C to 11 for B; tones are semitones above the root, in the order of the chord
(0, 4, 7, 10, 14). Symbols are read by pychord; `_SAID` holds other spellings of the same qualities, common practice,
no source. Which scale goes with which chord: common practice, no source.
"""

import re
from dataclasses import dataclass
from difflib import get_close_matches
from functools import lru_cache

from grooves.errors import LessonError

LETTERS = "CDEFGAB"
_LETTER_CLASS = dict(zip(LETTERS, (0, 2, 4, 5, 7, 9, 11), strict=True))
_SIGNS = {-2: "bb", -1: "b", 0: "", 1: "#", 2: "##"}
_SYMBOL = re.compile(r"(?P<root>[A-G](?:bb?|##?)?)(?P<quality>(?:6/9|[^/\s])*)(?:/(?P<bass>[A-G](?:bb?|##?)?))?")

_SAID = {  # other ways to write a quality: pychord's own word for it
    "alt": "7#9#5", "7alt": "7#9#5", "ø": "m7b5", "ø7": "m7b5", "m7-5": "m7b5", "min7b5": "m7b5", "-7b5": "m7b5",
    "o": "dim", "o7": "dim7", "°": "dim", "°7": "dim7", "+": "aug", "+7": "7#5", "aug7": "7#5",
    "Δ": "maj7", "Δ7": "maj7", "ma7": "maj7", "j7": "maj7", "ma9": "maj9", "6/9": "69", "m6/9": "m69",
    "-6": "m6", "-7": "m7", "-9": "m9", "-11": "m11", "mi": "m", "mi6": "m6", "mi7": "m7", "mi9": "m9",
    "mi7b5": "m7b5", "-Δ7": "mM7", "M6": "6", "maj6": "6", "7#9b13": "7#9#5", "maj7#5": "maj7+5", "M7#5": "M7+5",
    "min6": "m6", "min7": "m7", "min9": "m9", "min11": "m11", "mmaj7": "mM7", "mMaj7": "mM7", "-Δ": "mM7",
    "minmaj7": "mM7", "mΔ": "mM7", "7sus": "7sus4", "9sus": "9sus4", "7b9b13": "7b9#5", "7#5b9": "7b9#5",
    "7#5#9": "7#9#5", "7b5b9": "7b9b5", "7b5#9": "7#9b5", "7(#9)": "7#9", "7(#11)": "7#11", "7(b13)": "7b13",
}  # fmt: skip
_WITHOUT_THIRD = ("5", "no5", "omit5", "m(no5)", "m(omit5)")  # the band plays whole chords


@dataclass(frozen=True)
class Chord:
    """A chord symbol understood: `parse_chord("Bb7").tones` is (0, 4, 7, 10), its root 10."""

    symbol: str  # as written
    root_name: str
    quality: str  # as pychord spells it
    root: int  # pitch class
    tones: tuple[int, ...]  # semitones above the root; those over an octave are 9ths, 11ths and 13ths
    bass_name: str = ""  # of a slash chord

    @property
    def bass(self) -> int:
        """Pitch class of the bass note: the root, or what stands behind the slash."""
        return pitch_class(self.bass_name) if self.bass_name else self.root

    @property
    def classes(self) -> frozenset[int]:
        """Pitch classes of its tones, a slash bass among them."""
        return frozenset({(self.root + tone) % 12 for tone in self.tones} | {self.bass})

    @property
    def third(self) -> int:
        """Semitones from the root to its third, or to the tone that stands for it in a suspended chord."""
        return next(tone for tone in (3, 4, 5, 2) if tone in self.tones)

    @property
    def fifth(self) -> int:
        """Semitones from the root to its fifth, altered or not."""
        return next((tone for tone in (7, 6, 8) if tone in self.tones), 7)

    @property
    def seventh(self) -> int:
        """Semitones from the root to its seventh, to the sixth that stands for it, or 0 in a triad."""
        return next((tone for tone in (10, 11, 9) if tone in self.tones), 0)

    @property
    def core(self) -> tuple[int, ...]:
        """Pitch classes that a bass line rests on: root, third, fifth, seventh, and the note behind a slash."""
        steps = dict.fromkeys((0, self.third, self.fifth, self.seventh))
        return tuple(dict.fromkeys([self.bass, *((self.root + step) % 12 for step in steps)]))

    @property
    def scale(self) -> frozenset[int]:
        """Pitch classes of the scale around it: `parse_chord("G7").scale` is that of C major."""
        return frozenset((self.root + step) % 12 for step in _scale_steps(self))


def _scale_steps(chord: Chord) -> set[int]:
    """Seven or eight steps: the usual scale of its third, fifth and seventh, then what the chord alters."""
    kind = chord.third, chord.fifth, chord.seventh
    steps = set(_SCALES.get(kind, _SCALES.get((chord.third, 7, chord.seventh), _MAJOR)))
    upper = {tone % 12 for tone in chord.tones if tone > 12}
    if upper & {1, 3}:
        steps -= {2}
    if 6 in upper:
        steps -= {5}
    if 8 in upper:
        steps -= {9}
    return steps | {tone % 12 for tone in chord.tones}


_MAJOR = (0, 2, 4, 5, 7, 9, 11)
_SCALES: dict[tuple[int, int, int], tuple[int, ...]] = {  # by third, fifth and seventh
    (4, 7, 10): (0, 2, 4, 5, 7, 9, 10),
    (5, 7, 10): (0, 2, 5, 7, 9, 10),
    (5, 7, 0): (0, 2, 5, 7, 9, 10),
    (2, 7, 0): (0, 2, 4, 7, 9),
    (3, 7, 10): (0, 2, 3, 5, 7, 9, 10),
    (3, 7, 0): (0, 2, 3, 5, 7, 8, 10),
    (3, 7, 9): (0, 2, 3, 5, 7, 9, 11),
    (3, 7, 11): (0, 2, 3, 5, 7, 9, 11),
    (3, 6, 10): (0, 1, 3, 5, 6, 8, 10),
    (3, 6, 9): (0, 2, 3, 5, 6, 8, 9, 11),
    (3, 6, 0): (0, 2, 3, 5, 6, 8, 9, 11),
    (3, 8, 10): (0, 2, 3, 5, 8, 10),
    (4, 6, 10): (0, 2, 4, 6, 8, 10),
    (4, 8, 10): (0, 2, 4, 6, 8, 10),
    (4, 8, 11): (0, 2, 4, 6, 8, 9, 11),
    (4, 8, 0): (0, 2, 4, 6, 8, 10),
}


@lru_cache(maxsize=1024)
def parse_chord(symbol: str) -> Chord:
    """Read a chord symbol: `parse_chord("F#m7b5").classes` holds F#, A, C and E; raises LessonError with the nearest.

    Example: `parse_chord("Hm7")` says that it is not a chord, and asks whether Bm7 was meant.
    """
    from pychord import Chord as Reader

    found = _SYMBOL.fullmatch(symbol)
    quality = _SAID.get(found["quality"], found["quality"]) if found else ""
    if not found or quality in _WITHOUT_THIRD:
        raise LessonError(_no_chord(symbol))
    try:
        read = Reader(found["root"] + quality)
    except ValueError:
        raise LessonError(_no_chord(symbol)) from None
    tones = tuple(tone - pitch_class(found["root"]) for tone in read.components(visible=False))
    return Chord(symbol, found["root"], quality, pitch_class(found["root"]), tones, found["bass"] or "")


def _no_chord(symbol: str) -> str:
    return f"'{symbol}' is not a chord; did you mean '{nearest_chord(symbol)}'?"


def nearest_chord(symbol: str) -> str:
    """The readable symbol nearest to a misspelt one: `nearest_chord("Hm7")` is "Bm7", `nearest_chord("f7")` "F7"."""
    letter = symbol[:1].upper().replace("H", "B")
    letter = letter if letter in _LETTER_CLASS else "C"
    found = re.match(r"bb?|##?", symbol[1:]) if symbol[1:] not in _known_qualities() else None
    root, rest = letter + (found[0] if found else ""), symbol[1 + (found.end() if found else 0) :].partition("/")[0]
    if rest in _known_qualities():
        return root + rest
    close = get_close_matches(rest, _known_qualities(), n=1, cutoff=0.5)
    return root + (close[0] if close else next((q for q in ("m7", "7") if set(q) & set(rest)), "7"))


@lru_cache(maxsize=1)
def _known_qualities() -> tuple[str, ...]:
    from pychord import QualityManager

    own = [name for name in QualityManager().get_qualities() if name not in _WITHOUT_THIRD]
    return tuple(sorted({*own, *_SAID}))


# --- names of notes ------------------------------------------------------------------------------


def pitch_class(name: str) -> int:
    """A note's name as a number: `pitch_class("Bb")` is 10."""
    return (_LETTER_CLASS[name[0]] + name.count("#") - name.count("b")) % 12


def transposed_name(name: str, old: str, new: str) -> str:
    """A note as it is spelt when a tonic becomes another: `transposed_name("Bb", "F", "E")` is "A".

    What would need two signs is spelt with one or none: in G flat, the flat second is G.
    """
    steps = LETTERS.index(new[0]) - LETTERS.index(old[0])
    letter = LETTERS[(LETTERS.index(name[0]) + steps) % 7]
    wanted = (pitch_class(name) + pitch_class(new) - pitch_class(old)) % 12
    sign = (wanted - _LETTER_CLASS[letter] + 6) % 12 - 6
    return letter + _SIGNS[sign] if abs(sign) < 2 else plain_name(wanted, flats=sign < 0)


def plain_name(wanted: int, flats: bool = True) -> str:
    """A pitch class with one sign at most: `plain_name(10)` is "Bb"."""
    signs = ("", "b", "#") if flats else ("", "#", "b")
    return next(letter + sign for sign in signs for letter in LETTERS if pitch_class(letter + sign) == wanted % 12)


def transposed(chord: Chord, old: str, new: str) -> Chord:
    """A chord in another key: `transposed(parse_chord("Bb7"), "F", "C").symbol` is "F7"."""
    root = transposed_name(chord.root_name, old, new)
    written = chord.symbol.removesuffix(f"/{chord.bass_name}") if chord.bass_name else chord.symbol
    slash = f"/{transposed_name(chord.bass_name, old, new)}" if chord.bass_name else ""
    return parse_chord(root + written[len(chord.root_name) :] + slash)
