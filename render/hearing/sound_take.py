"""A take from a microphone: laid on its track, its drums' templates learned, every stroke found, block by block."""

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from grooves.takes.align import RATES, Alignment, agreement, align, combs, other_speed
from grooves.takes.sheet import Sheet
from grooves.takes.take import Floats, Played, Take, median
from render.hearing.beneath import BENEATH, HEARD_SECONDS, laid
from render.hearing.clear import clearness, is_clear
from render.hearing.drums import BEFORE, attack, stacked
from render.hearing.features import HOP_SECONDS, Bands, Recording, Row, blocks, heard, read_mono
from render.hearing.judge import OTHERS_SECONDS, judged
from render.hearing.levels import levelled
from render.hearing.rise import begun, rises
from render.hearing.single_strokes import OwnKit
from render.hearing.strokes import Peaks, away_from, peaks, separation, strongest_near
from render.hearing.unmix import LAGS, Templates, strengths

WHITENING = 0.7  # power of a band's loudness that it is divided by
LEARNED_SECONDS = 90.0  # of a take; more teaches nothing
FIRST_ROUNDS, LEARNING_ROUNDS, LAST_ROUNDS = 25, 80, 60
OWN_PULL = 0.1  # of the kit's own templates on those learned anew, in each round
MASK_SECONDS = 0.070  # around what is written, where a part may strike while its template is learned
KEPT = 0.6  # share of what is written that the strongest peaks fit, from which on a take keeps to its track
SPEED_FITS, SPEED_LEAD = 0.55, 0.15  # F of rough peaks at another speed, and over theirs as they are
APART_SECONDS = 0.09  # how far a place of others lies from every own one
CHANCE, SURE = 0.72, 0.95  # separation before anything was learned
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
    speed = speed_of(rough, sheet, alignment, moments * HOP_SECONDS)
    if speed:
        return Take((), recording.seconds, speed=speed)
    learned = _learn(sound, first, sheet, alignment, tuple(templates), OWN_PULL if own else 0.0)
    absorbed = _absorbed(first, learned, rough, sheet, alignment, moments * HOP_SECONDS)
    late = _shifts(first[: len(templates)], learned[: len(templates)])
    found = _all_peaks(recording, Ears(tuple(templates), learned, weights, tuple(late)), progress)
    if recording.moments > moments:
        alignment = _lay(found, sheet, recording.seconds)
    steps = _rises_from(recording, 0.0)
    take = begun(_strokes(found, sheet, alignment, recording.seconds, absorbed, own is not None), steps)
    if BENEATH in templates:
        written = np.sort(_expected(sheet, alignment, BENEATH))
        take = laid(take, written, templates[BENEATH], lambda start: _rises_from(recording, start) if start else steps)
    return levelled(take, own, usual, weights, steps) if own else take


def _rises_from(recording: Recording, start: float) -> Floats:
    """The rises of what is heard at once from a moment on."""
    frames = round(min(recording.seconds - start, HEARD_SECONDS) * recording.rate)
    return rises(read_mono(recording, round(start * recording.rate), frames), recording.rate)


def _weights(sound: Bands) -> Row:
    loud = np.sqrt(np.mean(sound.astype(np.float64) ** 2, axis=1))
    weights: Row = (1 / np.maximum(loud, max(float(loud.max()) * 1e-4, 1e-9)) ** WHITENING).astype(np.float32)
    return weights


def _lay(found: Mapping[str, Peaks], sheet: Sheet, seconds: float) -> Alignment:
    """Where the take lies, by each part's strongest peaks, as many as are written."""
    return align(_strongest(found, sheet, seconds), sheet)


def _strongest(found: Mapping[str, Peaks], sheet: Sheet, seconds: float, rate: float = 1.0) -> Take:
    """Each part's strongest peaks, as many as are written within so many seconds of a track at a rate."""
    strokes = []
    share = min(1.0, seconds * rate / sheet.end_seconds)
    for part, one in found.items():
        count = max(sum(stroke.part == part for stroke in sheet.strokes), 8)
        strong = np.argsort(-one.strength)[: int(count * share) + 1]
        strokes += [Played(float(one.seconds[place]), part) for place in strong]
    return Take(tuple(sorted(strokes, key=lambda one: one.onset_seconds)), seconds)


def speed_of(found: Mapping[str, Peaks], sheet: Sheet, alignment: Alignment, seconds: float) -> str:
    """At which other speed a take runs, "" where at none: `speed_of(rough, sheet, alignment, 40.0)` is "half".

    Before anything is learned peaks are rough, so less is asked of their fit than of pads, and a longer lead.
    """
    if alignment.share >= KEPT:
        return ""
    parts = combs(_strongest(found, sheet, seconds), sheet)
    fit = median([agreement(written, alignment.on_track(played)) for written, played in parts])
    for rate, words in RATES:
        if other_speed(_strongest(found, sheet, seconds, rate), sheet, fit + SPEED_LEAD, SPEED_FITS) == words:
            return words
    return ""


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
    found: Mapping[str, Peaks],
    sheet: Sheet,
    alignment: Alignment,
    seconds: float,
    absorbed: Collection[str],
    own_kit: bool,
) -> Take:
    """Each part's peaks judged against where it is written and where only others are."""
    strokes: list[Played] = []
    silent: set[str] = set()
    for part in found:
        own, others = _places(part, tuple(found), sheet, alignment, seconds)
        elsewhere = strongest_near(found[part], others, OTHERS_SECONDS)
        if len(own) and is_clear(clearness(found[part], own, elsewhere), part in absorbed, own_kit):
            strokes += judged(part, found[part], own, elsewhere)
        else:
            silent.add(part)
    strokes.sort(key=lambda one: one.onset_seconds)
    return Take(tuple(strokes), seconds, tuple(part for part in found if part in silent))


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
