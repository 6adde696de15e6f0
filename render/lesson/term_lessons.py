"""The lessons of a term as texts of lesson files: a week's lines, the bars that come back, a teacher's own.

Each is a function of the term's own words and of the files that it names; nothing is written here.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

from grooves.band.band import read_band
from grooves.errors import at
from grooves.file_names import slug
from grooves.lesson import parse_lesson
from grooves.line import WrittenLine
from grooves.rhythm import Bar, Meter, values_text
from grooves.teaching.term import Group, ReviewBar, Week, plan_group
from grooves.teaching.term_file import read_term
from render.files.there import is_file
from render.lesson.groove_files import find_groove, read_text, shipped_grooves
from render.lesson.lesson_text import line_tables, named_from
from render.lesson.load import load_lesson
from render.lesson.term_record import hash_of, hash_of_file

REVIEW_TIMES = 2  # each bar that comes back is played so often in a row; ours
_BARS_A_ROW = 4


@dataclass(frozen=True)
class TermLesson:
    """One lesson of a term: its file below the term's folder, its words, and what an index calls it."""

    path: str  # "monday-first-year/week-05-1.toml"
    text: str
    week: int
    what: str  # "line 1", "bars that come back", "your own lesson"

    @property
    def page(self) -> str:
        """Its page below the term's folder."""
        return self.path.removesuffix(".toml") + ".html"


@dataclass(frozen=True)
class TermGroup:
    """A group's term: `TermGroup.folder` is where it lies, `notes` are the teacher's by week."""

    name: str
    folder: str
    lessons: tuple[TermLesson, ...]
    notes: Mapping[int, str]


@dataclass(frozen=True)
class _Place:
    """What every lesson of a group is written with."""

    term: str  # its title
    weeks: int
    group: Group
    file: Path  # of the term
    folder: Path  # where the group's lessons lie


@dataclass(frozen=True)
class GroupJob:
    """A group to be planned, by any worker: which of the term's it is, and the hash of all that its lessons say."""

    path: Path  # of the term
    out: Path
    number: int  # from 0
    folder: str
    name: str
    notes: Mapping[int, str]
    source: str

    def group(self, lessons: Sequence[TermLesson]) -> TermGroup:
        """The group with its lessons."""
        return TermGroup(self.name, self.folder, tuple(lessons), self.notes)


def group_jobs(path: Path, out: Path) -> tuple[str, list[GroupJob]]:
    """A term's title, and what `plan_lessons` is called with for each of its groups; raises LessonError."""
    with at(str(path)):
        title, weeks, groups = read_term(read_text(path))
        jobs = []
        for number, group in enumerate(groups):
            for name in group.grooves:
                with at(f"group '{group.name}', groove"):
                    find_groove(name, path.parent)
            notes = {week: own.note for week, own in sorted(group.weeks.items()) if own.note}
            folder = slug(group.name, "group")
            named = [path.parent / name for name in (*group.grooves, *(own.lesson for own in group.weeks.values()))]
            read = [hash_of_file(one) for one in named if is_file(one)]
            # A lesson names files by their way from it, so the way counts too.
            read += [named_from(out / folder, one.name, one.parent) for one in named if is_file(one)]
            # Not this program: students keep the lessons they have when a teacher takes a newer one in mid-term.
            source = hash_of(title, str(weeks), repr(group), *read)
            jobs.append(GroupJob(path, out, number, folder, group.name, notes, source))
    return title, jobs


def plan_lessons(job: GroupJob) -> tuple[GroupJob, tuple[TermLesson, ...]]:
    """The lessons of one group of a term, each read once to see that it is right; raises LessonError."""
    path = job.path
    with at(str(path)):
        title, weeks, groups = read_term(read_text(path))
        group = groups[job.number]
        with at(f"group '{group.name}'"):
            planned = plan_group(group, weeks, partial(_meter_of, path.parent), title)
        return job, lessons_of(job, title, group, planned)


def lessons_of(job: GroupJob, title: str, group: Group, planned: Sequence[Week]) -> tuple[TermLesson, ...]:
    """The lessons of a group's planned weeks, in their order; raises LessonError where one does not read as it should.

    `lessons_of(job, "Harbour Street, autumn", group, plan_group(group, 12, meter_of, seed))[0].path`.
    """
    place = _Place(title, len(planned), group, job.path, job.out / job.folder)
    return tuple(one for week in planned for one in _week(place, week))


def _meter_of(folder: Path, groove: str) -> Meter:
    return find_groove(groove, folder).meter


# --- a week -------------------------------------------------------------------------------------


def _week(place: _Place, week: Week) -> Iterator[TermLesson]:
    """A week's lessons: its lines, or the teacher's own in their place, then the bars that come back."""
    stem = f"{place.folder.name}/week-{week.number:02}"
    if week.own and week.own.lesson:
        text = _own(place, week.own.lesson, week.number)
        yield TermLesson(f"{stem}-own.toml", text, week.number, "your own lesson")
    else:
        for number in range(1, len(week.lines) + 1):
            what = f"line {number}" if len(week.lines) > 1 else "the line"
            yield TermLesson(f"{stem}-{number}.toml", _line(place, week, number, what), week.number, what)
    if week.review:
        yield TermLesson(f"{stem}-review.toml", _review(place, week), week.number, "bars that come back")


def _line(place: _Place, week: Week, number: int, what: str) -> str:
    line = week.lines[number - 1]
    comment = [
        f"{place.term}: {place.group.name}, week {week.number} of {place.weeks}, {what}.",
        f"Level {line.level}, seed {line.seed}; difficulty {line.difficulty:.2f}, the week's aim is {week.aim:.2f}.",
    ]
    title = f"{place.group.name}, week {week.number}" + (f", {what}" if len(week.lines) > 1 else "")
    return _checked(place, week, title, comment, {"values": line.bars, "played_on": week.readers[number - 1]})


def _review(place: _Place, week: Week) -> str:
    came = "; ".join(f"{number}: {_whence(bar)}" for number, bar in enumerate(week.review, 1))
    comment = [
        f"{place.term}: {place.group.name}, week {week.number} of {place.weeks}, bars that come back.",
        f"Bar {came}.",
    ]
    line = {"values": [bar.written for bar in week.review], "played_on": week.readers[0], "repeat_each": REVIEW_TIMES}
    return _checked(place, week, f"{place.group.name}, week {week.number}, bars that come back", comment, line)


def _whence(bar: ReviewBar) -> str:
    return f"week {bar.week}, line {bar.line}, bar {bar.bar}"


def _checked(place: _Place, week: Week, title: str, comment: Sequence[str], line: Mapping[str, Any]) -> str:
    """The text of a lesson that reads as it should; raises LessonError where what the term says does not fit."""
    groove = week.groove
    named = groove if groove in shipped_grooves() else named_from(place.folder, groove, place.file.parent)
    note = week.own.note if week.own else ""
    comment = [*comment, "It is yours to change: a lesson that you have edited is left as it is."]
    text = commented_lesson(title, week.tempo_bpm, named, line, comment, note)
    with at(f"group '{place.group.name}', week {week.number}"):
        parse_lesson(text, lambda _: find_groove(groove, place.file.parent), lambda *_: WrittenLine(()), read_band)
    return text


def commented_lesson(
    title: str, tempo_bpm: float, groove: str, line: Mapping[str, Any], comment: Sequence[str], note: str = ""
) -> str:
    """A lesson file as a teacher would write it: `commented_lesson("First", 90, "swing", {"values": bars}, [])`.

    `line` are the keys of `[line]`, its `values` as bars.
    """
    told = "".join(f"# {_one_line(one)}\n" for one in comment)
    above = [
        f"title    = {_quoted(title)}",
        f"tempo    = {tempo_bpm:<12g} # beats a minute",
        f"groove   = {_quoted(groove):<12} # `fourlimb grooves` lists them",
        *([f"note     = {_quoted(note)}"] if note else []),
        "choruses = 2            # times through the line in each track",
    ]
    keys = {key: value for key, value in line.items() if key != "values"}
    rest = [f"{key} = {value if isinstance(value, int) else _quoted(value)}" for key, value in keys.items()]
    return "\n".join([told + "\n".join(above), "", "[line]", values_rows(line["values"]), *rest, ""])


def values_rows(bars: Sequence[Bar]) -> str:
    """A line as `values` on rows of four bars: `values_rows(lines(3, 8, 1))`."""
    written = values_text(bars).split(" | ")  # only now: a note may be tied over the end of a row
    rows = [" | ".join(written[begin : begin + _BARS_A_ROW]) for begin in range(0, len(written), _BARS_A_ROW)]
    return 'values = """\n' + " |\n".join(rows) + '\n"""'


def _one_line(text: str) -> str:
    """A text that may stand in a comment, whatever a title says."""
    return "".join(sign if sign.isprintable() else " " for sign in text)


def _quoted(text: str) -> str:
    import tomlkit

    return tomlkit.item(text).as_string()


# --- the teacher's own --------------------------------------------------------------------------


def _own(place: _Place, name: str, week: int) -> str:
    """A copy of the teacher's own lesson, comments and all, that finds its files from where it will lie."""
    import tomlkit

    path = place.file.parent / name
    with at(f"group '{place.group.name}', week {week}"):
        load_lesson(path)
        text = tomlkit.parse(read_text(path))
        tables: Any = text
        for key in ("groove", "soundfont"):
            if key in tables and tables[key] not in shipped_grooves():
                tables[key] = named_from(place.folder, str(tables[key]), path.parent)
        for line in line_tables(tables):
            if "file" in line:
                line["file"] = named_from(place.folder, str(line["file"]), path.parent)
        return tomlkit.dumps(text)
