"""What a lesson will make, worked out once, before anything is performed or written.

load → plan → perform → write: `render`, `loop` and `balance` all go this way. A plan knows every track's passages and
length, every file that will come of it, and every file that must not be written over.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from grooves.errors import LessonError, nearest
from grooves.file_names import slug
from grooves.kit import BAND, HELPERS, PARTS
from grooves.lesson import Lesson
from grooves.passages import Passage, Track, heard, plays, track_passages
from grooves.score import Score
from render.files.write import check_reads
from render.lesson.load import Loaded, load_lesson
from render.lesson.options import RenderOptions
from render.lesson.size import check_sizes, length_seconds, long_note

FULL = Track("full")
DOCUMENTS = {"chart": "-chart.pdf", "musicxml": ".musicxml", "page": ".html"}  # kind: how the file's name ends
_WAV_BYTES = 2**32 - 20 * 4 * 48000  # room for the header and for twenty seconds that ring on


@dataclass(frozen=True)
class PlannedFile:
    """One file to come: `PlannedFile(Path("out/a-full.mid"), "midi", "a.toml: track 'full'")`."""

    path: Path
    kind: str  # midi, audio, stem, chart, musicxml, page
    whose: str  # as a message names it
    part: str = ""  # of a stem


@dataclass(frozen=True)
class PlannedTrack:
    """A track laid out: its passages, how long they last without what rings on, its files.

    One without files is performed all the same where its sound helps to set the gain.
    """

    track: Track
    passages: tuple[Passage, ...]
    seconds: float
    files: tuple[PlannedFile, ...] = ()


@dataclass(frozen=True)
class Plan:
    """All that a lesson will make: `plan_lesson(path, options).files[0].path`."""

    path: Path  # of the lesson file
    loaded: Loaded
    options: RenderOptions
    tracks: tuple[PlannedTrack, ...]
    full: PlannedTrack  # whose loudness sets the gain
    documents: tuple[PlannedFile, ...] = ()

    @property
    def lesson(self) -> Lesson:
        """The lesson that is planned."""
        return self.loaded.lesson

    @property
    def files(self) -> tuple[PlannedFile, ...]:
        """Every file to come, the tracks' first."""
        return (*(file for track in self.tracks for file in track.files), *self.documents)

    @property
    def notes(self) -> tuple[str, ...]:
        """What was noticed so far: about the line as read, about tracks that last for hours."""
        return (*self.loaded.notes, *long_note([(one.track.name, one.seconds) for one in self.tracks if one.files]))


def plan_lesson(path: Path, options: RenderOptions) -> Plan:
    """Plan what `render` makes of a lesson: `plan_lesson(Path("first.toml"), RenderOptions(Path("out"))).files`.

    Raises LessonError for a lesson that cannot be read, for tracks that are too long, and for files that would be
    written over each other or over what the lesson is read from.
    """
    loaded = load_lesson(path)
    lesson = loaded.lesson
    chosen = choose_tracks(lesson.tracks, options.tracks)
    needed = lesson.tracks if options.audio else chosen  # all of them are heard for the gain
    check_sizes(path, lesson, [*needed, FULL] if options.audio else needed)
    tracks = [lay_out(track, lesson) for track in needed]
    written = [with_files(one, path, lesson, options) if one.track in chosen else one for one in tracks]
    full = lay_out(FULL, lesson)
    return checked(Plan(path, loaded, options, tuple(written), full, tuple(_documents(path, options))))


def checked(plan: Plan) -> Plan:
    """The same plan, or LessonError where its files cannot be made as planned."""
    check_apart([plan])
    check_reads([file.path for file in plan.files], plan.loaded.reads)
    _check_wav_lengths(plan)
    return plan


def choose_tracks(tracks: Sequence[Track], names: Sequence[str]) -> list[Track]:
    """The tracks of those names, each once, or all: raises LessonError with the nearest name."""
    by_name = {name: track for track in tracks for name in (slug(track.name), track.name)}
    for name in names:
        if name not in by_name:
            raise LessonError(f"--track: there is no track '{name}'; {nearest(name, [track.name for track in tracks])}")
    asked = [by_name[name] for name in names] or list(tracks)
    return [track for place, track in enumerate(asked) if track not in asked[:place]]


def lay_out(track: Track, lesson: Lesson, passages: Sequence[Passage] = ()) -> PlannedTrack:
    """A track with its passages, its own unless others are given: `lay_out(lesson.tracks[0], lesson).seconds`."""
    laid = tuple(passages) or track_passages(track, lesson.score, lesson.choruses, lesson.count_in)
    return PlannedTrack(track, laid, length_seconds(lesson.score, laid))


def with_files(one: PlannedTrack, path: Path, lesson: Lesson, options: RenderOptions) -> PlannedTrack:
    """A track with the files that are to be made of it: MIDI, and its sound and stems where they are wished for."""
    return replace(one, files=tuple(_track_files(one, path, lesson.score, options)))


def track_file(folder: Path, stem: str, track: Track, form: str, part: str = "") -> Path:
    """A track's file, or that of one part of it: `track_file(out, "a", Track("full"), "wav").name` is "a-full.wav"."""
    return folder / f"{stem}-{slug(track.name)}{f'-stem-{slug(part)}' if part else ''}.{form}"


def _track_files(one: PlannedTrack, path: Path, score: Score, options: RenderOptions) -> Iterator[PlannedFile]:
    def named(form: str, part: str = "") -> Path:
        return track_file(options.folder, path.stem, one.track, form, part)

    whose = f"{path}: track '{one.track.name}'"
    yield PlannedFile(named("mid"), "midi", whose)
    if not options.audio:
        return
    yield PlannedFile(named(options.format), "audio", whose)
    for part in sounding_parts(score, one.passages) if options.stems else ():
        yield PlannedFile(named(options.format, part), "stem", f"{whose}, its stem {part}", part)


def _documents(path: Path, options: RenderOptions) -> Iterator[PlannedFile]:
    for kind, ending in DOCUMENTS.items() if options.paper else ():
        yield PlannedFile(options.folder / f"{path.stem}{ending}", kind, str(path))


def sounding_parts(score: Score, passages: Sequence[Passage]) -> tuple[str, ...]:
    """The parts that will be heard, count-in and click last: those that stems are made of."""
    parts = set()
    for passage in passages:
        bars = [score.bars[index] for index in set(passage.bars)]
        strokes = [stroke for bar in bars for stroke in (bar.groove_alone if passage.groove_alone else bar.strokes)]
        parts |= {stroke.part for stroke in strokes if plays(stroke, passage)}
        reads = any(stroke.role == "line" for stroke in strokes)
        parts |= {part for part in _players(score, reads) if bars and heard({part}, passage)}
        parts |= {"count-in"} if passage.count_in else set()
        parts |= {"click"} if bars and passage.click != "off" and not passage.silent else set()
    return tuple(part for part in (*PARTS, *BAND, *HELPERS) if part in parts)


def _players(score: Score, reads: bool) -> tuple[str, ...]:
    """Those of the band that play, some of them only where the line is read."""
    band = score.band
    return tuple(part for part in band.parts if reads or part not in band.readers) if band else ()


def check_apart(plans: Sequence[Plan]) -> None:
    """Raise LessonError where two files of plans would be one, or one lie over what another lesson is read from."""
    first: dict[Path, str] = {}
    for file in (file for plan in plans for file in plan.files):
        if file.path in first:
            raise LessonError(
                f"{first[file.path]} and {file.whose} would both be written to {file.path}; rename one of them"
            )
        first[file.path] = file.whose
    if len(plans) > 1:
        check_reads(list(first), [read for plan in plans for read in plan.loaded.reads])


def _check_wav_lengths(plan: Plan) -> None:
    """A WAV file counts its bytes in 32 bits; raises LessonError for a track that would not fit."""
    most = _WAV_BYTES / 4 / plan.options.rate / 3600
    for one in plan.tracks:
        if plan.options.format == "wav" and any(file.kind == "audio" for file in one.files):
            hours = one.seconds / 3600
            if hours > most:
                raise LessonError(
                    f"{plan.path}: the track '{one.track.name}' lasts {hours:.1f} hours; "
                    f"a WAV file holds {most:.1f}: ask for fewer choruses, or for --format flac"
                )
