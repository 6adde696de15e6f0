"""What files lessons will make and how long their tracks last, known before anything is performed or written."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

from grooves.errors import LessonError
from grooves.lesson import Lesson
from grooves.passages import Passage, Track, plays, slug, track_passages
from grooves.score import Score
from render.lesson.options import RenderOptions


def track_file(folder: Path, stem: str, track: Track, form: str, part: str = "") -> Path:
    """A track's file, or that of one part of it: `track_file(out, "a", Track("full"), "wav").name` is "a-full.wav"."""
    return folder / f"{stem}-{slug(track.name)}{f'-stem-{slug(part)}' if part else ''}.{form}"


def length_seconds(score: Score, passages: Sequence[Passage]) -> float:
    """How long passages last, without the tails of the sounds: a bar of 4/4 at 120 beats a minute lasts 2."""
    length = score.meter.length / score.groove.beat
    bars = ((passage.count_in or len(passage.bars) * passage.times) / passage.tempo_bpm for passage in passages)
    return 60 * float(length) * sum(bars)


def sounding_parts(score: Score, passages: Sequence[Passage]) -> set[str]:
    """The parts that will be heard, count-in and click among them: those that stems are made of."""
    parts = set()
    for passage in passages:
        bars = [score.bars[index] for index in set(passage.bars)]
        strokes = [stroke for bar in bars for stroke in (bar.groove_alone if passage.groove_alone else bar.strokes)]
        parts |= {stroke.part for stroke in strokes if plays(stroke, passage)}
        parts |= {"count-in"} if passage.count_in else set()
        parts |= {"click"} if bars and passage.click != "off" and not passage.silent else set()
    return parts


def planned_files(
    path: Path, lesson: Lesson, tracks: Sequence[Track], options: RenderOptions
) -> Iterator[tuple[Path, str]]:
    """Every file that the tracks of a lesson will make, with whose it is: (out/a-full.wav, "a.toml: track 'full'")."""
    folder, stem = options.folder, path.stem
    if options.paper:
        yield from ((folder / f"{stem}{ending}", str(path)) for ending in ("-chart.pdf", ".musicxml", ".html"))
    for track in tracks:
        whose = f"{path}: track '{track.name}'"
        yield track_file(folder, stem, track, "mid"), whose
        if options.audio:
            yield track_file(folder, stem, track, options.format), whose
        if options.audio and options.stems:
            passages = track_passages(track, lesson.score, lesson.choruses, lesson.count_in)
            for part in sorted(sounding_parts(lesson.score, passages)):
                yield track_file(folder, stem, track, options.format, part), f"{whose}, its stem {part}"


def check_apart(files: Sequence[tuple[Path, str]]) -> None:
    """Raise LessonError where two of the files would be one, with whose they are: `check_apart([(path, "a.toml")])`."""
    first: dict[Path, str] = {}
    for path, whose in files:
        if path in first:
            raise LessonError(f"{first[path]} and {whose} would both be written to {path}; rename one of them")
        first[path] = whose


def check_keeps(path: Path, tables: Mapping[str, Any], files: Iterable[Path]) -> None:
    """Raise LessonError where a file would be written over the one that the lesson's line is read from.

    Example: `check_keeps(path, load_lesson(path).tables, [Path("line.musicxml")])`.
    """
    name = tables.get("line", {}).get("file")
    source = path.parent / name if name else path
    for file in files:
        if file.exists() and source.exists() and file.samefile(source):
            raise LessonError(f"{file}: the line of {path} is read from this file; write to another folder or name")
