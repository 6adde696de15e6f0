"""Whether a part is heard clearly: strokes, what others leave, what a student leaves out. All peaks made here."""

import numpy as np
import pytest

from render.hearing.clear import Clearness, clearness, clustered, is_clear
from render.hearing.strokes import Peaks

OWN = 1.0 + 0.5 * np.arange(60)
OTHERS = OWN[:-1] + 0.25


def a_part(left_out=0, leaks_db=-20.0, seed=1):
    """Strokes 5 ms unsteady, of 0 dB and 2 more or less; some left out, of which nothing is there but leakage."""
    draw = np.random.default_rng(seed)
    level = draw.normal(0, 2, 60)
    level[:left_out] = draw.normal(leaks_db, 3, left_out)
    leakage = draw.normal(leaks_db, 3, 59)
    seconds = np.concatenate([OWN + draw.normal(0, 0.005, 60), OTHERS])
    order = np.argsort(seconds)
    strength = 10 ** (np.concatenate([level, leakage]) / 20)
    return Peaks(seconds[order], strength[order]), 10 ** (leakage / 20)


def heard(absorbed=False, own_kit=False, **how):
    found, elsewhere = a_part(**how)
    return is_clear(clearness(found, OWN, elsewhere), absorbed, own_kit)


@pytest.mark.parametrize("left_out", [0, 6, 18])
def test_a_part_of_which_a_student_leaves_out_much_is_heard_as_clearly_as_a_full_one(left_out):
    assert heard(left_out=left_out)


def test_one_that_others_nearly_cover_is_not_heard_clearly_least_of_all_where_some_is_left_out():
    assert heard(leaks_db=-10.0) and not heard(leaks_db=-10.0, left_out=12) and not heard(leaks_db=-3.0)


def test_a_part_that_nobody_plays_is_not_heard():
    draw = np.random.default_rng(2)
    found = Peaks(np.sort(np.concatenate([OWN, OTHERS])), 10 ** (draw.normal(0, 3, 119) / 20))
    assert not is_clear(clearness(found, OWN, found.strength[1::2]), False, False)
    none = Peaks(np.zeros(0), np.zeros(0))
    assert not is_clear(clearness(none, OWN, np.zeros(59)), False, False)


def test_a_part_whose_template_may_have_learned_another_drum_must_be_clearer():
    assert heard(absorbed=True) and not heard(absorbed=True, left_out=12) and heard(left_out=12)
    assert heard(absorbed=True, own_kit=True) and not heard(absorbed=True, own_kit=True, left_out=18)


@pytest.mark.parametrize(
    ("of", "by_soundfont", "absorbed", "by_own_kit"),
    [
        (Clearness(1.0, 0.97, 0.05, 0.05), True, True, True),
        (Clearness(0.85, 0.97, 0.05, 0.05), False, False, False),  # spread over all that they are looked for in
        (Clearness(1.0, 0.94, 0.05, 0.3), True, False, True),
        (Clearness(1.0, 0.97, 0.18, 0.3), True, False, True),
        (Clearness(1.0, 0.97, 0.23, 0.3), True, False, False),
        (Clearness(1.0, 0.97, 0.27, 0.3), False, False, False),
        (Clearness(1.0, 0.91, 0.05, 0.3), False, False, True),
        (Clearness(1.0, 0.89, 0.05, 0.3), False, False, False),
        (Clearness(1.0, 0.8, 0.35, 0.1), True, False, True),  # much is missing and lies far off
        (Clearness(1.0, 0.7, 0.35, 0.1), False, False, False),
    ],
    ids=str,
)
def test_each_share_decides(of, by_soundfont, absorbed, by_own_kit):
    assert (is_clear(of, False, False), is_clear(of, True, False), is_clear(of, False, True)) == (
        by_soundfont,
        absorbed,
        by_own_kit,
    )


def test_strokes_lie_together_and_noise_is_spread_over_all_that_it_is_looked_for_in():
    found, elsewhere = a_part()
    assert clustered(found, OWN, elsewhere) == 1.0
    draw = np.random.default_rng(3)
    noise = Peaks(np.sort(OWN + draw.uniform(-0.08, 0.08, 60)), np.ones(60))
    assert clustered(noise, OWN, np.full(59, 0.1)) < 0.7
