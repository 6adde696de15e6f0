"""When strokes begin that lie beneath others, one by one: those of the foot's hi-hat, with which a ride always falls.

The template of a part takes the sharper stroke of a snare or a ride for the softer one under it. So the sound's rise,
every millisecond and in six bands, is taken apart into what follows each part's strokes; what the others explain is
taken away, and each stroke of the foot is laid where the rest looks most like the foot's own response. That is learned
from the take itself, in rounds from coarse to fine, and pulled half-way to the part's template, which also says where
in it a stroke begins. Where little is left under the others, the limb's own habit of the bars around decides.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from itertools import pairwise

import numpy as np
from scipy.ndimage import gaussian_filter1d
from scipy.signal import fftconvolve

from grooves.takes.align import nearest_gaps
from grooves.takes.take import Floats, Played, Take, onsets
from render.hearing.drums import BEFORE
from render.hearing.features import HOP_SECONDS, LOW_BANDS, Bands, high_edges, middles_of
from render.hearing.judge import REACH_SECONDS
from render.hearing.rise import FEWEST, HIGH_EDGES_HZ, MIDDLE, STEP_SECONDS, responses, train

BENEATH = "hi-hat"
LAGS = -20, 40  # steps around a stroke that are explained by it
ROUNDS = 8, 4, 2  # steps by which the rise is smoothed, round by round; these and what follows were found by trial
PULL = 0.5  # of the template on the response that is learned
COMPARED = slice(0, 3)  # bands, up to 1.6 kHz, by which the two are laid on each other; above, hi-hats hiss
BLUR, APART = 4, 25  # steps by which they are smoothed for that, and by which they may lie apart
FARTHEST = 45  # steps from where the foot falls as a rule, that a stroke may lie
HABIT_SECONDS = 0.020  # from there it lies, as a standard deviation
NEIGHBOURS = 9  # strokes, whose middle is where the foot falls as a rule
EVIDENCE = 0.04  # of a log-likelihood that counts: neighbouring steps and bands say the same twice
EDGE = 100  # steps at both ends of what is heard at once, whose strokes are only moved as all others are
BANDS_HZ = (400.0, 800.0), *pairwise((400.0, *HIGH_EDGES_HZ))  # of a template: its lower ones are too blurred
HEARD_SECONDS, SHARED_SECONDS = 90.0, 2.0  # at once, and of two such stretches


def laid(take: Take, written: Floats, template: Bands, steps_from: Callable[[float], Floats]) -> Take:
    """A take whose strokes of the foot lie where they begin: `laid(take, written, templates["hi-hat"], steps_from)`.

    `written` are the foot's moments in the take's time; `steps_from` gives the rises of 90 s, or what is left, from a
    moment on. Fewer than eight strokes in such a stretch stay where they are.
    """
    own = [one for one in take.strokes if one.part == BENEATH]
    found = onsets(own)
    new = found.copy()
    for start, low, high in _stretches(take.seconds) if own else ():
        near = [one for one in take.strokes if start <= one.onset_seconds < start + HEARD_SECONDS]
        near = [replace(one, onset_seconds=one.onset_seconds - start) for one in near]
        inside = (found >= start) & (found < start + HEARD_SECONDS)
        moved = np.full(len(own), np.nan)
        moved[inside] = start + moments(near, steps_from(start), written - start, template)
        kept = inside & (found >= low) & (found < high)
        new[kept] = moved[kept]
    strokes = [one for one in take.strokes if one.part != BENEATH]
    strokes += [replace(one, onset_seconds=float(at)) for one, at in zip(own, new, strict=True)]
    return replace(take, strokes=tuple(sorted(strokes, key=lambda one: one.onset_seconds)))


def _stretches(seconds: float) -> list[tuple[float, float, float]]:
    """Where what is heard at once begins, and between which moments it decides."""
    step = HEARD_SECONDS - SHARED_SECONDS
    count = max(int(np.ceil((seconds - SHARED_SECONDS) / step)), 1)
    edges = [0.0, *(step * number + SHARED_SECONDS / 2 for number in range(1, count)), np.inf]
    starts = [min(step * number, max(seconds - HEARD_SECONDS, 0.0)) for number in range(count)]
    return list(zip(starts, edges[:-1], edges[1:], strict=True))


def moments(strokes: Sequence[Played], steps: Floats, written: Floats, template: Bands) -> Floats:
    """When the foot's strokes begin, in seconds: `moments(take.strokes, steps, written, templates["hi-hat"])`."""
    by_part = {BENEATH: [one for one in strokes if one.part == BENEATH]}
    for one in strokes:
        if one.part != BENEATH and one.sure:
            by_part.setdefault(one.part, []).append(one)
    now = onsets(by_part[BENEATH])
    if len(now) < FEWEST or not len(written):
        return now
    bands = steps[:, MIDDLE.start :]
    bands = bands / np.maximum(np.sqrt(np.mean(bands**2, axis=0)), 1e-12)
    for smooth in ROUNDS:
        rise = gaussian_filter1d(bands, smooth, axis=0)
        usual = gaussian_filter1d(risen(template)[:, : bands.shape[1]], smooth, axis=0)
        late = later(responses(rise, by_part, LAGS)[BENEATH], usual)
        by_part[BENEATH] = _at(by_part[BENEATH], now + late)
        found = responses(rise, by_part, LAGS)
        found[BENEATH] = _pulled(found[BENEATH], usual[APART:-APART])
        now = _best(rise, by_part, found, _usually(now + late, written), EVIDENCE / smooth / 2)
        by_part[BENEATH] = _at(by_part[BENEATH], now)
    return now


def _at(strokes: Sequence[Played], now: Floats) -> list[Played]:
    return [replace(one, onset_seconds=float(at)) for one, at in zip(strokes, now, strict=True)]


def risen(template: Bands) -> Floats:
    """How fast the bands of a template rise every millisecond, for as long as a response and 25 ms on each side."""
    middles = middles_of(high_edges())
    power = template[LOW_BANDS:].astype(np.float64) ** 2
    at = (np.arange(template.shape[1]) - BEFORE) * HOP_SECONDS / STEP_SECONDS
    lags = np.arange(LAGS[0] - APART, LAGS[1] + APART)
    level = [
        np.interp(lags, at, np.sqrt(power[(middles >= low) & (middles < high)].sum(axis=0))) for low, high in BANDS_HZ
    ]
    return np.asarray(np.gradient(np.stack(level, axis=1), axis=0), dtype=np.float64)


def later(response: Floats, usual: Floats) -> float:
    """By how many seconds a response comes later than the usual one, which reaches 25 steps farther on both sides.

    Example: `later(responses(rise, strokes, LAGS)["hi-hat"], risen(template))`; 0 where the two are nowhere alike.
    """
    one, other = (
        each / np.maximum(np.sqrt(np.mean(each**2, axis=0)), 1e-12)
        for each in (gaussian_filter1d(one[:, COMPARED], BLUR, axis=0) for one in (response, usual))
    )
    alike = [float(np.sum(one * other[APART - lag : APART - lag + len(one)])) for lag in range(-APART, APART + 1)]
    return float(_tops(np.array([alike]))[0] - APART) * STEP_SECONDS if max(alike) > 0 else 0.0


def _tops(rows: Floats) -> Floats:
    """Where each row is highest, between its values by the parabola through three."""
    at = np.clip(np.argmax(rows, axis=1), 1, rows.shape[1] - 2)
    left, top, right = (np.take_along_axis(rows, at[:, None] + step, axis=1)[:, 0] for step in (-1, 0, 1))
    bend = np.minimum(left - 2 * top + right, -1e-12)
    return np.asarray(at + np.clip(0.5 * (left - right) / bend, -1, 1), dtype=np.float64)


def _pulled(response: Floats, usual: Floats) -> Floats:
    """A response pulled to the usual one, of the same size in each band."""
    size, its = (np.sqrt(np.mean(one**2, axis=0)) for one in (response, usual))
    return np.asarray((1 - PULL) * response + PULL * usual * size / np.maximum(its, 1e-12), dtype=np.float64)


def _best(
    rise: Floats, strokes: Mapping[str, Sequence[Played]], found: Mapping[str, Floats], usually: Floats, trust: float
) -> Floats:
    """Where the foot's strokes lie best, by what the others leave and by where they would usually lie."""
    own = _following(train(strokes[BENEATH], len(rise)), found[BENEATH])
    others = [_following(train(of, len(rise)), found[part]) for part, of in strokes.items() if part != BENEATH]
    covering = np.sum(others, axis=0) if others else np.zeros_like(rise)
    left = rise - covering
    certain = 1 / _unexplained((left - own) ** 2, gaussian_filter1d(covering**2, BLUR, axis=0))
    fit, most = _against(left * certain, found[BENEATH]), _against(certain, found[BENEATH] ** 2)
    steps = np.arange(-FARTHEST, FARTHEST + 1)
    middles = np.round(usually / STEP_SECONDS).astype(np.int64)
    now = onsets(strokes[BENEATH])
    inside = (middles > EDGE) & (middles < len(rise) - EDGE)
    near = middles[inside, None] + steps
    gain = trust * np.maximum(fit[near], 0) ** 2 / 2 / np.maximum(most[near], 1e-12)
    habit = (steps * STEP_SECONDS / HABIT_SECONDS) ** 2 / 2
    now[inside] = (middles[inside] - FARTHEST + _tops(gain - habit)) * STEP_SECONDS
    return now


def _following(strokes: Floats, response: Floats) -> Floats:
    """What follows strokes in all."""
    whole = fftconvolve(strokes[:, None], response, axes=0)
    return np.asarray(whole[-LAGS[0] : len(strokes) - LAGS[0]], dtype=np.float64)


def _against(rise: Floats, response: Floats) -> Floats:
    """How much of a response lies from each step on, all bands together."""
    whole = fftconvolve(rise, response[::-1], axes=0).sum(axis=1)
    return np.asarray(whole[LAGS[1] - 1 : LAGS[1] - 1 + len(rise)], dtype=np.float64)


def _unexplained(square: Floats, covering: Floats) -> Floats:
    """The mean square of what nothing explains, at each step: some always, and a share of what lies above the foot.

    No two strokes of a drum are alike, so that under a loud one less is certain.
    """
    share = np.clip(np.sum(square * covering, axis=0) / np.maximum(np.sum(covering**2, axis=0), 1e-12), 0, 1)
    always = np.mean(square, axis=0)
    return np.asarray(np.maximum(always - share * np.mean(covering, axis=0), 0.1 * always) + share * covering + 1e-12)


def _usually(now: Floats, written: Floats) -> Floats:
    """Where the foot would have struck by its habit in the bars around; away from what is written where it did."""
    late = -nearest_gaps(now, written)
    near = np.abs(late) <= REACH_SECONDS
    if np.sum(near) < NEIGHBOURS:
        return now
    rows = np.lib.stride_tricks.sliding_window_view(np.pad(late[near], NEIGHBOURS // 2, mode="reflect"), NEIGHBOURS)
    usually = now.copy()
    usually[near] += np.median(rows, axis=1) - late[near]
    return usually
