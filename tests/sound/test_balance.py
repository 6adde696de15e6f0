"""The ride on top: every part of every groove at its level, measured from rendered stems."""

import math
import wave
from contextlib import closing
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import damaged
import pytest
from written import FEET_READ, GROOVES, SNARE, score

from grooves.feel import Feel
from grooves.performance import BarMark, Hit, Performance
from grooves.rhythm import Meter
from render.lesson.demonstration import TOLERANCE_LU, balance_lesson, measure_parts
from render.lesson.groove_files import shipped_grooves
from render.lesson.load import load_lesson
from render.lesson.options import RenderOptions
from render.sound.balance import DRUM_KEYS, calibrate, loudness_by_velocity, out_of_reach, plain_balance, velocities
from render.sound.loudness import hit_loudness
from render.soundfont.soundfont import default_soundfont, open_kit

SOUNDFONTS = {"bundled": default_soundfont(), "large": Path("/usr/share/sounds/sf2/FluidR3_GM.sf2")}
LESSON = """
title = "Harbour Street"
tempo = 240
groove = "swing"
choruses = 1
[line]
values = "4 8 8 4 4"
played_on = "snare"
"""


@pytest.fixture(scope="module", params=SOUNDFONTS)
def measured(request):
    """A kit with its balance; the large soundfont only where it is installed."""
    path = SOUNDFONTS[request.param]
    if not path.is_file():
        pytest.skip(f"{path} is not installed: apt install fluid-soundfont-gm")
    kit = open_kit(path)
    yield kit, calibrate(kit)
    kit.close()


def a_lesson(tmp_path, text=LESSON):
    path = tmp_path / "lesson.toml"
    path.write_text(text)
    return path


BARS = {"jazz-waltz": "4 4 4", "five-four-swing": "4 4 4 4 4", "six-eight": "4. 4.", "twelve-eight": "4. 4. 4. 4."}


def lesson_on(groove, reader, tmp_path):
    """A lesson that reads one bar over a groove."""
    lesson = load_lesson(a_lesson(tmp_path)).lesson
    return replace(lesson, score=score(BARS.get(groove, "4 4 4 4"), groove, reader))


@pytest.mark.parametrize("reader", [SNARE, FEET_READ], ids=["snare", "bass drum"])
@pytest.mark.parametrize("groove", GROOVES)
def test_every_part_of_every_groove_is_within_one_unit_of_its_level(groove, reader, measured, tmp_path):
    kit, balance = measured
    rows = measure_parts(lesson_on(groove, reader, tmp_path), kit, balance)
    assert (rows[0].part, rows[0].measured_lu) == ("ride", 0.0)
    assert len({row.part for row in rows}) >= 2
    assert {row.part: row.difference_lu for row in rows if abs(row.difference_lu) > TOLERANCE_LU} == {}
    assert max(row.measured_lu for row in rows) <= TOLERANCE_LU


def test_every_shipped_groove_is_measured():
    assert tuple(GROOVES) == shipped_grooves()


def plain_hits(*strokes):
    """A performance of (part, key, level) one second apart."""
    hits = tuple(Hit(float(n), Fraction(n), part, "", part, key, level) for n, (part, key, level) in enumerate(strokes))
    return Performance("", Meter(4, 4), hits, (BarMark(0.0, Fraction(0), Fraction(4), 4.0, 60.0, "bar 1"),))


def test_a_level_that_no_velocity_gives_is_told_with_the_nearest():
    hits = plain_hits(("ride", 51, 0.0), ("snare", 38, 20.0), ("bass drum", 36, -90.0))
    said = out_of_reach(hits, plain_balance())
    # 40·log10(127/90) = +5.98 and 40·log10(1/90) = -78.17
    assert said == (
        "snare: no velocity of plain reaches +20.0 LU against the ride; the nearest is +6.0 LU",
        "bass drum: no velocity of plain reaches -90.0 LU against the ride; the nearest is -78.2 LU",
    )
    assert velocities(hits, plain_balance()) == (90, 127, 1)


@pytest.mark.parametrize(("above_lu", "told"), [(0.7, False), (0.8, True), (3.0, True)])
def test_a_level_is_told_from_where_the_report_would_call_it_out_of_balance(above_lu, told):
    # A part is good within 1 LU; what is told must not be heard, and what is heard must be told.
    loudest = plain_balance().level_of(51, 127)
    said = out_of_reach(plain_hits(("ride", 51, loudest + above_lu)), plain_balance())
    assert bool(said) == told
    assert told or above_lu < TOLERANCE_LU


def test_levels_in_reach_are_not_told(measured):
    _, balance = measured
    assert out_of_reach(plain_hits(("ride", 51, 0.0), ("snare", 38, -4.0), ("bass drum", 36, -14.0)), balance) == ()


def test_the_plain_balance_follows_the_published_law_on_every_key():
    # DLS Level 1 and SoundFont 2.04 section 8.4.1: 40·log10(v/127) dB.
    balance = plain_balance()
    for key in DRUM_KEYS:
        for velocity in range(1, 128):
            apart = balance.level_of(key, velocity) - balance.level_of(key, 127)
            assert apart == pytest.approx(40 * math.log10(velocity / 127))
    assert balance.level_of(51, 90) == 0
    assert balance.velocity_for(36, -14.0) == 40  # 90·10^(-14/40) = 40.2


def test_a_stroke_that_is_louder_takes_a_higher_velocity_on_every_key(measured):
    _, balance = measured
    for key in DRUM_KEYS:
        taken = balance.nearest(key, [-20.0, -14.0, -8.0, -4.0])
        assert taken == sorted(set(taken)), key


def test_one_velocity_is_not_one_loudness(measured):
    # What the balance is for: at the ride's velocity the bass drum stands above the ride, 3 LU on the large soundfont.
    _, balance = measured
    assert balance.level_of(36, 90) > 2
    assert balance.level_of(51, 90) == pytest.approx(0, abs=0.01)


@pytest.mark.parametrize("key", [51, 46])
def test_a_key_whose_colour_follows_velocity_is_measured_as_long_as_a_hit_is_heard(key, tmp_path):
    # Momentary loudness takes 400 ms (ITU-R BS.1770): of a cymbal all of them count.
    font, path = damaged.Font(), tmp_path / "kit.sf2"
    font.shape(key, (8, 8700))  # SoundFont 2.04, section 8.1.2: cutoff of the filter
    font.aim(key, (2, 8, 300))  # section 8.2.1: moved by velocity
    path.write_bytes(font.bytes())
    with closing(open_kit(path, use_cache=False)) as kit:
        assert not kit.is_pure_gain(key)
        curve = loudness_by_velocity(kit, key)
        for velocity in (41, 90, 127):
            assert curve[velocity] == pytest.approx(hit_loudness(kit.hit(key, velocity), kit.rate), abs=0.15)


def test_calibrating_only_the_keys_asked_for():
    kit = open_kit(default_soundfont())
    assert set(calibrate(kit, [38]).curves) == {38}
    kit.close()


def test_velocities_of_another_balance_put_the_parts_out_of_level(tmp_path):
    kit = open_kit(default_soundfont())
    rows = measure_parts(lesson_on("swing", SNARE, tmp_path), kit, plain_balance())
    assert max(abs(row.difference_lu) for row in rows) > 3
    kit.close()


def test_a_lesson_s_balance_is_good_and_its_demonstration_lets_the_bass_drum_come_and_go(tmp_path):
    report = balance_lesson(a_lesson(tmp_path), RenderOptions(tmp_path / "out"))
    assert report.good and report.notes == ()
    assert {row.part for row in report.rows} == {"ride", "bass drum", "hi-hat", "snare"}
    sound = next(made.path for made in report.files if made.kind == "audio")
    with wave.open(str(sound)) as file:
        assert file.getnframes() / 44100 > 17  # 1 bar of count-in and 16 bars, a second each
    assert any(made.kind == "midi" for made in report.files)


def test_a_part_above_the_ride_is_not_good(tmp_path):
    text = LESSON + "[balance]\nhi-hat = 5\n"
    report = balance_lesson(a_lesson(tmp_path, text), RenderOptions(tmp_path / "out", audio=False))
    assert not report.good
    assert "the ride is not the loudest part" in report.notes
    assert next(row for row in report.rows if row.part == "hi-hat").target_lu == 5


def test_the_feel_changes_nothing_in_the_measured_levels(tmp_path):
    kit = open_kit(default_soundfont())
    lesson = lesson_on("swing", SNARE, tmp_path)
    rows = measure_parts(lesson, kit, calibrate(kit))
    assert measure_parts(replace(lesson, feel=Feel(timing_ms=20, level_lu=5)), kit, calibrate(kit)) == rows
    kit.close()
