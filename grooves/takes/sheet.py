"""What a take is held against: every stroke of a track that all limbs together should play, in exact time.

A student plays what the track leaves out, and may play the rest as well; so every part is written here, also in bars
in which the track is silent. Places on paper stay beside the seconds, so that an answer can name bar and beat.
"""

from bisect import bisect_right
from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from grooves.feel import Feel, placement_seconds, swing_ratio
from grooves.kit import LIMBS, PARTS
from grooves.lesson import Lesson
from grooves.passages import Passage, Track, single_bars, track_passages
from grooves.performance import Hit, Performance, perform
from grooves.rhythm import Meter
from grooves.score import Score, Stroke


@dataclass(frozen=True)
class Written:
    """One stroke that a take should have, in seconds of the track: `sheet.strokes[0].part` is "ride"."""

    onset_seconds: float  # where the lesson wants it, its own placement of the limb included
    limb: str
    part: str
    bar: int  # index into Sheet.bars
    place: Fraction  # in its bar, as on paper; below 0 in a pickup to it
    role: str = "time"
    level_lu: float = 0.0  # against the ride's plain stroke


@dataclass(frozen=True)
class SheetBar:
    """One bar of the track: which bar of the line it is, in which round, where it lies."""

    number: int
    round: int  # 1 the first time that this bar comes
    score_bar: int  # index into score.bars
    onset_seconds: float
    seconds: float
    beat_seconds: float


@dataclass(frozen=True)
class Sheet:
    """All strokes of a track in order of time, its bars in order, and the swing that is asked."""

    strokes: tuple[Written, ...]
    bars: tuple[SheetBar, ...]
    meter: Meter
    swing: float | None  # long:short; None where the eighth is the beat

    @property
    def parts(self) -> tuple[str, ...]:
        """The parts that are written, from the top of the staff down."""
        here = {stroke.part for stroke in self.strokes}
        return tuple(part for part in PARTS if part in here)

    @property
    def limb_parts(self) -> tuple[tuple[str, str], ...]:
        """Each limb with each part that it plays, hands first."""
        here = {(stroke.limb, stroke.part) for stroke in self.strokes}
        return tuple((limb, part) for limb in LIMBS for part in self.parts if (limb, part) in here)

    @property
    def begins_seconds(self) -> float:
        """Where strokes begin to count: a quarter of a beat before the first bar; a pickup is written out by itself."""
        return self.bars[0].onset_seconds - self.bars[0].beat_seconds / 4

    @property
    def end_seconds(self) -> float:
        """The last barline."""
        return self.bars[-1].onset_seconds + self.bars[-1].seconds


def sheet_of(lesson: Lesson, track: Track) -> Sheet:
    """Write out a track of a lesson for all limbs: `sheet_of(lesson, lesson.tracks[-1]).strokes`."""
    passages = track_passages(track, lesson.score, lesson.choruses, lesson.count_in)
    return write_sheet(lesson.score, passages, lesson.feel, lesson.balance_lu)


def write_sheet(
    score: Score, passages: Sequence[Passage], feel: Feel, balance_lu: Mapping[str, float] | None = None
) -> Sheet:
    """Write out passages for all limbs: `write_sheet(score, passages, Feel()).bars[0].number` is 1."""
    everyone = [replace(one, without=frozenset(), only=frozenset(), softer_lu={}, silent=False) for one in passages]
    exact = replace(feel, timing_ms=0.0, level_lu=0.0, placement_ms={})
    performance = perform(score, everyone, exact, balance_lu or {})
    played = [one for one in single_bars(everyone) if one.bars]
    bars = tuple(_bars(score, performance, played))
    strokes = sorted(_strokes(score, performance, played, feel), key=lambda one: (one.onset_seconds, one.part))
    ratios = [swing_ratio(feel.swing, mark.quarters_per_minute) for mark in performance.bars]
    swing = sorted(ratios)[len(ratios) // 2] if score.meter.unit < 8 else None
    return Sheet(tuple(strokes), bars, score.meter, swing)


def _marks(performance: Performance) -> list[int]:
    return [place for place, mark in enumerate(performance.bars) if mark.label != "count-in"]


def _bars(score: Score, performance: Performance, played: Sequence[Passage]) -> list[SheetBar]:
    rounds: Counter[int] = Counter()
    bars = []
    for place, passage in zip(_marks(performance), played, strict=True):
        mark, number = performance.bars[place], score.bars[passage.bars[0]].number
        rounds[number] += 1
        beat = float(score.meter.pulse) * 60 / mark.quarters_per_minute
        bars.append(SheetBar(number, rounds[number], passage.bars[0], mark.onset_seconds, mark.seconds, beat))
    return bars


def _strokes(score: Score, performance: Performance, played: Sequence[Passage], feel: Feel) -> list[Written]:
    """The hits of each part of a bar beside its strokes on paper: neither overtakes another."""
    places = _marks(performance)
    starts = [mark.onset_quarters for mark in performance.bars]
    by_bar: dict[int, list[Hit]] = defaultdict(list)
    for hit in performance.hits:
        if hit.limb in LIMBS:
            by_bar[bisect_right(starts, hit.onset_quarters) - 1].append(hit)
    found = []
    for bar, (place, passage) in enumerate(zip(places, played, strict=True)):
        own, pickup = score.bars[passage.bars[0]], _pickup_to(score, played[: bar + 1][-2:])
        strokes = own.groove_alone if passage.groove_alone else own.strokes
        before = [hit for hit in by_bar[place - 1] if place and hit.onset_quarters >= starts[place - 1] + _start(score)]
        early = [(replace(one, onset=one.onset - score.meter.length), hit) for one, hit in _pairs(pickup, before)]
        for stroke, hit in (*early, *_pairs(strokes, by_bar[place])):
            onset = hit.onset_seconds + placement_seconds(feel, stroke.limb)
            found.append(Written(onset, stroke.limb, stroke.part, bar, stroke.onset, stroke.role, hit.level_lu))
    return found


def _start(score: Score) -> Fraction:
    return score.pickup.start if score.pickup else score.meter.length


def _pickup_to(score: Score, two: Sequence[Passage]) -> tuple[Stroke, ...]:
    """The pickup that is read before the last of some bars, unless the bar before it leaves no room."""
    *before, bar = two
    if score.pickup is None or bar.groove_alone or not score.pickup_leads_to(bar.bars[0]):
        return ()
    reading = bar.bars[0] // score.chorus_length
    there = score.bars[before[0].bars[0]] if before else None
    sounding = score.pickup.before(there, bool(before) and before[0].groove_alone, reading)
    own = score.pickup.strokes[reading]
    return own if set(own) <= set(sounding) else ()


def _pairs(strokes: Sequence[Stroke], hits: Sequence[Hit]) -> list[tuple[Stroke, Hit]]:
    by_part: dict[tuple[str, str], list[Hit]] = defaultdict(list)
    for hit in sorted(hits, key=lambda one: one.onset_quarters):
        by_part[hit.limb, hit.part].append(hit)
    ordered = sorted(strokes, key=lambda one: one.onset)  # a limb that reads a pickup leaves its pattern before bar 1
    return [(one, by_part[one.limb, one.part].pop(0)) for one in ordered if by_part[one.limb, one.part]]
