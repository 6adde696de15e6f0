"""A lesson with a band, all the way to its files."""

from collections import Counter
from io import BytesIO
from itertools import pairwise
from pathlib import Path

import mido
import numpy as np
import pytest
import soundfile
from band_bars import every_form
from music import lesson_of, text_of

from grooves.band.forms import Form
from grooves.passages import Track, track_passages
from grooves.performance import perform
from render.lesson.load import load_lesson
from render.lesson.options import RenderOptions
from render.lesson.render_lesson import render_lesson
from render.sound.balance import plain_balance, velocities
from render.sound.midi import midi_bytes

BAND = '[band]\nform = "blues"\nhorns = "line"\n'
TRACKS = """
[[track]]
name = "band"
[[track]]
name = "no bass"
without = ["bass"]
[[track]]
name = "time"
line = false
"""


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    folder = tmp_path_factory.mktemp("band")
    path = folder / "blues.toml"
    path.write_text(text_of("4 8 8 4 4 | 8 4 4 4 8", tracks=BAND + TRACKS, top="choruses = 2", feel="seed = 2"))
    return folder, render_lesson(path, RenderOptions(folder / "out", stems=True, paper=False))


def sound(folder: Path, name: str) -> np.ndarray:
    return soundfile.read(folder / "out" / f"blues-{name}.wav", dtype="int16")[0].astype(np.int32)


def stems(report, track: str) -> dict[str, Path]:
    return {made.plays[0]: made.path for made in report.files if made.kind == "stem" and made.track == track}


def test_every_part_of_the_band_has_a_stem_and_stems_add_up_to_the_track(made):
    folder, report = made
    for track, name, players in (("band", "band", {"bass", "piano", "horns"}), ("no bass", "no-bass", {"piano", "horns"}), ("time", "time", {"bass", "piano"})):  # fmt: skip
        found = stems(report, track)
        assert set(found) & {"bass", "piano", "horns"} == players
        total = sum(soundfile.read(path, dtype="int16")[0].astype(np.int32) for path in found.values())
        assert np.array_equal(total, sound(folder, name))


def test_a_stem_is_the_same_whoever_else_plays(made):
    _, report = made
    for part in ("piano", "horns", "ride", "snare"):
        assert stems(report, "band")[part].read_bytes() == stems(report, "no bass")[part].read_bytes()


def test_a_track_of_midi_is_the_same_whoever_else_plays(made):
    folder, _ = made
    with_bass, without = (mido.MidiFile(folder / "out" / f"blues-{name}.mid") for name in ("band", "no-bass"))
    tracks = [{track.name: [str(one) for one in track] for track in file.tracks} for file in (with_bass, without)]
    assert tracks[0].keys() - tracks[1].keys() == {"bass"}
    assert all(tracks[0][name] == own for name, own in tracks[1].items())


def test_it_is_said_who_is_left_out_and_how_form_and_line_fit(made):
    _, report = made
    left_out = {made.track: made.left_out for made in report.files if made.kind == "midi"}
    assert left_out == {"band": (), "no bass": ("bass",), "time": ("line on snare", "horns")}
    assert "the form of 12 bars goes once under 6 choruses of the line of 2 bars" in report.notes


def test_the_same_lesson_makes_the_same_bytes(made, tmp_path):
    folder, _ = made
    again = render_lesson(folder / "blues.toml", RenderOptions(tmp_path, tracks=("band",), paper=False))
    for made_file in again.files:
        assert made_file.path.read_bytes() == (folder / "out" / made_file.path.name).read_bytes()


def test_loading_a_lesson_with_a_band_tells_how_form_and_line_fit(tmp_path):
    path = tmp_path / "a.toml"
    path.write_text(text_of(" | ".join(["4 4 4 4"] * 8), tracks=BAND))
    assert load_lesson(path).notes[0].startswith("the line of 8 bars and the form of 12 begin together again after 24")


def bass_from_midi(form: Form, choruses: int) -> list[tuple[int, int]]:
    """Tick and key of each bass note as a MIDI file has them, exact and with straight eighths."""
    feel = 'timing_ms = 0\nlevel_lu = 0\nswing = "straight"\nbehind_ms = { bass = 0 }'
    band = f'[band]\nform = "{form.name}"\nkey = "{form.key}"\npiano = "off"'
    lesson = lesson_of(" | ".join(["4 4 4 4"] * len(form.bars)), tracks=band, feel=feel)
    track = Track("bass", only=frozenset({"bass"}))
    performance = perform(lesson.score, track_passages(track, lesson.score, choruses, 0), lesson.feel)
    data = midi_bytes(performance, velocities(performance, plain_balance()))
    found, now = [], 0
    for message in next(one for one in mido.MidiFile(file=BytesIO(data)).tracks if one.name == "bass"):
        now += message.time
        if message.type == "note_on" and message.velocity:
            found.append((now, message.note))
    return found


def test_the_published_figures_come_out_of_midi_files():
    # Riley & Dixon, FiloBass, ISMIR 2023, as in tests/band/test_bass.py, where it is ten thousand bars without the files.
    roots, leads, plain, bars = Counter(), Counter(), 0, 0
    for form in every_form()[::4]:
        chords = [(number, placed) for number, bar in enumerate(form.bars) for placed in bar]
        first = [n for n, (_, placed) in enumerate(chords) if n == 0 or placed.chord != chords[n - 1][1].chord]
        begins = {3840 * chords[n][0] + int(960 * chords[n][1].onset): chords[n][1].chord.bass for n in first}
        notes = bass_from_midi(form, 96 // len(form.bars))
        for (_, before), (tick, note) in pairwise(notes):
            if (place := tick % (len(form.bars) * 3840)) in begins:
                roots[note % 12 == begins[place]] += 1
                leads[before - note] += 1
        struck = Counter(tick // 3840 for tick, _ in notes)
        off = {tick // 3840 for tick, _ in notes if tick % 960}
        plain += sum(many == 4 and bar not in off for bar, many in struck.items())
        bars += len(struck)
    assert bars == 18 * 96
    assert 62 <= 100 * roots[True] / roots.total() <= 74
    assert all(
        abs(100 * leads[above] / leads.total() - share) <= 5 for above, share in ((1, 26.8), (-1, 21.0), (-2, 11.9))
    )
    assert abs(100 * plain / bars - 63) <= 4
