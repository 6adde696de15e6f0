"""What a teacher may want to know about a lesson that is in order all the same."""

from collections.abc import Iterator

from grooves.fastest import fastest_per_second
from grooves.kit import FEET
from grooves.lesson import Lesson
from grooves.passages import Track
from grooves.score import Score

_IN_A_ROW = 3


def remarks(lesson: Lesson) -> tuple[str, ...]:
    """Sentences on a lesson's tempo, its fastest limb and a line of rests: `()` where there is nothing to say."""
    return tuple(one for one in (_tempo(lesson), *_speed(lesson), _rests(lesson)) if one)


def _tempo(lesson: Lesson) -> str:
    low, high = lesson.score.groove.tempo_bpm
    tempo = lesson.score.tempo_bpm
    name = lesson.score.groove.name
    return "" if low <= tempo <= high else f"tempo {tempo:g} lies outside {low:g} to {high:g}, where {name} is at home"


def _rests(lesson: Lesson) -> str:
    read = any(stroke.role == "line" for bar in lesson.score.bars for stroke in bar.strokes)
    return "" if read else "the line has rests only: nobody reads"


def _speed(lesson: Lesson) -> Iterator[str]:
    """One sentence for each limb that is asked for more than most limbs can do, at the fastest tempo that it gets."""
    score = lesson.score
    tempo = max(score.tempo_bpm, *(_fastest(track, score) for track in lesson.tracks))
    for limb in score.limbs:
        quarters, bar = _closest(score, limb)
        per_second = (_IN_A_ROW - 1) / quarters * tempo * float(score.groove.beat) / 60 if quarters else 0.0
        most = fastest_per_second(limb)
        if per_second > most + 1e-6:
            kind = "foot" if limb in FEET else "hand"
            yield (
                f"bar {bar}: at {tempo:g} the {limb} strikes {per_second:.1f} times a second; "
                f"about {most:g} is much for a {kind}"
            )


def _fastest(track: Track, score: Score) -> float:
    return track.ladder.to_bpm if track.ladder else track.tempo_bpm or score.tempo_bpm


def _closest(score: Score, limb: str) -> tuple[float, int]:
    """The fewest quarters from the first of three strokes of a limb to the last, and their bar; (0, 0): none."""
    places = [
        (index * score.meter.length + stroke.onset, bar.number)
        for index, bar in enumerate(score.bars)
        for stroke in bar.strokes
        if stroke.limb == limb
    ]
    spans = (
        (float(last - first), number)
        for (first, number), (last, _) in zip(places, places[_IN_A_ROW - 1 :], strict=False)
    )
    return min(spans, default=(0.0, 0))
