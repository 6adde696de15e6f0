"""Takes made from a sheet with their own seeds: which stroke is which, and where the beat was lost.

mir_eval counts the same from outside: its onset and transcription modules match events within a window by a maximum
bipartite matching (C. Raffel et al., mir_eval, ISMIR 2014).
"""

import mir_eval
import numpy as np
import pytest
from takes_made import Student, played, put_right, sheet

from grooves.takes.align import align, other_speed
from grooves.takes.check import check_take
from grooves.takes.lost import lost_beats
from grooves.takes.match import cheapest, match
from grooves.takes.take import Played, Take

TEMPOS = (60, 100, 140, 180, 220)
LIMBS_OFF = {"right foot": 15.0, "left hand": -8.0}


def matched(written, made):
    alignment = align(made.take, written)
    return match(made.take, written, alignment, lost_beats(made.take, written, alignment))


def share_put_right(tempo, seeds=range(3), **faults):
    written = sheet(tempo=tempo, choruses=6)
    made = [played(written, Student(seed, limb_ms=LIMBS_OFF, **faults)) for seed in seeds]
    return np.mean([put_right(matched(written, one).of, one.truth) for one in made])


def test_strokes_are_put_right_with_fifteen_in_a_hundred_missing_and_as_many_too_many():
    shares = [share_put_right(tempo, missing=0.15, extra=0.15) for tempo in TEMPOS]
    assert np.mean(shares) >= 0.99 and min(shares) >= 0.985  # at 220 an extra often lies nearer than the stroke


def test_strokes_are_put_right_with_thirty_and_thirty_and_a_wandering_tempo():
    shares = [share_put_right(tempo, missing=0.3, extra=0.3, wander_ms=40) for tempo in TEMPOS]
    assert min(shares) >= 0.95


def test_a_take_without_faults_is_matched_whole_and_measured_exactly():
    written = sheet()
    made = played(written, Student(1, spread_ms=0.0, offset_ms=250))
    found = matched(written, made)
    assert list(found.of) == made.truth
    assert not found.extras and not any(found.lost_beats)
    assert np.abs(np.array(found.late_seconds)).max() < 1e-6


def test_an_empty_row_matches_nothing():
    nothing = np.zeros(0)
    assert cheapest(nothing, nothing, 0.01, ()) == []
    assert cheapest(np.array([1.0]), nothing, 0.01, ()) == []
    assert cheapest(nothing, np.array([1.0]), 0.01, (3.2,)) == []


def test_a_matching_takes_the_nearer_of_two_and_crosses_none():
    written, played_at = np.array([1.0, 1.1]), np.array([0.99, 1.004, 1.1])
    assert cheapest(written, played_at, 0.01, (3.2,) * 3) == [(0, 1), (1, 2)]


def test_what_costs_little_to_leave_over_is_left_over():
    written, played_at = np.array([1.0]), np.array([1.004, 1.012])
    assert cheapest(written, played_at, 0.02, (3.2, 3.2)) == [(0, 0)]
    assert cheapest(written, played_at, 0.02, (0.3, 3.2)) == [(0, 1)]


# --- the same figures by others -------------------------------------------------------------------


def test_mir_eval_counts_the_same_hits_in_onsets_of_each_part():
    written = sheet(tempo=120)
    made = played(written, Student(5, missing=0.1, extra=0.05, spread_ms=6.0, offset_ms=0.0))
    found = match(made.take, written, align(made.take, written))
    for part in written.parts:
        places = [place for place, one in enumerate(written.strokes) if one.part == part]
        hits = [place for place in places if found.of[place] >= 0 and abs(found.late_seconds[place]) < 0.03]
        reference = np.array([written.strokes[place].onset_seconds for place in places])
        estimate = align(made.take, written).on_track(
            np.array([one.onset_seconds for one in made.take.strokes if one.part == part])
        )
        f, precision, recall = mir_eval.onset.f_measure(reference, estimate, window=0.03)
        assert recall == pytest.approx(len(hits) / len(places), abs=0.015)
        assert precision == pytest.approx(len(hits) / len(estimate), abs=0.015)
        assert f > 0.85


def test_mir_eval_transcribes_the_same_pairs_of_part_and_onset():
    written = sheet(tempo=100)
    made = played(written, Student(6, missing=0.1, extra=0.1, spread_ms=6.0, offset_ms=0.0))
    found = match(made.take, written, align(made.take, written))
    pitch = {part: 100.0 * 2**number for number, part in enumerate(written.parts)}
    moments = align(made.take, written).on_track(np.array([one.onset_seconds for one in made.take.strokes]))
    reference = np.array([[one.onset_seconds, one.onset_seconds + 0.1] for one in written.strokes])
    estimate = np.stack([moments, moments + 0.1], axis=1)
    estimate += 1.0  # it wants no moment before 0
    pairs = mir_eval.transcription.match_notes(
        reference + 1.0,
        np.array([pitch[one.part] for one in written.strokes]),
        estimate,
        np.array([pitch[one.part] for one in made.take.strokes]),
        onset_tolerance=0.03,
        offset_ratio=None,
    )
    ours = {(place, hit) for place, hit in enumerate(found.of) if hit >= 0 and abs(found.late_seconds[place]) < 0.03}
    assert len(ours & set(pairs)) >= 0.98 * len(pairs)  # where two lie within the window, either is right to it


# --- where a take lies ----------------------------------------------------------------------------


@pytest.mark.parametrize("offset_ms", [-1200.0, -400.0, 0.0, 310.0, 1400.0, 7300.0])
def test_the_offset_of_a_take_is_found_near_and_far(offset_ms):
    written = sheet(tempo=132)
    made = played(written, Student(2, missing=0.1, extra=0.1, offset_ms=offset_ms))
    assert align(made.take, written).offset_seconds * 1000 == pytest.approx(offset_ms, abs=3)


@pytest.mark.parametrize("drift", [-0.0004, 0.0001, 0.0006])
def test_the_drift_of_a_clock_is_found(drift):
    written = sheet(tempo=120, choruses=8)
    made = played(written, Student(3, drift=drift, missing=0.1, extra=0.1))
    assert align(made.take, written).drift == pytest.approx(drift, abs=40e-6)


@pytest.mark.parametrize(("rate", "words"), [(2.0, "half"), (0.5, "twice")])
def test_a_take_at_another_speed_is_told_so(rate, words):
    written = sheet(tempo=120)
    made = played(written, Student(4, spread_ms=6))
    slow = Take(
        tuple(type(one)(one.onset_seconds * rate, one.part) for one in made.take.strokes), made.take.seconds * rate
    )
    assert other_speed(slow, written) == words
    answer = check_take(slow, written)
    assert answer.no_verdict.startswith(f"This take runs at {words} the speed")


# --- lost beats -----------------------------------------------------------------------------------


def lost_take(seed):
    """A take of five rounds that is one or two beats off for two to five bars, and the lags that it has."""
    draw = np.random.default_rng(seed)
    written = sheet(tempo=(60, 90, 120, 160, 200, 220)[seed % 6], choruses=5)
    lag, first, many = int(draw.choice([-2, -1, 1, 2])), int(draw.integers(4, 14)), int(draw.integers(2, 6))
    lags = dict.fromkeys(range(first, first + many), lag)
    faults = {"missing": 0.15, "extra": 0.15, "wander_ms": 20, "limb_ms": {"right foot": 22.0}}
    made = played(written, Student(seed, lag=lags, **faults))
    clean = played(written, Student(seed + 100, **faults))
    return written, made, clean, [lags.get(bar, 0) for bar in range(len(written.bars))]


def test_lost_beats_are_found_in_22_of_24_and_never_where_there_are_none():
    found = 0
    for seed in range(24):
        written, made, clean, lags = lost_take(seed)
        heard = lost_beats(made.take, written, align(made.take, written))
        found += any(heard) and sum(one != other for one, other in zip(heard, lags, strict=True)) <= 1
        assert not any(lost_beats(clean.take, written, align(clean.take, written)))
    assert found >= 22


def test_strokes_of_a_lost_bar_count_as_played_and_the_lag_is_told():
    written = sheet(tempo=120, choruses=4)
    made = played(written, Student(7, lag={6: 1, 7: 1, 8: 1}))
    answer = check_take(made.take, written)
    assert "From bar 3 (round 2) you were 1 beat late for 3 bars." in answer.sentences
    assert sum(one.missed for one in answer.findings.bars) < 12  # where the player left and came back


def test_a_pickup_is_written_out_before_its_bar_and_missed_where_it_is_not_played():
    """Common practice, no source: a pickup belongs to the line, so who reads the line plays it too."""
    written = sheet("4 8 8 4 4 | 4 8 8 4 4r", choruses=3, line='pickup = "8 8"')
    early = [(one.bar, one.place) for one in written.strokes if one.place < 0]
    assert early == [(bar, place) for bar in (0, 2, 4) for place in (-1, -0.5)]
    assert written.strokes[0].onset_seconds < written.bars[0].onset_seconds
    made = played(written, Student(4))
    assert all(limb.extra == 0 for limb in check_take(made.take, written).findings.limbs)
    pickups = {n for place, n in enumerate(made.truth) if written.strokes[place].place < 0}
    kept = tuple(one for n, one in enumerate(made.take.strokes) if n not in pickups)
    left = check_take(Take(kept, made.take.seconds), written)
    assert any("In the pickup the snare was missing on 4" in sentence for sentence in left.sentences)


def test_strokes_along_with_the_count_in_are_not_too_many():
    written = sheet(choruses=3)
    made = played(written, Student(5, offset_ms=0.0))
    beat = written.bars[0].beat_seconds
    along = tuple(Played(n * beat, part, -8.0) for n in range(8) for part in ("hi-hat", "snare"))
    found = check_take(Take((*along, *made.take.strokes), made.take.seconds), written).findings
    assert all(limb.extra == 0 for limb in found.limbs)
