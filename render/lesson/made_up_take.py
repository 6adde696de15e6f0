"""A take to try `fourlimb check` with: nobody played it, and everything that is to be found in it is put in here."""

from dataclasses import replace
from fractions import Fraction
from pathlib import Path

from grooves.lesson import Lesson
from grooves.passages import LINE, Track, track_passages
from grooves.performance import Performance, perform
from render.files.write import write_bytes
from render.lesson.load import load_lesson
from render.lesson.options import MadeFile
from render.sound.balance import plain_balance, velocities
from render.sound.midi import midi_bytes

MADE_UP = "made-up-take.mid"
LATE_FOOT_MS, SPREAD_MS = 30.0, 7.0  # invented, as all of this is
EARLY = Fraction(1, 8)  # quarters: a stroke so little before a barline belongs to what follows
LAST_LOST_IN = "bar 3"  # the line's last stroke is missing there, each time through


def write_made_up_take(path: Path, folder: Path) -> MadeFile:
    """Write a take of a lesson as pads would record it: `write_made_up_take(lesson, Path("demo")).path`.

    All limbs play; the right foot is late, and the line loses a stroke of its third bar. Raises LessonError.
    """
    loaded = load_lesson(path)
    played = _played(loaded.lesson)
    target = folder / MADE_UP
    write_bytes(target, midi_bytes(played, velocities(played, plain_balance())), loaded.reads)
    return MadeFile("made-up take", "take", target, played.length_seconds, played.parts)


def _played(lesson: Lesson) -> Performance:
    everyone = _performed(lesson, Track("made-up take", without=frozenset(("bass", "piano", "horns"))))
    line = _performed(lesson, Track("line", only=frozenset({LINE})))
    lost = set()
    for bar in everyone.bars:
        begins, ends = bar.onset_quarters - EARLY, bar.onset_quarters + bar.quarters - EARLY
        here = [hit for hit in line.hits if begins <= hit.onset_quarters < ends and hit.limb]
        lost |= set(here[-1:] if bar.label == LAST_LOST_IN else ())
    return replace(everyone, hits=tuple(hit for hit in everyone.hits if hit.limb and hit not in lost))


def _performed(lesson: Lesson, track: Track) -> Performance:
    late = {**lesson.feel.placement_ms, "right foot": LATE_FOOT_MS}
    feel = replace(
        lesson.feel, timing_ms=SPREAD_MS, correlation=0.0, together=0.0, placement_ms=late, seed=lesson.feel.seed + 1
    )
    passages = track_passages(track, lesson.score, lesson.choruses, lesson.count_in)
    return perform(lesson.score, passages, feel, lesson.balance_lu)
