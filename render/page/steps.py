"""The way through a lesson on its page: who plays at each step, keys and cautions, in words.

Steps: common practice, no source. Cautions: NIOSH, Workplace Solutions for musicians, June 2015 (play lower, protect,
rest); N. Azar 2020, Medical Problems of Performing Artists 35(3), on drummers' overuse. They give no limit: what a
page plays says nothing about how loud it is at the ear.
"""

from collections.abc import Iterable
from typing import Any

from grooves.kit import FEET, PARTS
from grooves.lesson import Lesson
from grooves.passages import LINE, Alternation, Track
from render.page.band import own_tracks
from render.page.readers import readers, time_hand

CAUTIONS = (
    "Warm up before you play fast, and start below your tempo. Rest often, before you feel tired.",
    "Keep the volume as low as you can still follow. Drums in a small room are loud enough to want ear protection, "
    "and headphones over drums tempt you to turn up.",
    "Stop when something hurts, tingles or goes numb, or when your ears ring or sound dull. If it comes back or "
    "stays, see a clinician; your school or club may have rules of its own for noise and rest.",
)

SHORTCUTS = (
    ("Space", "play, stop"),
    ("Esc", "the whole line again"),
    ("Tab", "from one to the next; on a bar, arrows go from bar to bar and Enter takes it"),
    ("P", "play, stop"),
    ("+ −", "faster, slower by 1"),
    ("S", "60 % of the tempo, and back"),
    ("W", "the written tempo"),
    ("T", "tap the tempo"),
    ("L", "loop the bar that sounds, or the one chosen"),
    ("H", "begin at the bar that sounds"),
)


def steps(lesson: Lesson) -> list[dict[str, Any]]:
    """The steps of practice, each with the names that are off, then the lesson's own tracks by name.

    `steps(lesson)[0]["name"]` is "The time".
    """
    kept: list[dict[str, Any]] = []
    for step in _own_steps(lesson):
        if kept and _who(kept[-1]) == _who(step) and not kept[-1]["alone"]:
            continue
        kept.append(step)
    return [*kept, *(track_step(track, lesson) for track in own_tracks(lesson))]


def _who(step: dict[str, Any]) -> tuple[Any, ...]:
    return step["off"], step.get("absent")


def _own_steps(lesson: Lesson) -> list[dict[str, Any]]:
    limbs, band = lesson.score.limbs, lesson.score.band
    hand, reading = time_hand(lesson), set(readers(lesson))
    two = reading | {hand}
    with_feet = two | {limb for limb in limbs if limb in FEET}
    pair = "The line alone" if hand in reading or not hand else f"{_timekeeper(lesson, hand)} and line"
    plain = [
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
        )
        | {"yours": True},
    ]
    return [*(step | {"absent": band.parts} for step in plain), _with_the_band()] if band else plain


def _with_the_band() -> dict[str, Any]:
    words = "Now with the others: read the line over their chords. Can you still hear where you are in the form?"
    return _step("With the band", words, (LINE,)) | {"yours": True}


def _step(name: str, text: str, off: Any, alone: bool = False) -> dict[str, Any]:
    return {"name": name, "text": text, "off": list(off), "alone": alone, "yours": False}


def track_step(track: Track, lesson: Lesson) -> dict[str, Any]:
    """One track of the lesson as a step: who plays, and what the page sets for it."""
    off = track.without if not track.fade else ()
    ladder, rounds = track.ladder, track.times or lesson.score.readings
    rise = ladder and {
        "every": ladder.times_each * rounds, "by": ladder.step_bpm, "to": ladder.to_bpm, "same": ladder.times_each
    }  # fmt: skip
    fade = track.fade and {
        "times": track.fade.times, "to": track.fade.to_lu, "names": sorted(track.without or {LINE})
    }  # fmt: skip
    setting = {
        "bars": list(track.bars),
        "tempo": ladder.from_bpm if ladder else track.tempo_bpm,
        "countIn": track.count_in,
        "click": track.click,
        "rise": rise,
        "fade": fade,
        "trade": _turns(track.trade),
        "silence": _turns(track.silence),
    }
    who = {"only": sorted(track.only), "lowered": dict(track.softer_lu)}
    text = "\n".join(words for words in (track.note, track_words(track, lesson)) if words)
    return {**_step(track.name, text, sorted(off), track.groove_alone), **who, "yours": True, "track": setting}


def _turns(how: Alternation | None) -> dict[str, Any] | None:
    return {"first": how.first, "second": how.second, "swap": how.swap, "echo": how.echo} if how else None


def track_words(track: Track, lesson: Lesson) -> str:
    """What a track is, in a sentence or two: "Without the snare. At 72, rising by 4 to 120."."""
    numbers = [str(lesson.score.bars[index].number) for index in track.bars]
    tempo = f"At {track.tempo_bpm:g}" if track.tempo_bpm else ""
    if track.ladder:
        one = track.ladder
        tempo = f"At {one.from_bpm:g}, rising by {one.step_bpm:g} to {one.to_bpm:g}"
    said = [
        "Only the groove" if track.groove_alone else "",
        f"Only {_listed(track.only)}" if track.only else "",
        f"Without {_listed(track.without)}" if track.without and not (track.trade or track.fade) else "",
        f"Softer: {_listed(track.softer_lu)}" if track.softer_lu else "",
        f"Bars {', '.join(dict.fromkeys(numbers))}" if numbers else "",
        tempo,
        f"{track.trade.first} bars with {_listed(track.without or {LINE})}, then {track.trade.second} for you"
        if track.trade
        else "",
        f"{_listed(track.without or {LINE}).capitalize()} fading out over {track.fade.times} rounds"
        if track.fade
        else "",
        f"{track.silence.first} bars of sound, {track.silence.second} of silence" if track.silence else "",
        f"Click: {track.click}" if track.click != "off" else "",
    ]
    return ". ".join(one for one in said if one) + ("." if any(said) else "Everyone plays.")


def _listed(names: Iterable[str]) -> str:
    return " and ".join(f"the {name}" for name in sorted(names))


def _timekeeper(lesson: Lesson, hand: str) -> str:
    """The instrument of the hand that keeps time, as a heading says it: "Ride"."""
    parts = {s.part for bar in lesson.score.bars for s in bar.strokes if s.limb == hand and s.role == "time"}
    return next((part.capitalize() for part in PARTS if part in parts), "Hand")
