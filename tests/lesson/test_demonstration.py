"""What feathering adds, to be heard: four bars with the bass drum as loud as the ride, four feathered, four without."""

from collections import defaultdict

import mido
import pytest

from render.lesson.demonstration import balance_lesson
from render.lesson.options import RenderOptions
from render.sound.balance import calibrate
from render.soundfont.soundfont import default_soundfont, open_kit

LESSON = """
title = "Harbour Street"
tempo = 240
groove = "swing"
[line]
values = "4 8 8 4 4"
played_on = "snare"
[feel]
timing_ms = 0
level_lu = 0
"""
BASS_DRUM, RIDE, HAT, SNARE = 36, 51, 44, 38


@pytest.fixture(scope="module")
def balance():
    kit = open_kit(default_soundfont())
    yield calibrate(kit)
    kit.close()


def shown(tmp_path, more=""):
    """For each four bars of a lesson's demonstration, the velocities of each key: read from the file that it writes."""
    path = tmp_path / "harbour.toml"
    path.write_text(LESSON + more)
    report = balance_lesson(path, RenderOptions(tmp_path / "out", audio=False))
    (made,) = (one.path for one in report.files if one.kind == "midi")
    file, fours = mido.MidiFile(made), defaultdict(lambda: defaultdict(list))
    for track in file.tracks:
        now = 0
        for message in track:
            now += message.time
            if message.type == "note_on" and message.velocity and track.name not in ("count-in", "click"):
                place = now // (4 * file.ticks_per_beat) - 1  # one bar is counted in
                fours[place // 4][message.note].append(message.velocity)
    return fours


@pytest.mark.parametrize(("more", "feathered_lu"), [("", -14.0), ('[balance]\n"bass drum" = -9\n', -9.0)])
def test_the_bass_drum_is_as_loud_as_the_ride_then_feathered_then_gone_then_feathered(
    more, feathered_lu, balance, tmp_path
):
    fours = shown(tmp_path, more)
    assert sorted(fours) == [0, 1, 2, 3]
    kicks = [
        [balance.level_of(BASS_DRUM, velocity) for velocity in four[BASS_DRUM]] for _, four in sorted(fours.items())
    ]
    assert [len(four) for four in kicks] == [16, 16, 0, 16]
    # Within half a step of velocity, which is under 1 LU there.
    assert kicks[0] == pytest.approx([0.0] * 16, abs=0.5)
    assert kicks[1] == kicks[3] == pytest.approx([feathered_lu] * 16, abs=0.5)


def test_all_else_stays_as_it_is_and_nobody_reads(tmp_path):
    fours = shown(tmp_path)
    assert not any(SNARE in four for four in fours.values())
    for key in (RIDE, HAT):
        assert fours[0][key] == fours[1][key] == fours[2][key] == fours[3][key] != []
    assert fours[0][RIDE][0] == 90  # the ride's plain stroke, from which all levels are counted


def test_the_parts_of_a_band_stand_in_the_same_rows_at_the_levels_that_are_asked_and_stay_out_of_the_demonstration(
    tmp_path,
):
    path = tmp_path / "harbour.toml"
    path.write_text(LESSON + '[band]\nform = "blues"\nhorns = "line"\n[balance]\nbass = -2\n')
    report = balance_lesson(path, RenderOptions(tmp_path / "out", audio=False))
    rows = {row.part: row for row in report.rows if row.role == "band"}
    assert {part: row.target_lu for part, row in rows.items()} == {"bass": -2.0, "piano": -8.0, "horns": -5.0}
    for row in rows.values():
        assert abs(row.measured_lu - row.target_lu) < 0.8 and row.difference_lu == round(
            row.measured_lu - row.target_lu, 2
        )
    (made,) = (one.path for one in report.files if one.kind == "midi")
    assert not {"bass", "piano", "horns"} & {track.name for track in mido.MidiFile(made).tracks}
