"""How far a lesson's feel may be turned: up to each end it plays, a step past it is a mistake that says the range."""

import numpy as np
import pytest
from music import lesson_of, of_part, played

from grooves.errors import LessonError

LIMITS = {  # the key: from, to, a step
    "timing_ms": (0, 30, 0.1),
    "level_lu": (0, 6, 0.1),
    "correlation": (0, 1.5, 0.01),
    "together": (0, 1, 0.01),
    "seed": (0, 2**32 - 1, 1),
}


@pytest.mark.parametrize("key", LIMITS)
def test_the_feel_plays_at_both_its_ends(key):
    for end in LIMITS[key][:2]:
        performance = played(lesson_of("4 8 8 4 4", feel=f"{key} = {end}", top="choruses = 16"))
        onsets = np.array([hit.onset_seconds for hit in of_part(performance, "snare")])
        assert len(onsets) == 16 * 5
        assert (np.diff(onsets) > 0).all()


@pytest.mark.parametrize("key", LIMITS)
def test_a_step_past_its_ends_is_a_mistake_that_says_the_range(key):
    low, high, step = LIMITS[key]
    for beyond in (low - step, high + step):
        with pytest.raises(LessonError, match=rf"{key}: .* is out of range; .* {low} to {high}"):
            lesson_of(feel=f"{key} = {beyond}")
