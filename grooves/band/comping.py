"""When the piano plays: a few places in each bar with anticipations, fewer where the line is busy.

A pianist behind somebody plays little, and likes to be half a beat ahead of a new chord: common practice, no source.
The rhythms and their shares are ours.
Everything is drawn by place. It never strikes more than half of a bar's own upbeats of the line.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import pairwise

from grooves.band.bars import BandBar, Changes, spans
from grooves.band.chance import chosen
from grooves.band.voicing import SHELLS_FROM_BPM, Strike, Voicing, voiced
from grooves.feel import is_upbeat
from grooves.meter import Meter
from grooves.players import BandNote

ANTICIPATION_LU = 1.0  # ours
_SHORT = Fraction(1, 2)

# Places and lengths in felt beats; each rhythm with its share. What is not struck rests.
_RHYTHMS: dict[int, dict[tuple[tuple[str, str], ...], float]] = {
    4: {
        (("0", "1"), ("3/2", "1/2")): 5,
        (("3/2", "1/2"), ("7/2", "1/2")): 4,
        (("1/2", "1/2"), ("2", "1")): 3,
        (("1", "1/2"), ("3", "1/2")): 3,
        (("0", "1/2"), ("5/2", "1/2")): 3,
        (("3/2", "3/2"),): 3,
        (("7/2", "1/2"),): 3,
        (("5/2", "1/2"),): 2,
        (("1", "1"),): 2,
        (("0", "2"), ("7/2", "1/2")): 2,
        (("1/2", "1/2"), ("3/2", "1/2"), ("3", "1/2")): 2,
        (): 1,
    },
    3: {
        (("0", "1"), ("3/2", "1/2")): 4,
        (("1", "1/2"), ("2", "1/2")): 3,
        (("3/2", "1"),): 3,
        (("1", "1"),): 2,
        (("5/2", "1/2"),): 2,
        (("1/2", "1/2"), ("2", "1/2")): 2,
        (): 1,
    },
    2: {(("0", "1"),): 3, (("1/2", "1/2"),): 3, (("0", "1/2"), ("3/2", "1/2")): 3, (("3/2", "1/2"),): 2, (): 1},
    1: {(("0", "1"),): 2, (("1/2", "1/2"),): 1, (): 1},
}
_AT_MOST = ((6, 1), (4, 2))  # from so many notes of the line in a bar, at most so many chords; ours


@dataclass(frozen=True)
class Chordal:
    """One chord of the piano before it is voiced."""

    bar: int
    onset: Fraction
    length: Fraction
    strike: Strike
    accent_lu: float = 0.0


def comp(bars: Sequence[BandBar], seed: int, bass: Sequence[BandNote] = ()) -> list[BandNote]:
    """The piano's part over some bars: `comp(bars, 1)[0].key` lies in 50 to 72. It hears the bass and keeps off it."""
    changes = Changes(spans(bars))
    chords: list[Chordal] = []
    for index, bar in enumerate(bars):
        early = bool(chords) and _ends_bar(chords[-1], bars, index)
        chords += [
            _chordal(index, bar, onset, length, changes) for onset, length in _rhythm(bar, seed) if onset or not early
        ]
    return written(chords, bars, seed, bass)


def comp_line(bars: Sequence[BandBar], seed: int, bass: Sequence[BandNote] = ()) -> list[BandNote]:
    """A chord on each note of the reading line, its length and its phrasing."""
    changes = Changes(spans(bars))
    chords = [
        replace(_chordal(index, bar, note.onset, note.length, changes), accent_lu=note.accent_lu)
        for index, bar in enumerate(bars)
        for note in (*bar.pickup, *bar.line)
    ]
    return written(chords, bars, seed, bass)


def _ends_bar(last: Chordal, bars: Sequence[BandBar], index: int) -> bool:
    """Whether the last chord of the bar before was this bar's already."""
    return last.bar == index - 1 and is_upbeat(last.onset, bars[index].meter) and last.onset >= _last_beat(bars[index])


def _last_beat(bar: BandBar) -> Fraction:
    return bar.meter.length - bar.meter.pulse


def _rhythm(bar: BandBar, seed: int) -> list[tuple[Fraction, Fraction]]:
    """Where chords stand in a bar and how long they are held."""
    most = next((most for busy, most in _AT_MOST if len(bar.line) >= busy), 3)
    struck: list[tuple[Fraction, Fraction]] = []
    first = 0
    for beats in _groups(bar.meter.pulses):
        fitting = {rhythm: share for rhythm, share in _RHYTHMS[beats].items() if len(rhythm) <= most}
        rhythm = chosen(fitting, seed, "piano/rhythm", bar.place + first * bar.meter.pulse)
        struck += [
            (_quarters(first + Fraction(place), bar.meter), _held(length, bar.meter)) for place, length in rhythm
        ]
        first += beats
    return _off_the_line(struck[:most], bar)


def _groups(beats: int) -> tuple[int, ...]:
    """How a bar is felt: five as three and two, seven as four and three."""
    if beats <= 4:
        return (beats,)
    return (3, *_groups(beats - 3)) if beats in (5, 6) else (4, *_groups(beats - 4))


def _quarters(beats: Fraction, meter: Meter) -> Fraction:
    """A place in felt beats as quarters: half a beat is the third eighth of three in 12/8."""
    whole, part = divmod(beats, 1)
    return (whole + (Fraction(2, 3) if part and meter.compound else part)) * meter.pulse


def _held(length: str, meter: Meter) -> Fraction:
    beats = Fraction(length)
    return meter.pulse / 3 if meter.compound and beats == _SHORT else beats * meter.pulse


def _off_the_line(struck: list[tuple[Fraction, Fraction]], bar: BandBar) -> list[tuple[Fraction, Fraction]]:
    """Drop what would strike more than half of the line's own upbeats."""
    upbeats = {note.onset for note in bar.line if is_upbeat(note.onset, bar.meter)}
    left = len(upbeats) // 2
    kept = []
    for onset, length in struck:
        left -= onset in upbeats
        if onset not in upbeats or left >= 0:
            kept.append((onset, length))
    return kept


def _chordal(index: int, bar: BandBar, onset: Fraction, length: Fraction, changes: Changes) -> Chordal:
    """A chord in its place: on an upbeat it is that of the next beat."""
    place = bar.place + onset
    early = is_upbeat(onset, bar.meter)
    to_beat = bar.meter.pulse - onset % bar.meter.pulse
    chord = changes.at(place + to_beat if early else place).chord
    new = early and changes.at(place).chord != chord
    shell = bar.quarters_per_minute / float(bar.meter.pulse) >= SHELLS_FROM_BPM
    return Chordal(index, onset, length, Strike(place, chord, shell), ANTICIPATION_LU if new else 0.0)


def written(chords: Sequence[Chordal], bars: Sequence[BandBar], seed: int, bass: Sequence[BandNote]) -> list[BandNote]:
    """Chords as notes, voiced one turn of the form after the other, each ending where the next begins at the latest."""
    heard = [(bars[note.bar].place + note.onset, note.key) for note in bass]
    strikes = _with_bass([chord.strike for chord in chords], [chord.length for chord in chords], heard)
    turns = [n for n, chord in enumerate(chords) if n == 0 or _new_turn(chords[n - 1].bar, chord.bar, bars)]
    found: list[Voicing] = []
    for first, last in pairwise([*turns, len(chords)]):
        found += voiced(strikes[first:last], seed, found[-1] if found else ())
    ends = [chord.strike.place for chord in chords[1:]]
    lengths = [min(chord.length, end - chord.strike.place) for chord, end in zip(chords, ends, strict=False)]
    lengths += [chord.length for chord in chords[-1:]]
    return [
        BandNote(chord.bar, chord.onset, length, "piano", key, chord.accent_lu)
        for chord, length, keys in zip(chords, lengths, found, strict=True)
        for key in keys
    ]


def _new_turn(before: int, now: int, bars: Sequence[BandBar]) -> bool:
    return any(bars[index].fresh for index in range(before + 1, now + 1))


def _with_bass(
    strikes: Sequence[Strike], lengths: Sequence[Fraction], heard: Sequence[tuple[Fraction, int]]
) -> list[Strike]:
    """Tell each strike what the bass plays under it."""
    told, turn = [], 0
    for strike, length in zip(strikes, lengths, strict=True):
        while turn + 1 < len(heard) and heard[turn + 1][0] <= strike.place:
            turn += 1
        later = []
        for place, key in heard[turn + 1 :]:
            if place >= strike.place + length:
                break
            later.append(key)
        now = heard[turn][1] if heard and heard[turn][0] <= strike.place else None
        told.append(replace(strike, bass=now, bass_later=tuple(later)))
    return told
