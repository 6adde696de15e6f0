"""Notes of pads from a Standard MIDI File, in seconds: any tempo map, hung notes, one track or many."""

from pathlib import Path

import numpy as np

from grooves.errors import LessonError
from grooves.takes.pads import Struck
from render.files.midi_file import MidiSong, open_midi
from render.hearing.files import LARGEST_MIDI

MOST_NOTES = 60_000  # an hour of a full kit at 220 beats a minute is half as many
LONGEST_SECONDS = 3 * 3600.0
DRUM_CHANNEL = 9  # channel 10, counted from 0
_USUAL_TEMPO = 500_000  # microseconds a quarter where a file says none; Standard MIDI Files 1.0


def read_pads(path: Path) -> tuple[Struck, ...]:
    """The notes of a file in order of time: `read_pads(Path("take.mid"))[0].key`.

    Those of channel 10 where it has any, else all. Raises LessonError naming the file.
    """
    try:
        with path.open("rb") as file:
            song = open_midi(file.read(LARGEST_MIDI + 1))
        notes = [note for track in song.tracks for note in track.notes]
        drums = [note for note in notes if note.channel == DRUM_CHANNEL] or notes
        if len(drums) > MOST_NOTES:
            raise LessonError(f"has {len(drums)} notes, which is no take; record one lesson at a time")
        seconds = _seconds(song, [note.tick for note in drums])
        if max(seconds, default=0.0) > LONGEST_SECONDS:
            raise LessonError(f"lasts {max(seconds) / 3600:.0f} hours; record one lesson at a time")
    except LessonError as error:
        raise LessonError(f"{path}: {error}") from None
    except OSError as error:
        raise LessonError(f"{path}: cannot be read: {error.strerror or error}") from None
    struck = [Struck(at, note.key, note.velocity) for at, note in zip(seconds, drums, strict=True)]
    return tuple(sorted(struck, key=lambda one: (one.onset_seconds, one.key)))


def _seconds(song: MidiSong, ticks: list[int]) -> list[float]:
    """Ticks through the tempo map, whichever track it stands in; of tempos at one tick the last counts."""
    tempos = dict(sorted(((0, _USUAL_TEMPO), *song.tempos), key=lambda one: one[0]))
    starts = np.array([*tempos], dtype=np.float64)
    rates = np.array([*tempos.values()], dtype=np.float64) / 1e6 / song.division
    begun = np.concatenate([[0.0], np.cumsum(np.diff(starts) * rates[:-1])])
    at = np.array(ticks, dtype=np.float64)
    place = np.searchsorted(starts, at, "right") - 1
    found: list[float] = (begun[place] + (at - starts[place]) * rates[place]).tolist()
    return found
