"""Which of a lesson's tracks a take was played to, where nobody says so."""

from collections.abc import Sequence
from pathlib import Path

from grooves.lesson import Lesson
from grooves.passages import Track, track_passages
from grooves.takes.check import check_take, student_track
from grooves.takes.pads import Struck, played_take
from grooves.takes.sheet import SheetBar, sheet_of
from render.hearing.files import kind_of_take
from render.hearing.midi_take import read_pads
from render.lesson.size import length_seconds


def played_to(lesson: Lesson, take: Path) -> Track:
    """The track that leaves somebody out and that a take fits best; of equals the last, as a student meets them.

    Pads are laid beside each; of sound the length alone is looked at. Example: `played_to(lesson, Path("a.mid")).name`.
    Raises LessonError for a take that cannot be read.
    """
    of_bars: dict[tuple[SheetBar, ...], Track] = {}
    for track in reversed(lesson.tracks):
        if track.without:
            of_bars.setdefault(sheet_of(lesson, track).bars, track)
    tracks = list(of_bars.values())  # the last first
    if len(tracks) < 2:
        return student_track(lesson.tracks)
    if kind_of_take(take) == "midi":
        pads = read_pads(take)
        return max(tracks, key=lambda track: _fit(lesson, track, pads))
    from render.hearing.features import open_recording

    seconds = open_recording(take).seconds
    return min(tracks, key=lambda track: abs(_seconds(lesson, track) - seconds))


def _fit(lesson: Lesson, track: Track, pads: Sequence[Struck]) -> float:
    """F of a take's strokes with those that are written; 0 where it gets no verdict."""
    sheet = sheet_of(lesson, track)
    answer = check_take(played_take(pads, sheet)[0], sheet)
    limbs = [] if answer.no_verdict else answer.findings.limbs
    hit, missed, extra = (sum(getattr(limb, what) for limb in limbs) for what in ("hit", "missed", "extra"))
    return 2 * hit / (2 * hit + missed + extra) if hit else 0.0


def _seconds(lesson: Lesson, track: Track) -> float:
    return length_seconds(lesson.score, track_passages(track, lesson.score, lesson.choruses, lesson.count_in))
