"""The rendering of one plan: kit and levels at hand, tracks performed, and files that appear together at its end."""

from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path

from grooves.cast import cast
from grooves.kit import PARTS
from grooves.lesson import Lesson
from grooves.performance import Performance, perform
from render.files.write import make_folder, whole
from render.lesson.options import MadeFile, Progress
from render.lesson.plan import Plan, PlannedFile, PlannedTrack
from render.sound.audio import write_tracks
from render.sound.balance import Balance, calibrate, plain_balance, velocities
from render.sound.events import Rendition
from render.sound.gain import Gain
from render.sound.midi import midi_bytes
from render.sound.recordings import record
from render.sound.tracks import Tracks
from render.soundfont.samples import DrumKit
from render.soundfont.soundfont import kit_for


@dataclass(frozen=True)
class PerformedTrack:
    """A planned track, played: its hits and how hard each is struck."""

    planned: PlannedTrack
    performance: Performance
    velocities: tuple[int, ...]

    def rendition(self, part: str = "") -> Rendition:
        """What a sound file of it plays: everything, or one part alone, as in a stem."""
        return Rendition(self.performance, self.velocities, frozenset({part}) if part else None)


@dataclass(frozen=True)
class Session:
    """A plan being rendered: with which kit, and under which name each file is written meanwhile."""

    plan: Plan
    kit: DrumKit
    beside: Mapping[Path, Path]

    @cached_property
    def balance(self) -> Balance:
        """The levels it is struck at, measured once the kit has been recorded."""
        return balance_for(self.plan, self.kit)

    @property
    def program(self) -> int | None:
        """The drum kit that MIDI files ask for; none for an unknown sound module."""
        return None if self.plan.options.plain_velocities else self.kit.preset.program


@contextmanager
def open_kit_of(plan: Plan) -> Iterator[DrumKit]:
    """Open the kit of a lesson for as long as it is needed: `open_kit_of(plan_lesson(path, options))`."""
    options, lesson = plan.options, plan.lesson
    if options.kit_program is not None:
        lesson = replace(lesson, kit_program=options.kit_program)
    with kit_for(plan.path, lesson, options.soundfont, options.rate, options.use_cache, options.processes) as kit:
        yield kit


@contextmanager
def open_session(plan: Plan) -> Iterator[Session]:
    """Render a plan: inside, all of its files are written; at the end they appear, or none of them does.

    Example: `with open_session(plan) as session: …`. Raises LessonError.
    """
    with open_kit_of(plan) as kit:
        for folder in {file.path.parent: None for file in plan.files}:
            make_folder(folder)
        paths = [file.path for file in plan.files]
        with whole(paths, plan.loaded.reads) as beside:
            yield Session(plan, kit, dict(zip(paths, beside, strict=True)))


def balance_for(plan: Plan, kit: DrumKit) -> Balance:
    """The balance that a plan's tracks are struck at: the kit's, or that of an unknown sound module."""
    return plain_balance() if plan.options.plain_velocities else calibrate(kit)


def perform_track(lesson: Lesson, planned: PlannedTrack, balance: Balance) -> PerformedTrack:
    """Perform a track at its velocities: `perform_track(plan.lesson, plan.tracks[0], balance).performance.hits`."""
    return _struck(planned, _played(lesson, planned), balance)


def perform_tracks(session: Session) -> list[PerformedTrack]:
    """Perform the tracks of a plan, once what they play is recorded: `perform_tracks(session)[0].performance.hits`."""
    plan, options = session.plan, session.plan.options
    played = [_played(plan.lesson, one) for one in plan.tracks]
    if options.audio and not options.plain_velocities:
        record(played, session.kit)
    return [_struck(*one, session.balance) for one in zip(plan.tracks, played, strict=True)]


def _played(lesson: Lesson, planned: PlannedTrack) -> Performance:
    return perform(lesson.score, planned.passages, lesson.feel, lesson.balance_lu)


def _struck(planned: PlannedTrack, performance: Performance, balance: Balance) -> PerformedTrack:
    return PerformedTrack(planned, performance, velocities(performance, balance))


def write_midi(session: Session, one: PerformedTrack) -> list[MadeFile]:
    """Write a track's MIDI file, where one is planned: `write_midi(session, track)[0].path`."""
    made = []
    for file in one.planned.files:
        if file.kind == "midi":
            session.beside[file.path].write_bytes(midi_bytes(one.performance, one.velocities, session.program))
            made.append(_made(one, file, session.plan.lesson))
    return made


Sounds = Sequence[tuple[PerformedTrack, PlannedFile]]


def sounds_of(tracks: Sequence[PerformedTrack]) -> Sounds:
    """The sound files that are planned of tracks: a track's own, then its stems."""
    return [(one, file) for one in tracks for file in one.planned.files if file.kind in ("audio", "stem")]


def write_sounds(
    session: Session, sounds: Sounds, tracks: Tracks, gain: Gain, progress: Progress = lambda _: None
) -> list[MadeFile]:
    """Write sound files side by side, so that what they share is mixed once; they are the last of `tracks`."""
    count = len(tracks.renditions)
    own = tracks.only(range(count - len(sounds), count))
    targets = [session.beside[file.path] for _, file in sounds]
    options = session.plan.options
    if targets:
        write_tracks(targets, own, gain, options.format, options.processes, progress)
    made = [_made(one, file, session.plan.lesson) for one, file in sounds]
    return [replace(file, seconds=frames / session.kit.rate) for file, frames in zip(made, own.lengths, strict=True)]


def describe_gain(gain: Gain, shared: bool = False) -> str:
    """Say how loud the lesson came out and what set it: "…: everyone together -16.0 LUFS, true peak -3.2 dBTP"."""
    why = "; its peaks allow no more (-16 LUFS is the aim)" if gain.limited_by_peak else ""
    why = "; the ride is as loud in all lessons of this run" if shared else why
    level = f"everyone together {gain.loudness_lufs:.1f} LUFS, true peak {gain.peak_dbtp:.1f} dBTP"
    return f"all files at one level: {level}{why}"


def _made(one: PerformedTrack, file: PlannedFile, lesson: Lesson) -> MadeFile:
    track, seconds = one.planned.track, one.performance.length_seconds
    if file.part:
        return MadeFile(track.name, file.kind, file.path, seconds, (file.part,))
    drums = cast(track, lesson.score, lesson.choruses)
    others = tuple(part for part in one.performance.parts if part not in PARTS)
    players = lesson.score.band.parts if lesson.score.band else ()
    out = (*drums.left_out, *(part for part in players if part not in others))
    return MadeFile(track.name, file.kind, file.path, seconds, (*drums.plays, *others), left_out=out)
