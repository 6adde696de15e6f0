"""The way through a lesson on its page: who plays at each step, the row of each limb, keys and cautions, in words.

Steps: common practice, no source. Cautions: NIOSH, Workplace Solutions for musicians, June 2015 (play lower, protect,
rest); N. Azar 2020, Medical Problems of Performing Artists 35(3), on drummers' overuse. They give no limit: what a
page plays says nothing about how loud it is at the ear.
"""

from typing import Any

from grooves.kit import FEET, HANDS, PARTS
from grooves.lesson import Lesson
from grooves.passages import LINE

CAUTIONS = (
    "Warm up before you play fast, and start below your tempo. Rest often, before you feel tired.",
    "Keep the volume as low as you can still follow. Drums in a small room are loud enough to want ear protection, "
    "and headphones over drums tempt you to turn up.",
    "Stop when something hurts, tingles or goes numb, or when your ears ring or sound dull. If it comes back or "
    "stays, see a clinician; your school or club may have rules of its own for noise and rest.",
)

KEYS = (
    ("Space P", "play, stop"),
    ("+ −", "faster, slower by 1"),
    ("S", "slow down to 60 %"),
    ("W", "the written tempo"),
    ("T", "tap the tempo"),
    ("L", "loop the bar that sounds, or the one chosen with Tab"),
    ("← →", "from bar to bar; Enter takes one into the loop"),
    ("Esc", "the whole line again"),
)


def time_hand(lesson: Lesson) -> str:
    """The hand that keeps time: the first hand of the groove, from the top of the staff; "" where none does."""
    playing = [stroke for bar in lesson.score.bars for stroke in bar.groove_alone if stroke.limb in HANDS]
    return min(playing, key=lambda stroke: PARTS.index(stroke.part)).limb if playing else ""


def readers(lesson: Lesson) -> tuple[str, ...]:
    """The limbs that read, hands first."""
    reading = {stroke.limb for bar in lesson.score.bars for stroke in bar.strokes if stroke.role != "time"}
    return tuple(limb for limb in lesson.score.limbs if limb in reading)


def steps(lesson: Lesson) -> list[dict[str, Any]]:
    """The steps of practice, each with the names that are off: `steps(lesson)[0]["name"]` is "The time"."""
    limbs = lesson.score.limbs
    hand, reading = time_hand(lesson), set(readers(lesson))
    two = reading | {hand}
    with_feet = two | {limb for limb in limbs if limb in FEET}
    pair = "The line alone" if hand in reading or not hand else f"{_timekeeper(lesson, hand)} and line"
    found = [
        _step("The time", "Only the groove. Listen until you could sing it, then play along, and lightly.", (), True),
        _step(
            pair,
            "Nothing else yet. Count aloud, and hear each note of the line against the beat. "
            "Where you stumble, touch that bar and take it over and over, slowly.",
            [limb for limb in limbs if limb not in two],
        ),
        _step(
            "And the feet",
            "The feet come in, steady and low. Find the places where the line meets a foot, "
            "and the places where it stands by itself.",
            [limb for limb in limbs if limb not in with_feet],
        ),
        _step("Everyone", "Nobody is missing. Can you still hear each limb by itself?", ()),
        _step(
            "Your turn",
            "The other limbs keep time; the line is yours. When it is easy, read it with another limb.",
            (LINE,),
        ),
    ]
    kept: list[dict[str, Any]] = []
    for step in found:
        if kept and kept[-1]["off"] == step["off"] and not kept[-1]["alone"]:
            continue
        kept.append(step)
    return kept


def _step(name: str, text: str, off: Any, alone: bool = False) -> dict[str, Any]:
    return {"name": name, "text": text, "off": list(off), "alone": alone}


def _timekeeper(lesson: Lesson, hand: str) -> str:
    """The instrument of the hand that keeps time, as a heading says it: "Ride"."""
    parts = {s.part for bar in lesson.score.bars for s in bar.strokes if s.limb == hand and s.role == "time"}
    return next((part.capitalize() for part in PARTS if part in parts), "Hand")


def limb_rows(lesson: Lesson) -> list[dict[str, Any]]:
    """A row of switches for each limb, and one for the line unless a single limb reads and does nothing else."""
    score, reading = lesson.score, readers(lesson)
    keeping = {stroke.limb for bar in score.bars for stroke in bar.strokes if stroke.role == "time"}
    alone = {stroke.limb for bar in score.bars for stroke in bar.groove_alone}
    reader = reading[0] if len(reading) == 1 and reading[0] not in keeping else ""
    limbs = dict.fromkeys((*score.limbs, *(limb for limb in (*HANDS, *FEET) if limb in keeping | alone)))
    rows = [_limb_row(lesson, limb, reads=limb == reader, keeps_alone=limb in alone) for limb in limbs]
    if reading and not reader:
        rows.append({"label": "The line", "plays": " and ".join(reading), "name": LINE})
    return [{**row, "number": number} for number, row in enumerate(rows)]


def _limb_row(lesson: Lesson, limb: str, reads: bool, keeps_alone: bool) -> dict[str, Any]:
    """One limb; it goes by its own name where it also keeps time as long as nobody reads, or that would stay."""
    bars = lesson.score.bars
    played = {s.part for bar in bars for s in (*bar.strokes, *bar.groove_alone) if s.limb == limb}
    plays = [part for part in PARTS if part in played] + ["the line"] * reads
    return {"label": limb.capitalize(), "plays": ", ".join(plays), "name": LINE if reads and not keeps_alone else limb}
