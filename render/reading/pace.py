"""The tempo that a hand really played at, where a file says another: found where the notes lie best on their grids.

The first stroke stands where the file puts it; from there the strokes are stretched, first over two bars and many
tempos, then over twice as many bars and the tempos near the best, until the whole file is looked at. Ours.
"""

from fractions import Fraction

import numpy as np

from grooves.rhythm import QUARTER
from render.reading.likelihood import Estimate, Floats, estimate, quick_score

SLOWEST, FASTEST = 0.82, 1.22  # of the file's tempo: not so far that triplets could pass for eighths at 3:2
STEP = 0.01
FIRST_BEATS = 8
KEPT = 4  # of the tempos that are tried, those that are looked at more closely
LOOSE_QUARTERS = 0.03  # a spread from which the file's own tempo is doubted: half of what notes anywhere would have
MUCH_LIKELIER = 15.0  # log likelihood by which another tempo must be better; many are tried


def stretched(onsets: Floats, pace: float) -> Floats:
    """Onsets as quarters of another tempo: at pace 1.1 what lasted 1 quarter in the file is 1.1."""
    return np.asarray(onsets[0] + (onsets - onsets[0]) * pace, dtype=np.float64)


def estimate_with_pace(onsets: Floats, quarter_seconds: Floats, beat: Fraction) -> tuple[Estimate, float]:
    """The likeliest estimate, and the pace it was played at: `estimate_with_pace(onsets, quarters, QUARTER)[1]` is 1.0.

    Another pace than the file's is only looked for where the notes lie badly on every grid.
    """
    found = estimate(onsets, quarter_seconds, beat)
    loose = found.spread_seconds > LOOSE_QUARTERS * float(np.median(quarter_seconds))
    if not loose or beat != QUARTER or len(onsets) < 2 * FIRST_BEATS:
        return found, 1.0
    pace = _best_pace(onsets, quarter_seconds, beat)
    other = estimate(stretched(onsets, pace), quarter_seconds / pace, beat)
    likelier = other.log_likelihood - found.log_likelihood > MUCH_LIKELIER
    return (other, pace) if likelier else (found, 1.0)


def _best_pace(onsets: Floats, quarter_seconds: Floats, beat: Fraction) -> float:
    paces: list[float] = np.arange(SLOWEST, FASTEST, STEP).tolist()
    beats, step = FIRST_BEATS, STEP
    while True:
        many = int(np.searchsorted(onsets, onsets[0] + beats))
        some, seconds = onsets[:many], quarter_seconds[:many]
        scores = {pace: quick_score(stretched(some, pace), seconds / pace, beat) for pace in paces}
        best: list[float] = sorted(scores, key=lambda pace: -scores[pace])[:KEPT]
        if many == len(onsets) or step < 1e-5:
            return best[0]
        beats, step = 2 * beats, step / 2
        paces = sorted({pace + step * turn for pace in best for turn in (-2, -1, 0, 1, 2)})
