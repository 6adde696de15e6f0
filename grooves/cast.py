"""Who is heard on a track and who is left out, in words: parts that keep time, the line, what fills its gaps."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from grooves.kit import LIMBS, PARTS
from grooves.passages import Passage, Track, plays, track_passages
from grooves.score import Score, Stroke

_ROLES = {"line": "line on", "gaps": "gaps on"}


@dataclass(frozen=True)
class Cast:
    """`Cast(("ride", "line on snare"), ("hi-hat", "bass drum"))`; "(in turn)" is heard in some bars, not in others."""

    plays: tuple[str, ...]
    left_out: tuple[str, ...]


def cast(track: Track, score: Score, choruses: int = 1) -> Cast:
    """Who plays on a track: `cast(Track("x", without=frozenset({"line"})), score).left_out` is ("line on snare",).

    Where the hands read in turn and one is left out, the other plays "line on snare, right hand".
    """
    heard: dict[str, set[bool]] = {}
    passages = track_passages(track, score, choruses, 0)
    whole = _one_hand_left_out(passages, score)
    for passage in passages:
        for stroke in _strokes(passage, score):
            if not passage.silent:
                heard.setdefault(_voice(stroke, whole), set()).add(plays(stroke, passage))
    if track.groove_alone:
        heard.update({_voice(s, whole): {False} for bar in score.bars for s in bar.strokes if s.role != "time"})
    names = sorted(heard, key=_order)
    sounding = [name + (" (in turn)" if False in heard[name] else "") for name in names if True in heard[name]]
    return Cast(tuple(sounding), tuple(name for name in names if True not in heard[name]))


def _strokes(passage: Passage, score: Score) -> Iterator[Stroke]:
    for index in dict.fromkeys(passage.bars):
        bar = score.bars[index]
        yield from bar.groove_alone if passage.groove_alone else bar.strokes


def _one_hand_left_out(passages: Sequence[Passage], score: Score) -> frozenset[str]:
    """The drums of the line on which a limb is heard and another is not: they are told by limb."""
    found: dict[str, set[tuple[str, bool]]] = {}
    for passage in passages:
        for stroke in _strokes(passage, score):
            if stroke.role != "time":
                found.setdefault(stroke.part, set()).add((stroke.limb, plays(stroke, passage)))
    return frozenset(
        part
        for part, told in found.items()
        if len({limb for limb, _ in told}) > 1 and len({sounds for _, sounds in told}) > 1
    )


def _voice(stroke: Stroke, by_limb: frozenset[str]) -> str:
    if stroke.role == "time":
        return stroke.part
    return f"{_ROLES[stroke.role]} {stroke.part}" + (f", {stroke.limb}" if stroke.part in by_limb else "")


def _order(name: str) -> tuple[int, int, str]:
    role = next((number for number, said in enumerate(_ROLES.values(), 1) if name.startswith(said)), 0)
    part = name.split(" on ", 1)[1].partition(",")[0] if role else name
    limb = next((number for number, limb in enumerate(LIMBS) if name.endswith(limb)), 0)
    return role, PARTS.index(part), str(limb)
