"""The band's notes of a track: swung, placed and levelled as the strokes of the limbs are.

The bass lies 1.6 % of a quarter behind the drums and the piano 5.5 %: Jazz Trio Database, its notebooks on asynchrony
(H. Cheston et al., TISMIR 2024, doi 10.5334/tismir.186). The foot on the hi-hat and the bass stay within 26 ms of
each other, the farthest that Hofmann, Wesolowski & Goebl 2017, J. New Music Research 46(4), saw a hi-hat from the
pulse. A lesson's `behind_ms` and `ahead_ms` say otherwise for any part.
"""

from collections import Counter, defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import pairwise
from math import log10
from typing import NamedTuple

import numpy as np

from grooves.deviations import Floats, deviations
from grooves.feel import Feel, phrasing_lu, placement_seconds, sixteenth_beats, swing_ratio, swung, triplet_beats
from grooves.passages import Passage, heard, lowered_lu
from grooves.performed import BarMark, Note
from grooves.players import BAND_LU, Band, BandNote, ChordMark, LineOnset, TrackBar, WrittenBar
from grooves.score import Score, ScoreBar, Stroke

BEHIND_QUARTERS: Mapping[str, float] = {"bass": 0.016, "piano": 0.055, "horns": 0.0}
TOGETHER_SECONDS = 0.026
_FINE = 960 << 10  # parts of a quarter that deviations in time are rounded to: a thousandth of a MIDI tick


@dataclass(frozen=True)
class LaidBar:
    """A bar of a track on its ruler, with what is written in it."""

    mark: BarMark
    index: int  # of the bar in the score
    bar: ScoreBar
    passage: Passage


class _Moment(NamedTuple):
    """A place on the track's ruler before any deviation."""

    seconds: float
    quarters: Fraction


def written_bars(band: Band, score: Score, laid: Sequence[LaidBar], feel: Feel) -> list[WrittenBar]:
    """What a band plays in a track as it is written, bar by bar, straight eighths and all."""
    bars = _track_bars(score, laid, feel)
    notes: dict[int, list[BandNote]] = defaultdict(list)
    for note in band.play(bars, feel.seed):
        early = replace(note, bar=note.bar - 1, onset=note.onset + score.meter.length)  # a pickup, in the bar before
        notes[early.bar if note.onset < 0 else note.bar].append(early if note.onset < 0 else note)
    chords = band.chords_over(bars)
    return [WrittenBar(one.bar.number, chords[at], tuple(notes[at])) for at, one in enumerate(laid)]


def band_notes(
    band: Band, score: Score, laid: Sequence[LaidBar], feel: Feel, balance_lu: Mapping[str, float]
) -> tuple[Note, ...]:
    """What a band plays in a track, in order of time: `band_notes(score.band, score, laid, Feel(), {})`.

    A note depends on seed, part and place since the count-in, never on who else is heard.
    """
    if not laid:
        return ()
    parts: dict[str, list[BandNote]] = defaultdict(list)
    for note in band.play(_track_bars(score, laid, feel), feel.seed):
        if note.onset < 0 and note.bar == 0 and laid[0].passage.goes_round:  # its end is where the loop begins again
            note = replace(note, bar=len(laid) - 1, onset=note.onset + score.meter.length)
        parts[note.part].append(note)
    played = [one for part in parts for one in _play(parts[part], band, score, laid, feel, balance_lu)]
    return tuple(sorted(played, key=lambda note: (note.onset_seconds, note.part, note.key)))


class WrittenStrike(NamedTuple):
    """Notes of one part that begin and end together, as written, for whoever plays them at another tempo."""

    bar: int  # of the track
    onset: Fraction  # in its bar
    swing: str  # what moves its onset: "", "swing" or "triplet"
    end: Fraction  # counted from the barline of its bar, may lie past the next one
    end_swing: str
    part: str
    keys: tuple[int, ...]
    level_lu: float  # of each note


@dataclass(frozen=True)
class StruckBar:
    """One bar of a track as the band plays it: its place in the chorus, its chords, and what is struck in it."""

    place: int
    chords: tuple[ChordMark, ...]
    strikes: tuple[WrittenStrike, ...]


def struck_bars(
    band: Band, score: Score, laid: Sequence[LaidBar], feel: Feel, balance_lu: Mapping[str, float]
) -> list[StruckBar]:
    """What a band plays in a track before swing and deviations, bar by bar."""
    bars = _track_bars(score, laid, feel)
    parts: dict[str, list[BandNote]] = defaultdict(list)
    for note in band.play(bars, feel.seed):
        parts[note.part].append(note)
    strikes: dict[int, list[WrittenStrike]] = defaultdict(list)
    for part in parts.values():
        for strike in _strikes(part, score, laid, feel, balance_lu):
            strikes[strike.bar].append(strike)
    chords = band.chords_over(bars)
    return [StruckBar(bar.index, chords[at], tuple(strikes[at])) for at, bar in enumerate(bars)]


def _strikes(
    notes: Sequence[BandNote], score: Score, laid: Sequence[LaidBar], feel: Feel, balance_lu: Mapping[str, float]
) -> Iterator[WrittenStrike]:
    swing = _Swing(notes, score, laid, feel)
    together = Counter((note.bar, note.onset) for note in notes)
    alike: dict[BandNote, list[int]] = defaultdict(list)
    for note in notes:
        alike[replace(note, key=0)].append(note.key)
    for note, keys in alike.items():
        end, level_lu = note.onset + note.length, _plain_lu(note, together, balance_lu)
        moved = swing.moved_by(note.bar, note.onset), swing.moved_by(note.bar, end)
        yield WrittenStrike(note.bar, note.onset, moved[0], end, moved[1], note.part, tuple(keys), level_lu)


def _plain_lu(note: BandNote, together: Mapping[tuple[int, Fraction], int], balance_lu: Mapping[str, float]) -> float:
    """Loudness of a note: a chord as a whole sounds as loud as its part is to be."""
    plain = balance_lu.get(note.part, BAND_LU[note.part])
    return plain + note.accent_lu - 10 * log10(together[note.bar, note.onset])


def _track_bars(score: Score, laid: Sequence[LaidBar], feel: Feel) -> list[TrackBar]:
    """What the band is told of each bar: where it stands, and the line over it and before it, phrased."""
    start, bars = _start(laid), []
    for before, one in zip([_before_the_first(laid), *laid], laid, strict=False):
        strokes = () if one.passage.groove_alone else one.bar.strokes
        line, pickup = _phrased(strokes, score, feel), _phrased(_pickup_to(one, before, score), score, feel)
        early = tuple(replace(note, onset=note.onset - score.meter.length) for note in pickup)
        place = one.mark.onset_quarters - start
        index = -1 if one.passage.lead_in else one.index % score.chorus_length
        bars.append(TrackBar(index, place, one.mark.quarters_per_minute, line, early))
    return bars


def _start(laid: Sequence[LaidBar]) -> Fraction:
    """Where the first bar of the line begins, or of the groove where there is no line."""
    return next((one.mark.onset_quarters for one in laid if not one.passage.lead_in), Fraction(0))


def _before_the_first(laid: Sequence[LaidBar]) -> LaidBar | None:
    return laid[-1] if laid[0].passage.goes_round else None


def _pickup_to(one: LaidBar, before: LaidBar | None, score: Score) -> tuple[Stroke, ...]:
    """The pickup that is read before a bar, unless what is read there leaves no room for it."""
    if one.passage.groove_alone or score.pickup is None or not score.pickup_leads_to(one.index):
        return ()
    own = score.pickup.strokes[one.index // score.chorus_length]
    alone = before is not None and before.passage.groove_alone
    sounding = score.pickup.before(before.bar if before else None, alone, one.index // score.chorus_length)
    return own if set(own) <= set(sounding) else ()


def _phrased(strokes: Sequence[Stroke], score: Score, feel: Feel) -> tuple[LineOnset, ...]:
    line = [stroke for stroke in strokes if stroke.role == "line"]
    phrased = phrasing_lu(line, score.meter, feel)
    return tuple(LineOnset(s.onset, s.length, lu) for s, lu in zip(line, phrased, strict=True))


def _play(
    notes: Sequence[BandNote],
    band: Band,
    score: Score,
    laid: Sequence[LaidBar],
    feel: Feel,
    balance_lu: Mapping[str, float],
) -> Iterator[Note]:
    """One part's notes: swung, deviated as one from onset to onset, and without those that a passage leaves out."""
    part = notes[0].part
    swing = _Swing(notes, score, laid, feel)
    moments = {where: swing.at(*where) for where in {(note.bar, note.onset) for note in notes}}
    written = dict(sorted(moments.items(), key=lambda one: one[1].quarters))
    shifts, levels = _deviated(part, written, swing, score, laid, feel)
    moments = {where: _shifted(written[where], shifts[where], swing.mark(*where)) for where in written}
    together = Counter((note.bar, note.onset) for note in notes)
    after = dict(pairwise(written))
    for note in notes:
        where, one = (note.bar, note.onset), laid[note.bar]
        if heard({part}, one.passage):
            begins = moments[where]
            end, following = swing.at(note.bar, note.onset + note.length), after.get(where)
            ends = _shifted(end, shifts[where], one.mark)
            if following and end >= written[following]:  # the part goes on before its end, or at it
                ends = moments[following]
            lu = _plain_lu(note, together, balance_lu) + levels[where]
            lasts = ends.seconds - begins.seconds, ends.quarters - begins.quarters
            lowered = lowered_lu({part}, one.passage)
            yield Note(*begins, *lasts, part, band.programs[part], note.key, lu + lowered)


def _shifted(moment: _Moment, seconds: float, mark: BarMark) -> _Moment:
    quarters = Fraction(round(seconds * mark.quarters_per_minute / 60 * _FINE), _FINE) if seconds else Fraction(0)
    return _Moment(moment.seconds + seconds, moment.quarters + quarters)


class _Swing:
    """Where places of one part fall on the ruler, by the swing of each bar."""

    def __init__(self, notes: Sequence[BandNote], score: Score, laid: Sequence[LaidBar], feel: Feel) -> None:
        self._laid, self._length = laid, score.meter.length
        self._straight = score.meter.unit >= 8
        reads = score.band is not None and notes[0].part in score.band.readers
        self._swing = feel.line_swing if reads and feel.line_swing is not None else feel.swing
        self._known: dict[int, tuple[float, frozenset[int], frozenset[int]]] = {}
        self._onsets: dict[int, list[Fraction]] = defaultdict(list)
        for note in notes:
            bar, onset = self._home(note.bar, note.onset)
            self._onsets[bar].append(onset)

    def at(self, bar: int, within: Fraction) -> _Moment:
        """The moment of a place in a bar, or past its end in one of the next."""
        bar, within = self._home(bar, within)
        mark = self._laid[bar].mark
        if not self._straight and within.denominator == 2:  # an upbeat in eighths: nothing else swings
            within = swung(within, *self._known[bar] if bar in self._known else self._learnt(bar))
        seconds = mark.onset_seconds + float(within) * 60 / mark.quarters_per_minute
        return _Moment(seconds, mark.onset_quarters + within)

    def moved_by(self, bar: int, within: Fraction) -> str:
        """What moves a place: "" nothing, "swing", or "triplet" where it falls on the third of three."""
        bar, within = self._home(bar, within)
        if self._straight or within.denominator != 2:
            return ""
        _, sixteenths, triplets = self._learnt(bar)
        beat = within // 1
        return "" if beat in sixteenths else "triplet" if beat in triplets else "swing"

    def mark(self, bar: int, within: Fraction) -> BarMark:
        """The bar that a place lies in, on the ruler."""
        return self._laid[self._home(bar, within)[0]].mark

    def _home(self, bar: int, within: Fraction) -> tuple[int, Fraction]:
        """The bar that a place lies in, and where; in the count-in a place below 0 of the first bar."""
        if within < 0 and bar:
            bar, within = bar - 1, within + self._length
        while within >= self._laid[bar].mark.quarters and bar + 1 < len(self._laid):
            within -= self._laid[bar].mark.quarters
            bar += 1
        return bar, within

    def _learnt(self, bar: int) -> tuple[float, frozenset[int], frozenset[int]]:
        """A bar's ratio, and its beats that are written in sixteenths and in triplets, by the drums or by this part."""
        laid = self._laid[bar]
        strokes = laid.bar.groove_alone if laid.passage.groove_alone else laid.bar.strokes
        onsets = [*self._onsets[bar], *(stroke.onset for stroke in strokes)]
        ratio = swing_ratio(self._swing, laid.mark.quarters_per_minute)
        self._known[bar] = ratio, sixteenth_beats(onsets), triplet_beats(onsets)
        return self._known[bar]


_Where = tuple[int, Fraction]  # a bar of the track and a place in it


def _deviated(
    part: str, written: Mapping[_Where, _Moment], swing: _Swing, score: Score, laid: Sequence[LaidBar], feel: Feel
) -> tuple[dict[_Where, float], dict[_Where, float]]:
    """How far each onset of a part strays, in seconds with its placement, and how much in level."""
    start = _start(laid)
    places = np.array([float(laid[bar].mark.onset_quarters - start + onset) for bar, onset in written])
    nominal = np.array([moment.seconds for moment in written.values()])
    placed = np.full(len(places), placement_seconds(feel, part))
    shift = deviations(feel, part, "timing", places) * feel.timing_ms / 1000
    if part not in feel.placement_ms:
        paces = np.array([swing.mark(*where).quarters_per_minute for where in written])
        placed = BEHIND_QUARTERS[part] * 60 / paces
        shift = _near_the_foot(shift + placed, places, score, feel) - placed if part == "bass" else shift
    room = np.diff(nominal, prepend=-np.inf, append=np.inf) * 0.45  # as for a limb: none overtakes another
    shift = np.clip(shift, -room[:-1], room[1:]) + placed
    levels = deviations(feel, part, "level", places) * feel.level_lu
    return dict(zip(written, shift.tolist(), strict=True)), dict(zip(written, levels.tolist(), strict=True))


def _near_the_foot(shift: Floats, places: Floats, score: Score, feel: Feel) -> Floats:
    """Keep the bass within reach of the foot that closes the hi-hat, whether or not that is heard."""
    foot = score.groove.part("hi-hat")
    if not foot:
        return shift
    there = deviations(feel, foot.limb, "timing", places) * feel.timing_ms / 1000 + placement_seconds(feel, foot.limb)
    return np.asarray(np.clip(shift, there - TOGETHER_SECONDS, there + TOGETHER_SECONDS), np.float64)
