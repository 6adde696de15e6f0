"""What stands on the staff: each bar's voices as signs, one note or rest each, with ties, tuplets and beams.

The line keeps its writer's spelling. In the drum score the hands share one voice with stems up and the
feet one with stems down; strokes of one voice at one place are a chord. A stroke lasts until the next of its
voice, at most as long as written, and what no single sign can say becomes a rest: a drum does not tie.
Conventions: places and lengths in quarters. Stems, chords and beams by the beat: N. Weinberg, Guidelines for
Drumset Notation, Percussive Notes, June 1994, from memory; the rest is common practice, no source.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import groupby

from grooves.groove import swings
from grooves.kit import FEET, HANDS, INSTRUMENTS
from grooves.meter import beat_groups, rest_lengths
from grooves.rhythm import EIGHTH, QUARTER, Bar, Meter, Symbol, over_beat, spell, spell_rest
from grooves.rhythm import is_triplet as is_triplet_value
from grooves.score import Score, ScoreBar, Stroke

LET = Fraction(2, 3)
GHOST_LU = -6.0  # a snare stroke this much lighter is printed in parentheses; by ear
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


@dataclass(frozen=True)
class PrintedBar:
    """One printed bar: its number, how often it is played, and the voices of the line's staff and the drum staff."""

    number: int
    times: int
    reading: int  # index into the score's `played_on`
    line: tuple[Sign, ...]
    hands: tuple[Sign, ...]
    feet: tuple[Sign, ...]


def printed_bars(score: Score) -> tuple[PrintedBar, ...]:
    """The bars as printed: `printed_bars(score)[0].hands`; a bar repeated in a row is printed once."""
    printed: list[PrintedBar] = []
    for reading in range(score.readings):
        first = reading * score.chorus_length
        chorus = range(first, first + score.chorus_length)
        for index, times in _repeats(score, chorus):
            bar = score.bars[index]
            placed = settle(bar.strokes, score)
            voices = [
                _finish(_voice([s for s in placed if s.limb in limbs], score.meter), score.meter)
                for limbs in (HANDS, FEET)
            ]
            line = _finish(_line_bar(score, index, index + times - 1), score.meter)
            printed.append(PrintedBar(bar.number, times, reading, line, voices[0], voices[1]))
    return tuple(printed)


def _repeats(score: Score, chorus: range) -> Iterable[tuple[int, int]]:
    """Indices of the printed bars of a chorus, each with how often it comes in a row."""

    def same(index: int) -> tuple[int, int, ScoreBar]:
        return (index - chorus.start) // score.repeat_each, score.bars[index].number, score.bars[index]

    for _, run in groupby(chorus, key=same):
        found = list(run)
        yield found[0], len(found)


def settle(strokes: Sequence[Stroke], score: Score) -> list[Stroke]:
    """Put the straight & where it sounds in beats that are written in triplets: in swing it is the let.

    `settle(bar.strokes, score)` leaves beats without triplets as written.
    """
    if not swings(score.groove):
        return list(strokes)
    triplets = {stroke.onset // 1 for stroke in strokes if stroke.onset.denominator == 3}
    triplets -= {stroke.onset // 1 for stroke in strokes if stroke.onset.denominator >= 4}
    return [
        replace(stroke, onset=stroke.onset // 1 + LET)
        if stroke.onset // 1 in triplets and stroke.onset % 1 == EIGHTH
        else stroke
        for stroke in strokes
    ]


# --- the line -----------------------------------------------------------------------------------


def _line_bar(score: Score, first: int, last: int) -> tuple[Sign, ...]:
    """The line of one printed bar as its writer spelled it; a tie that comes from no printed bar is a rest."""
    bar = writable(score.bars[first].line, score.meter)
    arrives = _tied_over(score, first - 1, first)
    leaves = _tied_over(score, last, last + 1)
    hands = _turns(score, first)
    signs: list[Sign] = []
    sounding = arrives
    for place, symbol in enumerate(bar):
        sounding = symbol.kind == "struck" or (symbol.kind == "held" and sounding)
        following = bar[place + 1].kind == "held" if place + 1 < len(bar) else leaves
        heads = (Head("snare", accent=symbol.accent, reads=True),) if sounding else ()
        held = sounding and symbol.kind == "held"
        hand = "" if held or not sounding else hands.get(symbol.onset, "")
        signs.append(Sign(symbol.onset, symbol.length, heads, held, sounding and following, hand=hand))
    return tuple(signs)


def _turns(score: Score, index: int) -> dict[Fraction, str]:
    """Which hand strikes each note of the line, "R" or "L", where hands take turns."""
    if not any(way.alternate for way in score.played_on):
        return {}
    read = [stroke for stroke in score.bars[index].strokes if stroke.role == "line" and stroke.limb in HANDS]
    return {stroke.onset: stroke.limb[0].upper() for stroke in read}


def _tied_over(score: Score, before: int, after: int) -> bool:
    """Whether the line is tied from one printed bar into the next."""
    if before < 0 or after >= len(score.bars) or after % score.chorus_length == 0:
        return False
    first, second = score.bars[before], score.bars[after]
    follows = second.number in (first.number, first.number + 1)
    return follows and first.line[-1].kind != "rest" and second.line[0].kind == "held"


def writable(bar: Bar, meter: Meter) -> Bar:
    """Split what no single sign can write, rests over a beat's edge, and triplets over a beat among other values.

    `writable(bar, meter)` keeps "4 2 4" as it is, and writes "4 2r 4" as "4 4r 4r 4".
    """
    pieces: list[Symbol] = []
    for symbol in bar:
        whole = symbol.length in SIGNS and not over_beat(symbol, bar)
        if symbol.kind == "rest" and not is_triplet_value(symbol.length):
            pieces += spell_rest(symbol, meter)
        elif whole:
            pieces.append(symbol)
        else:
            pieces += [piece for piece in spell(bar, meter) if symbol.onset <= piece.onset < symbol.end]
    return tuple(pieces)


# --- the drum voices ----------------------------------------------------------------------------


def _voice(strokes: Sequence[Stroke], meter: Meter) -> tuple[Sign, ...]:
    """Chords and rests of one voice, filling the bar; nothing at all when it has no stroke."""
    chords: dict[Fraction, list[Stroke]] = {}
    for stroke in sorted(strokes, key=lambda s: s.onset):
        chords.setdefault(stroke.onset, []).append(stroke)
    if not chords:
        return ()
    ends = [*list(chords)[1:], meter.length]
    signs: list[Sign] = []
    reached = Fraction(0)
    for (onset, chord), end in zip(chords.items(), ends, strict=True):
        signs += _rests(reached, onset, meter)
        length = _first_sign(onset, _sounding(onset, end, chord, meter), meter)
        signs.append(Sign(onset, length, _heads(chord)))
        reached = onset + length
    return (*signs, *_rests(reached, meter.length, meter))


def _sounding(onset: Fraction, end: Fraction, chord: Sequence[Stroke], meter: Meter) -> Fraction:
    """How long a chord is written: until the next one, but no longer than its longest stroke; a triplet is filled.

    Crosses last a beat at most: hollow, those of half notes look like another instrument. An upbeat that is drawn as
    the third of a triplet ends with its beat, and so does what reaches into a beat of triplets half way.
    """
    longest = max(stroke.length for stroke in chord)
    if any(INSTRUMENTS[stroke.instrument].head != "normal" for stroke in chord):
        longest = min(longest, meter.pulse if meter.compound else QUARTER)
    if longest.denominator == 3:
        return min(end - onset, longest)
    if onset.denominator == 3:
        return min(end, onset + longest, Fraction(int(onset) + 1)) - onset
    if end.denominator == 3 and int(onset) == int(end):
        return end - onset
    stop, beat = min(end, onset + longest), Fraction(int(end))
    return (beat if end.denominator == 3 and stop.denominator != 3 and onset < beat < stop else stop) - onset


def _heads(chord: Sequence[Stroke]) -> tuple[Head, ...]:
    """One head for each instrument, though two hands may strike it."""
    heads: dict[str, Head] = {}
    for stroke in sorted(chord, key=lambda one: one.role != "line"):
        accent = stroke.accented or stroke.accent_lu > 0
        heads.setdefault(
            stroke.instrument, Head(stroke.instrument, accent, is_ghost(stroke), reads=stroke.role == "line")
        )
    return tuple(heads.values())


def is_ghost(stroke: Stroke) -> bool:
    """Whether a stroke stands in parentheses: a light one of the snare, or one that fills a gap of the line."""
    return stroke.role == "gaps" or (stroke.instrument == "snare" and stroke.accent_lu <= GHOST_LU)


def reads(score: Score, reading: int, limbs: Sequence[str]) -> bool:
    """Whether any of these limbs reads the line: `reads(score, 0, HANDS)`."""
    ways = score.played_on if score.readings == 1 else score.played_on[reading : reading + 1]
    return any(limb in way.limbs for way in ways for limb in limbs)


def _first_sign(onset: Fraction, length: Fraction, meter: Meter) -> Fraction:
    """The longest single sign for a stroke at this place: within its beat as it is, across beats where that reads."""
    _, closing = _group_at(onset, meter)
    if onset + length <= closing:
        return length if length in SIGNS else rest_lengths(onset, onset + length, meter)[0]
    across = spell((Symbol(onset, length),), meter)[0].length
    return across if across in SIGNS and onset + across >= closing else _first_sign(onset, closing - onset, meter)


def _group_at(place: Fraction, meter: Meter) -> tuple[Fraction, Fraction]:
    return next((low, high) for low, high in beat_groups(meter) if low <= place < high)


def _rests(start: Fraction, end: Fraction, meter: Meter) -> list[Sign]:
    """Rests from one place to another that show the beats."""
    signs: list[Sign] = []
    for length in rest_lengths(start, end, meter) if start < end else ():
        signs.append(Sign(start, length))
        start += length
    return signs


# --- triplets and beams -------------------------------------------------------------------------


def _finish(signs: Sequence[Sign], meter: Meter) -> tuple[Sign, ...]:
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
    keys = [(bool(sign.heads) and flags(sign) > 0, _group_at(sign.onset, meter)[0]) for sign in group]
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
