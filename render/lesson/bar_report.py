"""What a teacher looks up about a line: bar by bar who sounds together and how hard it is, and stairs up to a bar."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import Any

from grooves.band.band import read_band
from grooves.errors import LessonError
from grooves.groove import Groove
from grooves.lesson import Lesson, bar_numbers, parse_lesson
from grooves.line import WrittenLine
from grooves.rhythm import Bar, Meter, value_name, values_text
from grooves.score import Score
from grooves.teaching.coordination import Difficulty, hardest_first, who_sounds
from grooves.teaching.stairs import alone, climb_to, said
from render.lesson.groove_files import find_groove, shipped_grooves
from render.lesson.lesson_text import lesson_text, line_tables, named_from
from render.lesson.load import Loaded, load_lesson

TIMES_EACH_STEP = 4


@dataclass(frozen=True)
class PlaceView:
    """One place of a bar: its count, the limbs that sound, and the words for it."""

    count: str
    limbs: tuple[str, ...]
    parts: tuple[str, ...]
    words: str


@dataclass(frozen=True)
class BarView:
    """One bar as a teacher looks at it: places in order, difficulty with its parts, one sentence on why."""

    bar: int
    values: str
    places: tuple[PlaceView, ...]
    difficulty: float
    parts: dict[str, float]
    why: str


def describe_bars(lesson: Lesson) -> tuple[BarView, ...]:
    """Every bar of the line once, at its hardest, hardest first: `describe_bars(lesson)[0].why`."""
    return tuple(_view(lesson, found) for found in hardest_first(lesson.score))


def _view(lesson: Lesson, found: Difficulty) -> BarView:
    bar = lesson.score.bars[found.bar_index]
    places = who_sounds(lesson.score, found.bar_index)
    return BarView(
        bar.number,
        written(bar.line),
        tuple(PlaceView(place.count, place.limbs, place.parts, place.words) for place in places),
        round(found.total, 2),
        {one.name: round(one.points, 2) for one in found.ingredients},
        found.why,
    )


def written(bar: Bar) -> str:
    """One bar by itself as values, its first held note in brackets: "(8) 4 8 2"."""
    held = bar[0].kind == "held"
    tail = values_text([bar[1:]]) if len(bar) > 1 else ""
    return f"({value_name(bar[0].length)}) {tail}".strip() if held else values_text([bar])


# --- stairs -------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Stairs:
    """A lesson file that climbs to a bar: its text, what every step changes, what is not as in its lesson."""

    text: str
    steps: tuple[str, ...]
    notes: tuple[str, ...]


def stairs_lesson(path: Path, number: int, start: int | None, target: Path) -> Stairs:
    """The text of a lesson, to lie at `target`, that climbs to a bar of the lesson at `path`, each step four times.

    `stairs_lesson(path, 6, None, target)` begins at quarter notes; with a start, at that bar of the line.
    Whatever else the lesson says is said again. Raises LessonError.
    """
    loaded = load_lesson(path)
    lesson = loaded.lesson
    steps, places, searched = _climb(lesson, number, start)
    tables = {**_but_its_tracks(loaded, number, steps), **_files(loaded.tables, path.parent, target.parent)}

    def carry(table: Mapping[str, Any]) -> Mapping[str, Any]:
        moved = _on_the_stairs(table, places, lesson)
        _check({**tables, "track": [moved]}, find_groove(lesson.groove, path.parent))
        return moved

    tracks, notes = _carried(loaded.tables.get("track", []), carry)
    text = lesson_text({**tables, "track": tracks} if tracks else tables)
    comment = f"# Stairs up to bar {number}: each bar differs from the one before by a single note.\n"
    return Stairs(comment + text, _told(steps, lesson.score.meter), (*searched, *_choruses_note(lesson), *notes))


def climb_tables(loaded: Loaded, numbers: Sequence[int], folder: Path, new_folder: Path) -> dict[str, Any]:
    """The tables of a lesson without tracks that climbs to several bars, one after another, each step four times.

    `climb_tables(load_lesson(path), [6, 3], path.parent, Path("next"))`: `folder` is the lesson's, `new_folder` where
    the tables will lie. A bar that no stairs lead to stands alone. Where each bar is reached says `climbs`.
    """
    steps = [bar for climb in climbs(loaded.lesson, numbers) for bar in climb]
    tables = {**_but_its_tracks(loaded, numbers[0], steps), **_files(loaded.tables, folder, new_folder)}
    return {**tables, "title": f"{loaded.lesson.title}: up to {said_bars(numbers)}"}


def climbs(lesson: Lesson, numbers: Sequence[int]) -> list[tuple[Bar, ...]]:
    """The steps up to each of several bars: `climbs(lesson, [6])[0][-1]` is bar 6."""
    found = []
    for number in numbers:
        try:
            found.append(_climb(lesson, number, None)[0])
        except LessonError:  # without notes, or finer than sixteenths
            line = next(bar.line for bar in lesson.score.bars if bar.number == number)
            found.append((alone(line, lesson.score.meter),))
    return found


def said_bars(numbers: Sequence[int]) -> str:
    """Bars in words: `said_bars([6, 3])` is "bars 6 and 3"."""
    return f"bar{'s' if len(numbers) > 1 else ''} {' and '.join(map(str, numbers))}"


def _climb(lesson: Lesson, number: int, start: int | None) -> tuple[tuple[Bar, ...], dict[int, int], tuple[str, ...]]:
    """The steps up to a bar, where bars of the line stand among them (step 5 is bar 6), a note on the search."""
    lines = {bar.number: bar.line for bar in lesson.score.bars}
    for wanted in (number, *([start] if start is not None else [])):
        if wanted not in lines:
            known = f"it has bars {', '.join(map(str, lines))}" if len(lines) < 9 else f"the last bar is {max(lines)}"
            raise LessonError(f"there is no bar {wanted} in this line; {known}")
    first = None if start is None else alone(lines[start], lesson.score.meter)
    climb = climb_to(lines[number], lesson.score.meter, first)
    steps = climb.bars
    places = {number: len(steps)}
    if start is not None and steps[0] == first:
        places.setdefault(start, 1)
    note = () if climb.shortest else ("the search ended early: the best stairs found, not surely the shortest",)
    return steps, places, note


def _told(steps: Sequence[Bar], meter: Meter) -> tuple[str, ...]:
    changes = [said(before, after, meter) for before, after in pairwise(steps)]
    return tuple(f"step {place}: {one}" for place, one in enumerate([values_text(steps[:1]), *changes], 1))


def _but_its_tracks(loaded: Loaded, number: int, steps: Sequence[Bar]) -> dict[str, Any]:
    """The tables of the stairs, from those of the lesson."""
    lesson, old = loaded.lesson, loaded.tables
    line = _line_of(number, lesson.score, line_tables(old))
    readers = {key: line[key] for key in ("played_on", "each_chorus", "reads_with") if key in line}
    tables = {key: value for key, value in old.items() if key not in ("choruses", "track")}
    # Readers by chorus need as many choruses.
    choruses = {"choruses": lesson.score.readings} if lesson.score.readings > 1 else {}
    changed = {
        "title": f"{lesson.title}: up to bar {number}",
        "line": {"values": values_text(steps), **readers, "repeat_each": TIMES_EACH_STEP},
        "feel": _feel(old.get("feel", {}), lesson),
    }
    return {key: value for key, value in {**tables, **choruses, **changed}.items() if value != {}}


def _line_of(number: int, score: Score, tables: Sequence[Mapping[str, Any]]) -> Mapping[str, Any]:
    """The table of the line that a bar stands in; each of several has its letter."""
    before = [one for one in score.letters if one.bar <= number] if len(tables) > 1 else []
    return tables[max(len(before) - 1, 0)]


def _files(tables: Mapping[str, Any], folder: Path, new_folder: Path) -> dict[str, str]:
    """The files that a lesson names, as its stairs find them."""
    names = {key: tables[key] for key in ("groove", "soundfont") if key in tables}
    if names["groove"] in shipped_grooves():
        del names["groove"]
    return {key: named_from(new_folder, name, folder) for key, name in names.items()}


def _feel(old: Mapping[str, Any], lesson: Lesson) -> dict[str, Any]:
    """The feel again, with limbs where it places parts: a part of the line need not play on every stairs."""
    placed: dict[str, dict[str, float]] = {}
    for limb, behind in lesson.feel.placement_ms.items():
        placed.setdefault("ahead_ms" if behind < 0 else "behind_ms", {})[limb] = abs(behind)
    return {**{key: value for key, value in old.items() if key not in ("ahead_ms", "behind_ms")}, **placed}


def _choruses_note(lesson: Lesson) -> tuple[str, ...]:
    choruses, readings = lesson.choruses, lesson.score.readings
    climbed = f"{readings} times, once for each reader" if readings > 1 else "once"
    return (f"left out: choruses = {choruses}; the stairs are climbed {climbed}",) if choruses > readings else ()


# --- the tracks of a lesson on its stairs ---------------------------------------------------------


def _carried(
    tracks: Sequence[Mapping[str, Any]], carry: Callable[[Mapping[str, Any]], Mapping[str, Any]]
) -> tuple[list[Mapping[str, Any]], tuple[str, ...]]:
    """The tracks that the stairs can play, and a sentence on each that is changed or left out."""
    kept, notes = [], []
    for number, track in enumerate(tracks, 1):
        name = f"track {number} ({track['name']})"
        try:
            kept.append(carry(track))
        except LessonError as error:
            notes.append(f"left out: {name}: {error}")
            continue
        if kept[-1] != track:
            notes.append(f"{name}: bar {track['bars']} of the line is bar {kept[-1]['bars']} of the stairs")
    if tracks and not kept:
        notes.append("no track of the lesson is left, so the stairs have the usual ones")
    return kept, tuple(notes)


def _on_the_stairs(table: Mapping[str, Any], places: Mapping[int, int], lesson: Lesson) -> Mapping[str, Any]:
    """A track with its bars as the stairs number them; raises LessonError where one is not among the steps."""
    if "bars" not in table:
        return table
    asked = bar_numbers(table["bars"], [bar.number for bar in lesson.score.bars], lesson.score.letters)
    for number in asked:
        if number not in places:
            raise LessonError(f"it plays bar {number} of the line, which is no step of these stairs")
    moved = [places[number] for number in asked]
    return table if moved == list(asked) else {**table, "bars": ", ".join(map(str, moved))}


def _check(tables: Mapping[str, Any], groove: Groove) -> None:
    """Raise LessonError where a lesson with one track cannot be read: the stairs may lack a part that it names."""
    try:
        parse_lesson(lesson_text(tables), lambda _: groove, lambda *_: WrittenLine(()), read_band)
    except LessonError as error:
        reason = str(error).removeprefix(f"track 1 ({tables['track'][0]['name']}): ")
        raise LessonError(f"on the stairs: {reason}") from None
