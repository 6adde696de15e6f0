"""A term's file, checked (pydantic at this door only): title, weeks, groups of students and what each week has.

One row for each key: what it takes, what it is for, an example.
"""

from typing import Annotated, Any

from pydantic import ValidationError

from grooves.checks import number, said_as, text, whole
from grooves.errors import LessonError, nearest, quoted
from grooves.file_names import slug
from grooves.keys import Key
from grooves.lesson_file import key_place
from grooves.lesson_tables import Table, keys_of
from grooves.teaching.levels import LEVELS
from grooves.teaching.term import Group, OwnLesson
from grooves.toml_text import read_toml

MOST_WEEKS, MOST_GROUPS, MOST_LINES = 52, 30, 8
_TOP_LEVEL = max(LEVELS)


# fmt: off
class WeekTable(Table):
    """`[[group.week]]`: what a teacher says of one week."""

    week: Annotated[int, whole(1, MOST_WEEKS, "a week"), Key("which week", "week = 5")]
    lesson: Annotated[str, text("a lesson file"), Key("a lesson of your own in that week's place", 'lesson = "own/street-beat.toml"')] = ""
    note: Annotated[str, text("a text"), Key("a word on page and handout", 'note = "bring brushes"')] = ""


class GroupTable(Table):
    """`[[group]]`: one group of students."""

    name: Annotated[str, text("a text"), Key("what the group is called", 'name = "Monday, first year"')]
    level: Annotated[Any, said_as("two levels"), Key("the level of the first week and of the last", "level = [1, 3]")]
    groove: Annotated[Any, said_as("a groove, or a list of them in turn"), Key("what the other limbs play", 'groove = ["swing", "swing", "jazz-waltz"]')] = "swing"
    tempo: Annotated[Any, said_as("two tempos"), Key("beats a minute in the first week and in the last", "tempo = [80, 110]")]
    bars: Annotated[int, whole(1, 64, "a number of bars", "bars"), Key("the length of each line", "bars = 8")] = 8
    lines: Annotated[int, whole(1, MOST_LINES, "a number of lines"), Key("new lines a week", "lines = 2")] = 1
    played_on: Annotated[Any, said_as("a drum, or a list of them in turn"), Key("who reads", 'played_on = ["snare", "bass drum"]')] = "snare"
    review: Annotated[int, whole(0, 8, "a number of bars", "bars"), Key("bars of each week that come back after one, two and four weeks", "review = 2")] = 0
    week: Annotated[list[WeekTable], Key("what you say of one week", "[[group.week]]\nweek = 5")] = []


class TermFile(Table):
    """The whole file."""

    title: Annotated[str, text("a text"), Key("what the term is called", 'title = "Harbour Street, autumn"')]
    weeks: Annotated[int, whole(1, MOST_WEEKS, "a number of weeks", "weeks"), Key("how many weeks", "weeks = 12")]
    group: Annotated[list[GroupTable], Key("a group of students", '[[group]]\nname = "Monday, first year"')]
# fmt: on


_TABLES: dict[str, type[Table]] = {"group": GroupTable, "week": WeekTable}
_PAIR = {"level": (1, _TOP_LEVEL, "a level"), "tempo": (30, 400, "a tempo")}


def read_term(text_of_file: str) -> tuple[str, int, tuple[Group, ...]]:
    """Read a term's text: `read_term(text)` is its title, its weeks and its groups; raises LessonError."""
    try:
        file = TermFile.model_validate(read_toml(text_of_file))
    except ValidationError as error:
        raise LessonError(_explain(error)) from None
    if not 1 <= len(file.group) <= MOST_GROUPS:
        raise LessonError(f"group: {len(file.group)} stand here; a term has 1 to {MOST_GROUPS}, each under [[group]]")
    groups = tuple(_group(number, table, file.weeks) for number, table in enumerate(file.group, 1))
    folders: dict[str, str] = {}
    for group in groups:
        other = folders.setdefault(slug(group.name), group.name)
        if other is not group.name:
            raise LessonError(f"group '{group.name}': group '{other}' would have the same folder; choose another name")
    return file.title, file.weeks, groups


def _group(number_of: int, table: GroupTable, weeks: int) -> Group:
    where = f"group {number_of} ({table.name})"
    first, last = _pair(table.level, "level", where)
    own: dict[int, OwnLesson] = {}
    for week in table.week:
        if week.week > weeks:
            raise LessonError(f"{where}, week: there is no week {week.week}; the last is {weeks}")
        if week.week in own:
            raise LessonError(f"{where}, week: week {week.week} stands here twice; keep one")
        own[week.week] = OwnLesson(week.week, week.lesson, week.note)
    return Group(
        table.name,
        (int(first), int(last)),
        _in_turn(table.groove, "groove", where),
        _pair(table.tempo, "tempo", where),
        table.bars,
        table.lines,
        _in_turn(table.played_on, "played_on", where),
        table.review,
        own,
    )


def _pair(value: object, key: str, where: str) -> tuple[float, float]:
    """Two numbers, or one that stays: `_pair([1, 3], "level", "")` is (1, 3)."""
    low, high, what = _PAIR[key]
    pair = value if isinstance(value, list) else [value, value]
    if len(pair) != 2:
        raise LessonError(f"{where}, {key}: {quoted(value)} are not two; write first and last, such as [{low}, 3]")
    check = (whole if key == "level" else number)(low, high, what).func
    try:
        return check(pair[0]), check(pair[1])  # type: ignore[call-arg]
    except LessonError as error:
        raise LessonError(f"{where}, {key}: {error}") from None


def _in_turn(value: object, key: str, where: str) -> tuple[str, ...]:
    names = value if isinstance(value, list) else [value]
    if not names or not all(isinstance(name, str) and name.strip() for name in names):
        raise LessonError(f"{where}, {key}: {quoted(value)} is no name and no list of names; write one between quotes")
    return tuple(str(name) for name in names)


def _explain(error: ValidationError) -> str:
    """The first thing wrong, misspelt keys before all else."""
    found = sorted(error.errors(), key=lambda one: one["type"] != "extra_forbidden")[0]
    *above, key = found["loc"] or ("term",)
    names = [str(step) for step in above if isinstance(step, str)]
    table = _TABLES.get(names[-1], TermFile) if names else TermFile
    where = key_place((*above, key))
    match found["type"]:
        case "extra_forbidden":
            return f"{where}: no such key; {nearest(str(key), keys_of(table))}"
        case "missing":
            example = keys_of(table)[str(key)].example.replace("\n", " and below it ")
            return f"{where}: missing; write {example}"
        case "value_error":
            return f"{where}: {found['ctx']['error']}"
        case "list_type":
            return f"{where}: write each under its own heading: {keys_of(table)[str(key)].example.splitlines()[0]}"
    return f"{where}: {quoted(found['input'])} does not fit ({found['msg'].lower()})"
