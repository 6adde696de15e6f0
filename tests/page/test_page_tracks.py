"""The strokes of every step and of every track of a lesson on the page equal those of its MIDI file."""

import io

import mido
import numpy as np
import pytest
from music import lesson_of
from page_browser import html_of, opened

from grooves.passages import LINE, Track, track_passages
from grooves.performance import perform
from render.sound.balance import velocities
from render.sound.midi import midi_bytes

TRACKS = """
[[track]]
name = "without, softer and a click"
without = ["line"]
softer = { "left foot" = -7.5 }
click = "2 and 4"
times = 3
[[track]]
name = "a hard bar"
bars = "2"
tempo = "75%"
times = 6
count_in = 1
click = "every beat"
[[track]]
name = "out of order"
bars = "2, 1, 2"
times = 3
[[track]]
name = "ladder"
ladder = { from = "60%", to = "100%", step = 7, times_each = 2 }
[[track]]
name = "ladder of rounds"
ladder = { from = "80%", to = "90%", step = 5, times_each = 2 }
times = 2
[[track]]
name = "trade"
trade = { with = 1, without = 1 }
without = ["left foot"]
times = 4
[[track]]
name = "no swap"
trade = { with = 1, without = 1, swap = false }
times = 4
[[track]]
name = "echo"
trade = { with = 1, without = 1, echo = true }
times = 3
[[track]]
name = "fade"
fade = { times = 4, to = -24 }
without = ["left foot", "line"]
[[track]]
name = "silence"
silence = { play = 1, rest = 1 }
times = 4
[[track]]
name = "the groove"
line = false
times = 2
[[track]]
name = "two"
only = ["left foot", "line"]
times = 2
"""

FOUR = ("8 8 4 12 12 12 4 | 16 16 8 8 4 8 8 8", "4 8 8 4. 8 | 2 8 8 4")
BARS = {
    "jazz-waltz": ("4 8 8 4 | 2 8 8", "8 8 4 4 | 4. 8 4"),
    "six-eight": ("4. 8 8 8 | 4 8 4 8", "8 8 8 4. | 4. 4."),
    "twelve-eight": ("8 8 8 4. 4. 4 8 | 4. 4 8 8 8 8 4.", "2. 4. 4. | 4 8 4 8 4. 4."),
    "five-four-swing": ("4 8 8 4 4 4 | 2 4 8 8 4", "4 4 4 4 4 | 8 8 8 8 4 4 4"),
}
GROOVES = (
    "swing", "fast-swing", "two-feel", "shuffle", "straight-eighths", "bossa-nova", "jazz-samba", "second-line",
    "jazz-waltz", "six-eight", "twelve-eight", "five-four-swing",
)  # fmt: skip
LESSONS = [(groove, 0, "") for groove in GROOVES] + [
    ("swing", 1, 'played_on = "bass drum"'),
    ("swing", 0, 'played_on = { each_chorus = ["snare", "bass drum"] }'),
    ("bossa-nova", 1, 'played_on = { each_bar = ["snare", "bass drum"] }'),
    ("straight-eighths", 1, "repeat_each = 2"),
    ("jazz-waltz", 1, 'played_on = { long = "bass drum", short = "snare" }'),
    ("six-eight", 1, 'played_on = "snare"'),
    ("twelve-eight", 1, ""),
    ("five-four-swing", 1, 'played_on = "bass drum"'),
]
PLAY = """([number, seconds]) => {
    controls.steps.take(number);
    return new Player(lesson, settings).pump(seconds).map(({ seconds, key, velocity }) => [seconds, key, velocity]);
}"""


def lesson_with_tracks(groove, bars, line):
    values = BARS.get(groove, FOUR)[bars]
    tempo = {"six-eight": 70, "twelve-eight": 66, "jazz-waltz": 150}.get(groove, 132)
    feel = "timing_ms = 6\nlevel_lu = 1"
    return lesson_of(values, groove=groove, tempo=tempo, line=line, feel=feel, tracks=tracks_of(groove))


def tracks_of(groove):
    """The tracks that this groove can have: not all have a left foot."""
    probe = lesson_of(BARS.get(groove, FOUR)[0], groove=groove)
    limbs = {stroke.limb for bar in probe.score.bars for stroke in bar.strokes}
    return TRACKS if "left foot" in limbs else TRACKS.replace('"left foot"', '"right foot"')


def step_track(step, lesson):
    """A step of the page as a track of the lesson."""
    return Track("x", without=frozenset(step["off"]), groove_alone=step["alone"], times=2 * lesson.score.readings)


def notes_of(track, lesson, kit):
    """Every note of a track's MIDI file, as an independent reader reads it, and how many seconds it lasts."""
    passages = track_passages(track, lesson.score, lesson.choruses, lesson.count_in)
    performance = perform(lesson.score, passages, lesson.feel, lesson.balance_lu)
    file = mido.MidiFile(file=io.BytesIO(midi_bytes(performance, velocities(performance, kit[1]))))
    now, notes = 0.0, []
    for message in file:
        now += message.time
        if message.type == "note_on" and message.velocity:
            notes.append((now, message.note, message.velocity))
    return notes, performance.length_seconds


def last_gap(notes, seconds):
    """The middle of the last pause before a moment, so that rounding takes no stroke across it."""
    times = sorted(time for time, *_ in notes if time < seconds)
    at = next(at for at in range(len(times) - 1, 0, -1) if times[at] - times[at - 1] > 0.03)
    return (times[at - 1] + times[at]) / 2


def assert_same(found, wanted, tempo, name):
    """Key by key the same strokes; times within half a millisecond, or half a tick where a tick is longer."""
    most = max(0.0005, 60 / tempo / 960 / 2)
    assert len(found) == len(wanted), name
    for key in {key for _, key, _ in wanted}:
        ours = sorted((seconds, velocity) for seconds, one, velocity in found if one == key)
        theirs = sorted((seconds, velocity) for seconds, one, velocity in wanted if one == key)
        assert [velocity for _, velocity in ours] == [velocity for _, velocity in theirs], name
        apart = np.abs(np.array([one for one, _ in ours]) - np.array([one for one, _ in theirs])).max()
        assert apart <= most + 1e-6, name


@pytest.mark.parametrize(("groove", "bars", "line"), LESSONS, ids=lambda one: str(one)[:40])
def test_every_step_and_every_track_is_played_on_the_page_as_in_its_midi_file(
    chrome, kit, tmp_path, groove, bars, line
):
    lesson = lesson_with_tracks(groove, bars, line)
    with opened(chrome, html_of(lesson, *kit), tmp_path) as sheet:
        steps = sheet.page.evaluate("lesson.steps")
        own = steps[-len(lesson.tracks) :]
        assert [step["name"] for step in own] == [track.name for track in lesson.tracks]
        plain = [step_track(step, lesson) for step in steps[: -len(lesson.tracks)]]
        for number, track in enumerate([*plain, *lesson.tracks]):
            wanted, length = notes_of(track, lesson, kit)
            end = last_gap(wanted, length - 0.3)  # the last strokes have none after them in the file
            found = sheet.page.evaluate(PLAY, [number, end])
            slowest = track.ladder.from_bpm if track.ladder else track.tempo_bpm or lesson.score.tempo_bpm
            quarters = slowest * float(lesson.score.groove.beat)
            assert_same(found, [note for note in wanted if note[0] < end], quarters, steps[number]["name"])
        assert sheet.errors == []
    assert LINE in {name for track in lesson.tracks for name in track.without}
