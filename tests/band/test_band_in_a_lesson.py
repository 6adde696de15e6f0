"""A band in a lesson: who plays when, over which chords, how far behind, how loud; and what is wrong with a table."""

from fractions import Fraction
from itertools import pairwise
from math import log10
from statistics import fmean

import pytest
from music import lesson_of, played

from grooves.band.band import FormBand, form_and_line, read_band
from grooves.band.chords import parse_chord
from grooves.errors import LessonError
from grooves.lesson_tables import BandTable
from grooves.passages import LINE, Track, track_passages
from grooves.performance import Note, Performance, perform

LINE_OF_TWO = "4 8 8 4 4 | 8 4 4 4 8"
BLUES = '[band]\nform = "blues"'
ALL = f'{BLUES}\nhorns = "line"'
BREATHING = "seed = 3"


def band_lesson(band=BLUES, values=LINE_OF_TWO, **parts):
    return lesson_of(values, tracks=band + "\n" + parts.pop("tracks", ""), **parts)


def with_track(lesson, track: Track) -> Performance:
    passages = track_passages(track, lesson.score, lesson.choruses, lesson.count_in)
    return perform(lesson.score, passages, lesson.feel, lesson.balance_lu)


def notes_of(performance: Performance, part: str) -> list[Note]:
    return [note for note in performance.notes if note.part == part]


def first_keys(performance: Performance, part: str) -> list[int]:
    """The key that a part strikes first in each bar after the count-in."""
    starts = [bar.onset_quarters for bar in performance.bars if bar.label != "count-in"]
    struck = {round(note.onset_quarters * 2) / 2: note.key for note in reversed(notes_of(performance, part))}
    return [struck[start] for start in starts if start in struck]


# --- tracks ---------------------------------------------------------------------------------------


def test_the_default_tracks_gain_one_with_the_band_and_the_others_are_of_the_drums_alone():
    lesson = band_lesson(ALL)
    assert [track.name for track in lesson.tracks] == ["time", "ride-and-line", "full", "without-line", "with-band"]
    heard = {
        track.name: set(played(lesson, track).parts) & {"bass", "piano", "horns", "snare"} for track in lesson.tracks
    }
    assert heard["with-band"] == {"bass", "piano", "horns"}
    assert heard["full"] == heard["ride-and-line"] == {"snare"}
    assert heard["time"] == heard["without-line"] == set()


def test_a_track_without_the_band_has_no_key_either():
    lesson = band_lesson(ALL)
    assert played(lesson, "with-band").key_signature == "F"
    assert played(lesson, "full").key_signature == ""


def test_without_a_band_the_default_tracks_are_four():
    assert [track.name for track in lesson_of(LINE_OF_TWO).tracks] == ["time", "ride-and-line", "full", "without-line"]


def test_a_track_of_ones_own_has_the_band_unless_it_is_left_out():
    tracks = '[[track]]\nname = "a"\nwithout = ["piano"]\n[[track]]\nname = "b"\nonly = ["bass"]'
    lesson = band_lesson(ALL, tracks=tracks)
    assert set(played(lesson, "a").parts) >= {"ride", "bass", "horns"} and "piano" not in played(lesson, "a").parts
    assert set(played(lesson, "b").parts) == {"bass", "count-in"}


@pytest.mark.parametrize("out", [{"bass"}, {"piano"}, {"horns"}, {"bass", "piano"}, {"ride"}, {"left foot"}, {LINE}])
def test_leaving_somebody_out_moves_no_other_note_and_no_stroke(out):
    lesson = band_lesson(ALL, feel=BREATHING, top="choruses = 12")
    everyone, fewer = with_track(lesson, Track("t")), with_track(lesson, Track("t", without=frozenset(out)))
    assert fewer.notes == tuple(note for note in everyone.notes if note.part not in out)
    gone = {"left foot": "hi-hat", LINE: "snare"}
    left_out = {gone.get(name, name) for name in out}
    assert fewer.hits == tuple(hit for hit in everyone.hits if hit.part not in left_out)


def test_a_longer_count_in_moves_no_note_against_the_first_downbeat():
    lesson = band_lesson(ALL, feel=BREATHING, top="choruses = 6")
    short, long = (with_track(lesson, Track("t", count_in=bars)) for bars in (1, 3))
    keys = [[(note.part, note.key, note.onset_quarters - 4 * bars) for note in one.notes] for one, bars in ((short, 1), (long, 3))]  # fmt: skip
    assert keys[0] == keys[1]


def test_the_same_lesson_plays_the_same_notes_and_another_seed_others():
    def notes(seed):
        return played(band_lesson(ALL, feel=f"seed = {seed}", top="choruses = 6"), "with-band").notes

    assert notes(1) == notes(1)
    assert [note.key for note in notes(1)] != [note.key for note in notes(2)]


def test_the_band_falls_silent_and_is_softened_as_any_part():
    tracks = """
[[track]]
name = "silence"
silence = { play = 2, rest = 2 }
[[track]]
name = "softer"
softer = { bass = -9 }
[[track]]
name = "trade"
trade = { with = 1, without = 1, swap = false }
without = ["bass"]
"""
    lesson = band_lesson(tracks=tracks, top="choruses = 4")
    bars = {note.onset_quarters // 4 - 2 for note in notes_of(played(lesson, "silence"), "bass")}
    assert bars == {0, 1, 4, 5}
    assert {round(note.level_lu + 15, 6) for note in notes_of(played(lesson, "softer"), "bass")} <= {0, -4, -2}
    assert {note.onset_quarters // 4 for note in notes_of(played(lesson, "trade"), "bass")} == {2, 4, 6, 8}


# --- form and line --------------------------------------------------------------------------------


def chords_played(lesson: object, track: Track) -> list[set[int]]:
    """Pitch classes of the bass on the first beat of each bar."""
    return [key % 12 for key in first_keys(with_track(lesson, track), "bass")]


def test_the_form_goes_on_under_choruses_of_a_shorter_line():
    chords = "C7 | Eb7 | Gb7 | A7"
    lesson = band_lesson(f'[band]\nchords = "{chords}"\nbass = "two-feel"', values="4 4 4 4", top="choruses = 8")
    assert chords_played(lesson, Track("t")) == [0, 3, 6, 9, 0, 3, 6, 9]


def test_a_bar_that_is_looped_has_the_chords_that_stand_there():
    chords = "C7 | Eb7 | Gb7 | A7"
    lesson = band_lesson(f'[band]\nchords = "{chords}"\nbass = "two-feel"', values=" | ".join(["4 4 4 4"] * 4))
    assert chords_played(lesson, Track("t", bars=(2,), times=4)) == [6, 6, 6, 6]
    assert chords_played(lesson, Track("t", bars=(1, 2), times=2)) == [3, 6, 3, 6]


def test_a_ladder_goes_on_through_the_form():
    chords = "C7 | Eb7 | Gb7"
    tracks = '[[track]]\nname = "l"\nladder = { from = 100, to = 120, step = 10 }'
    lesson = band_lesson(f'[band]\nchords = "{chords}"\nbass = "two-feel"', values="4 4 4 4 | 4 4 4 4", tracks=tracks)
    assert chords_played(lesson, lesson.tracks[0]) == [0, 3, 6, 0, 3, 6]


def test_the_last_note_before_a_looped_bar_leads_back_into_it():
    chords = "C7 | Gb7"
    lesson = band_lesson(f'[band]\nchords = "{chords}"\nbass = "walking"', values="4 4 4 4 | 4 4 4 4")
    keys = [note.key for note in notes_of(with_track(lesson, Track("t", bars=(0,), times=200)), "bass")]
    roots = sum(after % 12 == 0 and abs(after - before) <= 2 for before, after in pairwise(keys))
    assert roots > 60


@pytest.mark.parametrize(
    "line, form, words",
    [
        (12, "blues", "the form and the line have 12 bars each"),
        (8, "two-chords", "the form of 4 bars goes 2 times under the line of 8"),
        (4, "blues", "the form of 12 bars goes once under 3 choruses of the line of 4 bars"),
        (1, "turnaround", "the form of 4 bars goes once under 4 choruses of the line of 1 bar"),
        (
            8,
            "blues",
            "the line of 8 bars and the form of 12 begin together again after 24 bars: choruses = 3, or a multiple",
        ),
    ],
)
def test_it_is_said_how_form_and_line_fit(line, form, words):
    band = read_band(BandTable(form=form), lesson_of().score.groove, line)
    assert form_and_line(band).startswith(words)


def test_the_chords_above_a_bar_are_those_of_the_first_time_through():
    band = band_lesson().score.band
    assert isinstance(band, FormBand)
    assert [[mark.symbol for mark in band.chords(bar)] for bar in (0, 3, 12)] == [["F7"], ["Cm7", "F7"], ["F7"]]
    assert [[mark.symbol for mark in bar.chords] for bar in band_lesson().score.bars] == [["F7"], ["Bb7"]]
    assert [mark.onset for mark in band.chords(3)] == [0, 2]


# --- feel -----------------------------------------------------------------------------------------


def lateness_ms(lesson, part):
    """How far a part's onsets on the beat lie behind it, in milliseconds, each."""
    pace = lesson.score.tempo_bpm
    return [
        1000 * 60 / pace * float(note.onset_quarters - round(note.onset_quarters))
        for note in notes_of(with_track(lesson, Track("t")), part)
        if abs(note.onset_quarters - round(note.onset_quarters)) < Fraction(1, 8)
    ]


@pytest.mark.parametrize("part, share", [("bass", 0.016), ("piano", 0.055), ("horns", 0.0)])
@pytest.mark.parametrize("tempo", [90, 180])
def test_bass_and_piano_lie_as_far_behind_the_drums_as_published(part, share, tempo):  # Jazz Trio Database
    lesson = band_lesson(ALL, tempo=tempo, top="choruses = 12")
    assert fmean(lateness_ms(lesson, part)) == pytest.approx(1000 * 60 / tempo * share, abs=0.01)


@pytest.mark.parametrize("part", ["bass", "piano", "horns"])
def test_where_a_part_lies_can_be_said(part):
    late = band_lesson(ALL, feel=f"timing_ms = 0\nbehind_ms = {{ {part} = 20 }}", top="choruses = 12")
    early = band_lesson(ALL, feel=f"timing_ms = 0\nahead_ms = {{ {part} = 5 }}", top="choruses = 12")
    assert fmean(lateness_ms(late, part)) == pytest.approx(20, abs=0.01)
    assert fmean(lateness_ms(early, part)) == pytest.approx(-5, abs=0.01)


@pytest.mark.parametrize("tempo, timing_ms", [(60, 6), (120, 6), (240, 6), (120, 30)])
def test_the_foot_on_the_hi_hat_and_the_bass_stay_within_26_ms(tempo, timing_ms):
    # Hofmann, Wesolowski & Goebl 2017, J. New Music Research 46(4): the hi-hat 2 to 26 ms from the pulse.
    lesson = band_lesson(tempo=tempo, feel=f"timing_ms = {timing_ms}", top="choruses = 100")
    performance = with_track(lesson, Track("t"))
    bass = {round(note.onset_seconds * tempo / 60): note.onset_seconds for note in notes_of(performance, "bass") if abs(note.onset_quarters - round(note.onset_quarters)) < Fraction(1, 6)}  # fmt: skip
    feet = [hit for hit in performance.hits if hit.part == "hi-hat"]
    apart = [abs(bass[beat] - foot.onset_seconds) for foot in feet if (beat := round(foot.onset_seconds * tempo / 60)) in bass]  # fmt: skip
    assert len(apart) > 350
    assert max(apart) <= 0.026 + 1e-9
    assert max(apart) > 0.005


def test_the_bass_breathes_and_no_note_overtakes_another():
    lesson = band_lesson(feel="timing_ms = 30", tempo=300, top="choruses = 60")
    notes = notes_of(with_track(lesson, Track("t")), "bass")
    assert all(before.onset_seconds < after.onset_seconds for before, after in pairwise(notes))
    assert all(note.length_seconds > 0 and note.length_quarters > 0 for note in notes)
    assert len({round(late, 3) for late in lateness_ms(lesson, "bass")}) > 100


def test_a_bass_note_ends_where_the_next_begins():
    lesson = band_lesson(feel=BREATHING, top="choruses = 20")
    notes = notes_of(with_track(lesson, Track("t")), "bass")
    for before, after in pairwise(notes):
        assert before.onset_seconds + before.length_seconds == pytest.approx(after.onset_seconds, abs=1e-9)
        assert before.onset_quarters + before.length_quarters == after.onset_quarters


def test_no_key_of_a_part_is_struck_while_it_sounds():
    lesson = band_lesson(ALL, feel="timing_ms = 20", top="choruses = 24", tempo=220)
    performance = with_track(lesson, Track("t"))
    for part in ("bass", "piano", "horns"):
        ends: dict[int, Fraction] = {}
        for note in notes_of(performance, part):
            assert ends.get(note.key, Fraction(-9)) <= note.onset_quarters
            ends[note.key] = note.onset_quarters + note.length_quarters


@pytest.mark.parametrize("swing, upbeat", [('"straight"', Fraction(1, 2)), ("2.0", Fraction(2, 3)), ("3.0", Fraction(3, 4))])  # fmt: skip
def test_eighths_of_bass_and_piano_swing_as_the_ride_does(swing, upbeat):
    lesson = band_lesson(
        feel=f"timing_ms = 0\nbehind_ms = {{ bass = 0, piano = 0 }}\nswing = {swing}", top="choruses = 48"
    )
    notes = with_track(lesson, Track("t")).notes
    within = {note.onset_quarters % 1 for note in notes if note.part in ("bass", "piano")}
    assert within - {Fraction(1, 3), Fraction(2, 3)} == {Fraction(0), upbeat} - {Fraction(1, 3), Fraction(2, 3)}
    ends = {(note.onset_quarters + note.length_quarters) % 1 for note in notes if note.part == "bass"}
    assert upbeat in ends


def test_the_horns_swing_as_the_line_does():
    feel = 'timing_ms = 0\nswing = 2.0\nline_swing = "straight"'
    notes = with_track(band_lesson(ALL, feel=feel), Track("t")).notes
    assert {note.onset_quarters % 1 for note in notes if note.part == "horns"} == {Fraction(0), Fraction(1, 2)}


def test_a_piano_that_reads_swings_as_the_line_and_one_that_comps_as_the_ride():
    feel = 'timing_ms = 0\nswing = 2.0\nline_swing = "straight"\nbehind_ms = { piano = 0 }'
    for piano, upbeat in (("line", Fraction(1, 2)), ("comping", Fraction(2, 3))):
        lesson = band_lesson(f'{BLUES}\npiano = "{piano}"', feel=feel, top="choruses = 12")
        within = {note.onset_quarters % 1 for note in notes_of(with_track(lesson, Track("t")), "piano")}
        assert within == {Fraction(0), upbeat}


def test_in_twelve_eight_nothing_swings():
    lesson = lesson_of(
        "4. 4. 4. 4.", groove="twelve-eight", tracks=BLUES, feel="timing_ms = 0\nbehind_ms = { bass = 0 }"
    )
    onsets = {note.onset_quarters % Fraction(3, 2) for note in notes_of(with_track(lesson, Track("t")), "bass")}
    assert onsets <= {Fraction(0), Fraction(1, 2), Fraction(1)}


# --- levels ---------------------------------------------------------------------------------------


def test_a_chord_is_as_loud_as_its_part_and_the_balance_says_how_loud():
    lesson = band_lesson(ALL, balance="bass = -3\nhorns = 0", top="choruses = 12")
    performance = with_track(lesson, Track("t"))
    chords: dict[Fraction, list[float]] = {}
    for note in notes_of(performance, "piano"):
        chords.setdefault(note.onset_quarters, []).append(note.level_lu)
    together = {round(10 * log10(sum(10 ** (lu / 10) for lu in chord)), 3) for chord in chords.values()}
    assert together <= {-8.0, -7.0}  # an anticipation is a little louder
    assert max(note.level_lu for note in notes_of(performance, "bass")) == pytest.approx(-3)


def test_the_horns_phrase_as_the_line_does():
    lesson = band_lesson(ALL, values="4 8 8^ 4r 4", feel="timing_ms = 0\nlevel_lu = 0")
    levels = [round(note.level_lu, 3) for note in notes_of(with_track(lesson, Track("t")), "horns")]
    assert levels == [-5, -5, 0, -5]  # an upbeat 2 LU, a written accent 3 LU more


def test_levels_stray_as_those_of_the_limbs():
    lesson = band_lesson(feel="timing_ms = 0\nlevel_lu = 2", top="choruses = 100")
    levels = [note.level_lu for note in notes_of(with_track(lesson, Track("t")), "bass")]
    assert len(set(levels)) > 300


# --- what the table may say -----------------------------------------------------------------------


def test_each_part_can_be_off_and_the_piano_can_play_the_line():
    assert band_lesson(f'{BLUES}\nbass = "off"').score.band.parts == ("piano",)
    assert band_lesson(f'{BLUES}\npiano = "off"').score.band.parts == ("bass",)
    lesson = band_lesson(f'{BLUES}\npiano = "line"\nbass = "off"', feel="timing_ms = 0\nbehind_ms = { piano = 0 }")
    performance = with_track(lesson, Track("t"))
    struck = {note.onset_quarters for note in performance.notes}
    assert struck == {hit.onset_quarters for hit in performance.hits if hit.part == "snare"}


def test_programs_are_those_of_general_midi_unless_others_are_named():
    notes = with_track(band_lesson(f"{ALL}\nprogram = {{ horns = 56 }}"), Track("t")).notes
    assert {note.part: note.program for note in notes} == {"bass": 32, "piano": 0, "horns": 56}


def test_the_key_transposes_a_form_and_is_that_of_the_performance():
    here, there = band_lesson(), band_lesson(f'{BLUES}\nkey = "Bb"')
    assert there.score.band.chords(0)[0].symbol == "Bb7"
    assert (with_track(here, Track("t")).key_signature, with_track(there, Track("t")).key_signature) == ("F", "Bb")


def test_chords_of_ones_own_may_run_over_lines_and_name_their_key():
    lesson = band_lesson('[band]\nchords = """\nDm7 | G7 |\nCmaj7 | -\n"""\nkey = "C"')
    assert len(lesson.score.band.form.bars) == 4
    assert lesson.score.band.key_signature == "C"


@pytest.mark.parametrize(
    "band, message",
    [
        ('form = "blus"', r"band: form: 'blus' is not a form; did you mean 'blues'\?, or write chords of your own"),
        ('chords = "F7 | H7"', r"band: chords: bar 2: 'H7' is not a chord; did you mean 'B7'\?"),
        ('chords = "F7 | | C7"', "band: chords: bar 2: it has no chord; write one, or - for the one before"),
        ('chords = "F7 C7 F7 C7 F7"', "band: chords: bar 1: 5 chords do not fit 4/4"),
        ('form = "blues"\nkey = "H"', r"band: key: 'H' is not a key; did you mean 'B'\?"),
        ('form = "blues"\nkey = "Fm"', "band: key: 'Fm' is in minor and blues is in major"),
        ('chords = "F7"\nkey = "H"', r"band: key: 'H' is not a key"),
        ('bass = "walking"', 'band: there are no chords to play; write form = "blues", or chords = '),
        ("", "band: there are no chords to play"),
        ('form = "blues"\nchords = "F7"', "band: form and chords both stand here; write one of them"),
        ('form = "blues"\nbass = "slap"', "band.bass: 'slap' is not known; choose from walking, two-feel, by the groove, off"),
        ('form = "blues"\npiano = "comp"', r"band.piano: 'comp' is not known; did you mean 'comping'\?"),
        ('form = "blues"\nhorns = "melody"', "band.horns: 'melody' is not known; choose from line, off"),
        ('form = "blues"\nbass = "off"\npiano = "off"', "band: nobody plays: bass, piano and horns are off"),
        ('form = "blues"\nprogram = { drone = 109 }', "band.program: 'drone' is not in the band; choose from bass, piano, horns"),
        ('form = "blues"\nprogram = { bass = 128 }', "band.program: bass: 128 is not a General MIDI program"),
        ('form = "blues"\nprogram = 32', "band.program: 32 is not a table; write parts with numbers"),
        ('forms = "blues"', r"band.forms: no such key; did you mean 'form'\?"),
        ("form = 12", "band.form: 12 is not a form; write it between quotes"),
    ],
)  # fmt: skip
def test_a_wrong_band_gets_one_message_that_says_what_would_be_right(band, message):
    with pytest.raises(LessonError, match=f"^{message}"):
        band_lesson(f"[band]\n{band}")


def test_a_band_that_is_no_table_is_told():
    with pytest.raises(LessonError, match="^band: 'blues' is not a table; write its keys: form, chords, key"):
        lesson_of(top='band = "blues"')


def test_a_form_in_a_meter_that_it_is_not_for_is_told():
    with pytest.raises(
        LessonError, match="^band: form: thirty-two is for 4/4, 12/8, and this groove is in 3/4; in 3/4 there"
    ):
        lesson_of("4 4 4", groove="jazz-waltz", tracks='[band]\nform = "thirty-two"')


@pytest.mark.parametrize(
    "tracks, message",
    [
        ('[[track]]\nname = "a"\nwithout = ["horns"]', r"track 1 \(a\): without: no horns play in this lesson; it has bass, piano"),
        ('[[track]]\nname = "a"\nonly = ["basss"]', r"track 1 \(a\): only: 'basss' is neither a part nor a limb; did you mean 'bass'\?"),
    ],
)  # fmt: skip
def test_who_is_not_in_the_band_cannot_be_left_out(tracks, message):
    with pytest.raises(LessonError, match=message):
        band_lesson(tracks=tracks)


def test_without_a_band_its_parts_are_no_names():
    with pytest.raises(LessonError, match="no bass plays in this lesson; write a table \\[band\\] to have one"):
        lesson_of(tracks='[[track]]\nname = "a"\nwithout = ["bass"]')
    with pytest.raises(LessonError, match="balance: no bass plays in this lesson"):
        lesson_of(balance="bass = -6")
    with pytest.raises(LessonError, match="behind_ms: 'bass' is neither a part here nor a limb"):
        lesson_of(feel="behind_ms = { bass = 3 }")


def test_a_groove_of_ones_own_gets_a_bass_that_fits_it():
    groove = lesson_of(groove="straight-eighths").score.groove
    from dataclasses import replace

    assert read_band(BandTable(form="blues"), replace(groove, name="ours"), 4).bass == "straight"
    assert read_band(BandTable(form="blues"), replace(groove, name="ours", swing=2.0), 4).bass == "walking"


def test_a_slash_chord_is_shown_with_its_bass():
    band = band_lesson('[band]\nchords = "C7/E"').score.band
    assert (band.chords(0)[0].bass, parse_chord("C7/E").bass) == ("E", 4)
