"""One rhythm out of the voices of a part: one drum wherever it stands, or a melody that moves between voices."""

from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise

from grooves.errors import LessonError
from render.reading.measures import XmlMeasure, XmlNote
from render.reading.parts import numbers_listed

SOUNDING = ("struck", "held")


def one_rhythm(measures: Sequence[XmlMeasure], drums: frozenset[str] | None) -> tuple[list[list[XmlNote]], list[str]]:
    """Each measure's notes of one rhythm, and what to report: `one_rhythm(measures, None)[0][0]`.

    With `drums` all their strokes, whatever voice they are in; else all voices if no two of them sound at once, or the
    lowest voice that has notes. Raises LessonError where there is nothing to read.
    """
    voices = _sounding(measures, drums)
    if not voices:
        raise LessonError("there are no notes in this part")
    if drums is not None:
        mine = [[note for note in m.notes if note.instrument in drums] for m in measures]
        told = [f"{_named(voices)} are read together, wherever the drum stands"] if len(voices) > 1 else []
        return [_after_each_other(notes) for notes in mine], told
    first = voices[0]
    if len(voices) > 1 and not any(_overlap(measure.notes) for measure in measures):
        moved = [
            number
            for number, measure in enumerate(measures, 1)
            if any(note.kind in SOUNDING and note.voice != first for note in measure.notes)
        ]
        told = [f"{_named(voices)} are read as one rhythm; {_bars(moved)} not in voice {first} alone"]
        return [[note for note in m.notes if note.kind != "rest" or note.fault] for m in measures], told
    notes = [[note for note in measure.notes if note.voice == first] for measure in measures]
    return notes, [f"voice {first} of voices {', '.join(voices[:16])}"] if len(voices) > 1 else []


def _sounding(measures: Sequence[XmlMeasure], drums: frozenset[str] | None) -> list[str]:
    """The voices that have notes, the lowest first."""
    voices = {
        note.voice
        for measure in measures
        for note in measure.notes
        if note.kind in SOUNDING and (drums is None or note.instrument in drums)
    }
    return sorted(voices, key=lambda voice: (not voice.isdigit(), len(voice), voice))


def _overlap(notes: Sequence[XmlNote]) -> bool:
    """Whether two voices sound at once in a measure."""
    end, voice = None, ""
    for note in sorted((note for note in notes if note.kind in SOUNDING), key=lambda note: note.onset):
        if end is not None and note.onset < end and note.voice != voice:
            return True
        if end is None or note.onset + note.length >= end:
            end, voice = note.onset + note.length, note.voice
    return False


def _after_each_other(notes: Sequence[XmlNote]) -> list[XmlNote]:
    """A drum's strokes from several voices: each lasts at most to the next, and at one place they are one."""
    ordered = sorted(notes, key=lambda note: note.onset)
    places = sorted({note.onset for note in ordered})
    after = dict(pairwise(places))
    return [
        replace(one, length=min(one.length, after[one.onset] - one.onset)) if one.onset in after else one
        for one in ordered
    ]


def _named(voices: Sequence[str]) -> str:
    return f"voices {', '.join(voices[:15])} and {voices[-1]}" if len(voices) > 2 else f"voices {' and '.join(voices)}"


def _bars(numbers: Sequence[int]) -> str:
    return f"{numbers_listed(numbers)} {'is' if len(numbers) == 1 else 'are'}"
