"""Performances for the sound benchmarks: a reading lesson of a wished length at a wished tempo."""

import random
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

from grooves.feel import Feel
from grooves.groove import parse_groove
from grooves.line import PlayedOn
from grooves.passages import Track, track_passages
from grooves.performance import Note, Performance, perform
from grooves.rhythm import parse_values
from grooves.score import Score, write_score

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


def with_band(minutes: float, tempo_bpm: float = 120) -> Performance:
    """The same with a bass on every beat and two to three chords of four notes in a bar, off by a little as limbs are."""
    track, dice = performance(minutes, tempo_bpm), random.Random(1)
    quarters, notes, key = int(track.length_seconds * tempo_bpm / 60), [], 40

    def add(part: str, program: int, place: Fraction, length: Fraction, chord: list[int], level_lu: float) -> None:
        late = dice.gauss(0.01, 0.005)
        onset = place + Fraction(round(late * tempo_bpm / 60 * 960), 960)
        level = level_lu + dice.gauss(0, 1)
        seconds = float(onset) * 60 / tempo_bpm, float(length) * 60 / tempo_bpm
        notes.extend(Note(seconds[0], onset, seconds[1], length, part, program, one, level) for one in chord)

    for quarter in range(quarters):
        key = min(max(key + dice.choice((-5, -2, -1, 1, 2, 3)), 28), 55)
        add("bass", 32, Fraction(quarter), Fraction(round(dice.uniform(0.85, 0.97) * 960), 960), [key], -6)
        if dice.random() < 0.6:
            low = dice.randrange(50, 58)
            add(
                "piano",
                0,
                quarter + Fraction(2, 3),
                Fraction(dice.randrange(200, 1500), 960),
                [low, low + 4, low + 7, low + 11],
                -14,
            )
    return replace(track, notes=tuple(notes))


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
