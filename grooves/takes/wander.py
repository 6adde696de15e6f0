"""How a player wanders off the track and back: a slow course through the take, found before strokes are matched.

In each stretch of a few seconds the gaps from written to played moments are counted, part by part; the likeliest
course through the stretches changes little from one to the next.
"""

import numpy as np

from grooves.takes.align import Alignment, combs, pairs
from grooves.takes.sheet import Sheet
from grooves.takes.take import Floats, Take, median

STRETCH_SECONDS, HOP_SECONDS = 5.0, 1.5
REACH_SECONDS = 0.16  # farther off is not wandering
STEP_SECONDS = 0.008
FARTHEST_STEPS = 3  # from one stretch to the next
STEP_PRICE = 0.05  # in shares of the written strokes
_BLUR = np.array([0.25, 0.75, 1.0, 0.75, 0.25])


def straightened(take: Take, sheet: Sheet, alignment: Alignment) -> Floats:
    """The take's moments on the track, its slow wandering taken off: `straightened(take, sheet, alignment)[0]`."""
    moments = alignment.on_track(np.array([one.onset_seconds for one in take.strokes]))
    times, late = course(take, sheet, alignment)
    return moments - np.interp(moments, times, late) if len(times) else moments


def course(take: Take, sheet: Sheet, alignment: Alignment) -> tuple[Floats, Floats]:
    """Moments along the track, and how many seconds late the whole take is there as against its middle."""
    parts = [(written, alignment.on_track(played)) for written, played in combs(take, sheet)]
    if not parts:
        return np.zeros(0), np.zeros(0)
    starts = np.arange(0.0, max(sheet.end_seconds - STRETCH_SECONDS, 0.0) + HOP_SECONDS, HOP_SECONDS)
    steps = int(2 * REACH_SECONDS / STEP_SECONDS) + 1
    shares = np.zeros((len(starts), steps))
    for written, played in parts:
        shares += _shares(written, played, starts, steps)
    path = _smoothest(shares / np.maximum(_due(parts, starts), 1)[:, None])
    late = path * STEP_SECONDS - REACH_SECONDS
    return starts + STRETCH_SECONDS / 2, late - median(late)


def _shares(written: Floats, played: Floats, starts: Floats, steps: int) -> Floats:
    """Of one part: how many strokes of each stretch lie at each step off."""
    first, second = pairs(written, played, REACH_SECONDS)
    step = np.clip(((played[second] - written[first] + REACH_SECONDS) / STEP_SECONDS).round().astype(int), 0, steps - 1)
    hop = np.clip((written[first] / HOP_SECONDS).astype(int), 0, None)
    reach = int(np.ceil(STRETCH_SECONDS / HOP_SECONDS))
    counts = np.zeros((len(starts) + reach, steps))
    np.add.at(counts, (np.clip(hop, 0, len(counts) - 1), step), 1.0)
    sums = np.cumsum(np.vstack([np.zeros(steps), counts]), axis=0)
    together = sums[reach : reach + len(starts)] - sums[: len(starts)]
    blurred = np.apply_along_axis(lambda row: np.convolve(row, _BLUR, mode="same"), 1, together)
    return np.asarray(blurred, dtype=np.float64)


def _due(parts: list[tuple[Floats, Floats]], starts: Floats) -> Floats:
    edges = np.stack([starts, starts + np.ceil(STRETCH_SECONDS / HOP_SECONDS) * HOP_SECONDS])
    inside = [np.diff(np.searchsorted(written, edges), axis=0)[0] for written, _ in parts]
    return np.asarray(np.sum(inside, axis=0), dtype=np.float64)


def _smoothest(shares: Floats) -> Floats:
    """The row of steps, one for each stretch, with the greatest shares less the price of its changes (Viterbi)."""
    steps = shares.shape[1]
    change = np.abs(np.arange(steps)[:, None] - np.arange(steps))
    price = np.where(change > FARTHEST_STEPS, np.inf, STEP_PRICE * change)
    total, came = shares[0], []
    for share in shares[1:]:
        ways = total[:, None] - price
        came.append(ways.argmax(axis=0))
        total = ways.max(axis=0) + share
    row = [int(total.argmax())]
    for before in reversed(came):
        row.append(int(before[row[-1]]))
    return np.array(row[::-1], dtype=np.float64)
