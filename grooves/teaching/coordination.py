"""Which limbs sound together in each bar, and how hard the bar is.

Conventions: `Place.onset` is a place on the grid, in quarters from the start of the bar. The rule of the grid, beat by
beat over all limbs: where the groove swings, a beat has three places and a written & stands on the third, so that it is
one place with the ride's skip note; a beat with written sixteenths does not swing and has four. In straight grooves a
beat has two places, or as many as its notes need; in x/8 meters every eighth is counted and has one. A beat that mixes
thirds and halves shows the places of both.
Sources: the measures are those of `grooves.teaching.complexity`; the formula and its weights are ours.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache
from itertools import pairwise

from grooves.fastest import fastest_per_second
from grooves.feel import sixteenth_beats
from grooves.groove import swings
from grooves.kit import FEET, HANDS, LIMBS, PARTS
from grooves.rhythm import EIGHTH, QUARTER, Meter, place_name, syllable
from grooves.score import Score, ScoreBar, Stroke
from grooves.teaching.complexity import (
    DISTANCE_WEIGHT,
    EFFORT_WEIGHT,
    HELP_WEIGHT,
    PACE_WEIGHT,
    RESTS_WEIGHT,
    SPEED_WEIGHT,
    SYNCOPATION_WEIGHT,
    TIES_WEIGHT,
    Reading,
    effort,
    read,
    rests_of,
)

CHANGES_WEIGHT = 0.25  # per change between a place where limbs sound together and one where a limb sounds alone
LIMBS_WEIGHT = 0.25  # per limb that plays in the bar


@dataclass(frozen=True)
class Place:
    """One place of the grid and who sounds there: a swing bar's last is at 11/3, count "4&"."""

    onset: Fraction  # on the grid
    count: str  # beat and syllable as on paper, "4&"
    says: str  # what is said on the grid, "let"
    limbs: tuple[str, ...] = ()  # hands first, right before left
    parts: tuple[str, ...] = ()  # from the top of the staff down
    words: str = ""  # "both hands", "ride alone"; empty where nothing sounds


def grid(score: Score, bar_index: int | None = None) -> tuple[Place, ...]:
    """All places of a bar's grid, silent ones too: a bar of swing says 1 trip let 2 trip let, and so on.

    Without `bar_index` it is the grid that holds every bar of the score, with nobody on it: a chart's columns.
    """
    swung = swings(score.groove)
    bars = score.bars if bar_index is None else [score.bars[bar_index]]
    onsets = {place for bar in bars for place in _columns(bar.strokes, score.meter, swung)}
    found = {} if bar_index is None else _by_place(score.bars[bar_index].strokes, swung)
    return tuple(_place(onset, tuple(found.get(onset, ())), score.meter) for onset in sorted(onsets))


def who_sounds(score: Score, bar_index: int) -> tuple[Place, ...]:
    """Each place of a bar where anything sounds, and who: on 2 of a swing bar "right hand and both feet together".

    `bar_index` counts `score.bars` from 0.
    """
    found = _by_place(score.bars[bar_index].strokes, swings(score.groove))
    return tuple(_place(onset, tuple(found[onset]), score.meter) for onset in sorted(found))


@lru_cache(maxsize=4096)  # a page asks for the same bars again and again
def _columns(strokes: tuple[Stroke, ...], meter: Meter, swung: bool) -> frozenset[Fraction]:
    beat = min(meter.step, QUARTER)
    sixteenths = sixteenth_beats([stroke.onset for stroke in strokes])
    columns = {_on_grid(stroke.onset, sixteenths, swung) for stroke in strokes}
    for number in range(int(meter.length / beat)):
        inside = {(onset / beat % 1).denominator for onset in columns if onset // beat == number}
        usual = 1 if beat < QUARTER else 3 if swung and number not in sixteenths else 2
        columns |= {beat * number + beat * part / parts for parts in {usual, *inside} for part in range(parts)}
    return frozenset(columns)


def _on_grid(onset: Fraction, sixteenths: frozenset[int], swung: bool) -> Fraction:
    upbeat = swung and onset % QUARTER == EIGHTH and int(onset) not in sixteenths
    return int(onset) + Fraction(2, 3) if upbeat else onset


@lru_cache(maxsize=4096)
def _by_place(strokes: tuple[Stroke, ...], swung: bool) -> dict[Fraction, list[Stroke]]:
    sixteenths = sixteenth_beats([stroke.onset for stroke in strokes])
    found: dict[Fraction, list[Stroke]] = {}
    for stroke in strokes:
        found.setdefault(_on_grid(stroke.onset, sixteenths, swung), []).append(stroke)
    return found


@lru_cache(maxsize=4096)
def _place(onset: Fraction, strokes: tuple[Stroke, ...], meter: Meter) -> Place:
    written = {stroke.onset for stroke in strokes}
    count = place_name(written.pop() if len(written) == 1 else onset, meter)
    limbs = tuple(limb for limb in LIMBS if any(stroke.limb == limb for stroke in strokes))
    parts = tuple(part for part in PARTS if any(stroke.part == part for stroke in strokes))
    return Place(onset, count, syllable(onset, meter), limbs, parts, _words(limbs, strokes))


def _words(limbs: Sequence[str], strokes: Sequence[Stroke]) -> str:
    """Who sounds, as a teacher says it: an instrument by itself by its name, several limbs by theirs."""
    if len(limbs) < 2:
        return f"{strokes[0].instrument} alone" if strokes else ""
    if len(limbs) == len(LIMBS):
        return "all four limbs"
    pairs = {HANDS: "both hands", FEET: "both feet"}
    names = [name for pair in (HANDS, FEET) for name in _group(pair, limbs, pairs[pair])]
    return names[0] if len(names) == 1 else f"{' and '.join(names)} together"


def _group(pair: tuple[str, ...], limbs: Sequence[str], both: str) -> list[str]:
    found = [limb for limb in pair if limb in limbs]
    return [both] if len(found) == len(pair) else found


# --- difficulty ---------------------------------------------------------------------------------


@dataclass(frozen=True)
class Ingredient:
    """One part of a bar's difficulty: `Ingredient("syncopation", 3.0, 1.0)` adds 3 points."""

    name: str
    value: float
    weight: float  # ours

    @property
    def points(self) -> float:
        """What it adds to the total."""
        return self.value * self.weight


@dataclass(frozen=True)
class Difficulty:
    """How hard one bar is: `difficulty(score, 0).total` is the sum of its ingredients' points."""

    bar_index: int  # into score.bars
    number: int  # of the bar in the line, from 1
    ingredients: tuple[Ingredient, ...]
    why: str  # one sentence

    @property
    def total(self) -> float:
        """The sum of all ingredients' points, at their weights.

        1.0 syncopation - 0.75 of it that falls together with another limb + 1.0 beat distance + 1.5 ties
        + 0.4 changes of pace + 0.6 rests + 0.25 changes between together and alone + 0.25 limbs
        + 0.4 notes per second + 8.0 effort squared. The weights are ours.
        """
        return sum(ingredient.points for ingredient in self.ingredients)

    def value(self, name: str) -> float:
        """One ingredient by its name: `difficulty(score, 0).value("limbs")` is 4.0 where all four play."""
        return next(ingredient.value for ingredient in self.ingredients if ingredient.name == name)


def difficulty(score: Score, bar_index: int) -> Difficulty:
    """How hard a bar of the score is, part by part, with one sentence on why.

    Syncopation (Longuet-Higgins & Lee 1984), weighted beat distance (Gómez et al. 2005), ties over a
    strong beat inside the bar or over the barline, and notes per second look at the reader's notes,
    up to the first of a later bar; changes between together and alone and the limbs in play look at
    everyone. Help: the syncopation of notes that fall together with another limb, which carries them.
    Effort: the reading limb's quickest three strokes in a row, as a share of the fastest that a hand (12 a
    second) or a foot (8, ours) can do, squared. The last bar is followed by the first.
    """
    bar = score.bars[bar_index]
    notes = [stroke for stroke in bar.strokes if stroke.role == "line"]
    spans = [(note.onset, note.onset + note.length) for note in notes]
    carried = {stroke.onset for stroke in bar.strokes if stroke.role == "time"}
    next_onset = _next_onset(score, bar_index)
    reading = read(spans, next_onset, score.meter, carried, rests_of(bar.line))
    sounding = who_sounds(score, bar_index)
    seconds = float(score.meter.length / score.groove.beat) * 60 / score.tempo_bpm
    ingredients = (
        Ingredient("syncopation", float(reading.syncopation), SYNCOPATION_WEIGHT),
        Ingredient("help", float(reading.helped), HELP_WEIGHT),
        Ingredient("beat distance", float(reading.distance), DISTANCE_WEIGHT),
        Ingredient("ties", float(len(reading.held)), TIES_WEIGHT),
        Ingredient("pace changes", float(reading.pace_changes), PACE_WEIGHT),
        Ingredient("rests", float(reading.rests), RESTS_WEIGHT),
        Ingredient("changes", float(len(_changes(sounding))), CHANGES_WEIGHT),
        Ingredient("limbs", float(len({stroke.limb for stroke in bar.strokes})), LIMBS_WEIGHT),
        Ingredient("notes per second", sum(stroke.role != "time" for stroke in bar.strokes) / seconds, SPEED_WEIGHT),
        Ingredient("effort squared", _effort(score, bar, next_onset) ** 2, EFFORT_WEIGHT),
    )
    return Difficulty(bar_index, bar.number, ingredients, _why(ingredients, reading, sounding, bar, score.meter))


def _effort(score: Score, bar: ScoreBar, next_onset: Fraction) -> float:
    """The most that a reading limb is asked for, as a share of its fastest."""
    by_limb: dict[str, list[Fraction]] = {}
    for stroke in bar.strokes:
        if stroke.role != "time":
            by_limb.setdefault(stroke.limb, []).append(stroke.onset)
    alone = len(by_limb) == 1
    quarters_per_minute = score.tempo_bpm * float(score.groove.beat)
    asked = (
        effort([*onsets, next_onset] if alone else onsets, quarters_per_minute, fastest_per_second(limb))
        for limb, onsets in by_limb.items()
    )
    return max(asked, default=0.0)


def hardest_first(score: Score) -> tuple[Difficulty, ...]:
    """Every bar of the line once, at its hardest, the hardest bar first; equal ones in the order of the line."""
    ranked = sorted(
        (difficulty(score, index) for index in range(len(score.bars))),
        key=lambda found: (-found.total, found.number, found.bar_index),
    )
    hardest: dict[int, Difficulty] = {}
    for found in ranked:
        hardest.setdefault(found.number, found)
    return tuple(hardest.values())


def _next_onset(score: Score, bar_index: int) -> Fraction:
    """Where the reader's next note after a bar is struck, from the start of that bar."""
    for ahead in range(1, len(score.bars) + 1):
        later = score.bars[(bar_index + ahead) % len(score.bars)]
        for stroke in later.strokes:
            if stroke.role == "line":
                return ahead * score.meter.length + stroke.onset
    return 2 * score.meter.length


def _changes(sounding: Sequence[Place]) -> list[tuple[Place, Place]]:
    """Neighbouring places where limbs that sound together give way to one alone, or the other way round."""
    return [(a, b) for a, b in pairwise(sounding) if (len(a.limbs) > 1) != (len(b.limbs) > 1)]


# --- the reason in words ------------------------------------------------------------------------


def spoken(onset: Fraction, meter: Meter) -> str:
    """A place inside a sentence: `spoken(Fraction(3, 2), Meter(4, 4))` is "the & of 2", the barline "the next 1"."""
    if onset >= meter.length:
        return f"the next {spoken(onset % meter.length, meter)}"
    said = syllable(onset, meter)
    return said if said.isdigit() else f"the {said} of {onset // meter.step + 1}"


def _listed(onsets: Sequence[Fraction], meter: Meter) -> str:
    *others, last = [spoken(onset, meter) for onset in sorted(set(onsets))]
    return f"{', '.join(others)} and {last}" if others else last


def _why(
    ingredients: Sequence[Ingredient], reading: Reading, sounding: Sequence[Place], bar: ScoreBar, meter: Meter
) -> str:
    """One sentence on the ingredient with the most points, naming its beats."""
    if not reading.notes:
        return "The line rests here; only the time goes on."
    most = max(ingredients, key=lambda ingredient: ingredient.points)
    match most.name:
        case "syncopation":
            return _why_early(reading, meter)
        case "beat distance":
            return _why_between(bar, meter)
        case "ties":
            return _why_held(reading, meter)
        case "changes":
            return _why_changes(sounding, meter)
        case "pace changes":
            return f"The notes do not come evenly: their pace changes {_times(reading.pace_changes)}."
        case "rests":
            return f"The line falls silent {_times(reading.rests)} and comes in again."
        case "limbs":
            return _why_limbs(sounding, meter)
    per_second = next(one.value for one in ingredients if one.name == "notes per second")
    return _why_fast(bar, per_second, meter)


def _times(number: int) -> str:
    return "once" if number == 1 else f"{number} times"


def _why_early(reading: Reading, meter: Meter) -> str:
    top = max(found.strength for found in reading.syncopations)
    strongest = [found for found in reading.syncopations if found.strength == top]
    notes = _listed([found.note for found in strongest], meter)
    over = _listed([found.over for found in strongest], meter)
    many = len(strongest) > 1
    if not any(found.note % meter.pulse for found in strongest):
        return f"After the note{'s' * many} on {notes} {'come' if many else 'comes'} {over}, stronger and not struck."
    if not many:
        return f"The note on {notes} comes early: {over} is stronger and is not struck."
    return f"The notes on {notes} come early: {over} are stronger and are not struck."


def _why_between(bar: ScoreBar, meter: Meter) -> str:
    notes = [stroke.onset for stroke in bar.strokes if stroke.role == "line"]
    between = [onset for onset in notes if onset % meter.pulse]
    return f"{len(between)} of the {len(notes)} notes fall between the beats, on {_listed(between, meter)}."


def _why_held(reading: Reading, meter: Meter) -> str:
    held = [f"the note on {spoken(note, meter)} over {spoken(beat, meter)}" for note, beat in reading.held]
    return f"The line holds {' and '.join(held)}, where the beat wants a stroke."


def _why_changes(sounding: Sequence[Place], meter: Meter) -> str:
    changes = _changes(sounding)
    first = f"{spoken(changes[0][0].onset, meter)} and {spoken(changes[0][1].onset, meter)}"
    return f"Strokes together and strokes alone change {len(changes)} times, first between {first}."


def _why_limbs(sounding: Sequence[Place], meter: Meter) -> str:
    playing = {limb for place in sounding for limb in place.limbs}
    most = max(len(place.limbs) for place in sounding)
    meeting = _listed([place.onset for place in sounding if len(place.limbs) == most], meter)
    number = ("One limb plays", "Two limbs play", "Three limbs play", "All four limbs play")[len(playing) - 1]
    return f"{number}, and {most if most < len(LIMBS) else 'all'} of them meet on {meeting}."


def _why_fast(bar: ScoreBar, per_second: float, meter: Meter) -> str:
    notes = [stroke.onset for stroke in bar.strokes if stroke.role != "time"]
    gaps = [(after - before, before, after) for before, after in pairwise(notes)]
    where = f", closest from {spoken(min(gaps)[1], meter)} to {spoken(min(gaps)[2], meter)}" if gaps else ""
    return f"The notes come fast: {per_second:.1f} a second{where}."
