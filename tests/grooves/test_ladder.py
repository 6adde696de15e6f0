"""A ladder's rungs: every tempo once, the top once, and all that is played on each as often as it was asked for."""

import pytest
from written import SNARE, score

from grooves.feel import Feel
from grooves.line import PlayedOn
from grooves.passages import Ladder, Passage, Track, climb, track_passages
from grooves.performance import perform


@pytest.mark.parametrize(("low", "high", "step", "rungs"), [(100, 101, 0.1, 11), (70, 77, 0.7, 11), (72, 120, 4, 13)])
def test_steps_that_binary_fractions_cannot_hold_give_no_rung_twice(low, high, step, rungs):
    # Added up in floating point, ten steps of 0.1 end a hair below 1; so does 70 and ten times 0.7.
    tempos = [passage.tempo_bpm for passage in climb([Passage((0,), 120)], Ladder(low, high, step))]
    assert tempos == pytest.approx([low + n * step for n in range(rungs)])
    assert tempos[-1] == high


def test_a_passage_played_several_times_is_played_so_often_on_each_rung():
    passages = [Passage((0,), 120, times=3), Passage((1,), 120)]
    rungs = climb(passages, Ladder(60, 90, 30, times_each=2))
    assert [(one.bars, one.tempo_bpm, one.times) for one in rungs] == [
        ((0,), 60, 6),
        ((1,), 60, 2),
        ((0,), 90, 6),
        ((1,), 90, 2),
    ]


def test_the_times_of_a_track_multiply_those_of_its_ladder():
    made, ladder = score("4 4 4 4"), Ladder(60, 90, 30, times_each=2)
    for times, each in ((None, 2), (1, 2), (4, 8)):
        rungs = track_passages(Track("up", times=times, ladder=ladder), made, choruses=5, count_in=0)
        assert [one.times for one in rungs] == [each, each]


def test_readings_in_turn_climb_together():
    made = score("4 4 4 4", played_on=[SNARE, PlayedOn("bass drum", "bass drum")])
    track = Track("up", times=2, ladder=Ladder(60, 90, 30))
    rungs = track_passages(track, made, count_in=0)
    assert [(one.bars, one.tempo_bpm) for one in rungs] == [((0,), 60), ((1,), 60), ((0,), 90), ((1,), 90)]


def test_an_early_or_late_stroke_is_at_its_moment_on_the_ruler_where_the_tempo_changes():
    made = score("4 4 4 8 8")
    track = Track("up", ladder=Ladder(60, 240, 60))
    feel = Feel(timing_ms=30, placement_ms={"left hand": -40, "right hand": 40})
    played = perform(made, track_passages(track, made, count_in=1), feel)
    moved = [hit for hit in played.hits if hit.limb]
    crossing = [hit for hit in moved if any(abs(hit.onset_seconds - bar.onset_seconds) < 0.07 for bar in played.bars)]
    assert len(crossing) > 8
    for hit in moved:
        bar = max(
            (bar for bar in played.bars if bar.onset_quarters <= hit.onset_quarters), key=lambda bar: bar.onset_quarters
        )
        seconds = bar.onset_seconds + float(hit.onset_quarters - bar.onset_quarters) * 60 / bar.quarters_per_minute
        assert seconds == pytest.approx(hit.onset_seconds, abs=2e-6)
