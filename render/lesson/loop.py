"""A hard bar, slow, over and over: a file that repeats without a seam, and one that is counted in."""

from dataclasses import replace
from pathlib import Path

from grooves.checks import read_pace
from grooves.errors import LessonError, at, nearest
from grooves.lesson import SLOWEST_BPM, Lesson, bar_indexes, names_here, pace_bpm
from grooves.passages import CLICKS, Track
from render.lesson.load import load_lesson
from render.lesson.options import LoopOptions, MadeFile, Progress, RenderOptions, Report, half
from render.lesson.plan import FULL, Plan, checked, lay_out, with_files
from render.lesson.session import (
    PerformedTrack,
    Session,
    describe_gain,
    open_session,
    perform_track,
    perform_tracks,
    sounds_of,
    write_midi,
    write_sounds,
)
from render.lesson.size import check_sizes
from render.sound.balance import out_of_reach
from render.sound.gain import Gain, gain_for
from render.sound.tracks import side_by_side


def render_loop(path: Path, loop: LoopOptions, options: RenderOptions, progress: Progress = lambda _: None) -> Report:
    """Render a loop: `render_loop(Path("first.toml"), LoopOptions("6"), RenderOptions(Path("out"))).files`.

    Raises LessonError.
    """
    plan = plan_loop(path, loop, options)
    with open_session(plan) as session:
        both = perform_tracks(session)
        files, said = [write_midi(session, one) for one in both], []
        if options.audio:
            sounds, gain = _write_sounds(session, both, progress)
            files = [midi + sound for midi, sound in zip(files, sounds, strict=True)]
            said.append(describe_gain(gain))
    reach = out_of_reach(both[1].performance, session.balance)
    made = tuple(one for pair in files for one in pair)
    return Report(path, plan.lesson.title, made, (*plan.notes, *reach, *said))


def plan_loop(path: Path, loop: LoopOptions, options: RenderOptions) -> Plan:
    """Plan the two files of a loop, the one without a seam first; raises LessonError."""
    loaded = load_lesson(path)
    lesson = loaded.lesson
    with at(str(path)):
        seamless = loop_track(lesson, loop)
    counted = replace(seamless, name=f"{seamless.name} counted in", count_in=1, goes_round=False)
    check_sizes(path, lesson, [seamless, counted, FULL] if options.audio else [seamless, counted])
    tracks = [with_files(lay_out(track, lesson), path, lesson, options) for track in (seamless, counted)]
    return checked(Plan(path, loaded, options, tuple(tracks), lay_out(FULL, lesson)))


def loop_track(lesson: Lesson, loop: LoopOptions) -> Track:
    """The track of a loop: `loop_track(lesson, LoopOptions("6", "60%"))`; raises LessonError.

    No tempo is 60 % of the lesson's, or the slowest that there is.
    """
    if not 1 <= loop.times <= 1000:
        raise LessonError(f"--times: {loop.times} is out of range; write 1 to 1000")
    if loop.click not in CLICKS:
        raise LessonError(f"--click: '{loop.click}' is not a click; {nearest(loop.click, CLICKS)}")
    with at("--bars"):
        chosen = bar_indexes(loop.bars, lesson.score)
    with at("--tempo"):
        slow_bpm = max(0.6 * lesson.score.tempo_bpm, SLOWEST_BPM)
        tempo_bpm = pace_bpm(read_pace(loop.tempo), lesson.score.tempo_bpm) if loop.tempo else slow_bpm
    with at("--without"):
        out = names_here(loop.without, lesson.score)
    track = Track(f"loop bar {loop.bars}", without=out, bars=chosen, tempo_bpm=tempo_bpm, times=loop.times)
    return replace(track, count_in=0, click=loop.click, goes_round=True)


def _write_sounds(
    session: Session, both: list[PerformedTrack], progress: Progress
) -> tuple[list[list[MadeFile]], Gain]:
    """The sound files of each of the two, at the gain that the louder of them allows."""
    plan, kit = session.plan, session.kit
    full = perform_track(plan.lesson, plan.full, session.balance).rendition()
    sounds = [sounds_of([one]) for one in both]
    mixed = [
        side_by_side([full, *(one.rendition(file.part) for one, file in own)], kit, wrap)
        for own, wrap in zip(sounds, (True, False), strict=True)
    ]
    gain = min((gain_for(tracks, plan.options.processes) for tracks in mixed), key=lambda one: one.db)
    halves = [half(progress, number) for number in (0, 1)]
    work = zip(sounds, mixed, halves, strict=True)
    return [write_sounds(session, own, tracks, gain, half) for own, tracks, half in work], gain
