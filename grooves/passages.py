"""Tracks as lists of passages: which bars, how fast, who plays, how many times.

Nothing else in the house repeats, slows or drops anything. Each shape of practice (ladder, trading,
fading, silent bars, loop, count-in) is one small function from passages to passages.
"""

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence, Set
from dataclasses import dataclass, field, replace
from itertools import groupby

from grooves.errors import LessonError
from grooves.rhythm import Meter
from grooves.score import Score, Stroke

CLICKS = ("off", "every beat", "2 and 4")
LINE = "line"  # names the reading line, whoever plays it


@dataclass(frozen=True)
class Passage:
    """Some bars at a tempo: `Passage((5,), 72.0, times=8, without=frozenset({"snare"}))` is bar 6, eight times."""

    bars: tuple[int, ...]  # indexes into score.bars
    tempo_bpm: float
    times: int = 1
    without: frozenset[str] = frozenset()  # parts, limbs or "line" left out
    only: frozenset[str] = frozenset()  # none: everyone
    softer_lu: Mapping[str, float] = field(default_factory=dict)
    click: str = "off"
    count_in: int = 0  # this many bars are counted in; `bars` is empty then
    groove_alone: bool = False  # the groove as if there were no line
    silent: bool = False  # nothing sounds, not even the click
    lead_in: bool = False  # a bar of the groove before bar 1, for a pickup that no count-in holds
    goes_round: bool = False  # after the track's last bar comes its first


@dataclass(frozen=True)
class Ladder:
    """Tempo rising by steps: `Ladder(72, 120, 4, 2)` plays twice at 72, 76, … 120."""

    from_bpm: float
    to_bpm: float
    step_bpm: float
    times_each: int = 1


@dataclass(frozen=True)
class Alternation:
    """Bars in turn: `Alternation(4, 4)` is four with, four without.

    `swap`: where a chorus holds whole turns, the next one begins further on, so that every bar comes to both.
    `echo`: the same bars first, then second.
    """

    first: int
    second: int
    swap: bool = True
    echo: bool = False


@dataclass(frozen=True)
class Fade:
    """A part that sinks: `Fade(4, -30)` is lower each time through, 30 LU lower in the last."""

    times: int
    to_lu: float


@dataclass(frozen=True)
class Track:
    """One track of a lesson, as the lesson file asks for it."""

    name: str
    without: frozenset[str] = frozenset()
    only: frozenset[str] = frozenset()
    softer_lu: Mapping[str, float] = field(default_factory=dict)
    bars: tuple[int, ...] = ()  # indexes into score.bars; none: all
    tempo_bpm: float | None = None  # none: the lesson's
    times: int | None = None  # none: the lesson's choruses
    count_in: int | None = None  # none: the lesson's
    click: str = "off"
    ladder: Ladder | None = None
    trade: Alternation | None = None
    fade: Fade | None = None
    silence: Alternation | None = None
    groove_alone: bool = False
    note: str = ""  # the teacher's word to the student
    goes_round: bool = False  # a loop without a seam


def default_tracks(band: Iterable[str] = ()) -> tuple[Track, ...]:
    """The four tracks in the order a student meets them: the time, two hands, everyone, your turn.

    They are of the drums alone. With a band there is a fifth, `with-band`: everyone but the line, and the band.
    """
    alone = frozenset(band)
    drums = (
        Track("time", without=alone, groove_alone=True),
        Track("ride-and-line", only=frozenset({"ride", LINE})),
        Track("full", without=alone),
        Track("without-line", without=alone | {LINE}),
    )
    return (*drums, Track("with-band", without=frozenset({LINE}))) if alone else drums


def heard(names: Set[str], passage: Passage) -> bool:
    """Whether who goes by these names is heard in a passage: `heard({"bass"}, passage)`."""
    return not passage.silent and not names & passage.without and (not passage.only or bool(names & passage.only))


def plays(stroke: Stroke, passage: Passage) -> bool:
    """Whether a stroke sounds in a passage: false for a snare stroke where `without` holds snare or left hand."""
    return heard({stroke.part, stroke.limb} | ({LINE} if stroke.role != "time" else set()), passage)


def lowered_lu(names: Iterable[str], passage: Passage) -> float:
    """How much a passage lowers who goes by these names: `lowered_lu({"bass"}, passage)`."""
    return sum(passage.softer_lu.get(name, 0.0) for name in names)


def softened_lu(stroke: Stroke, passage: Passage) -> float:
    """How much a passage lowers a stroke: the sum over the names that fit it."""
    return lowered_lu((stroke.part, stroke.limb, LINE if stroke.role != "time" else ""), passage)


# --- from a track to its passages -----------------------------------------------------------------


def track_passages(track: Track, score: Score, choruses: int = 1, count_in: int = 2) -> tuple[Passage, ...]:
    """Lay a track out: `track_passages(Track("full"), score)` is a count-in and the line once."""
    passages = _plain(track, score, choruses)
    if track.ladder:
        passages = climb(passages, track.ladder)
    if track.fade:
        passages = fade(passages, track.fade, track.without or frozenset({LINE}))
    if track.trade:
        passages = trade(passages, track.trade, track.without or frozenset({LINE}))
    if track.silence:
        passages = fall_silent(passages, track.silence)
    first = passages[0]
    before = counted_in(count_in if track.count_in is None else track.count_in, first.tempo_bpm)
    if not before and not (first.groove_alone or first.goes_round) and score.pickup_leads_to(first.bars[0]):
        before = (replace(first, bars=first.bars[:1], times=1, groove_alone=True, lead_in=True),)
    return (*before, *passages)


def _plain(track: Track, score: Score, choruses: int) -> tuple[Passage, ...]:
    tempo_bpm = track.tempo_bpm or score.tempo_bpm
    out = frozenset[str]() if track.trade or track.fade else track.without
    base = Passage((), tempo_bpm, 1, out, track.only, {**track.softer_lu}, track.click, 0, track.groove_alone)
    base = replace(base, goes_round=track.goes_round)
    times = times_through(track, score, choruses)
    return tuple(replace(base, bars=bars, times=many) for bars, many in _rounds(track.bars, score, times))


def times_through(track: Track, score: Score, choruses: int) -> int:
    """How often the bars are played on each rung of a ladder or a fade, or in all: `times_through(track, score, 2)`.

    On rungs every reader of the choruses comes to it once at least.
    """
    return track.times or (score.readings if track.fade or track.ladder else choruses)


def _rounds(chosen: tuple[int, ...], score: Score, times: int) -> list[tuple[tuple[int, ...], int]]:
    """The bars of each time through: one reading all the time, or the readings of the choruses in turn."""
    readings = score.readings
    length = score.chorus_length
    bars = chosen or tuple(range(length))
    if readings == 1:
        return [(bars, times)]
    return [(tuple(bar + length * (turn % readings) for bar in bars), 1) for turn in range(times)]


def counted_in(bars: int, tempo_bpm: float) -> tuple[Passage, ...]:
    """The count-in before a track: `counted_in(2, 120)` is one passage, `counted_in(0, 120)` none."""
    return (Passage((), tempo_bpm, count_in=bars),) if bars else ()


def count_in_beats(bar: int, of_bars: int, meter: Meter) -> tuple[int, ...]:
    """The felt beats struck in one bar of a count-in: all of them in the last bar, before it every other one.

    Where the beats do not pair off it is the first one alone: `count_in_beats(0, 2, Meter(4, 4))` is (0, 2), in 3/4
    (0,). Common practice, no source.
    """
    apart = 1 if bar == of_bars - 1 else meter.pulses if meter.pulses % 2 else 2
    return tuple(range(0, meter.pulses, apart))


def climb(passages: Sequence[Passage], ladder: Ladder) -> tuple[Passage, ...]:
    """Play the passages at each tempo of a ladder, the last one at its top exactly."""
    return tuple(
        replace(passage, tempo_bpm=tempo_bpm, times=passage.times * ladder.times_each)
        for tempo_bpm in rungs(ladder)
        for passage in passages
    )


def rungs(ladder: Ladder) -> list[float]:
    """The tempos of a ladder from the lowest up: `rungs(Ladder(72, 80, 5))` is [72, 77, 80]."""
    tempos = [ladder.from_bpm]
    while tempos[-1] + ladder.step_bpm < ladder.to_bpm - 1e-9:
        tempos.append(tempos[-1] + ladder.step_bpm)
    if ladder.to_bpm > ladder.from_bpm:
        tempos.append(ladder.to_bpm)
    return tempos


def fade(passages: Sequence[Passage], how: Fade, names: frozenset[str]) -> tuple[Passage, ...]:
    """Sink the named parts a little each time through: with `Fade(4, -30)` by 0, 10, 20 and 30 LU."""
    rounds = []
    for turn in range(how.times):
        sunk_lu = how.to_lu * turn / max(how.times - 1, 1)
        rounds += [replace(passage, softer_lu=_lowered(passage.softer_lu, names, sunk_lu)) for passage in passages]
    return tuple(rounds)


def _lowered(softer_lu: Mapping[str, float], names: frozenset[str], by_lu: float) -> dict[str, float]:
    return {**softer_lu, **{name: softer_lu.get(name, 0.0) + by_lu for name in sorted(names)}}


def trade(passages: Sequence[Passage], how: Alternation, names: frozenset[str]) -> tuple[Passage, ...]:
    """Some bars with the named parts, then bars where they are yours, over and over."""
    return _in_turn(passages, how, lambda passage: replace(passage, without=passage.without | names))


def fall_silent(passages: Sequence[Passage], how: Alternation) -> tuple[Passage, ...]:
    """Some bars of sound, then bars of silence in which the time is yours."""
    return _in_turn(passages, how, lambda passage: replace(passage, silent=True))


def never_in_turn(track: Track, score: Score, choruses: int = 1) -> str:
    """What to tell a teacher whose track ends before its trade or its silence begins, else "".

    Example: `never_in_turn(Track("t", trade=Alternation(4, 4)), score_of_four_bars)` advises `times = 2`.
    """
    how = track.trade or track.silence
    if not how or how.echo:
        return ""
    plain = track_passages(replace(track, trade=None, silence=None), score, choruses, 0)
    bars = sum(len(one.bars) * one.times for one in plain)
    if bars > how.first:
        return ""
    what = "trade leaves your part out" if track.trade else "silence begins"
    times = -(-(how.first + how.second) * times_through(track, score, choruses) // bars)
    return f"{track.name}: its {bars} bars end before {what}; write times = {times}"


def never_reads(track: Track, score: Score, choruses: int = 1) -> str:
    """What to tell a teacher whose track is too short for all who read the choruses in turn, else "".

    Example: `never_reads(Track("full"), score_of_two_readers)` advises `choruses = 2`.
    """
    times = times_through(track, score, choruses)
    if track.groove_alone or times >= score.readings:
        return ""
    where, key = (f"{track.name}: ", "times") if track.times else ("", "choruses")
    return (
        f"{where}{times} of {score.readings} who read the choruses in turn come to it; write {key} = {score.readings}"
    )


def single_bars(passages: Sequence[Passage]) -> Iterator[Passage]:
    """Every bar as a passage of its own, repeats written out: the bars of a track in order."""
    for once in _times_through(passages):
        yield from once


def _in_turn(
    passages: Sequence[Passage], how: Alternation, change: Callable[[Passage], Passage]
) -> tuple[Passage, ...]:
    """Change the second bars of every turn; a turn may run from one time through into the next."""
    if how.echo:
        return tuple(_joined([*_echoed(passages, how.first, change)]))
    period, begun, bars = how.first + how.second, 0, list[Passage]()
    for turn, once in enumerate(_times_through(passages)):
        further = turn * how.second if how.swap and len(once) % period == 0 else 0
        bars += [
            change(bar) if (begun + place + further) % period >= how.first else bar for place, bar in enumerate(once)
        ]
        begun += len(once)
    return tuple(_joined(bars))


def _times_through(passages: Sequence[Passage]) -> Iterator[list[Passage]]:
    """The bars of each time through, each bar as a passage of its own."""
    for passage in passages:
        for _ in range(passage.times):
            yield [replace(passage, bars=(bar,), times=1) for bar in passage.bars]


def _echoed(passages: Sequence[Passage], many: int, change: Callable[[Passage], Passage]) -> Iterator[Passage]:
    for once in _times_through(passages):
        for start in range(0, len(once), many):
            yield from once[start : start + many]
            yield from map(change, once[start : start + many])


def _joined(bars: Sequence[Passage]) -> Iterator[Passage]:
    """Put neighbouring bars that are played alike into one passage."""
    for alike, group in groupby(bars, key=lambda passage: replace(passage, bars=())):
        yield replace(alike, bars=tuple(passage.bars[0] for passage in group))


def check_track(track: Track) -> None:
    """Raise LessonError where two shapes of practice cannot go together: a fade and a trade both move your part."""
    together = [
        (track.fade and track.trade, "fade and trade both move your part; keep one of them"),
        (track.fade and track.ladder, "fade and ladder both count the times through; keep one of them"),
        (track.trade and track.silence, "trade and silence both take turns by bars; keep one of them"),
        (
            track.trade and track.trade.echo and track.trade.first != track.trade.second,
            "trade: an echo gives the same bars back, so write as many without as with",
        ),
        (track.ladder and track.tempo_bpm, "ladder already says the tempo; leave tempo out"),
        (track.fade and track.times, "fade already says the times; leave times out"),
        (track.without and track.only, "write either without or only"),
        ((track.fade or track.trade) and track.only, "your part is named by without; leave only out"),
        (track.groove_alone and (track.fade or track.trade), "without the line there is no part to fade or trade"),
    ]
    for wrong, message in together:
        if wrong:
            raise LessonError(message)
