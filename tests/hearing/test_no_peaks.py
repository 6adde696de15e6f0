"""What is heard of a part that stood out nowhere at first."""

import numpy as np

from render.hearing.sound_take import _anchored
from render.hearing.strokes import Peaks

NONE, SOME = Peaks(np.zeros(0), np.zeros(0)), Peaks(np.array([1.0, 2.0]), np.array([0.5, 1.0]))


def test_a_part_that_no_first_template_hears_stays_where_its_own_puts_it():
    assert _anchored(SOME, NONE) is SOME
    assert _anchored(NONE, SOME) is NONE
