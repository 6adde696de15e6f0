"""Performances of a band for tests of sound and MIDI: notes of the bass, chords of the piano, a horn."""

from fractions import Fraction

from grooves.performance import BarMark, Hit, Note, Performance
from grooves.rhythm import Meter
from render.sound.balance import calibrate, velocities
from render.sound.events import Rendition

PROGRAMS = {"bass": 32, "piano": 0, "horns": 66}  # General MIDI 1, counted from 0


def note(part, seconds, key, length=0.5, level_lu=-6.0, quarters_per_second=2):
    """One note, at 120 a minute on paper."""
    at, long = (Fraction(round(time * quarters_per_second * 960), 960) for time in (seconds, length))
    return Note(seconds, at, length, long, part, PROGRAMS[part], key, level_lu)


def band(*notes, hits=(), seconds=None, key_signature=""):
    """A performance of notes and hits, with a bar that holds them."""
    long = seconds or max(one.onset_seconds + one.length_seconds for one in notes) + 1
    mark = BarMark(0.0, Fraction(0), Fraction(round(long * 2)), long, 120.0, "bar 1")
    return Performance("", Meter(4, 4), tuple(hits), (mark,), tuple(notes), key_signature)


def ride(seconds, level_lu=0.0):
    return Hit(seconds, Fraction(round(seconds * 1920), 960), "ride", "right hand", "ride", 51, level_lu)


def trio(seconds=8.0, apart=0.5):
    """A bass that walks, a piano that comps and a ride, none of them on the grid."""
    beats = [n * apart for n in range(round(seconds / apart))]
    bass = [note("bass", at + 0.0093, 28 + 5 * n % 28, apart * 0.93) for n, at in enumerate(beats)]
    chords = [
        note("piano", at + apart * 0.67, key, 0.2 + 0.1 * (n % 4), -12.0)
        for n, at in enumerate(beats[:-1])
        for key in (51 + n % 5, 55 + n % 5, 60, 65)
    ]
    return band(*bass, *chords, hits=[ride(at + 0.0007 * (n % 3)) for n, at in enumerate(beats)], seconds=seconds)


def rendition(performance, kit, only=None):
    """A performance at the velocities that give its levels."""
    return Rendition(performance, velocities(performance, calibrate(kit, [51])), only)
