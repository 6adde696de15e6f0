"""A walking bass: a note on every felt beat, now and then with a skip, a triplet, or a half note.

Four plain quarters stand in 63 % of bars (Riley & Dixon, FiloBass, ISMIR 2023, as other texts quote it); how the rest
is shared out is ours. Everything is drawn by place.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise

from grooves.band.bars import BandBar, Changes, spans
from grooves.band.bass import LOWEST, BassEvent, aim_at, bass_keys, lead_into
from grooves.band.chance import chosen, drawn
from grooves.band.chords import Chord
from grooves.meter import Meter
from grooves.players import BandNote

RHYTHMS = {"plain": 0.63, "skip": 0.21, "triplet": 0.07, "half": 0.09}
TOO_FAST_FOR_TRIPLETS_BPM = 220.0  # felt beats a minute; ours
_SKIP_AFTER = {0: 0.3, 1: 0.25, 2: 0.3, 3: 0.15}  # which beat the skipped eighth follows
HOME = 0.8  # a turn of the form mostly begins with the root; ours
SKIP_LU, TRIPLET_LU = -4.0, -2.0  # lighter than the beat; ours
OPEN_STRINGS = (28, 33, 38, 43)  # E1 A1 D2 G2


@dataclass(frozen=True)
class Beat:
    """One note of the line before its pitch is found: its bar, its place there, its length, what it wants."""

    bar: int
    onset: Fraction
    length: Fraction
    event: BassEvent
    ornament: str = ""


def walk(bars: Sequence[BandBar], seed: int) -> list[BandNote]:
    """A walking line over some bars: `walk(bars, 1)[0].key` is the first note's MIDI key."""
    return play_beats(beats_of(bars, seed), bars, seed)


def play_beats(beats: Sequence[Beat], bars: Sequence[BandBar], seed: int) -> list[BandNote]:
    """Find the pitches of all beats, one turn of the form after the other, and write them with their ornaments."""
    keys: list[int] = []
    for first, last in windows(beats, bars):
        after = beats[last].event if last < len(beats) else None
        known = keys[first:]  # the first note of this turn was the last one's aim
        before = (keys[first - 1], keys[first]) if known and first else None
        found = bass_keys([beat.event for beat in beats[first + len(known) : last]], seed, after, before)
        keys = [*keys, *found]
    return [note for number in range(len(beats)) for note in _written(number, beats, keys, seed)]


def windows(beats: Sequence[Beat], bars: Sequence[BandBar]) -> Iterator[tuple[int, int]]:
    """Where each turn of the form begins and ends among the beats."""
    starts = [n for n, beat in enumerate(beats) if n == 0 or (beat.bar != beats[n - 1].bar and bars[beat.bar].fresh)]
    yield from pairwise([*starts, len(beats)])


def beats_of(bars: Sequence[BandBar], seed: int) -> list[Beat]:
    """The beats of a walking line with their rhythm, aims and leads, but no pitches yet."""
    changes = Changes(spans(bars))
    return [beat for index, bar in enumerate(bars) for beat in _bar_beats(index, bar, changes, seed)]


def _bar_beats(index: int, bar: BandBar, changes: Changes, seed: int) -> Iterator[Beat]:
    pulse = bar.meter.pulse
    rhythm, where = _rhythm(bar, changes, seed)
    onset = Fraction(0)
    while onset < bar.meter.length:
        number = int(onset / pulse)
        length = 2 * pulse if rhythm == "half" and number == 0 else pulse
        ornament = rhythm if rhythm in ("skip", "triplet") and number == where else ""
        yield Beat(index, onset, length, _event(bar, onset, changes, seed), ornament)
        onset += length


def _rhythm(bar: BandBar, changes: Changes, seed: int) -> tuple[str, int]:
    """What a bar does other than walk, and after which beat."""
    rhythm = chosen(RHYTHMS, seed, "bass/rhythm", bar.place)
    felt_bpm = bar.quarters_per_minute / float(bar.meter.pulse)
    if rhythm == "triplet" and felt_bpm > TOO_FAST_FOR_TRIPLETS_BPM:
        rhythm = "skip"
    second = bar.place + bar.meter.pulse
    if rhythm == "half" and (bar.meter.pulses < 3 or changes.at(second).start == second):
        rhythm = "plain"
    after = {beat: share for beat, share in _SKIP_AFTER.items() if beat < bar.meter.pulses}
    return rhythm, chosen(after, seed, "bass/ornament", bar.place)


def _event(bar: BandBar, onset: Fraction, changes: Changes, seed: int) -> BassEvent:
    place = bar.place + onset
    span = changes.at(place)
    begins = span.start == place
    aim = aim_at(seed, place, begins) if begins or onset == 0 else ""
    if place == 0 or (bar.fresh and onset == 0 and drawn(seed, "bass/home", place) < HOME):
        aim = "root"
    before = place - bar.meter.pulse
    lead = lead_into(seed, place) if begins and changes.at(before).start != before else ""
    return BassEvent(place, span.chord, begins, begins or is_strong(onset, bar.meter), aim, lead=lead)


def is_strong(onset: Fraction, meter: Meter) -> bool:
    """Whether a beat carries a chord tone: 1 and 3 in four, 1 in three, 1 and 4 in five."""
    beat = onset / meter.pulse
    return beat == 0 or (meter.pulses == 4 and beat == 2) or (meter.pulses == 5 and beat == 3)


# --- ornaments ------------------------------------------------------------------------------------


def _written(number: int, beats: Sequence[Beat], keys: Sequence[int], seed: int) -> Iterator[BandNote]:
    """A beat as notes: one, two with a skipped eighth, three with a triplet."""
    beat, key = beats[number], keys[number]
    if not beat.ornament:
        yield BandNote(beat.bar, beat.onset, beat.length, "bass", key)
    elif beat.ornament == "skip":
        long = beat.length * 2 / 3 if beat.length == Fraction(3, 2) else beat.length / 2
        yield BandNote(beat.bar, beat.onset, long, "bass", key)
        low = _below(key, beat.event.chord) if drawn(seed, "bass/skip", beat.event.place) < 0.4 else key
        yield BandNote(beat.bar, beat.onset + long, beat.length - long, "bass", low, SKIP_LU)
    else:
        third = beat.length / 3
        low = _below(key, beat.event.chord)
        for turn, (one, accent_lu) in enumerate(
            ((key, 0.0), (low, TRIPLET_LU), (_below(low, beat.event.chord), TRIPLET_LU))
        ):
            yield BandNote(beat.bar, beat.onset + turn * third, third, "bass", one, accent_lu)


def _below(key: int, chord: Chord) -> int:
    """Where a finger is pulled off to: the open string below if it lies in the scale, else the chord tone below."""
    strings = [string for string in OPEN_STRINGS if key - 7 <= string < key and string % 12 in chord.scale]
    tones = [low for low in range(max(key - 7, LOWEST), key) if low % 12 in chord.core]
    return max(strings, default=max(tones, default=key))
