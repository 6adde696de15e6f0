"""How large tracks will be, known from their numbers alone, before a list as long as they are is made."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from grooves.errors import LessonError
from grooves.lesson import Lesson
from grooves.passages import Passage, Track, rungs, times_through
from grooves.score import Score

LONG_HOURS, MOST_HOURS = 2, 10  # a track of more is spoken of, refused; ours
MOST_STROKES = 900_000  # of a lesson: a stroke takes about 1 kB, so a render stays under 1 GB (measured)
MOST_PAGE_BARS = 1_000  # of a page, all ways to read the line together: 10 s of work on a busy core (measured)


@dataclass(frozen=True)
class Size:
    """How long a track lasts without what rings on, and how many strokes its limbs and its click have."""

    seconds: float
    strokes: int


def track_size(track: Track, lesson: Lesson) -> Size:
    """The size of a track: `track_size(Track("full"), lesson).seconds`; the strokes of parts left out count as well."""
    score = lesson.score
    tempos_bpm = rungs(track.ladder) if track.ladder else [track.tempo_bpm or score.tempo_bpm]
    times = times_through(track, score, lesson.choruses)
    bars = track.bars or range(score.chorus_length)
    repeats = (track.ladder.times_each if track.ladder else 1) * (track.fade.times if track.fade else 1)
    repeats *= 2 if any(how and how.echo for how in (track.trade, track.silence)) else 1  # every bar comes twice
    played = sum(
        _round_strokes(track, bars, score, turn) * _turns(times, turn, score) for turn in range(score.readings)
    )
    count_in = lesson.count_in if track.count_in is None else track.count_in
    begins = score.pickup_leads_to(bars[0]) and not track.groove_alone
    led_in = 1 if begins and not (count_in or track.goes_round) else 0  # a bar of the groove for the pickup
    minutes = len(bars) * times * repeats * sum(1 / tempo for tempo in tempos_bpm) + (count_in + led_in) / tempos_bpm[0]
    helpers = score.meter.pulses * (count_in + led_in) + led_in * len(score.bars[0].groove_alone)
    if begins and score.pickup:  # before every time through
        helpers += len(score.pickup.line) * times * repeats * len(tempos_bpm)
    return Size(60 * _bar_beats(score) * minutes, played * repeats * len(tempos_bpm) + helpers)


def _turns(times: int, turn: int, score: Score) -> int:
    """How many of the times through are read by one of those who take turns."""
    return len(range(turn, times, score.readings))


def _round_strokes(track: Track, bars: Sequence[int], score: Score, turn: int) -> int:
    """The strokes of one time through, as one of those reads who take turns by chorus."""
    first = score.chorus_length * turn
    own = score.bars[first : first + score.chorus_length]
    strokes = [len(bar.groove_alone if track.groove_alone else bar.strokes) for bar in own]
    return sum(strokes[bar] for bar in bars) + (score.meter.pulses * len(bars) if track.click != "off" else 0)


def _bar_beats(score: Score) -> float:
    return float(score.meter.length / score.groove.beat)


def length_seconds(score: Score, passages: Sequence[Passage]) -> float:
    """How long passages last, without the tails of the sounds: a bar of 4/4 at 120 beats a minute lasts 2."""
    bars = ((passage.count_in or len(passage.bars) * passage.times) / passage.tempo_bpm for passage in passages)
    return 60 * _bar_beats(score) * sum(bars)


def check_sizes(path: Path, lesson: Lesson, tracks: Sequence[Track]) -> None:
    """Raise LessonError where a track lasts more than 10 hours, or all together have more than 900 000 strokes."""
    sizes = [track_size(track, lesson) for track in tracks]
    for track, size in zip(tracks, sizes, strict=True):
        if size.seconds > MOST_HOURS * 3600:
            raise LessonError(
                f"{path}: the track '{track.name}' would last {size.seconds / 3600:,.1f} hours; "
                f"a track is at most {MOST_HOURS}: ask for fewer bars, times or choruses"
            )
    strokes = sum(size.strokes for size in sizes)
    if strokes > MOST_STROKES:
        raise LessonError(
            f"{path}: its tracks would have {strokes:,} strokes; a lesson has at most {MOST_STROKES:,}: "
            "ask for fewer tracks, times or choruses"
        )


def check_page(path: Path, lesson: Lesson) -> None:
    """Raise LessonError where a lesson's page would have more than 1 000 bars: `check_page(path, lesson)`."""
    bars = len(lesson.score.bars)
    if bars > MOST_PAGE_BARS:
        raise LessonError(
            f"{path}: its page would have {bars:,} bars, all ways to read the line together; a page has at most "
            f"{MOST_PAGE_BARS:,}: choose bars, repeat fewer, or render with --no-documents"
        )


def long_note(lengths: Sequence[tuple[str, float]]) -> tuple[str, ...]:
    """One sentence on the longest of tracks, given by name and seconds, where it lasts more than 2 hours, else none."""
    name, seconds = max(lengths, key=lambda one: one[1], default=("", 0.0))
    if seconds <= LONG_HOURS * 3600:
        return ()
    return (f"the track '{name}' lasts {seconds / 3600:.1f} hours; is it meant to?",)
