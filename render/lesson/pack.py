"""A lesson's files: every track as MIDI and sound, with one gain, and what was made of it.

`render_lesson` is the whole way from a lesson file to files; it can run in a process of its own.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from grooves.checks import read_pace
from grooves.errors import LessonError, at, nearest
from grooves.kit import PARTS
from grooves.lesson import SLOWEST_BPM, Lesson, bar_indexes, names_here, pace_bpm
from grooves.passages import Track, never_in_turn, never_reads, slug, track_passages
from grooves.performance import Performance, perform
from render.files.write import check_targets, make_folder, whole, write_bytes
from render.lesson.load import Loaded, load_lesson
from render.lesson.options import MadeFile, Progress, RenderOptions, Report
from render.lesson.plan import check_apart, check_keeps, length_seconds, planned_files, track_file
from render.sound.audio import write_tracks
from render.sound.balance import Balance, calibrate, out_of_reach, plain_balance, velocities
from render.sound.events import Take
from render.sound.gain import Gain, gain_for
from render.sound.midi import midi_bytes
from render.sound.tracks import Tracks, side_by_side
from render.soundfont.samples import DrumKit
from render.soundfont.soundfont import kit_for

_WAV_BYTES = 2**32 - 20 * 4 * 48000  # room for the header and for twenty seconds that ring on


@dataclass(frozen=True)
class Sounding:
    """A track ready for its files."""

    track: Track
    performance: Performance
    velocities: tuple[int, ...]


def sound_track(lesson: Lesson, track: Track, balance: Balance) -> Sounding:
    """Perform a track at its velocities: `sound_track(lesson, lesson.tracks[0], balance).performance.hits`."""
    passages = track_passages(track, lesson.score, lesson.choruses, lesson.count_in)
    performance = perform(lesson.score, passages, lesson.feel, lesson.balance_lu)
    return Sounding(track, performance, velocities(performance, balance))


def lesson_plan(path: Path, loaded: Loaded, options: RenderOptions) -> list[tuple[Path, str]]:
    """Every file that a lesson will make, with whose it is: `lesson_plan(path, load_lesson(path), options)`.

    Raises LessonError where one would be written over the file that the line is read from.
    """
    chosen = choose_tracks(loaded.lesson.tracks, options.tracks)
    planned = list(planned_files(path, loaded.lesson, chosen, options))
    check_keeps(path, loaded.tables, (file for file, _ in planned))
    return planned


def render_lesson(path: Path, options: RenderOptions, progress: Progress = lambda _: None) -> Report:
    """Render a lesson file: `render_lesson(Path("first.toml"), RenderOptions(Path("out"))).files`."""
    loaded = load_lesson(path)
    lesson, chosen = loaded.lesson, choose_tracks(loaded.lesson.tracks, options.tracks)
    planned = lesson_plan(path, loaded, options)
    check_apart(planned)
    with kit_for(path, lesson, options.soundfont, options.rate, options.use_cache) as kit:
        if options.audio and options.format == "wav":
            _check_lengths(path, lesson, chosen, options.rate)
        folder = make_folder(options.folder)
        check_targets([target for target, _ in planned])
        balance = plain_balance() if options.plain_velocities else calibrate(kit)
        needed = lesson.tracks if options.audio else chosen  # all of them are heard for the gain
        tracks = [sound_track(lesson, track, balance) for track in needed]
        wanted = [one for one in tracks if one.track in chosen]
        program = None if options.plain_velocities else kit.preset.program
        files = [write_midi(folder, path.stem, one, lesson, program) for one in wanted]
        said = [*loaded.notes, *_remarks(wanted, lesson, balance)]
        if options.paper:
            files += _write_paper(folder, path.stem, lesson, kit, balance)
        if options.audio:
            made, gain = _write_sounds(path.stem, tracks, wanted, lesson, kit, balance, options, progress)
            files += made
            said.append(describe_gain(gain))
    return Report(path, lesson.title, tuple(files), tuple(said))


def _remarks(tracks: Sequence[Sounding], lesson: Lesson, balance: Balance) -> list[str]:
    """What a teacher should know about tracks, each thing once."""
    asked = [(one.track, lesson.score, lesson.choruses) for one in tracks]
    turns = [note for one in asked for note in (never_in_turn(*one), never_reads(*one))]
    levels = [note for one in tracks for note in out_of_reach(one.performance, balance)]
    return [note for note in dict.fromkeys([*turns, *levels]) if note]


def _write_sounds(
    stem: str,
    tracks: Sequence[Sounding],
    wanted: Sequence[Sounding],
    lesson: Lesson,
    kit: DrumKit,
    balance: Balance,
    options: RenderOptions,
    progress: Progress,
) -> tuple[list[MadeFile], Gain]:
    """The sound files of the wanted tracks, at the gain that all tracks of the lesson have."""
    same = (one for one in tracks if replace(one.track, name="full") == Track("full"))
    full = next(same, None) or sound_track(lesson, Track("full"), balance)
    sounds = sound_files(stem, wanted, lesson, options)
    takes = [_take(full), *(_take(one) for one in tracks), *(take for take, _ in sounds)]
    together = side_by_side(takes, kit)
    gain = gain_for(together, options.processes)
    chosen = together.only(range(len(takes) - len(sounds), len(takes)))
    return write_sounds(sounds, chosen, gain, options, progress), gain


def _check_lengths(path: Path, lesson: Lesson, tracks: Sequence[Track], rate: int) -> None:
    """A WAV file counts its bytes in 32 bits; raises LessonError for a track that would not fit."""
    most = _WAV_BYTES / 4 / rate / 3600
    for track in tracks:
        passages = track_passages(track, lesson.score, lesson.choruses, lesson.count_in)
        hours = length_seconds(lesson.score, passages) / 3600
        if hours > most:
            raise LessonError(
                f"{path}: the track '{track.name}' lasts {hours:.1f} hours; "
                f"a WAV file holds {most:.1f}: ask for fewer choruses, or for --format flac"
            )


def render_loop(
    path: Path,
    bars: str,
    tempo: str | None,
    times: int,
    without: Sequence[str],
    options: RenderOptions,
    progress: Progress,
) -> Report:
    """A hard bar, slow, over and over: a file without a seam and one with a count-in; raises LessonError."""
    loaded = load_lesson(path)
    lesson = loaded.lesson
    with at(str(path)):
        once = loop_track(lesson, bars, tempo, times, without)
    counted_in = replace(once, name=f"{once.name} counted in", count_in=1)
    with kit_for(path, lesson, options.soundfont, options.rate, options.use_cache) as kit:
        if options.format == "wav":
            _check_lengths(path, lesson, [counted_in], options.rate)
        balance = calibrate(kit)
        seamless, counted = (sound_track(lesson, track, balance) for track in (once, counted_in))
        full = _take(sound_track(lesson, Track("full"), balance))
        loop, track = side_by_side([full, _take(seamless)], kit, wrap=True), side_by_side([full, _take(counted)], kit)
        both = [gain_for(mixed, options.processes) for mixed in (loop, track)]
        gain = min(both, key=lambda one: one.db)  # one for both files
        files = []
        for number, (one, mixed) in enumerate(((seamless, loop), (counted, track))):
            files.append(write_midi(make_folder(options.folder), path.stem, one, lesson, kit.preset.program))
            sounds = sound_files(path.stem, [one], lesson, options)
            files += write_sounds(sounds, mixed.only([1]), gain, options, _half(progress, number))
    notes = (*loaded.notes, *out_of_reach(counted.performance, balance), describe_gain(gain))
    return Report(path, lesson.title, tuple(files), notes)


def _half(progress: Progress, number: int) -> Progress:
    """The progress of the first or the second of two files."""
    return lambda share: progress((number + share) / 2)


def loop_track(lesson: Lesson, bars: str, tempo: str | None, times: int, without: Sequence[str]) -> Track:
    """The track of a loop: `loop_track(lesson, "6", "60%", 8, ["snare"])`; raises LessonError.

    No tempo is 60 % of the lesson's, or the slowest that there is.
    """
    if not 1 <= times <= 1000:
        raise LessonError(f"--times: {times} is out of range; write 1 to 1000")
    with at("--bars"):
        chosen = bar_indexes(bars, lesson.score)
    with at("--tempo"):
        slow_bpm = max(0.6 * lesson.score.tempo_bpm, SLOWEST_BPM)
        tempo_bpm = pace_bpm(read_pace(tempo), lesson.score.tempo_bpm) if tempo else slow_bpm
    with at("--without"):
        out = names_here(without, lesson.score)
    return Track(f"loop bar {bars}", without=out, bars=chosen, tempo_bpm=tempo_bpm, times=times, count_in=0)


def choose_tracks(tracks: Sequence[Track], names: Sequence[str]) -> list[Track]:
    """The tracks of those names, each once, or all: raises LessonError with the nearest name."""
    by_name = {name: track for track in tracks for name in (slug(track.name), track.name)}
    for name in names:
        if name not in by_name:
            raise LessonError(f"--track: there is no track '{name}'; {nearest(name, [track.name for track in tracks])}")
    asked = [by_name[name] for name in names] or list(tracks)
    return [track for place, track in enumerate(asked) if track not in asked[:place]]


def write_midi(folder: Path, stem: str, one: Sounding, lesson: Lesson, program: int | None) -> MadeFile:
    """Write a track's MIDI file: `write_midi(folder, path.stem, one, lesson, 32).path`."""
    target = track_file(folder, stem, one.track, "mid")
    write_bytes(target, midi_bytes(one.performance, one.velocities, program))
    return _made(one, "midi", target, lesson)


def _write_paper(folder: Path, stem: str, lesson: Lesson, kit: DrumKit, balance: Balance) -> list[MadeFile]:
    from render.lesson.documents import chart_file, page_file

    return [
        MadeFile("", "chart", chart_file(lesson, folder / f"{stem}-chart.pdf")),
        MadeFile("", "musicxml", chart_file(lesson, folder / f"{stem}.musicxml")),
        MadeFile("", "page", page_file(lesson, folder / f"{stem}.html", kit, balance)),
    ]


def _take(one: Sounding, only: frozenset[str] | None = None) -> Take:
    return Take(one.performance, one.velocities, only)


def describe_gain(gain: Gain) -> str:
    """Say how loud the lesson came out and what set it: "…: everyone together -16.0 LUFS, true peak -3.2 dBTP"."""
    why = "; its peaks allow no more (-16 LUFS is the aim)" if gain.limited_by_peak else ""
    level = f"everyone together {gain.loudness_lufs:.1f} LUFS, true peak {gain.peak_dbtp:.1f} dBTP"
    return f"all files at one level: {level}{why}"


def sound_files(
    stem: str, tracks: Sequence[Sounding], lesson: Lesson, options: RenderOptions
) -> list[tuple[Take, MadeFile]]:
    """What each sound file is to play and be called: a track's own, then with `options.stems` those of its parts."""
    files = []
    for one in tracks:
        own = track_file(options.folder, stem, one.track, options.format)
        files.append((_take(one), _made(one, "audio", own, lesson)))
        for part in one.performance.parts if options.stems else ():
            target = track_file(options.folder, stem, one.track, options.format, part)
            made = MadeFile(one.track.name, "stem", target, one.performance.length_seconds, (part,))
            files.append((_take(one, frozenset({part})), made))
    return files


def write_sounds(
    sounds: Sequence[tuple[Take, MadeFile]],
    tracks: Tracks,
    gain: Gain,
    options: RenderOptions,
    progress: Progress = lambda _: None,
) -> list[MadeFile]:
    """Write sound files side by side, so that what they share is mixed once; `tracks` are their takes."""
    made = [
        replace(one, seconds=frames / tracks.kit.rate) for (_, one), frames in zip(sounds, tracks.lengths, strict=True)
    ]
    with whole([one.path for one in made]) as beside:
        write_tracks(beside, tracks, gain, options.format, options.processes, progress)
    return made


def _made(one: Sounding, kind: str, path: Path, lesson: Lesson) -> MadeFile:
    plays = one.performance.parts
    alone = one.track.groove_alone
    parts = [part for part in PARTS if lesson.score.groove.part(part)] if alone else lesson.score.parts
    left_out = (*(part for part in parts if part not in plays), *(("the line",) if alone else ()))
    return MadeFile(one.track.name, kind, path, one.performance.length_seconds, plays, left_out)
