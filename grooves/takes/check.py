"""The whole of it: a take laid on its sheet, matched, measured, and put into words, or one sentence why not."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace

import numpy as np

from grooves.passages import Track
from grooves.takes.align import Alignment, agreement, align, nearest_gaps, other_speed, refined
from grooves.takes.findings import Findings, LimbFinding, find, usable_bars
from grooves.takes.lost import lost_beats, off_throughout
from grooves.takes.match import Match, match
from grooves.takes.says import sentences
from grooves.takes.sheet import Sheet
from grooves.takes.swing import swung_as_played
from grooves.takes.take import Take, median, onsets, robust_spread

FEWEST_STROKES = 8  # written strokes that a take must reach over
SHORTEST_SECONDS = 4.0
DOUBTFUL = 0.85  # F under which other speeds are tried
FITS = 0.5  # F under which strokes do not belong to what is written
LINE_STROKES = 8  # that were played before a line is called another one
MACHINE_MS = 3.0  # ours: nobody plays so near to a track (people: `grooves.takes.says`)
STRANGERS = 0.05  # share of strokes on parts that a track lacks, up to which a take may be the track itself
ALL_OF_IT = 0.9  # F of a take with its track


@dataclass(frozen=True)
class Answer:
    """What came of a take: one sentence why there is no verdict, or findings; `alignment` is how it was laid."""

    no_verdict: str
    sentences: tuple[str, ...]
    findings: Findings
    alignment: Alignment
    match: Match


def check_take(
    take: Take,
    sheet: Sheet,
    sounding: Sequence[tuple[str, float]] = (),
    bars: Collection[int] = (),
    latency_ms: float | None = None,
) -> Answer:
    """Hold a take against its sheet: `check_take(take, sheet).sentences`.

    `sounding` are parts and moments of the track itself, so that it is not taken for a student; `bars` are numbers of
    the line's bars to judge (none: all).
    """
    asked = sheet
    sheet = swung_as_played(take, asked, align(take, asked))
    alignment, lost = _laid(take, sheet)
    kept = usable_bars(take, sheet, alignment, bars)
    within = [one for one in sheet.strokes if one.bar in set(kept)]
    reason = _before(take, within)
    if not reason and sounding and is_track(take, sheet, alignment, sounding):
        reason = "This is the track itself; record what you play while you hear it."
    found = match(take, sheet, alignment, lost)
    reason = reason or _misfit(take, sheet, found, kept)
    if reason:
        return Answer(reason, (reason,), _nothing(sheet, alignment), alignment, found)
    findings = find(take, sheet, alignment, found, kept, latency_ms)
    said = sentences(findings, sheet, take.unclear, latency_ms is not None)
    return Answer("", tuple(said), findings, alignment, found)


def _laid(take: Take, sheet: Sheet) -> tuple[Alignment, tuple[int, ...]]:
    """Where a take lies, and the bars in which it is beats off: never most of them."""
    alignment = align(take, sheet)
    lost = lost_beats(take, sheet, alignment)
    off = off_throughout(lost, sheet)
    if off:
        alignment = replace(alignment, offset_seconds=alignment.offset_seconds + off)
        lost = lost_beats(take, sheet, alignment)
    return alignment, lost


def _nothing(sheet: Sheet, alignment: Alignment) -> Findings:
    """No verdict on any limb."""
    nobody = replace(sheet, strokes=())
    empty = find(Take((), 0.0), nobody, alignment, Match((), (), (), (0,) * len(sheet.bars)))
    limbs = tuple(LimbFinding(limb, part, False) for limb, part in sheet.limb_parts)
    return replace(empty, limbs=limbs, bars=())


def _before(take: Take, within: Sequence[object]) -> str:
    """Why a take cannot be judged at all, seen before it is matched."""
    real = [one for one in take.strokes if one.part and not one.mark]
    if not real:
        return "No stroke of this lesson's parts is in this take."
    if take.seconds < SHORTEST_SECONDS or len(within) < FEWEST_STROKES or len(real) < FEWEST_STROKES:
        return "This take is too short to say anything: play at least four bars."
    return ""


def is_track(take: Take, sheet: Sheet, alignment: Alignment, sounding: Sequence[tuple[str, float]]) -> bool:
    """Whether a take is the track played back: every part of it nearer than anybody plays, and nobody else."""
    real = [one for one in take.strokes if one.part and one.mark != "double"]
    parts = sorted({part for part, _ in sounding} & {*sheet.parts})
    start = sheet.bars[0].onset_seconds - 0.1  # a count-in sounds like a pad of the kit
    moments = alignment.on_track(onsets(real))
    others = sum(one.part not in parts and at > start for one, at in zip(real, moments, strict=True))
    if not parts or others > STRANGERS * len(real):
        return False
    moments_of = {part: np.array([moment for one, moment in sounding if one == part]) for part in parts}
    rows = [(moments_of[part], onsets(one for one in real if one.part == part)) for part in parts]
    if not all(len(played) for _, played in rows):
        return False
    exact = refined(rows, replace(alignment, drift=0.0))
    middles = []
    for written, played in rows:
        gaps = nearest_gaps(written, exact.on_track(played)) * 1000
        if agreement(written, exact.on_track(played)) < ALL_OF_IT or robust_spread(gaps) > MACHINE_MS:
            return False
        middles.append(median(gaps))
    return max(middles) - min(middles) < 4 * MACHINE_MS  # a microphone hears each drum a little late in its own way


def _misfit(take: Take, sheet: Sheet, found: Match, kept: Collection[int]) -> str:
    """Why what was played does not belong to this sheet, "" where it does."""
    fits = {part: _fit(take, sheet, found, part, kept) for part in sheet.parts}
    played = {part: fit for part, fit in fits.items() if fit is not None}
    hits, written, struck = (sum(one[place] for one in played.values()) for place in range(3))
    share = 2 * hits / max(written + struck, 1)
    if share < DOUBTFUL and (told := _at_speed(take, sheet, share)):
        return told
    if share < FITS:
        return "This take does not fit the track: is it of another lesson, or another track?"
    line = {one.part for one in sheet.strokes if one.role == "line"}
    for part in sorted(line & played.keys()):
        hits, written, struck = played[part]
        if struck >= LINE_STROKES and 2 * hits < FITS * (written + struck):
            return (
                f"The time fits, but of {struck} strokes on the {part} only {hits} lie where one is written: "
                "is this another lesson's line?"
            )
    return ""


def _at_speed(take: Take, sheet: Sheet, share: float) -> str:
    speed = other_speed(take, sheet, share)
    return speed and runs_at(speed)


def runs_at(speed: str) -> str:
    """What is said of a take at another speed than its track: `runs_at("half")`."""
    return f"This take runs at {speed} the speed of the track; play along with it, or choose its track."


def _fit(take: Take, sheet: Sheet, found: Match, part: str, kept: Collection[int]) -> tuple[int, int, int] | None:
    """Hits, written and played strokes of one part within the judged bars; None where it was not played."""
    inside = set(kept)
    own = [place for place, one in enumerate(sheet.strokes) if one.part == part and one.bar in inside]
    hits = sum(found.of[place] >= 0 for place in own)
    extras = sum(take.strokes[place].part == part for place in found.extras)
    if part in take.unclear or not hits + extras or not own:
        return None
    share = len(own) / sum(one.part == part for one in sheet.strokes)
    return hits, len(own), hits + round(extras * share)


def student_track(tracks: Sequence[Track]) -> Track:
    """The track that a student plays to, if none is named: the last that leaves somebody out, else the last.

    Example: `student_track(default_tracks()).name` is "without-line".
    """
    leaving = [one for one in tracks if one.without]
    return (leaving or list(tracks))[-1]
