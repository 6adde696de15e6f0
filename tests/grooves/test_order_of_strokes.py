"""However loosely a limb plays, its strokes keep their order and stay nearer to their own place than to another."""

from collections import defaultdict
from dataclasses import replace

import numpy as np
import pytest
from written import score

from grooves.feel import Feel
from grooves.passages import Passage
from grooves.performance import perform

FASTEST_BPM = 400  # the most that a lesson may ask for, and the most deviation
LOOSEST = Feel(timing_ms=30, level_lu=0, upbeat_accent_lu=0, held_upbeat_lu=0, downbeat_quarters_lu=0)
LINES = {"sixteenths": "16 16 16 16 16 16 16 16 16 16 16 16 16 16 16 16", "mixed": "8 16 16 12 12 12 4 8 8"}


def numbered(line):
    """A score whose strokes tell themselves apart by their level: a thousandth of a unit for each from the start."""
    made = score(f"{line} | {line}", tempo_bpm=FASTEST_BPM)
    bars, count = [], 0
    for bar in made.bars:
        strokes = tuple(replace(stroke, accent_lu=0.001 * (count + n)) for n, stroke in enumerate(bar.strokes))
        bars.append(replace(bar, strokes=strokes))
        count += len(strokes)
    return replace(made, bars=tuple(bars))


def by_limb(made, feel):
    """Onset and number of each limb's hits, in order of their sounding."""
    passage = Passage(tuple(range(len(made.bars))), made.tempo_bpm, times=4)
    balance_lu = dict.fromkeys(("ride", "snare", "bass drum", "hi-hat", "line"), 0.0)
    limbs = defaultdict(list)
    for hit in perform(made, [passage], feel, balance_lu).hits:
        limbs[hit.limb].append((hit.onset_seconds, round(hit.level_lu * 1000)))
    return {limb: np.array(sorted(hits)) for limb, hits in limbs.items()}


@pytest.mark.parametrize("seed", [1, 2, 3])
@pytest.mark.parametrize("line", LINES)
def test_no_stroke_of_a_limb_overtakes_another(line, seed):
    made = numbered(LINES[line])
    exact, loose = (by_limb(made, replace(LOOSEST, timing_ms=ms, seed=seed)) for ms in (0, 30))
    assert set(loose) == {"right hand", "left hand", "right foot", "left foot"}
    for limb, hits in loose.items():
        assert hits[:, 1].tolist() == exact[limb][:, 1].tolist()
        gaps = np.diff(exact[limb][:, 0])
        moved = hits[:, 0] - exact[limb][:, 0]
        assert (moved[:-1] < gaps / 2).all()
        assert (-moved[1:] < gaps / 2).all()
        assert np.abs(moved).max() > 0.005  # it is loose all the same
