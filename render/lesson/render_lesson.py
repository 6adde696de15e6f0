"""The whole way from a lesson file to its files: every track as MIDI and sound, chart, score and page.

One gain for all tracks of a lesson, so that a part is as loud in one as in another.
"""

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from grooves.kit import INSTRUMENTS
from grooves.passages import never_in_turn, never_reads
from render.lesson.documents import write_documents
from render.lesson.earlier import earlier_note
from render.lesson.options import MadeFile, Progress, RenderOptions, Report
from render.lesson.plan import Plan, plan_lesson
from render.lesson.session import (
    PerformedTrack,
    Session,
    balance_for,
    describe_gain,
    open_kit_of,
    open_session,
    perform_track,
    perform_tracks,
    sounds_of,
    write_midi,
    write_sounds,
)
from render.sound.balance import RIDE_VELOCITY, Balance, loudness_by_velocity, out_of_reach
from render.sound.events import Rendition
from render.sound.gain import Gain, gain_for
from render.sound.tracks import side_by_side
from render.soundfont.samples import DrumKit


def render_lesson(path: Path, options: RenderOptions, progress: Progress = lambda _: None) -> Report:
    """Render a lesson file: `render_lesson(Path("first.toml"), RenderOptions(Path("out"))).files`.

    All its files appear together at the end. Raises LessonError, and then none of them does.
    """
    return render_plan(plan_lesson(path, options), progress)


def render_plan(plan: Plan, progress: Progress = lambda _: None) -> Report:
    """Render a lesson as planned: `render_plan(plan_lesson(path, options)).notes`; raises LessonError."""
    with open_session(plan) as session:
        tracks = perform_tracks(session)
        wanted = [one for one in tracks if one.planned.files]
        files = [made for one in wanted for made in write_midi(session, one)]
        files += write_documents(session)
        said = [*plan.notes, *_remarks(wanted, session)]
        if plan.options.audio:
            made, gain = _write_sounds(session, tracks, progress)
            files += made
            said.append(describe_gain(gain, plan.options.ride_lufs is not None))
    return Report(plan.path, plan.lesson.title, tuple(files), (*said, *earlier_note(plan)))


def _remarks(tracks: Sequence[PerformedTrack], session: Session) -> list[str]:
    """What a teacher should know about tracks, each thing once."""
    lesson = session.plan.lesson
    asked = [(one.planned.track, lesson.score, lesson.choruses) for one in tracks]
    turns = [note for one in asked for note in (never_in_turn(*one), never_reads(*one))]
    levels = [note for one in tracks for note in out_of_reach(one.performance, session.balance)]
    return [note for note in dict.fromkeys([*turns, *levels]) if note]


def _write_sounds(
    session: Session, tracks: Sequence[PerformedTrack], progress: Progress
) -> tuple[list[MadeFile], Gain]:
    """The sound files that are planned of tracks, at the gain that all tracks of the lesson have."""
    plan, sounds = session.plan, sounds_of(tracks)
    renditions = [*_heard(plan, tracks, session.balance), *(one.rendition(file.part) for one, file in sounds)]
    together = side_by_side(renditions, session.kit)
    gain = at_level(gain_for(together, plan.options.processes), plan.options.ride_lufs, session.kit)
    return write_sounds(session, sounds, together, gain, progress), gain


def _heard(plan: Plan, tracks: Sequence[PerformedTrack], balance: Balance) -> list[Rendition]:
    """What sets a lesson's gain: everyone together first, then every track."""
    full = next((one for one in tracks if one.planned.passages == plan.full.passages), None)
    full = full or perform_track(plan.lesson, plan.full, balance)
    return [full.rendition(), *(one.rendition() for one in tracks)]


# --- one level for several lessons ----------------------------------------------------------------


def own_ride_lufs(plan: Plan) -> float:
    """How loud the ride's plain stroke is in the files of a lesson that has its own gain, in LUFS.

    The least of `own_ride_lufs(plan)` over several lessons is a level that the peaks of all of them allow, and at
    which their rides are equally loud, on whatever soundfonts.
    """
    with open_kit_of(plan) as kit:
        balance = balance_for(plan, kit)
        tracks = [perform_track(plan.lesson, one, balance) for one in plan.tracks]
        together = side_by_side(_heard(plan, tracks, balance), kit)
        return gain_for(together, plan.options.processes).db + _plain_ride_lufs(kit)


def at_level(gain: Gain, ride_lufs: float | None, kit: DrumKit) -> Gain:
    """A gain turned down until the ride's plain stroke is as loud as wished: `at_level(gain, None, kit)` is `gain`."""
    if ride_lufs is None:
        return gain
    down_db = min(ride_lufs - _plain_ride_lufs(kit) - gain.db, 0.0)
    lufs, dbtp = gain.loudness_lufs + down_db, gain.peak_dbtp + down_db
    return replace(gain, db=gain.db + down_db, loudness_lufs=lufs, peak_dbtp=dbtp)


def _plain_ride_lufs(kit: DrumKit) -> float:
    return float(loudness_by_velocity(kit, INSTRUMENTS["ride"].key)[RIDE_VELOCITY])
