"""Chords under two hands' left one: rootless voicings, each as near as may be to the one before.

Third, fifth, seventh and ninth from the third up, or from the seventh up; at fast tempos the third and seventh alone.
Where that would double the bass or leap, the other two may lie at the bottom. Common practice, no source.
The nearest way through them is found by dynamic programming. Costs are ours.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache

from grooves.band.chance import drawn_many
from grooves.band.chords import Chord

LOWEST, HIGHEST = 50, 72  # common practice, no source
SHELLS_FROM_BPM = 240.0  # felt beats a minute from which two notes are enough; ours
FARTHEST = 7  # semitones that no voice of a chord moves beyond into the next one of as many notes

Voicing = tuple[int, ...]  # MIDI keys from the lowest up

_DOUBLED = 60.0  # its lowest note is the bass note of the moment, in whatever octave
_DOUBLED_LATER = 1.5  # the bass comes to that note while the chord sounds
_TOO_FAR = 20.0
_OFF_CENTRE = 0.15  # times semitones from the centre of the range
_OTHER_LOWEST = 9.0  # neither third nor seventh at the bottom
_TASTE = 1.5
_CENTRE = 61.0


@dataclass(frozen=True)
class Strike:
    """A chord to be voiced: where, which, how full, and what the bass plays then and while it sounds."""

    place: Fraction
    chord: Chord
    shell: bool = False
    bass: int | None = None  # MIDI key
    bass_later: tuple[int, ...] = ()


@lru_cache(maxsize=1024)
def voicings(chord: Chord, shell: bool = False) -> tuple[Voicing, ...]:
    """Every rootless voicing of a chord in the range: `voicings(parse_chord("Dm7"))` has F A C E among them."""
    orders = _shells(chord) if shell else _orders(chord)
    return tuple(
        stacked
        for order in orders
        for octave in range(3, 7)
        if (stacked := _stacked(order, 12 * octave + chord.root))[0] >= LOWEST and stacked[-1] <= HIGHEST
    )


def _shells(chord: Chord) -> tuple[Voicing, ...]:
    third, _, seventh, _ = _voices(chord)
    return (third, seventh), (seventh, third)


def _orders(chord: Chord) -> tuple[Voicing, ...]:
    """The four voices in close order, from the third up and from the seventh up; last, from the other two up."""
    voices = _voices(chord)
    return tuple((*voices[first:], *voices[:first]) for first in (0, 2, 1, 3))


def _voices(chord: Chord) -> tuple[int, int, int, int]:
    """Third, fifth (or what the symbol says instead), seventh and ninth, in semitones above the root."""
    upper = {tone % 12 for tone in chord.tones if tone > 12}
    fifth = next((tone for tone in (9, 8, 6) if tone in upper), chord.fifth)
    seventh = chord.seventh or {(4, 7): 9, (3, 6): 9}.get((chord.third, chord.fifth), 10)  # a triad takes on a colour
    ninth = next((tone for tone in (1, 3) if tone in upper), 0 if chord.fifth == 6 and chord.third == 3 else 2)
    return chord.third, fifth, seventh, ninth


def _stacked(steps: Sequence[int], root: int) -> Voicing:
    """Tones one above the other, each within an octave of the one below."""
    keys = [root + steps[0]]
    for step in steps[1:]:
        keys.append(keys[-1] + ((root + step - keys[-1]) % 12 or 12))
    return tuple(keys)


@lru_cache(maxsize=1024)
def _other_lowest(chord: Chord) -> frozenset[Voicing]:
    """Voicings with neither third nor seventh at the bottom: for want of a better one."""
    lowest = {(chord.root + step) % 12 for pair in _shells(chord)[:1] for step in pair}
    return frozenset(keys for keys in voicings(chord) if keys[0] % 12 not in lowest)


def voiced(strikes: Sequence[Strike], seed: int, before: Voicing = ()) -> list[Voicing]:
    """The nearest way through some chords, one voicing for each; `before` is the last one played."""
    costs: dict[Voicing, float] = {before: 0.0}
    back: list[dict[Voicing, Voicing]] = []
    for strike in strikes:
        own = _own_costs(strike, seed)
        ways = {new: min((cost + movement(old, new), old) for old, cost in costs.items()) for new in own}
        came = {new: old for new, (_, old) in ways.items()}
        costs = {new: ways[new][0] + own[new] for new in own}
        back.append(came)
    path = [min(costs, key=lambda new: costs[new])]
    for came in reversed(back):
        path.append(came[path[-1]])
    return path[-2::-1]


def _own_costs(strike: Strike, seed: int) -> dict[Voicing, float]:
    choices = voicings(strike.chord, strike.shell)
    taste = drawn_many(seed, "piano/taste", strike.place, len(choices))
    others = _other_lowest(strike.chord) if not strike.shell else frozenset()
    costs = {}
    for keys, liked in zip(choices, taste.tolist(), strict=True):
        cost = _TASTE * liked + _OFF_CENTRE * abs(sum(keys) / len(keys) - _CENTRE) + _OTHER_LOWEST * (keys in others)
        if strike.bass is not None and (strike.bass - keys[0]) % 12 == 0:
            cost += _DOUBLED
        costs[keys] = cost + _DOUBLED_LATER * any((key - keys[0]) % 12 == 0 for key in strike.bass_later)
    return costs


def movement(old: Voicing, new: Voicing) -> float:
    """How far the voices of a chord move into the next, in semitones: 0 where there was none or fewer of them."""
    if len(old) != len(new):
        return 0.0
    moves = [abs(there - here) for here, there in zip(old, new, strict=True)]
    return sum(moves) + _TOO_FAR * (max(moves) > FARTHEST)
