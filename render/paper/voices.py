"""What stands on the staff: each bar's voices as signs, one chord or rest each, with their ties.

The line keeps its writer's spelling. In the drum score the hands share one voice with stems up and the
feet one with stems down; strokes of one voice at one place are a chord. A stroke lasts until the next of its
voice, at most as long as written, and what no single sign can say becomes a rest: a drum does not tie.
Conventions: places and lengths in quarters. Stems, chords and beams by the beat: N. Weinberg, Guidelines for
Drumset Notation, Percussive Notes, June 1994, from memory; the rest is common practice, no source.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import groupby

from grooves.groove import swings
from grooves.kit import FEET, HANDS, INSTRUMENTS
from grooves.meter import rest_lengths
from grooves.players import ChordMark
from grooves.rhythm import EIGHTH, QUARTER, Bar, Meter, Symbol, over_beat, spell, spell_rest, value_name
from grooves.rhythm import is_triplet as is_triplet_value
from grooves.score import Score, ScoreBar, Stroke
from render.paper.signs import SIGNS, Head, Sign, beamed, group_at

LET = Fraction(2, 3)
GHOST_LU = -6.0  # a snare stroke this much lighter is printed in parentheses; by ear


@dataclass(frozen=True)
class PrintedBar:
    """One printed bar: its number, how often it is played, and the voices of the line's staff and the drum staff."""

    number: int  # 0 for the pickup
    times: int
    reading: int  # index into the score's `played_on`
    line: tuple[Sign, ...]
    hands: tuple[Sign, ...]
    feet: tuple[Sign, ...]
    chords: tuple[ChordMark, ...] = ()
    letter: str = ""  # the rehearsal letter over it

    @property
    def length(self) -> Fraction:
        """How long it is: a pickup is shorter than a bar."""
        return self.line[-1].end - self.line[0].onset


def printed_bars(score: Score) -> tuple[PrintedBar, ...]:
    """The bars as printed: `printed_bars(score)[0].hands`; a bar repeated in a row is printed once."""
    printed: list[PrintedBar] = []
    for reading in range(score.readings):
        first = reading * score.chorus_length
        chorus = range(first, first + score.chorus_length)
        for index, times in _repeats(score, chorus):
            bar = score.bars[index]
            hands, feet = _drum_voices(bar.strokes, score)
            line = beamed(_line_bar(score, index, index + times - 1), score.meter)
            letter = score.letter_over(bar.number)
            printed.append(PrintedBar(bar.number, times, reading, line, hands, feet, bar.chords, letter))
    return tuple(printed)


def printed_pickup(score: Score) -> tuple[PrintedBar, ...]:
    """What stands before bar 1, if anything: `printed_pickup(score)[0].number` is 0; its places are its bar's."""
    if not score.pickup:
        return ()
    start, strokes = score.pickup.start, score.pickup.strokes[0]
    line = _signs(score.pickup.line, score.meter, (False, _tied_over(score, -1, 0)), _turns(score, strokes))
    hands, feet = (
        beamed([sign for sign in voice if sign.onset >= start], score.meter) for voice in _drum_voices(strokes, score)
    )
    return (PrintedBar(0, 1, 0, beamed(line, score.meter), hands, feet),)


def _drum_voices(strokes: Sequence[Stroke], score: Score) -> list[tuple[Sign, ...]]:
    """What the hands play, and what the feet."""
    placed = settle(strokes, score)
    return [
        beamed(_voice([stroke for stroke in placed if stroke.limb in limbs], score.meter), score.meter)
        for limbs in (HANDS, FEET)
    ]


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
    ties = _tied_over(score, first - 1, first), _tied_over(score, last, last + 1)
    bar = score.bars[first]
    return _signs(bar.line, score.meter, ties, _turns(score, bar.strokes))


def _signs(line: Bar, meter: Meter, ties: tuple[bool, bool], hands: Mapping[Fraction, str]) -> tuple[Sign, ...]:
    """Notes and rests of the line; `ties` says whether it is tied to what stands before it and after it."""
    bar = writable(line, meter)
    sounding, leaves = ties
    signs: list[Sign] = []
    for place, symbol in enumerate(bar):
        sounding = symbol.kind == "struck" or (symbol.kind == "held" and sounding)
        following = bar[place + 1].kind == "held" if place + 1 < len(bar) else leaves
        heads = (Head("snare", accent=symbol.accent, reads=True),) if sounding else ()
        held = sounding and symbol.kind == "held"
        hand = "" if held or not sounding else hands.get(symbol.onset, "")
        signs.append(Sign(symbol.onset, symbol.length, heads, held, sounding and following, hand=hand))
    return tuple(signs)


def _turns(score: Score, strokes: Sequence[Stroke]) -> dict[Fraction, str]:
    """Which hand strikes each note of the line, "R" or "L", where hands take turns."""
    if not any(way.alternate for way in score.played_on):
        return {}
    read = [stroke for stroke in strokes if stroke.role == "line" and stroke.limb in HANDS]
    return {stroke.onset: stroke.limb[0].upper() for stroke in read}


def _tied_over(score: Score, before: int, after: int) -> bool:
    """Whether the line is tied from one printed bar into the next."""
    if before < 0 and score.pickup:
        return score.pickup.line[-1].kind != "rest" and score.bars[after].line[0].kind == "held"
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
        if symbol.kind == "rest" and not (is_triplet_value(symbol.length) and value_name(symbol.length)):
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
    _, closing = group_at(onset, meter)
    if onset + length <= closing:
        return length if length in SIGNS else rest_lengths(onset, onset + length, meter)[0]
    across = spell((Symbol(onset, length),), meter)[0].length
    return across if across in SIGNS and onset + across >= closing else _first_sign(onset, closing - onset, meter)


def _rests(start: Fraction, end: Fraction, meter: Meter) -> list[Sign]:
    """Rests from one place to another that show the beats."""
    signs: list[Sign] = []
    for length in rest_lengths(start, end, meter) if start < end else ():
        signs.append(Sign(start, length))
        start += length
    return signs
