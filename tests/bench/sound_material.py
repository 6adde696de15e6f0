"""Performances for the sound benchmarks: a reading lesson of a wished length at a wished tempo."""

from pathlib import Path

from grooves.feel import Feel
from grooves.groove import parse_groove
from grooves.line import PlayedOn
from grooves.passages import Track, track_passages
from grooves.performance import Performance, perform
from grooves.rhythm import parse_values
from grooves.score import Score, write_score
from render.lesson.load import load_lesson

LINE = "4 8 8 4 4 | 8 4 4 4 8 | 4. 8 4 4r | 8r 4. 4 8 8"
LIBRARY = Path(__file__).parents[2] / "grooves" / "library"


def score(played_on: str = "snare", groove: str = "swing", tempo_bpm: float = 120) -> Score:
    """A four-bar line over a shipped groove."""
    form = parse_groove((LIBRARY / f"{groove}.toml").read_text())
    bars = parse_values(LINE, form.meter)
    return write_score("bench", form, tempo_bpm, bars, [PlayedOn(played_on, played_on)])


def performance(
    minutes: float, tempo_bpm: float = 120, without: frozenset[str] = frozenset(), feel: Feel | None = None
) -> Performance:
    """So many minutes of the swing groove with the line on the snare, a few limbs left out."""
    choruses = round(minutes * tempo_bpm / 16)
    passages = track_passages(Track("full", without=without, tempo_bpm=tempo_bpm), score(), choruses)
    return perform(score(), passages, feel or Feel())


def with_band(minutes: float, folder: Path) -> Performance:
    """The same with a bass that walks and a piano that comps through a blues, without the line."""
    path = folder / "band.toml"
    path.write_text(lesson_text(minutes) + '[band]\nform = "blues"\n')
    lesson = load_lesson(path).lesson
    track = next(track for track in lesson.tracks if track.name == "with-band")
    passages = track_passages(track, lesson.score, lesson.choruses, lesson.count_in)
    return perform(lesson.score, passages, lesson.feel, lesson.balance_lu)


def lesson_text(minutes: float, tempo_bpm: float = 120) -> str:
    """The same as a lesson file, without tracks."""
    top = f'title = "bench"\ntempo = {tempo_bpm}\ngroove = "swing"\nchoruses = {round(minutes * tempo_bpm / 16)}\n'
    return f'{top}[line]\nvalues = "{LINE}"\nplayed_on = "snare"\n'


def midi_file(track: Performance, velocities: tuple[int, ...], path: Path, rate: int = 44100) -> None:
    """The same hits for the stock player: 960 ticks a quarter, note-off after the recorded hits' length."""
    import mido

    from render.soundfont.synth import HIT_SECONDS

    tempo = mido.bpm2tempo(120)
    events = []
    for hit, velocity in zip(track.hits, velocities, strict=True):
        for seconds, kind, loud in (
            (hit.onset_seconds, "note_on", velocity),
            (hit.onset_seconds + HIT_SECONDS, "note_off", 0),
        ):
            events.append((round(seconds * 1920), kind, hit.key, loud))
    at, notes = 0, mido.MidiTrack([mido.MetaMessage("set_tempo", tempo=tempo)])
    notes.append(mido.Message("program_change", channel=9, program=32))
    for tick, kind, key, loud in sorted(events):
        notes.append(mido.Message(kind, channel=9, note=key, velocity=loud, time=tick - at))
        at = tick
    file = mido.MidiFile(ticks_per_beat=960, tracks=[notes])
    file.save(path)
