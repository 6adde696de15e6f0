"""Takes of pads from Standard MIDI Files; mido writes them, pretty_midi reads them beside us."""

import struct

import mido
import pretty_midi
import pytest

from grooves.errors import LessonError
from render.hearing.files import kind_of_take
from render.hearing.midi_take import LONGEST_SECONDS, MOST_NOTES, read_pads


def saved(path, tracks, kind=1, division=480):
    file = mido.MidiFile(type=kind, ticks_per_beat=division)
    file.tracks += [mido.MidiTrack(messages) for messages in tracks]
    file.save(path)
    return path


def on(key, time=0, velocity=90, channel=9):
    return mido.Message("note_on", note=key, velocity=velocity, time=time, channel=channel)


def off(key, time=0, channel=9):
    return mido.Message("note_off", note=key, time=time, channel=channel)


def tempo(bpm, time=0):
    return mido.MetaMessage("set_tempo", tempo=mido.bpm2tempo(bpm), time=time)


def heard(path):
    return [(round(one.onset_seconds, 6), one.key, one.velocity) for one in read_pads(path)]


@pytest.mark.parametrize("kind", [0, 1])
def test_notes_are_read_in_seconds_from_both_types(tmp_path, kind):
    notes = [tempo(60), on(51), off(51, 240), on(38, 240, 70), off(38, 10)]
    tracks = [notes] if kind == 0 else [notes[:1], notes[1:]]
    assert heard(saved(tmp_path / "a.mid", tracks, kind)) == [(0.0, 51, 90), (1.0, 38, 70)]


def test_any_tempo_map_is_followed_as_pretty_midi_follows_it(tmp_path):
    tempos = [tempo(100), tempo(63, 700), tempo(181, 333), tempo(140, 1200)]
    notes = [message for place in range(40) for message in (on(38, 60 + place), off(38, 7))]
    path = saved(tmp_path / "a.mid", [tempos, notes])
    reference = sorted(note.start for one in pretty_midi.PrettyMIDI(str(path)).instruments for note in one.notes)
    assert [one.onset_seconds for one in read_pads(path)] == pytest.approx(reference, abs=1e-6)


def test_a_tempo_in_a_later_track_counts_too(tmp_path):
    path = saved(tmp_path / "a.mid", [[on(38, 480)], [tempo(60)]])
    assert heard(path) == [(1.0, 38, 90)]


def test_hung_notes_are_strokes_and_a_velocity_of_nought_is_none(tmp_path):
    path = saved(tmp_path / "a.mid", [[on(51), on(51, 480), on(38, 480, 0)]])
    assert heard(path) == [(0.0, 51, 90), (0.5, 51, 90)]


def test_channel_ten_is_preferred_and_another_one_taken_where_it_is_empty(tmp_path):
    assert heard(saved(tmp_path / "a.mid", [[on(60, channel=0), on(38, 480)]])) == [(0.5, 38, 90)]
    assert heard(saved(tmp_path / "b.mid", [[on(38, channel=3)]])) == [(0.0, 38, 90)]


def test_a_file_of_no_notes_is_a_take_of_nothing(tmp_path):
    assert read_pads(saved(tmp_path / "a.mid", [[tempo(90)]])) == ()


def test_a_tempo_of_nought_is_none_so_that_120_holds(tmp_path):
    path = saved(tmp_path / "a.mid", [[mido.MetaMessage("set_tempo", tempo=0), on(38, 480)]])
    assert heard(path) == [(0.5, 38, 90)]


# --- files that are no takes ----------------------------------------------------------------------


def hostile(events: bytes) -> bytes:
    return b"MThd" + struct.pack(">IHHH", 6, 0, 1, 96) + b"MTrk" + struct.pack(">I", len(events)) + events


REFUSED = [
    (b"", "a.mid: is empty; record it again"),
    (b"RIFF" * 20, "a.mid: is not a Standard MIDI File"),
    (hostile(b"\x00\x99\x26")[:30], "a.mid: is damaged or cut short"),
    (hostile(b"\xff" * 4000), "a.mid: is damaged or cut short"),
    (hostile(b"\xff\xff\xff\x7f\x99\x26\x40" * 3), "a.mid: lasts .* hours; record one lesson at a time"),
    (hostile(b"\x00\x99\x26\x40" + b"\x00\x26\x40" * MOST_NOTES), f"a.mid: has {MOST_NOTES + 1} notes, which is no take"),
    (b"\x00" * 1_000_001, "a.mid: holds 1 MB, which is no take"),
]  # fmt: skip


@pytest.mark.parametrize(("data", "message"), REFUSED, ids=[message[:40] for _, message in REFUSED])
def test_what_is_no_take_is_refused_in_one_message(tmp_path, data, message):
    path = tmp_path / "a.mid"
    path.write_bytes(data)
    with pytest.raises(LessonError, match=message):
        kind_of_take(path)
        read_pads(path)


def test_only_files_of_known_kinds_are_takes(tmp_path):
    (tmp_path / "a.txt").write_text("x")
    with pytest.raises(LessonError, match=r"a\.txt: a take ends in \.mid, \.wav"):
        kind_of_take(tmp_path / "a.txt")
    with pytest.raises(LessonError, match="there is no such file"):
        kind_of_take(tmp_path / "b.mid")
    (tmp_path / "c.wav").mkdir()
    with pytest.raises(LessonError, match="this is no file"):
        kind_of_take(tmp_path / "c.wav")
    with pytest.raises(LessonError, match="this is no file"):
        kind_of_take(type(tmp_path)("/dev/null"))
    with pytest.raises(LessonError, match="cannot be read|there is no such file"):
        kind_of_take(tmp_path / ("x" * 4000 + ".mid"))


def test_three_hours_are_enough():
    assert LONGEST_SECONDS == 10_800
