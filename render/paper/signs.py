"""Signs on a staff, one chord or rest each, and the beams and triplets that hold them together.

Lengths in quarters. Beams by the beat: N. Weinberg, Guidelines for Drumset Notation, Percussive Notes, June 1994, from
memory; the rest is common practice, no source.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import groupby

from grooves.meter import Meter, beat_groups

# Every length that one sign can write: plain or dotted, from a whole to a 256th, and the triplets of the plain ones.
# Lines have 32nds at most; the smaller ones part strokes of two hands that come as close as 32nds and triplets.
PLAIN = tuple(Fraction(4, 2**power) for power in range(9))
SIGNS = frozenset(
    [length * dots for length in PLAIN for dots in (1, Fraction(3, 2), Fraction(7, 4))]
    + [length * Fraction(2, 3) for length in PLAIN]
)


@dataclass(frozen=True)
class Head:
    """One note head: `Head("snare")`; `accent` is marked, `ghost` stands in parentheses, `reads` is of the line."""

    instrument: str
    accent: bool = False
    ghost: bool = False
    reads: bool = False


@dataclass(frozen=True)
class Sign:
    """One chord or rest on the page: `Sign(Fraction(0), Fraction(1), (Head("snare"),))`; no heads make a rest."""

    onset: Fraction
    length: Fraction
    heads: tuple[Head, ...] = ()
    tie_from: bool = False  # tied to the sign before
    tie_on: bool = False  # tied to the sign after
    beams: tuple[str, ...] = ()  # one MusicXML beam word per level
    tuplet: str = ""  # "start" and "stop" at a triplet's ends, "inside" between, "" outside
    bracket: bool = False  # at the start of a triplet that no beam holds together
    hand: str = ""  # "R" or "L" where the hands take turns

    @property
    def end(self) -> Fraction:
        """The place where it stops."""
        return self.onset + self.length


def group_at(place: Fraction, meter: Meter) -> tuple[Fraction, Fraction]:
    """The felt beat that a place lies in: `group_at(Fraction(3, 2), Meter(4, 4))` is (1, 2)."""
    return next((low, high) for low, high in beat_groups(meter) if low <= place < high)


# --- triplets and beams -------------------------------------------------------------------------


def beamed(signs: Sequence[Sign], meter: Meter) -> tuple[Sign, ...]:
    """The same signs with their beams and the ends of their triplets: `beamed(signs, meter)[0].beams`."""
    return tuple(_with_tuplets(_with_beams(signs, meter)))


def is_triplet(sign: Sign) -> bool:
    """Whether a sign is written as a triplet value."""
    return sign.length.denominator % 3 == 0


def flags(sign: Sign) -> int:
    """Flags or beams of a sign: an eighth has 1, a sixteenth 2, triplets as they are written."""
    written = sign.length * Fraction(3, 2) if is_triplet(sign) else sign.length
    return sum(written < length for length in PLAIN[2:])


def _with_beams(signs: Sequence[Sign], meter: Meter) -> list[Sign]:
    """Join the flags of each beat: notes in a row, no rest between, on one side of the beat's edge.

    A beam holds a triplet whole or stays inside it; one that left it midway would be read as part of it.
    """
    beamed: list[Sign] = []
    keys = [key for number, group in enumerate(_by_triplet(signs)) for key in _beam_keys(group, number, meter)]
    for (joins, *_), run in groupby(zip(keys, signs, strict=True), key=lambda pair: pair[0]):
        found = [sign for _, sign in run]
        beamed += _beam_run(found) if joins and len(found) > 1 else found
    return beamed


def _beam_keys(group: Sequence[Sign], number: int, meter: Meter) -> list[tuple[bool, Fraction, int]]:
    """What signs must share to be beamed: flags, the beat, and the triplet where its beam cannot hold all of it."""
    keys = [(bool(sign.heads) and flags(sign) > 0, group_at(sign.onset, meter)[0]) for sign in group]
    apart = -1 if len(set(keys)) == 1 and keys[0][0] else number
    return [(*key, apart if len(group) > 1 else -1) for key in keys]


def _beam_run(run: Sequence[Sign]) -> list[Sign]:
    counts = [flags(sign) for sign in run]
    return [
        replace(sign, beams=tuple(_beam_word(counts, place, level) for level in range(1, counts[place] + 1)))
        for place, sign in enumerate(run)
    ]


def _beam_word(counts: Sequence[int], place: int, level: int) -> str:
    before = place > 0 and counts[place - 1] >= level
    after = place + 1 < len(counts) and counts[place + 1] >= level
    if before or after:
        return "continue" if before and after else "end" if before else "begin"
    return "forward hook" if place == 0 else "backward hook"


def _by_triplet(signs: Sequence[Sign]) -> list[list[Sign]]:
    """Signs in order, each triplet as a group: it runs until a place that is no third of a beat."""
    groups: list[list[Sign]] = []
    open_triplet = False
    for sign in signs:
        if open_triplet and is_triplet(sign):
            groups[-1].append(sign)
        else:
            groups.append([sign])
        open_triplet = is_triplet(sign) and sign.end.denominator % 3 == 0
    return groups


def _with_tuplets(signs: Sequence[Sign]) -> list[Sign]:
    """Mark the ends of each triplet that is complete."""
    return [
        sign
        for group in _by_triplet(signs)
        for sign in (_tuplet(group) if is_triplet(group[0]) and group[-1].end.denominator % 3 else group)
    ]


def _tuplet(group: Sequence[Sign]) -> list[Sign]:
    words = ["start", *["inside"] * (len(group) - 2), "stop"]
    bracket = not all(sign.beams for sign in group)
    return [replace(sign, tuplet=word, bracket=bracket) for sign, word in zip(group, words, strict=True)]
