"""What is said of takes whose faults are known: lateness, spread, togetherness, swing, places missed, no verdict.

Formulas: lateness is a median against the median of all limbs; spread 1.4826 times the median absolute deviation,
the standard deviation of a normal row (P. J. Rousseeuw & C. Croux 1993, J. Am. Stat. Assoc. 88).
"""

from dataclasses import replace

import numpy as np
import pytest
from music import lesson_of
from music import played as performed
from takes_made import LINE, Student, played, sheet

from grooves.takes.check import check_take, student_track
from grooves.takes.findings import WITHIN_MS
from grooves.takes.says import NOTICED_MS, counted, listed
from grooves.takes.take import Played, Take, median, robust_spread


def answer_to(written, how, **options):
    return check_take(played(written, how).take, written, **options)


def limb(answer, part):
    return next(one for one in answer.findings.limbs if one.part == part)


def told(answer):
    return " ".join(answer.sentences)


# --- numbers --------------------------------------------------------------------------------------


@pytest.mark.parametrize("late_ms", [-30.0, 22.0, 35.0])
def test_a_late_foot_is_measured_against_the_other_limbs_and_told(late_ms):
    answer = answer_to(sheet(choruses=6), Student(1, limb_ms={"right foot": late_ms}))
    assert limb(answer, "bass drum").lateness_ms == pytest.approx(late_ms, abs=3)
    assert abs(limb(answer, "ride").lateness_ms) < 3
    where = "after" if late_ms > 0 else "before"
    assert f"Your right foot (bass drum) came {abs(round(limb(answer, 'bass drum').lateness_ms))} ms {where}" in told(
        answer
    )


def test_all_limbs_late_together_are_not_called_late_but_where_the_delay_is_known():
    how = Student(2, offset_ms=150.0)
    answer = answer_to(sheet(), how)
    assert max(abs(one.lateness_ms) for one in answer.findings.limbs) < 3
    assert answer.findings.offset_ms == pytest.approx(150, abs=3)
    assert "the device's own delay" in answer.sentences[-1]
    known = answer_to(sheet(), how, latency_ms=120.0)
    assert limb(known, "ride").lateness_ms == pytest.approx(30, abs=3)
    assert "after the track" in told(known) and "own delay" not in told(known)


def test_spread_is_that_of_the_strokes_and_the_shares_lie_in_their_windows():
    answer = answer_to(sheet(choruses=12), Student(3, spread_ms=20.0))
    ride = limb(answer, "ride")
    assert ride.spread_ms == pytest.approx(20, abs=3)
    normal = [0.683, 0.866, 0.988]  # shares of a normal row within 1, 1.5 and 2.5 standard deviations; any table
    shares = (ride.within_20, ride.within_30, ride.within_50)
    assert WITHIN_MS == (20, 30, 50) and shares == pytest.approx(normal, abs=0.06)


def test_strays_do_not_widen_a_spread():
    row = np.random.default_rng(1).normal(0, 10, 4000)
    assert robust_spread(row) == pytest.approx(10, abs=0.5)
    assert robust_spread(np.append(row, [900.0] * 100)) == pytest.approx(10, abs=0.8)
    assert robust_spread([]) == median([]) == 0.0


def test_two_limbs_written_together_are_told_apart_by_how_far_they_fell():
    answer = answer_to(sheet(choruses=6), Student(4, spread_ms=4.0, limb_ms={"left hand": 40.0}))
    pair = next(one for one in answer.findings.together if one.limbs == ("right hand", "left hand"))
    assert pair.apart_ms == pytest.approx(40, abs=4) and pair.second_late_ms == pytest.approx(40, abs=4)
    assert f"fell {max(one.apart_ms for one in answer.findings.together):.0f} ms apart" in told(answer)
    close = answer_to(sheet(choruses=6), Student(4, spread_ms=4.0))
    assert "fell together" in told(close)


@pytest.mark.parametrize("ratio", [1.0, 1.5, 2.0, 2.8])
def test_the_swing_that_was_played_is_measured_against_the_asked_one(ratio):
    written = sheet(choruses=4)
    heard = sheet(choruses=4, feel=f"timing_ms = 0\nlevel_lu = 0\nswing = {ratio}")
    answer = check_take(played(heard, Student(5, spread_ms=3.0)).take, written)
    assert answer.findings.swing_asked == 2.0
    assert answer.findings.swing_played == pytest.approx(ratio, rel=0.06)
    assert ("You swung" in told(answer)) is (ratio in (1.0, 1.5, 2.8))


def test_in_eighths_that_are_beats_no_swing_is_measured():
    answer = answer_to(sheet("4. 4. | 8 8 8 4.", groove="six-eight", choruses=6), Student(6))
    assert answer.findings.swing_asked is None and answer.findings.swing_played is None


def test_a_place_that_is_missed_in_most_rounds_is_named():
    written = sheet(choruses=8)
    made = played(written, Student(7))
    gone = [
        place
        for place, one in enumerate(written.strokes)
        if one.part == "snare" and written.bars[one.bar].number == 2 and str(one.place) == "1/2"
    ][:6]
    kept = tuple(one for number, one in enumerate(made.take.strokes) if number not in {made.truth[p] for p in gone})
    answer = check_take(Take(kept, made.take.seconds), written)
    assert "In bar 2 the snare was missing on 1& in 6 of 8 rounds." in answer.sentences
    bar = next(one for one in answer.findings.bars if one.bar == 2)
    assert bar.missed == 6 and max(answer.findings.bars, key=lambda one: one.trouble) == bar


def test_strokes_too_many_are_counted_in_their_bar():
    written = sheet(choruses=4)
    made = played(written, Student(8))
    third = [bar for bar in written.bars if bar.number == 3]
    more = tuple(Played(bar.onset_seconds + 0.18 + 0.81 * bar.beat_seconds, "snare") for bar in third)
    strokes = tuple(sorted((*made.take.strokes, *more), key=lambda one: one.onset_seconds))
    answer = check_take(Take(strokes, made.take.seconds), written)
    assert limb(answer, "snare").extra == 4
    assert "4 strokes too many, most of them in bar 3." in answer.sentences


def test_a_drift_is_told_in_milliseconds_a_minute():
    answer = answer_to(sheet(choruses=10), Student(9, drift=0.0008))
    assert answer.findings.drift_ms_per_minute == pytest.approx(48, abs=4)
    assert "ms a minute behind the track" in told(answer)


def test_only_the_asked_bars_are_judged():
    answer = answer_to(sheet(choruses=4), Student(10, missing=0.1), bars=(2, 3))
    assert [bar.bar for bar in answer.findings.bars] == [2, 3]
    assert sum(one.written for one in answer.findings.limbs) == sum(bar.written for bar in answer.findings.bars)


def test_a_take_that_ends_early_is_judged_as_far_as_it_goes():
    written = sheet(choruses=8)
    made = played(written, Student(11))
    half = tuple(one for one in made.take.strokes if one.onset_seconds < written.end_seconds / 2)
    answer = check_take(Take(half, half[-1].onset_seconds), written)
    assert sum(one.missed for one in answer.findings.limbs) <= 4
    assert sum(bar.times for bar in answer.findings.bars) < len(written.bars) * 0.6


def test_a_limb_placed_behind_by_the_lesson_is_late_only_beyond_that():
    behind = sheet(choruses=6, feel="timing_ms = 0\nlevel_lu = 0\nbehind_ms = { snare = 30 }")
    answer = check_take(played(sheet(choruses=6), Student(12, limb_ms={"left hand": 30.0})).take, behind)
    assert abs(limb(answer, "snare").lateness_ms) < 3


def test_a_part_that_was_never_played_gets_no_verdict():
    answer = answer_to(sheet(), Student(13, silent=("hi-hat",)))
    hat = limb(answer, "hi-hat")
    assert (hat.heard, hat.lateness_ms, hat.missed) == (False, None, 0)
    assert "Not played, or not heard: left foot (hi-hat)." in answer.sentences


def test_a_part_heard_unclearly_gets_no_verdict_either():
    take = replace(played(sheet(), Student(14)).take, unclear=("hi-hat",))
    answer = check_take(take, sheet())
    assert not limb(answer, "hi-hat").heard
    assert "The hi-hat is not heard clearly enough to be judged." in answer.sentences


def test_strokes_only_just_heard_count_neither_as_hit_nor_as_missed():
    made = played(sheet(), Student(15)).take
    strokes = tuple(replace(one, sure=one.part != "snare" or number % 4 > 0) for number, one in enumerate(made.strokes))
    snare = limb(check_take(replace(made, strokes=strokes), sheet()), "snare")
    assert snare.unsure > 3 and snare.hit + snare.missed + snare.unsure == snare.written


def test_the_bass_drum_is_called_by_its_loudness_only_where_levels_can_be_compared():
    made = played(sheet(), Student(16)).take
    for level, word in ((-15.0, "feathered"), (-8.0, "soft"), (-2.0, "loud")):
        strokes = tuple(replace(one, level_db=level if one.part == "bass drum" else 0.0) for one in made.strokes)
        answer = check_take(replace(made, strokes=strokes, levels=True), sheet())
        assert answer.findings.bass_drum_lu == level and f"Your bass drum is {word}" in told(answer)
    assert check_take(made, sheet()).findings.bass_drum_lu is None


# --- no verdict -----------------------------------------------------------------------------------


def without_verdict(take, written, sounding=()):
    answer = check_take(take, written, sounding)
    assert answer.sentences == (answer.no_verdict,)
    assert not any(one.heard for one in answer.findings.limbs) and not answer.findings.bars
    return answer.no_verdict


def test_a_take_of_nothing_says_so():
    assert without_verdict(Take((), 0.0), sheet()) == "No stroke of this lesson's parts is in this take."


def test_two_seconds_say_nothing():
    written = sheet()
    made = played(written, Student(20, offset_ms=0)).take
    begun = written.bars[0].onset_seconds
    kept = tuple(one for one in made.strokes if one.onset_seconds < begun + 2)
    moved = tuple(replace(one, onset_seconds=one.onset_seconds - begun) for one in kept)
    assert "too short" in without_verdict(Take(moved, 2.0), written)


def test_the_track_played_back_is_no_take():
    lesson = lesson_of(LINE, tempo=120, top="choruses = 4", feel="timing_ms = 8")
    hits = performed(lesson, student_track(lesson.tracks)).hits
    track = Take(tuple(Played(one.onset_seconds + 0.2, one.part) for one in hits if one.limb), 40.0)
    sounding = [(one.part, one.onset_seconds) for one in hits]
    assert "the track itself" in without_verdict(track, sheet(choruses=4), sounding)


def test_a_student_who_plays_all_parts_as_exactly_as_a_machine_is_still_heard():
    lesson = lesson_of(LINE, tempo=120, top="choruses = 4")
    sounding = [(one.part, one.onset_seconds) for one in performed(lesson, student_track(lesson.tracks)).hits]
    answer = check_take(played(sheet(), Student(21, spread_ms=0)).take, sheet(), sounding)
    assert not answer.no_verdict and "Nothing that is written was missing." in answer.sentences


def test_another_lesson_with_the_same_time_and_another_line_is_told_by_its_line():
    other = sheet("8r 4 8r 8r 4 8r | 4r 8r 4 8r 8r 8 | 8r 4 8 4r 8r 8 | 8r 4. 8r 4 8r", choruses=4)
    said = without_verdict(played(other, Student(22)).take, sheet(choruses=4))
    assert said.startswith("The time fits, but of") and "another lesson's line" in said


def test_a_take_at_another_tempo_does_not_fit():
    said = without_verdict(played(sheet(tempo=103), Student(23)).take, sheet(tempo=120))
    assert "does not fit the track" in said


# --- words ----------------------------------------------------------------------------------------


def test_numbers_are_said_with_their_nouns():
    assert (counted(1, "beat"), counted(2, "beat")) == ("1 beat", "2 beats")
    assert (listed([3]), listed([3, 6]), listed([3, 6, 7])) == ("3", "3 and 6", "3, 6 and 7")
    assert NOTICED_MS == 19.0  # Hofmann et al. 2017; the preprint osf.io/jsg94


def test_a_limb_is_said_to_be_off_most_where_it_is():
    written = sheet(choruses=6)
    made = played(written, Student(24, limb_ms={"right foot": 20.0}, spread_ms=4))
    third = {
        place
        for place, one in enumerate(written.strokes)
        if one.part == "bass drum" and written.bars[one.bar].number == 3
    }
    late = {made.truth[place] for place in third}
    strokes = tuple(
        replace(one, onset_seconds=one.onset_seconds + 0.03 * (n in late)) for n, one in enumerate(made.take.strokes)
    )
    answer = check_take(replace(made.take, strokes=tuple(sorted(strokes, key=lambda one: one.onset_seconds))), written)
    assert "ms after the other limbs, most in bar 3." in told(answer)
