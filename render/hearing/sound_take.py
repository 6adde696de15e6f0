"""A take from a microphone: laid on its track, its drums' templates learned, every stroke found, block by block."""

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from grooves.takes.align import Alignment, align, nearest_gaps
from grooves.takes.sheet import Sheet
from grooves.takes.take import Floats, Played, Take, median, onsets, robust_spread
from render.hearing.drums import BEFORE, attack, stacked
from render.hearing.features import HOP_SECONDS, Bands, Recording, Row, blocks, heard
from render.hearing.single_strokes import OwnKit
from render.hearing.strokes import (
    CLEAR,
    EXTRA_DB,
    UNSURE_DB,
    Peaks,
    away_from,
    peaks,
    separation,
    strongest_near,
    threshold,
)
from render.hearing.unmix import LAGS, Templates, strengths

WHITENING = 0.7  # power of a band's loudness that it is divided by
LEARNED_SECONDS = 90.0  # of a take; more teaches nothing
FIRST_ROUNDS, LEARNING_ROUNDS, LAST_ROUNDS = 25, 80, 60
OWN_PULL = 0.1  # of the kit's own templates on those learned anew, in each round
MASK_SECONDS = 0.070  # around what is written, where a part may strike while its template is learned
AUTOMATIC_DB = 3.0
SLID_SECONDS = 0.015, 0.06  # by how much more, and at most, a template slides while it is learned
OTHERS_SECONDS, APART_SECONDS = 0.04, 0.09  # around a place of others; how far it lies from every own one
CHANCE, SURE = 0.72, 0.95  # separation before anything was learned
CLUSTERED = 0.8  # share of a part's strokes that must lie together in time, or it is leakage that is heard
FAINTEST_DB = 20.0  # under a part's middle stroke, that one may still be
EXTRA_SOFTER_DB = 6.0  # under its softer strokes, that one which is not written may be
OWN_ECHO_SECONDS = 0.13  # around a stroke no other one of the same drum is believed that is not written
OVERLAP = 2 * LAGS  # moments that blocks share


@dataclass(frozen=True)
class Ears:
    """What a take is heard with: templates for this recording's bands, and how much each is late by itself."""

    parts: tuple[str, ...]
    templates: Templates
    weights: Row
    late_seconds: tuple[float, ...]


def listen(
    recording: Recording,
    sheet: Sheet,
    usual: Mapping[str, Bands],
    own: OwnKit | None = None,
    progress: Callable[[float], object] = lambda _: None,
) -> Take:
    """Hear a take: `listen(open_recording(path), sheet, kit_templates(kit, sheet.parts)).strokes`.

    `usual` are templates of a soundfont, `own` those of the kit itself where it was recorded stroke by stroke.
    """
    templates = own.templates if own else usual
    moments = min(recording.moments, int(LEARNED_SECONDS / HOP_SECONDS))
    sound = heard(recording, 0, moments)
    weights = _weights(sound)
    background = np.quantile(sound, 0.1, axis=1).astype(np.float32) + np.float32(1e-9)
    first = stacked(templates, weights, background)
    sound = sound * weights[:, None]
    rough = {part: peaks(row) for part, row in zip(templates, strengths(sound, first, FIRST_ROUNDS)[0], strict=False)}
    alignment = _lay(rough, sheet, moments * HOP_SECONDS)
    learned = _learn(sound, first, sheet, alignment, tuple(templates), OWN_PULL if own else 0.0)
    unclear = _absorbed(first, learned, rough, sheet, alignment, moments * HOP_SECONDS)
    late = _shifts(first[: len(templates)], learned[: len(templates)])
    found = _all_peaks(recording, Ears(tuple(templates), learned, weights, tuple(late)), progress)
    found = {part: _anchored(one, rough[part]) for part, one in found.items()}
    if recording.moments > moments:
        alignment = _lay(found, sheet, recording.seconds)
    take = _strokes(found, sheet, alignment, recording.seconds, unclear)
    return _levelled(take, own, weights, sheet, alignment) if own else take


def _weights(sound: Bands) -> Row:
    loud = np.sqrt(np.mean(sound.astype(np.float64) ** 2, axis=1))
    weights: Row = (1 / np.maximum(loud, max(float(loud.max()) * 1e-4, 1e-9)) ** WHITENING).astype(np.float32)
    return weights


def _lay(found: Mapping[str, Peaks], sheet: Sheet, seconds: float) -> Alignment:
    """Where the take lies, by each part's strongest peaks, as many as are written."""
    strokes = []
    share = min(1.0, seconds / sheet.end_seconds)
    for part, one in found.items():
        count = max(sum(stroke.part == part for stroke in sheet.strokes), 8)
        strong = np.argsort(-one.strength)[: int(count * share) + 1]
        strokes += [Played(float(one.seconds[place]), part) for place in strong]
    strokes.sort(key=lambda one: one.onset_seconds)
    return align(Take(tuple(strokes), seconds), sheet)


def _expected(sheet: Sheet, alignment: Alignment, part: str) -> Floats:
    written = np.array([one.onset_seconds for one in sheet.strokes if one.part == part])
    return written * (1 + alignment.drift) + alignment.offset_seconds


def _learn(
    sound: Bands, first: Templates, sheet: Sheet, alignment: Alignment, parts: tuple[str, ...], pull: float
) -> Templates:
    """Templates anew from the take itself, each part striking only about where it is written."""
    moments = np.arange(sound.shape[1], dtype=np.float64) * HOP_SECONDS
    mask = np.ones((len(first), len(moments)), np.float32)
    for number, part in enumerate(parts):
        expected = _expected(sheet, alignment, part) - BEFORE * HOP_SECONDS
        mask[number] = ~away_from(moments, np.sort(expected), MASK_SECONDS)

    def relearn(new: Templates) -> Templates:
        new = new / np.maximum(new.sum(axis=(1, 2), keepdims=True), 1e-12)
        return np.asarray(pull * first + (1 - pull) * new, dtype=np.float32)

    return strengths(sound, first, LEARNING_ROUNDS, mask, relearn)[1]


def _shifts(first: Templates, learned: Templates) -> list[float]:
    """How much later each learned template is in itself than the one it came from, in seconds.

    Bands count by how much the first one has in them, since a learned one also has what others leave there.
    """
    found = []
    for one, other in zip(first, learned, strict=True):
        share = one.sum(axis=1)
        found.append((attack(share @ other) - attack(share @ one)) * HOP_SECONDS)
    return found


def _anchored(found: Peaks, rough: Peaks) -> Peaks:
    """Peaks brought back where their template has slid off by a good deal, as those of the first templates show."""
    if not (len(found.seconds) and len(rough.seconds)):
        return found
    strong = found.seconds[found.strength >= np.quantile(found.strength, 0.7)]
    gaps = nearest_gaps(strong, rough.seconds[rough.strength >= np.quantile(rough.strength, 0.5)])
    near = gaps[np.abs(gaps) <= SLID_SECONDS[1]]
    off = median(near)
    sure = len(near) >= len(strong) / 2 and robust_spread(near) < SLID_SECONDS[0]
    return replace(found, seconds=found.seconds + off) if sure and abs(off) > SLID_SECONDS[0] else found


def _all_peaks(recording: Recording, ears: Ears, progress: Callable[[float], object]) -> dict[str, Peaks]:
    """Every part's peaks, found in overlapping blocks."""
    seconds: dict[str, list[Floats]] = {part: [] for part in ears.parts}
    strength: dict[str, list[Floats]] = {part: [] for part in ears.parts}
    for first, sound in blocks(recording):
        start = max(first - OVERLAP, 0)
        if start < first:
            sound = np.concatenate([heard(recording, start, first - start), sound], axis=1)
        after = heard(recording, first + sound.shape[1] - (first - start), OVERLAP)
        rows, _ = strengths(np.concatenate([sound, after], axis=1) * ears.weights[:, None], ears.templates, LAST_ROUNDS)
        end = start + sound.shape[1]
        for part, row, late in zip(ears.parts, rows, ears.late_seconds, strict=False):
            found = peaks(row, start)
            place = found.seconds / HOP_SECONDS - BEFORE
            inside = (place >= first - 0.5) & (place < end - 0.5)
            seconds[part].append(found.seconds[inside] + late)
            strength[part].append(found.strength[inside])
        progress(end / recording.moments)
    return {part: Peaks(np.concatenate(seconds[part]), np.concatenate(strength[part])) for part in ears.parts}


def _strokes(
    found: Mapping[str, Peaks], sheet: Sheet, alignment: Alignment, seconds: float, unclear: Collection[str]
) -> Take:
    """Each part's peaks judged against where it is written and where only others are."""
    strokes: list[Played] = []
    silent = set(unclear)
    for part in found:
        own, others = _places(part, tuple(found), sheet, alignment, seconds)
        here, elsewhere = strongest_near(found[part], own), strongest_near(found[part], others, OTHERS_SECONDS)
        if part in silent or not len(own) or separation(here, elsewhere) < CLEAR:
            silent.add(part)
            continue
        limit = max(threshold(here, elsewhere), float(np.median(here)) * 10 ** (-FAINTEST_DB / 20))
        judged = _judged(part, found[part], own, elsewhere, limit)
        if clustered(onsets(judged), own) < CLUSTERED:
            silent.add(part)
            continue
        strokes += judged
    strokes.sort(key=lambda one: one.onset_seconds)
    return Take(tuple(strokes), seconds, tuple(part for part in found if part in silent))


def clustered(moments: Floats, own: Floats) -> float:
    """The share of strokes near written places that lie within 30 ms of where they lie as a rule; 1 of none.

    Example: `clustered(written + 0.02, written)` is 1.0; peaks of noise are spread over all they are looked for in.
    """
    gaps = nearest_gaps(own, moments) if len(moments) else np.zeros(0)
    gaps = gaps[np.abs(gaps) <= 0.1]
    return float(np.mean(np.abs(gaps - median(gaps)) <= 0.03)) if len(gaps) else 1.0


def _places(
    part: str, parts: Sequence[str], sheet: Sheet, alignment: Alignment, seconds: float
) -> tuple[Floats, Floats]:
    """Where a part is written within a take, and where only others are."""
    own = np.sort(_expected(sheet, alignment, part))
    others = np.sort(np.concatenate([own[:0], *(_expected(sheet, alignment, one) for one in parts if one != part)]))
    own, others = (one[(one > 0) & (one < seconds)] for one in (own, others))
    return own, others[away_from(others, own, APART_SECONDS)] if len(others) and len(own) else others


def _absorbed(
    first: Templates, learned: Templates, rough: Mapping[str, Peaks], sheet: Sheet, alignment: Alignment, seconds: float
) -> set[str]:
    """The parts whose templates have learned another drum, as those do that nobody plays or that drown in others.

    Such a one could hardly be told apart before anything was learned; or not surely, and it is now as near to a
    clearer part's, or to a silent one's, as to its own beginning.
    """
    parts = tuple(rough)
    before = []
    for part in parts:
        own, others = _places(part, parts, sheet, alignment, seconds)
        near = strongest_near(rough[part], own), strongest_near(rough[part], others, OTHERS_SECONDS)
        before.append(separation(*near))
    found = set()
    for number, part in enumerate(parts):
        clearer = [q for q in range(len(parts)) if q != number and (before[q] > before[number] or before[q] < CHANCE)]
        itself = _alike(learned[number], first[number])
        drowned = any(_alike(learned[number], learned[other]) > itself - 0.05 for other in clearer)
        if before[number] < CHANCE or (before[number] < SURE and drowned):
            found.add(part)
    return found


def _alike(one: Bands, other: Bands) -> float:
    """The cosine of two templates: 1 where they are the same but for loudness."""
    return float(np.sum(one * other) / np.sqrt(max(float(np.sum(one**2) * np.sum(other**2)), 1e-20)))


def _levelled(take: Take, own: OwnKit, weights: Row, sheet: Sheet, alignment: Alignment) -> Take:
    """Strokes on one scale: how loud each is against the kit's own single strokes, and those against the ride's."""
    unit = {
        part: own.level_db[part] - 20 * float(np.log10(max(float(one[:, :LAGS].sum(axis=1) @ weights), 1e-12)))
        for part, one in own.templates.items()
    }
    strokes = tuple(replace(one, level_db=one.level_db + unit[one.part]) for one in take.strokes)
    return replace(take, strokes=strokes, levels=not automatic_gain(strokes, sheet, alignment))


def automatic_gain(strokes: Sequence[Played], sheet: Sheet, alignment: Alignment) -> bool:
    """Whether a recorder turned itself down after loud strokes: softer ones just after them sound softer still.

    The limit of 3 dB is ours, from takes made with and without such a gain.
    """
    by_part: dict[str, list[Played]] = {}
    for one in strokes:
        by_part.setdefault(one.part, []).append(one)
    if len(by_part) < 2:
        return False
    loud = max(by_part, key=lambda part: median([one.level_db for one in by_part[part]]))
    at = onsets(by_part.pop(loud))
    most = max(by_part.values(), key=len)
    after = np.array([one.onset_seconds for one in most])
    since = after - at[np.clip(np.searchsorted(at, after - 0.03) - 1, 0, None)]
    level = np.array([one.level_db for one in most]) - _meant_lu(after, most[0].part, sheet, alignment)
    close, far = level[(since > 0.03) & (since < 0.3)], level[since > 0.45]
    return min(len(close), len(far)) >= 8 and median(far) - median(close) > AUTOMATIC_DB


def _meant_lu(moments: Floats, part: str, sheet: Sheet, alignment: Alignment) -> Floats:
    """How loud the written stroke nearest to each moment is meant."""
    written = [one for one in sheet.strokes if one.part == part]
    at = np.array([one.onset_seconds for one in written])
    place = np.searchsorted((at[1:] + at[:-1]) / 2, alignment.on_track(moments))
    return np.array([one.level_lu for one in written])[place]


def _judged(part: str, found: Peaks, own: Floats, elsewhere: Floats, limit: float) -> list[Played]:
    """The strongest peak at each written place over the threshold, and others that stand well over all leakage."""
    chosen = _chosen(found, own)
    played = found.seconds[chosen[found.strength[chosen] >= limit]]
    free = away_from(found.seconds, played, OWN_ECHO_SECONDS) if len(played) else np.ones(len(found.seconds), bool)
    leak = float(np.quantile(elsewhere, 0.95)) if len(elsewhere) else 0.0
    hits = found.strength[chosen[found.strength[chosen] >= limit]]
    usual = float(np.quantile(hits, 0.1)) * 10 ** (-EXTRA_SOFTER_DB / 20) if len(hits) else 0.0
    over = max(max(limit, leak) * 10 ** (EXTRA_DB / 20), usual)
    low, high = limit * 10 ** (-UNSURE_DB / 20), limit * 10 ** (UNSURE_DB / 20)
    strokes = []
    written = np.isin(np.arange(len(found.seconds)), chosen)
    kept = np.where(written, found.strength >= low, free & (found.strength >= over))
    for place in np.flatnonzero(kept):
        strength = float(found.strength[place])
        sure = strength >= high or not written[place]
        strokes.append(Played(float(found.seconds[place]), part, 20 * float(np.log10(strength)), sure=bool(sure)))
    return strokes


def _chosen(found: Peaks, own: Floats) -> "np.typing.NDArray[np.int64]":
    """The strongest peak around each written place."""
    low = np.searchsorted(found.seconds, own - 0.08)
    high = np.searchsorted(found.seconds, own + 0.08)
    return np.array([a + int(found.strength[a:b].argmax()) for a, b in zip(low, high, strict=True) if b > a], np.int64)
