"""Standard MIDI Files, against the standard's own bytes and two other readers."""

import io

import mido
import pretty_midi
import pytest
from band_played import band, note, ride, trio
from music import lesson_of, played

from grooves.kit import INSTRUMENTS
from grooves.passages import Track
from render.sound.midi import midi_bytes


def written(lesson, track="full", program=0):
    performance = played(lesson, Track("full") if track == "full" else track)
    return performance, midi_bytes(performance, [64] * len(performance.hits), program)


def read(data: bytes) -> mido.MidiFile:
    return mido.MidiFile(file=io.BytesIO(data))


def absolute(track):
    now = 0
    for message in track:
        now += message.time
        yield now, message


def test_the_header_is_type_one_with_960_ticks():
    _, data = written(lesson_of("4 4 4 4"))
    # SMF 1.0: MThd, length 6, format 1, tracks, division
    assert data[:14] == b"MThd" + bytes.fromhex("00000006 0001 0006 03C0")


@pytest.mark.parametrize(
    ("groove", "line", "event"),
    [
        # SMF 1.0: FF 58 04 nn dd cc bb, 24 MIDI clocks a quarter; 6/8 clicks every 36.
        ("swing", "4 4 4 4", "FF 58 04 04 02 18 08"),
        ("jazz-waltz", "4 4 4", "FF 58 04 03 02 18 08"),
        ("six-eight", "4. 4.", "FF 58 04 06 03 24 08"),
        ("twelve-eight", "2. 2.", "FF 58 04 0C 03 24 08"),
    ],
)
def test_the_time_signature_has_the_bytes_of_the_standard(groove, line, event):
    assert bytes.fromhex(event) in written(lesson_of(line, groove=groove))[1]


def test_the_tempo_has_the_bytes_of_the_standard():
    # SMF 1.0: FF 51 03 07 A1 20 is 120 a minute.
    assert bytes.fromhex("FF 51 03 07 A1 20") in written(lesson_of("4 4 4 4", tempo=120))[1]


def test_track_zero_has_title_tempo_meter_and_a_marker_for_every_bar():
    lesson = lesson_of("4 4 4 4 | 1", top="choruses = 2")
    first = list(absolute(read(written(lesson)[1]).tracks[0]))
    assert first[0][1].name == "Harbour Street, test page"
    assert [(tick, m.text) for tick, m in first if m.type == "marker"] == [
        (0, "count-in"), (3840, "count-in"), (7680, "bar 1"), (11520, "bar 2"), (15360, "bar 1"), (19200, "bar 2"),
    ]  # fmt: skip
    assert first[-1] == (23040, mido.MetaMessage("end_of_track", time=3840))


def test_every_part_that_sounds_has_a_track_of_its_name_and_no_other_has():
    lesson = lesson_of("4 8 8 4 4", tracks='[[track]]\nname = "x"\nwithout = ["bass drum"]\nclick = "every beat"')
    names = [track.name for track in read(written(lesson, "x")[1]).tracks[1:]]
    assert names == ["ride", "snare", "hi-hat", "count-in", "click"]


@pytest.mark.parametrize(
    ("groove", "reader", "part", "key"),
    [
        # General MIDI 1 percussion key map, as pretty_midi's DRUM_MAP lists it.
        ("swing", "snare", "ride", "Ride Cymbal 1"),
        ("swing", "snare", "hi-hat", "Pedal Hi Hat"),
        ("swing", "snare", "snare", "Acoustic Snare"),
        ("swing", "snare", "bass drum", "Bass Drum 1"),
        ("bossa-nova", "bass drum", "cross-stick", "Side Stick"),
    ],
)
def test_keys_are_those_of_general_midi(groove, reader, part, key):
    data = written(lesson_of("4 4 4 4 | 1", groove=groove, line=f'played_on = "{reader}"'))[1]
    instrument = next(one for one in pretty_midi.PrettyMIDI(io.BytesIO(data)).instruments if one.name == part)
    assert instrument.is_drum
    assert {pretty_midi.note_number_to_drum_name(note.pitch) for note in instrument.notes} == {key}


def test_the_kit_s_other_keys_are_those_of_general_midi_too():
    # pretty_midi's DRUM_MAP, General MIDI 1
    names = {name: pretty_midi.note_number_to_drum_name(one.key) for name, one in INSTRUMENTS.items()}
    assert names["closed hi-hat"] == "Closed Hi Hat"
    assert names["open hi-hat"] == "Open Hi Hat"
    assert names["ride bell"] == "Ride Bell"
    assert names["click"] == "Hi Wood Block"


@pytest.mark.parametrize("tempo", [47, 120, 137, 300])
def test_another_reader_hears_every_stroke_within_a_tick(tempo):
    lesson = lesson_of("4 8 8 12 12 12 4", tempo=tempo, feel="timing_ms = 6", top="choruses = 50")
    performance, data = written(lesson)
    theirs = sorted((n.start, n.pitch) for i in pretty_midi.PrettyMIDI(io.BytesIO(data)).instruments for n in i.notes)
    ours = sorted((hit.onset_seconds, hit.key) for hit in performance.hits)
    assert len(theirs) == len(ours)
    tick_seconds = 60 / tempo / 960
    assert max(abs(a - b) for (a, _), (b, _) in zip(theirs, ours, strict=True)) <= tick_seconds


def test_an_hour_of_midi_ends_where_the_sound_does():
    # 140 a minute is not a whole number of microseconds a quarter; the file mends that as it goes.
    lesson = lesson_of(
        "1 | 1 | 1", tempo=140, groove="two-feel", tracks='[[track]]\nname = "x"\ntimes = 700\nonly = ["snare"]'
    )
    performance, data = written(lesson, "x")
    last = max(n.start for i in pretty_midi.PrettyMIDI(io.BytesIO(data)).instruments for n in i.notes)
    assert abs(last - performance.hits[-1].onset_seconds) < 60 / 140 / 960
    assert performance.length_seconds > 3500


def test_no_barline_ever_lies_further_from_its_time_than_half_a_tick():
    # 140 a minute is 428571.43 microseconds a quarter: unmended, whole ones are half a tick off after 130 bars.
    performance, data = written(lesson_of("4 4 4 4", tempo=140, top="choruses = 600"))
    clock = pretty_midi.PrettyMIDI(io.BytesIO(data))
    markers = [tick for tick, message in absolute(read(data).tracks[0]) if message.type == "marker"]
    off = [clock.tick_to_time(tick) - bar.onset_seconds for tick, bar in zip(markers, performance.bars, strict=True)]
    tick_seconds = 60 / 140 / 960
    assert 0.4 * tick_seconds < max(map(abs, off)) < 0.51 * tick_seconds


def test_a_usual_track_has_one_tempo():
    tempos = [
        m for m in read(written(lesson_of("1", top="choruses = 16", tempo=137))[1]).tracks[0] if m.type == "set_tempo"
    ]
    assert len(tempos) == 1


def test_a_ladder_writes_each_of_its_tempos():
    lesson = lesson_of("1", tracks='[[track]]\nname = "x"\nladder = { from = 60, to = 120, step = 30 }')
    tempos = [m.tempo for m in read(written(lesson, "x")[1]).tracks[0] if m.type == "set_tempo"]
    assert tempos == [1_000_000, 666_667, 500_000]


def test_exact_time_falls_on_exact_ticks():
    data = written(lesson_of("8 8 12 12 12 16 16 16 16 4", feel="timing_ms = 0\nlevel_lu = 0\nswing = 2.0"))[1]
    snare = next(track for track in read(data).tracks if track.name == "snare")
    assert [tick - 7680 for tick, m in absolute(snare) if m.type == "note_on"] == [
        0, 640, 960, 1280, 1600, 1920, 2160, 2400, 2640, 2880,
    ]  # fmt: skip


def test_velocities_are_those_of_the_hits():
    performance = played(lesson_of("4 4 4 4"))
    velocities = [20 + n for n in range(len(performance.hits))]
    data = midi_bytes(performance, velocities)
    snare = next(track for track in read(data).tracks if track.name == "snare")
    wanted = [v for hit, v in zip(performance.hits, velocities, strict=True) if hit.part == "snare"]
    assert [m.velocity for m in snare if m.type == "note_on"] == wanted


@pytest.mark.parametrize("tempo", [60, 137, 240])
def test_a_stroke_is_held_for_a_tenth_of_a_second(tempo):
    # The value is ours; test_samples holds the recorded hits to the same.
    data = written(lesson_of("4 4 4 4", tempo=tempo))[1]
    snare = next(i for i in pretty_midi.PrettyMIDI(io.BytesIO(data)).instruments if i.name == "snare")
    assert [n.end - n.start for n in snare.notes] == pytest.approx([0.1] * 4, abs=60 / tempo / 960)


def test_a_note_ends_before_the_next_on_its_key_begins():
    data = written(lesson_of("16 16 16 16 16 16 16 16 2", tempo=400))[1]
    snare = next(track for track in read(data).tracks if track.name == "snare")
    assert [m.type for m in snare if m.type.startswith("note")] == ["note_on", "note_off"] * 9


def test_the_kit_is_asked_for_only_where_there_is_one():
    lesson = lesson_of("1")
    assert any(m.type == "program_change" and m.program == 32 for m in read(written(lesson, program=32)[1]).tracks[1])
    assert not any(m.type == "program_change" for m in read(written(lesson, program=None)[1]).tracks[1])


def test_all_notes_are_on_channel_ten():
    for track in read(written(lesson_of("4 4 4 4"))[1]).tracks:
        assert {m.channel for m in track if m.type == "note_on"} <= {9}


@pytest.mark.parametrize("title", ["Größe", "🥁 first line", "שיעור", "</script>"])
def test_any_title_is_text(title):
    from music import parse_text

    lesson = parse_text(f'title = "{title}"\ntempo = 100\ngroove = "swing"\n[line]\nvalues = "1"')
    performance = played(lesson)
    data = midi_bytes(performance, [64] * len(performance.hits))
    assert mido.MidiFile(file=io.BytesIO(data), charset="utf-8").tracks[0].name == title


def test_bytes_are_the_same_every_time():
    lesson = lesson_of("4 8 8 4 4", feel="seed = 5")
    assert written(lesson)[1] == written(lesson)[1]
    assert written(lesson)[1] != written(lesson_of("4 8 8 4 4", feel="seed = 6"))[1]


def band_midi(**options):
    performance = trio(**options)
    return performance, midi_bytes(performance, [64] * (len(performance.hits) + len(performance.notes)), 32)


def test_the_band_s_parts_are_on_channels_of_their_own_with_their_programs():
    performance = band(note("horns", 0, 62), note("bass", 0, 40), note("piano", 0, 60), hits=[ride(0)])
    tracks = read(midi_bytes(performance, [64] * 4, 32)).tracks[1:]
    assert [track.name for track in tracks] == ["ride", "bass", "piano", "horns"]
    asked = [
        {(message.channel, message.program) for message in track if message.type == "program_change"}
        for track in tracks
    ]
    # General MIDI 1, counted from 0: 32 acoustic bass, 0 acoustic grand piano, 66 tenor saxophone; drums on channel 10.
    assert asked == [{(9, 32)}, {(0, 32)}, {(1, 0)}, {(2, 66)}]
    for track, channel in zip(tracks, (9, 0, 1, 2), strict=True):
        assert {message.channel for message in track if message.type.startswith("note")} == {channel}


def test_another_reader_hears_every_note_where_it_is_and_as_long_as_it_is():
    performance, data = band_midi()
    heard = [i for i in pretty_midi.PrettyMIDI(io.BytesIO(data)).instruments if not i.is_drum]
    theirs = sorted((n.start, n.pitch, n.end - n.start, i.name) for i in heard for n in i.notes)
    ours = sorted((n.onset_seconds, n.key, n.length_seconds, n.part) for n in performance.notes)
    assert len(theirs) == len(ours) > 60
    for one, other in zip(theirs, ours, strict=True):
        assert one[:3] == pytest.approx(other[:3], abs=0.0011)  # two ticks at 120 a minute
        assert one[3] == other[3]


def test_velocities_of_notes_follow_those_of_hits():
    performance = band(note("bass", 0, 40), note("piano", 0.5, 60), hits=[ride(0), ride(1)])
    tracks = read(midi_bytes(performance, [10, 20, 30, 40])).tracks
    struck = {track.name: [m.velocity for m in track if m.type == "note_on"] for track in tracks[1:]}
    assert struck == {"ride": [10, 20], "bass": [30], "piano": [40]}


def test_a_note_of_the_band_ends_before_the_next_on_its_key_begins():
    performance = band(note("bass", 0, 40, 2.0), note("bass", 1, 40, 0.5), note("bass", 1.5, 43, 0.0))
    track = read(midi_bytes(performance, [64] * 3)).tracks[1]
    notes = [(tick, m.type, m.note) for tick, m in absolute(track) if m.type.startswith("note")]
    assert notes == [
        (0, "note_on", 40), (1920, "note_off", 40), (1920, "note_on", 40), (2880, "note_off", 40),
        (2880, "note_on", 43), (2881, "note_off", 43),
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("key", "event"),
    # SMF 1.0: FF 59 02 sf mi, flats below zero, minor 1.
    [("F", "FF 59 02 FF 00"), ("Dm", "FF 59 02 FF 01"), ("C", "FF 59 02 00 00"), ("Eb", "FF 59 02 FD 00"), ("F#m", "FF 59 02 03 01")],
)  # fmt: skip
def test_the_key_signature_has_the_bytes_of_the_standard(key, event):
    data = midi_bytes(band(note("bass", 0, 40), key_signature=key), [64])
    assert bytes.fromhex(event) in data
    assert b"\xff\x59" not in midi_bytes(band(note("bass", 0, 40)), [64])
