"""What came back of a term: practice logs and checked takes, each tied to its lesson by the hash of its notes.

No names are asked for. A file counts for the word that it carries, else for its folder below the one that was given,
else for its own name. A file that cannot be read, or belongs to no lesson as it stands now, is told of; the others
count.
"""

import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from grooves.errors import LessonError, visible
from grooves.file_names import slug
from grooves.lesson import Lesson
from render.files.there import files_below
from render.lesson.groove_files import LARGEST_FILE_BYTES, read_text
from render.lesson.term_record import hash_of
from render.page.practice_log import lesson_hash, read_log

CHECK_FORMAT, CHECK_VERSION = "fourlimb-check", 1
MOST_FILES = 5000
MOST_STOPPED = 3  # bars of a week that are named
_FAULTS = ("missed", "unsure", "extra")  # of a bar in a checked take: none of them where it is clean
_WORD = 40  # characters of a student's word


@dataclass(frozen=True)
class TermBars:
    """One lesson that files may come back of: `number` is its week."""

    group: str
    number: int
    path: str  # below the term's folder
    what: str
    lesson: Lesson

    @property
    def bars(self) -> tuple[int, ...]:
        """The numbers of its bars."""
        return tuple(dict.fromkeys(bar.number for bar in self.lesson.score.bars))


@dataclass(frozen=True)
class Came:
    """What came back of one lesson from one student: minutes by day, the bars that are clean at the asked tempo."""

    who: str
    path: str
    minutes: Mapping[str, float]
    clean: frozenset[int]


@dataclass(frozen=True)
class Cell:
    """One student's week: `share` of the bars that came back are clean."""

    minutes: float
    share: float
    files: int


@dataclass(frozen=True)
class BarHeat:
    """One bar of a week: of so many students, so many have it clean."""

    lesson: str
    bar: int
    clean: int
    of: int


@dataclass(frozen=True)
class WeekResults:
    """One week of a group: every student's part, its bars, and those that stopped most."""

    week: int
    students: Mapping[str, Cell]
    bars: tuple[BarHeat, ...]
    stopped: tuple[BarHeat, ...]


@dataclass(frozen=True)
class Results:
    """All that came back: weeks by group, files that are not counted with the reason, who came."""

    groups: Mapping[str, tuple[WeekResults, ...]]
    refused: tuple[str, ...]
    came: tuple[Came, ...] = field(repr=False)


def read_results(folder: Path, lessons: Sequence[TermBars], once: Mapping[str, str]) -> Results:
    """Read all that came back: `read_results(Path("back"), lessons, record.notes).groups["Monday"][0].students`.

    `once` names lessons by the hashes that they have or had. Raises LessonError where the folder has no such file.
    """
    known = {lesson_hash(one.lesson): one for one in lessons}
    found: dict[tuple[str, str], Came] = {}
    refused = []
    for path in _files(folder):
        try:
            one = _read(folder, path, known, once)
        except LessonError as error:
            refused.append(f"{path}: {error}")
            continue
        found[one.who, one.path] = _both(found.get((one.who, one.path)), one)
    came = tuple(found.values())
    names = dict.fromkeys(one.group for one in lessons)
    return Results({name: tuple(_weeks(name, lessons, came)) for name in names}, tuple(refused), came)


def _files(folder: Path) -> list[Path]:
    if not folder.is_dir():
        raise LessonError(f"--results: {folder} is not a folder; name the folder with what came back")
    files = sorted(path for path in files_below(folder, ".json") if path.is_file())
    if not files:
        raise LessonError(f"--results: in {folder} there is no practice log and no checked take (.json)")
    if len(files) > MOST_FILES:
        raise LessonError(f"--results: {folder} has {len(files)} files; a term's results are at most {MOST_FILES}")
    return files


def _both(old: Came | None, new: Came) -> Came:
    """Two files of one student and lesson: of a day the larger minutes, the clean bars of both."""
    if old is None:
        return new
    days = {day: max(old.minutes.get(day, 0.0), new.minutes.get(day, 0.0)) for day in {*old.minutes, *new.minutes}}
    return Came(new.who, new.path, days, old.clean | new.clean)


# --- one file -----------------------------------------------------------------------------------


def _read(folder: Path, path: Path, known: Mapping[str, TermBars], once: Mapping[str, str]) -> Came:
    if path.stat().st_size > LARGEST_FILE_BYTES:
        raise LessonError("this is larger than 2 MB; what came back of one lesson is a page of text")
    text = read_text(path)
    try:
        table = json.loads(text)
    except (ValueError, RecursionError):
        raise LessonError("this is neither a practice log nor a checked take: it is not JSON") from None
    if not isinstance(table, dict):
        raise LessonError("this is neither a practice log nor a checked take")
    who = _who(folder, path, table.get("word"))
    if table.get("format") == CHECK_FORMAT:
        lesson = _lesson(_check_hash(table), known, once)
        return Came(who, lesson.path, {}, _clean_take(table, lesson))
    log = read_log(text)
    lesson = _lesson(log.lesson_hash, known, once)
    asked = lesson.lesson.score.tempo_bpm
    clean = {number for number in lesson.bars if max(log.bars.get(str(number), (0.0,)), default=0.0) >= asked}
    return Came(who, lesson.path, log.minutes, frozenset(clean))


def _who(folder: Path, path: Path, word: object) -> str:
    if isinstance(word, str) and word.strip():
        return visible(word.strip(), _WORD)
    inside = path.relative_to(folder).parts
    return visible(inside[0] if len(inside) > 1 else path.stem, _WORD)


def _lesson(found: str, known: Mapping[str, TermBars], once: Mapping[str, str]) -> TermBars:
    if found in known:
        return known[found]
    if found in once:
        raise LessonError(f"this came back of {once[found]} before that was changed; its bars are others now")
    raise LessonError("this belongs to no lesson of this term")


def _check_hash(table: Mapping[str, Any]) -> str:
    if table.get("version") != CHECK_VERSION:
        raise LessonError(f"this take is of version {table.get('version')!r}; version {CHECK_VERSION} can be read")
    lesson = table.get("lesson")
    if not isinstance(lesson, dict) or not isinstance(lesson.get("hash"), str):
        raise LessonError("this take does not say which lesson it belongs to")
    return str(lesson["hash"])


def _clean_take(table: Mapping[str, Any], lesson: TermBars) -> frozenset[int]:
    """The bars that were played without a fault, if at the asked tempo or faster."""
    tempo, bars = table.get("tempo_bpm"), table.get("bars")
    if isinstance(tempo, bool) or not isinstance(tempo, int | float) or not isinstance(bars, list):
        raise LessonError("this take does not say its tempo and its bars")
    if not bars:
        raise LessonError("nothing could be said of this take, so it has no bars to count")
    clean = set()
    for bar in bars:
        if not isinstance(bar, dict) or not all(_is_count(bar.get(key)) for key in ("bar", "written", "hit", *_FAULTS)):
            raise LessonError(f"bars: {visible(repr(bar), 60)} is not a bar of a checked take")
        lost = bar.get("lost_beats")
        faultless = not any(bar[key] for key in _FAULTS) and bar["hit"] == bar["written"] > 0
        if faultless and isinstance(lost, list) and not any(lost):
            clean.add(bar["bar"])
    return frozenset(clean & set(lesson.bars)) if tempo >= lesson.lesson.score.tempo_bpm else frozenset()


def _is_count(value: object) -> bool:
    return isinstance(value, int) and not isinstance(value, bool) and value >= 0


# --- weeks --------------------------------------------------------------------------------------


def _weeks(group: str, lessons: Sequence[TermBars], came: Sequence[Came]) -> Iterator[WeekResults]:
    """The weeks of a group, also those of which nothing came back."""
    own = [one for one in lessons if one.group == group]
    for week in dict.fromkeys(one.number for one in own):
        read = {one.path: one for one in own if one.number == week}
        back = [one for one in came if one.path in read]
        bars = tuple(heat for lesson in read.values() for heat in _heat(lesson, back))
        least = sorted((one for one in bars if one.clean < one.of), key=lambda one: (one.clean - one.of, one.clean))
        students = {who: _cell([one for one in back if one.who == who], read) for who in sorted({x.who for x in back})}
        yield WeekResults(week, students, bars, tuple(least[:MOST_STOPPED]))


def _heat(lesson: TermBars, back: Sequence[Came]) -> Iterator[BarHeat]:
    read = [one for one in back if one.path == lesson.path]
    for bar in lesson.bars:
        yield BarHeat(lesson.what, bar, sum(bar in one.clean for one in read), len(read))


def _cell(back: Sequence[Came], read: Mapping[str, TermBars]) -> Cell:
    bars = sum(len(read[one.path].bars) for one in back)
    minutes = sum(sum(one.minutes.values()) for one in back)
    return Cell(round(minutes, 1), sum(len(one.clean) for one in back) / bars, len(back))


def folder_of(who: str) -> str:
    """A student's word as a folder of its own: `folder_of("a7")` is "a7"; another spelling has a hash beside it."""
    plain = slug(who, "")
    return plain if plain == who else f"{plain or 'student'}-{hash_of(who)[:6]}"
