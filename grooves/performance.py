"""Passages played: every stroke as seconds, instrument and loudness. The only door from paper to sound."""

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from fractions import Fraction
from typing import TYPE_CHECKING, NamedTuple

from grooves.feel import (
    Feel,
    phrasing_lu,
    placement_seconds,
    sixteenth_beats,
    swing_ratio,
    swung,
    triplet_beats,
)
from grooves.kit import INSTRUMENTS
from grooves.passages import Passage, count_in_beats, heard, plays, softened_lu
from grooves.performed import BarMark as BarMark
from grooves.performed import Hit as Hit
from grooves.performed import Note as Note
from grooves.performed import Performance as Performance
from grooves.players import Band, WrittenBar
from grooves.rhythm import Meter
from grooves.score import Score, ScoreBar, Stroke

if TYPE_CHECKING:
    from grooves.accompany import LaidBar, StruckBar

# Levels against the ride's plain stroke, LU: ours, set by ear. The line lies under the ride on every limb.
LINE_LU: Mapping[str, float] = {"snare": -4, "cross-stick": -5, "bass drum": -5, "hi-hat": -5, "ride": 0}
GAPS_BELOW_LINE_LU = -6.0
COUNT_IN_LU = -2.0
CLICK_LU = -4.0
CLICK_DOWNBEAT_LU = 3.0
_FINE = 960 << 10  # parts of a quarter that deviations in time are rounded to: a thousandth of a MIDI tick


_Laid = tuple[BarMark, ScoreBar | None, Passage, int]  # an empty ScoreBar is a bar of count-in, its number the last


def level_of(stroke: Stroke, score: Score, balance_lu: Mapping[str, float]) -> float:
    """Loudness of a plain stroke: what the lesson's balance says, else the groove, else the line's default."""
    if stroke.role == "time":
        part = score.groove.part(stroke.part)
        return balance_lu.get(stroke.part, part.level_lu if part else 0.0)
    line = balance_lu.get("line", LINE_LU.get(stroke.instrument, -4.0))
    return line if stroke.role == "line" else balance_lu.get("gaps", line + GAPS_BELOW_LINE_LU)


def written_levels(strokes: Sequence[Stroke], score: Score, feel: Feel, balance_lu: Mapping[str, float]) -> list[float]:
    """Loudness of each stroke of one bar before any deviation: its plain level, its accent, the line's phrasing."""
    line = [stroke for stroke in strokes if stroke.role == "line"]
    phrased = dict(zip(map(id, line), phrasing_lu(line, score.meter, feel), strict=True))
    return [level_of(stroke, score, balance_lu) + stroke.accent_lu + phrased.get(id(stroke), 0.0) for stroke in strokes]


class _Written(NamedTuple):
    """A stroke of a bar at a tempo, before any deviation."""

    stroke: Stroke
    within: Fraction  # quarters from the barline, swung
    within_seconds: float
    level_lu: float


class _Placed(NamedTuple):
    """A stroke on the track's ruler, before any deviation."""

    written: _Written
    passage: Passage
    mark: BarMark
    place: Fraction  # quarters since the count-in, as written: what its deviation depends on
    pace_before: float  # quarters a minute of the bars about it, where an early or a late stroke falls
    pace_after: float

    @property
    def onset_seconds(self) -> float:
        return self.mark.onset_seconds + self.written.within_seconds


def perform(
    score: Score, passages: Sequence[Passage], feel: Feel, balance_lu: Mapping[str, float] | None = None
) -> Performance:
    """Play passages: `perform(score, track_passages(Track("full"), score), Feel())`.

    A stroke's deviation depends on seed, limb and place since the count-in, so leaving a limb out,
    or counting in for longer, changes no other stroke.
    """
    marks = tuple(_lay_bars(score, passages))
    helpers = [hit for mark, _, passage, turn in marks for hit in _helper_hits(mark, passage, turn, score.meter)]
    placed = _place_strokes(score, marks, feel, balance_lu or {})
    by_limb: dict[str, list[_Placed]] = defaultdict(list)
    for one in placed:
        by_limb[one.written.stroke.limb].append(one)
    played = [hit for limb in by_limb for hit in _play_limb(limb, by_limb[limb], feel)]
    hits = sorted([*helpers, *played], key=lambda hit: (hit.onset_seconds, hit.part))
    bars = tuple(mark for mark, *_ in marks)
    if score.band is None or not _is_heard(score.band, passages):
        return Performance(score.title, score.meter, tuple(hits), bars)
    from grooves.accompany import band_notes

    notes = band_notes(score.band, score, _for_the_band(marks), feel, balance_lu or {})
    return Performance(score.title, score.meter, tuple(hits), bars, notes, score.band.key_signature)


def _is_heard(band: Band, passages: Sequence[Passage]) -> bool:
    return any(heard({part}, passage) for passage in passages if passage.bars for part in band.parts)


def band_sheet(score: Score, passages: Sequence[Passage], feel: Feel) -> list[WrittenBar]:
    """What the band plays in passages, as written; nothing without one: `band_sheet(score, passages, Feel())`."""
    from grooves.accompany import written_bars

    laid = _for_the_band(tuple(_lay_bars(score, passages)))
    return written_bars(score.band, score, laid, feel) if score.band and laid else []


def band_bars(
    score: Score, passages: Sequence[Passage], feel: Feel, balance_lu: Mapping[str, float]
) -> "list[StruckBar]":
    """The same with levels, for whoever plays it at another tempo: `band_bars(score, passages, Feel(), {})`."""
    from grooves.accompany import struck_bars

    laid = _for_the_band(tuple(_lay_bars(score, passages)))
    return struck_bars(score.band, score, laid, feel, balance_lu) if score.band and laid else []


def _for_the_band(marks: Sequence[_Laid]) -> "list[LaidBar]":
    from grooves.accompany import LaidBar

    return [LaidBar(mark, one.bars[turn % len(one.bars)], bar, one) for mark, bar, one, turn in marks if bar]


def _lay_bars(score: Score, passages: Sequence[Passage]) -> Iterator[_Laid]:
    """Put bar after bar on the ruler, exactly."""
    seconds, quarters = Fraction(0), Fraction(0)
    for passage in passages:
        pace = Fraction(passage.tempo_bpm) * score.groove.beat
        bar_seconds = score.meter.length * 60 / pace
        bars = [score.bars[index] for _ in range(passage.times) for index in passage.bars]
        for turn, bar in enumerate(bars or [None] * passage.count_in):
            label = "pickup" if passage.lead_in else f"bar {bar.number}" if bar else "count-in"
            length = score.meter.length
            letter = score.letter_over(bar.number) if bar and not passage.lead_in else ""
            mark = BarMark(float(seconds), quarters, length, float(bar_seconds), float(pace), label, letter)
            yield mark, bar, passage, turn
            seconds += bar_seconds
            quarters += length


def _helper_hits(mark: BarMark, passage: Passage, turn: int, meter: Meter) -> Iterator[Hit]:
    """The count-in and the click: exact, and never swung."""
    if passage.count_in:
        for beat in count_in_beats(turn, passage.count_in, meter):
            yield _helper_hit(mark, beat * meter.pulse, "count-in", "sticks", COUNT_IN_LU)
    elif passage.click != "off" and not passage.silent:
        first, step = (0, 1) if passage.click == "every beat" else (1, 2)
        for beat in range(first, meter.pulses, step):
            level_lu = CLICK_LU + (CLICK_DOWNBEAT_LU if beat == 0 else 0)
            yield _helper_hit(mark, beat * meter.pulse, "click", "click", level_lu)


def _helper_hit(mark: BarMark, within: Fraction, part: str, instrument: str, level_lu: float) -> Hit:
    seconds = mark.onset_seconds + float(within) * 60 / mark.quarters_per_minute
    return Hit(seconds, mark.onset_quarters + within, part, "", instrument, INSTRUMENTS[instrument].key, level_lu)


def _place_strokes(score: Score, marks: Sequence[_Laid], feel: Feel, balance_lu: Mapping[str, float]) -> list[_Placed]:
    """Every stroke of every bar, sounding or not, so that a silent one shapes its neighbours all the same."""
    placed: list[_Placed] = []
    start = next((mark.onset_quarters for mark, bar, passage, _ in marks if bar and not passage.lead_in), Fraction(0))
    known: dict[tuple[int, bool, float, int | None], list[_Written]] = {}
    round_again = marks[0] if marks and marks[-1][2].goes_round else None
    paces = [mark.quarters_per_minute for mark, *_ in marks]
    about = zip(paces[:1] + paces, paces[1:] + paces[-1:], strict=False)
    for (mark, bar, passage, _), after, beside in zip(marks, (*marks[1:], round_again), about, strict=True):
        reading = _pickup_reading(score, after)
        if bar is None and reading is None:
            continue
        once = id(bar), passage.groove_alone, mark.quarters_per_minute, reading
        if once not in known:
            strokes = _strokes(score, bar, passage.groove_alone, reading)
            known[once] = _write_bar(strokes, mark.quarters_per_minute, score, feel, balance_lu)
        since = mark.onset_quarters - start
        for one in known[once]:
            leads = after if _is_pickup(one.stroke, score, reading) else None  # it is played as the bar it leads to
            placed.append(_Placed(one, leads[2] if leads else passage, mark, since + one.stroke.onset, *beside))
    return placed


def _pickup_reading(score: Score, after: _Laid | None) -> int | None:
    """Which reading's pickup leads to the bar that follows, None where none does."""
    if after is None or not after[2].bars or after[2].groove_alone:
        return None
    index = after[2].bars[after[3] % len(after[2].bars)]
    return index // score.chorus_length if score.pickup_leads_to(index) else None


def _strokes(score: Score, bar: ScoreBar | None, groove_alone: bool, reading: int | None) -> tuple[Stroke, ...]:
    if score.pickup is not None and reading is not None:
        return score.pickup.before(bar, groove_alone, reading)
    return () if bar is None else bar.groove_alone if groove_alone else bar.strokes


def _is_pickup(stroke: Stroke, score: Score, reading: int | None) -> bool:
    return score.pickup is not None and reading is not None and stroke in score.pickup.strokes[reading]


def _write_bar(
    strokes: Sequence[Stroke], quarters_per_minute: float, score: Score, feel: Feel, balance_lu: Mapping[str, float]
) -> list[_Written]:
    """A bar's strokes at a tempo, the same each time that it comes."""
    levels = written_levels(strokes, score, feel, balance_lu)
    onsets = [stroke.onset for stroke in strokes]
    straight, thirds = sixteenth_beats(onsets), triplet_beats(onsets)  # on all limbs, so that hands fall together
    written = []
    for stroke, level_lu in zip(strokes, levels, strict=True):
        within = stroke.onset
        if score.meter.unit < 8:  # in x/8 the eighth is the beat and stays
            own_swing = feel.line_swing if stroke.role != "time" and feel.line_swing is not None else feel.swing
            ratio = swing_ratio(own_swing, quarters_per_minute)
            within = swung(stroke.onset, ratio, straight, thirds)
        written.append(_Written(stroke, within, float(within) * 60 / quarters_per_minute, level_lu))
    return written


def _play_limb(limb: str, placed: Sequence[_Placed], feel: Feel) -> Iterator[Hit]:
    """Deviate a limb's strokes in time and level, and let those sound that the passage wants."""
    import numpy as np  # here, since whoever only reads or lists a lesson needs none of it

    from grooves.deviations import deviations

    places = np.array([float(one.place) for one in placed])
    nominal = np.array([one.onset_seconds for one in placed])
    shift = deviations(feel, limb, "timing", places) * feel.timing_ms / 1000
    room = np.diff(nominal, prepend=-np.inf, append=np.inf) * 0.45  # under half the gap, so none overtakes another
    shift = np.clip(shift, -room[:-1], room[1:]) + placement_seconds(feel, limb)
    levels = deviations(feel, limb, "level", places) * feel.level_lu
    for one, offset, deviation in zip(placed, shift.tolist(), levels.tolist(), strict=True):
        if plays(one.written.stroke, one.passage):
            yield _play(one, offset, deviation * one.written.stroke.spread)


def _play(one: _Placed, offset_seconds: float, deviation_lu: float) -> Hit:
    stroke = one.written.stroke
    quarters = one.mark.onset_quarters + one.written.within
    if offset_seconds:
        quarters += Fraction(round(_moved_quarters(one, offset_seconds) * _FINE), _FINE)
    level_lu = one.written.level_lu + softened_lu(stroke, one.passage) + deviation_lu
    key = INSTRUMENTS[stroke.instrument].key
    return Hit(one.onset_seconds + offset_seconds, quarters, stroke.part, stroke.limb, stroke.instrument, key, level_lu)


def _moved_quarters(one: _Placed, offset_seconds: float) -> float:
    """How far a stroke moves on the ruler: past a barline at the pace of the bar that it falls into."""
    pace, moved = one.mark.quarters_per_minute, one.written.within_seconds + offset_seconds
    past = min(moved, 0.0) + max(moved - one.mark.seconds, 0.0)
    beside = one.pace_before if past < 0 else one.pace_after
    return offset_seconds * pace / 60 + past * (beside - pace) / 60
