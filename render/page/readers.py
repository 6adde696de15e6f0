"""Who keeps time and who reads, and the same line moved to another drum."""

from dataclasses import replace

from grooves.errors import LessonError
from grooves.kit import HANDS, INSTRUMENTS, PARTS
from grooves.lesson import Lesson
from grooves.line import PlayedOn
from grooves.score import Score, mirrored_groove, write_score

MOVES = ("snare", "bass drum", "hi-hat")  # where the page can put a line: three limbs; the fourth keeps time
_STEPS = "CDEFGAB"
_STEP_MM = 0.75  # from a line to the space beside it, on a staff of 6 mm
_ENGRAVED = INSTRUMENTS["snare"].step  # where the line's staff is engraved


def time_hand(lesson: Lesson) -> str:
    """The hand that keeps time: the first hand of the groove, from the top of the staff; "" where none does."""
    playing = [stroke for bar in lesson.score.bars for stroke in bar.groove_alone if stroke.limb in HANDS]
    return min(playing, key=lambda stroke: PARTS.index(stroke.part)).limb if playing else ""


def readers(lesson: Lesson) -> tuple[str, ...]:
    """The limbs that read, hands first."""
    reading = {stroke.limb for bar in lesson.score.bars for stroke in bar.strokes if stroke.role != "time"}
    return tuple(limb for limb in lesson.score.limbs if limb in reading)


def drums_read(score: Score) -> tuple[str, ...]:
    """The drums that the line is read on: `drums_read(score)` is ("snare",)."""
    read = {stroke.instrument for bar in score.bars for stroke in bar.strokes if stroke.role == "line"}
    return tuple(name for name in INSTRUMENTS if name in read)


def lines(lesson: Lesson) -> list[tuple[str, Lesson]]:
    """The lesson, and the same with its line on other drums where the groove leaves a limb free for them.

    Each has a name: `lines(lesson)[1][0]` is "bass drum".
    """
    own = drums_read(lesson.score)
    found = [(" and ".join(own) or "as written", lesson)]
    for drum in MOVES:
        if own == (drum,):
            continue
        moved = moved_to(lesson, drum)
        if moved and drums_read(moved.score) == (drum,):
            found.append((drum, moved))
    return found


def moved_to(lesson: Lesson, drum: str) -> Lesson | None:
    """The lesson with its line on another drum, or None where no limb can play it there."""
    score = lesson.score
    chorus = score.bars[: score.chorus_length]
    written = {bar.number: bar.line for bar in chorus}
    line = [written.get(number, ()) for number in range(1, max(written) + 1)]
    chosen = [bar.number for bar in chorus][:: score.repeat_each]
    left = lesson.kit == "left-handed"
    groove = mirrored_groove(score.groove) if left else score.groove
    reading = [PlayedOn(drum, drum)]
    try:
        moved = write_score(
            score.title, groove, score.tempo_bpm, line, reading, chosen, score.repeat_each, "chorus", lesson.kit,
            pickup=score.pickup.line if score.pickup else (),
        )  # fmt: skip
    except LessonError:
        return None
    return replace(lesson, score=moved)


def staff_shift_mm(score: Score) -> float:
    """How far down the line's notes move to stand in their drum's place; 0.0 where several drums read."""
    drums = drums_read(score)
    return _STEP_MM * (_height(_ENGRAVED) - _height(INSTRUMENTS[drums[0]].step)) if len(drums) == 1 else 0.0


def _height(step: str) -> int:
    """Staff places counted upwards: one more for each line and space."""
    return _STEPS.index(step[0]) + 7 * int(step[1])
