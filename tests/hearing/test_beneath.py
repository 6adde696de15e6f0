"""Strokes of the foot's hi-hat beneath a ride and a snare that always fall with it. All sounds made here."""

import numpy as np
import pytest

from grooves.takes.take import Played, Take
from render.hearing.beneath import BENEATH, EDGE, laid, later, risen
from render.hearing.drums import template
from render.hearing.rise import STEP_SECONDS, rises

RATE = 22050
SECONDS = 30


def burst(hertz, fades_seconds, rises_seconds, draw):
    """A stroke of many frequencies about some, that rises and fades."""
    at = np.arange(int(0.15 * RATE)) / RATE
    waves = [np.sin(2 * np.pi * one * draw.uniform(0.9, 1.1) * at + draw.uniform(0, 2 * np.pi)) for one in hertz]
    return np.sum(waves, axis=0) * np.exp(-at / fades_seconds) * np.clip(at / rises_seconds, 0, 1)


def ride(draw):
    return burst((3000, 5000, 7000, 9000), 0.08, 0.001, draw)


def snare(draw):
    return 2 * burst((300, 700, 1500, 3000), 0.03, 0.001, draw)


def foot(draw):
    return 0.5 * burst((250, 330, 500, 650, 900, 1300, 7000), 0.02, 0.008, draw)


def sounding(moments, silent=()):
    """The rises of all strokes but those of the foot that are left out."""
    draw = np.random.default_rng(1)
    sound = 1e-2 * draw.standard_normal(SECONDS * RATE)
    for part, stroke in (("ride", ride), ("snare", snare), (BENEATH, foot)):
        for place, moment in enumerate(moments[part]):
            wave, start = stroke(draw), round(moment * RATE)
            sound[start : start + len(wave)] += wave * (part != BENEATH or place not in silent)
    return rises(sound.astype(np.float32), RATE)


@pytest.fixture(scope="module")
def beneath():
    """Hi-hats that never stand alone: where they are written, when each part strikes, the rises, the foot's template."""
    draw = np.random.default_rng(2)
    written = 1.0 + 0.5 * np.arange(56)
    moments = {"ride": written, "snare": written[::3] + 0.004, BENEATH: written + 0.012}
    moments = {part: of + draw.normal(0, 0.008, len(of)) for part, of in moments.items()}
    return written, moments, sounding(moments), template(foot(draw), 0, RATE)


def heard(moments, foots):
    """A take of what was struck, the foot found elsewhere."""
    strokes = [Played(float(one), part) for part in ("ride", "snare") for one in moments[part]]
    strokes += [Played(float(one), BENEATH, sure=place % 5 > 0) for place, one in enumerate(foots)]
    return Take(tuple(sorted(strokes, key=lambda one: one.onset_seconds)), float(SECONDS))


def foots_of(take):
    return np.array([one.onset_seconds for one in take.strokes if one.part == BENEATH])


def found(beneath, foots):
    written, moments, steps, usual = beneath
    return foots_of(laid(heard(moments, foots), written, usual, lambda _: steps))


def taken_for_others(moments):
    """Where a template finds the foot: at the snare where one falls with it, else half-way to the ride."""
    foots = (moments[BENEATH] + moments["ride"]) / 2
    foots[::3] = moments["snare"]
    return foots


@pytest.mark.parametrize("late_ms", [0.0, 6.0, -8.0])
def test_strokes_of_the_foot_are_found_under_ride_and_snare_wherever_they_were_taken_for_those(beneath, late_ms):
    moments = beneath[1]
    first = taken_for_others(moments) + late_ms / 1000
    off, before = (1000 * (each - moments[BENEATH]) for each in (found(beneath, first), first))
    free = np.arange(56) % 3 > 0
    assert np.quantile(np.abs(off[free]), 0.9) < 1.5 < np.quantile(np.abs(before[free]), 0.5)
    assert abs(np.median(off)) < 1 < 3 < abs(np.median(before) - late_ms)  # a loud snare hides what lies beneath it


def test_the_template_says_where_in_it_a_stroke_begins(beneath):
    written, moments, steps, usual = beneath
    first = heard(moments, taken_for_others(moments))
    later_one = np.concatenate([usual[:, :1], usual[:, :-1]], axis=1)  # begins 5 ms before it sounds
    as_it_is, shifted = (foots_of(laid(first, written, each, lambda _: steps)) for each in (usual, later_one))
    assert 1000 * np.median(as_it_is - shifted) == pytest.approx(5, abs=1)


def test_a_stroke_of_which_nothing_is_left_lies_where_the_foot_falls_as_a_rule(beneath):
    written, moments, _, usual = beneath
    first = np.where(np.arange(56) == 20, moments[BENEATH] + 0.03, moments[BENEATH])
    at = foots_of(laid(heard(moments, first), written, usual, lambda _: sounding(moments, (20,))))
    assert at[20] - written[20] == pytest.approx(np.median((at - written)[16:25]), abs=0.012)


def test_a_stroke_away_from_all_that_is_written_is_looked_for_where_it_was_found(beneath):
    written, moments, steps, usual = beneath
    kept = np.arange(56) != 20
    take = heard(moments, moments[BENEATH] + 0.003)
    at = foots_of(laid(take, written[kept], usual, lambda _: steps))
    assert at[20] == pytest.approx(moments[BENEATH][20], abs=0.003)


@pytest.mark.parametrize("count", [0, 1, 7])
def test_few_strokes_stay_where_they_were_found(beneath, count):
    foots = np.sort(beneath[1][BENEATH])[:count] + 0.005
    assert found(beneath, foots) == pytest.approx(foots)


def test_a_long_take_is_heard_in_stretches_that_leave_nothing_out(beneath):
    written, moments, steps, usual = beneath
    times = 7  # 210 s
    repeated = {part: np.concatenate([of + SECONDS * n for n in range(times)]) for part, of in moments.items()}
    long = np.tile(steps, (times, 1))
    first = heard(repeated, repeated[BENEATH] + 0.006)
    asked = []

    def steps_from(start):
        asked.append(start)
        return long[round(start / STEP_SECONDS) :][:90_000]

    take = laid(
        Take(first.strokes, 1.0 * SECONDS * times),
        np.concatenate([written + SECONDS * n for n in range(times)]),
        usual,
        steps_from,
    )
    off = foots_of(take) - np.sort(repeated[BENEATH])
    assert asked == [0, 88, 120] and len(take.strokes) == len(first.strokes)
    assert np.all(np.abs(off[np.arange(len(off)) % 56 % 3 > 0]) < 0.005)


def test_strokes_at_the_very_ends_are_moved_as_the_others_are(beneath):
    written, moments, steps, usual = beneath
    first = int(1000 * np.sort(moments[BENEATH])[0])
    cut, moved = steps[first - EDGE // 2 :], (first - EDGE // 2) / 1000
    nearer = {part: of - moved for part, of in moments.items()}
    at = foots_of(laid(heard(nearer, nearer[BENEATH] + 0.006), written - moved, usual, lambda _: cut))
    assert at[0] == pytest.approx(np.sort(nearer[BENEATH])[0], abs=0.006) and len(at) == 56


@pytest.mark.parametrize("steps", [-12, 0, 7])
def test_how_much_later_a_response_comes_is_told_to_the_millisecond(beneath, steps):
    usual = risen(beneath[3])
    assert 1000 * later(usual[25 - steps : len(usual) - 25 - steps], usual) == pytest.approx(steps, abs=0.2)


def test_a_response_of_nothing_is_not_later(beneath):
    usual = risen(beneath[3])
    assert later(np.zeros((60, usual.shape[1])), usual) == 0.0


def test_a_recording_of_few_samples_a_second_has_fewer_bands_and_is_heard_all_the_same(beneath):
    written, moments, steps, usual = beneath
    at = foots_of(laid(heard(moments, moments[BENEATH] + 0.006), written, usual, lambda _: steps[:, :-2]))
    assert np.median(np.abs(at - moments[BENEATH])) < 0.002
