"""The lesson file: what it may say, and what is wrong with one that says it badly.

`parse_lesson` is the only door. `grooves.lesson_file` checks the tables; here their words become a
score, a feel, levels and tracks. Files are opened elsewhere: the caller says how a groove is found and
how a notation file is read.
"""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Literal

from grooves.counts import parse_counts
from grooves.errors import LessonError, at, nearest
from grooves.feel import Feel
from grooves.groove import Groove, check_swing
from grooves.kit import LIMBS, PARTS, Handedness
from grooves.lesson_file import FeelTable, LessonFile, LineTable, TrackTable, read_tables
from grooves.line import PlayedOn
from grooves.passages import LINE, Alternation, Fade, Ladder, Passage, Track, check_track, default_tracks, plays, slug
from grooves.rhythm import Bar, Meter, parse_values
from grooves.score import Score, write_score

READERS = ("snare", "bass drum", "hi-hat", "ride", "cross-stick")  # what a line can be played on
SLOWEST_BPM, FASTEST_BPM = 30.0, 400.0
MOST_CHOSEN = 20_000  # bars in one choice, repeats among them: more than ten hours of most lessons; ours

FindGroove = Callable[[str], Groove]
ReadLine = Callable[[str, Meter, str | int | None], Sequence[Bar]]


@dataclass(frozen=True)
class Lesson:
    """A checked lesson: `lesson.score` is the paper, `lesson.tracks` what to render of it."""

    title: str
    score: Score
    feel: Feel
    balance_lu: Mapping[str, float]
    tracks: tuple[Track, ...]
    choruses: int
    count_in: int
    groove: str  # as the file names it
    soundfont: str = ""  # a path beside the lesson, or none
    kit: Handedness = "right-handed"


def parse_lesson(text: str, find_groove: FindGroove, read_line: ReadLine) -> Lesson:
    """Read a lesson file's text: `parse_lesson(text, find_groove, read_line).tracks[0].name` is "time".

    Raises LessonError naming the key, what stands there and what would be right.
    """
    file = read_tables(text)
    with at("groove"):
        groove = find_groove(file.groove)
    if file.feel.swing is not None:
        with at("feel"):
            groove = replace(groove, swing=check_swing(file.feel.swing, groove.meter))
    score = _score(file, groove, read_line)
    tracks = tuple(_track(number, table, score) for number, table in enumerate(file.track, 1))
    _check_names(tracks)
    return Lesson(
        file.title,
        score,
        _feel(file.feel, score),
        _balance(file.balance, groove),
        tracks or default_tracks(),
        file.choruses,
        file.count_in,
        file.groove,
        file.soundfont,
        file.kit,
    )


# --- the line ------------------------------------------------------------------------------------


def _score(file: LessonFile, groove: Groove, read_line: ReadLine) -> Score:
    with at("line"):
        bars = _line_bars(file.line, groove.meter, read_line)
        played_on, turns = _played_on(file.line)
        with at("bars"):
            chosen = () if file.line.bars is None else bar_numbers(file.line.bars, range(1, len(bars) + 1))
        return write_score(
            file.title, groove, file.tempo, bars, played_on, chosen, file.line.repeat_each, turns, file.kit
        )


def _line_bars(table: LineTable, meter: Meter, read_line: ReadLine) -> tuple[Bar, ...]:
    given = [name for name in ("values", "counts", "file") if getattr(table, name)]
    if len(given) != 1:
        said = f"{' and '.join(given)} stand here" if given else "there is no rhythm"
        raise LessonError(f"{said}; write one of values, counts or file")
    if table.part is not None and not table.file:
        raise LessonError("part: it names a part of a notation file; write it beside file only")
    with at(given[0]):
        if table.file:
            return tuple(read_line(table.file, meter, table.part))
        return parse_values(table.values, meter) if table.values else parse_counts(table.counts, meter)


def bar_numbers(text: str | int, there: Sequence[int]) -> tuple[int, ...]:
    """Read a choice of bars: `bar_numbers("1-3, 7", range(1, 9))` is (1, 2, 3, 7); raises LessonError."""
    numbers, known = list[int](), {*there}
    bars = f"it has bars {', '.join(map(str, sorted(known)))}" if len(known) < 9 else f"the last bar is {max(there)}"
    for piece in str(text).split(","):
        first, dash, last = (word.strip() for word in piece.partition("-"))
        if not first.isdecimal() or (dash and not last.isdecimal()):
            raise LessonError(f"'{piece.strip()}' is not a bar; write numbers and ranges, such as \"1-4, 7\"")
        if max(len(first), len(last)) > 5:
            raise LessonError(f"'{piece.strip()[:20]}' is past the end; the last bar is {max(there)}")
        if dash and int(last) < int(first):
            raise LessonError(f"'{piece.strip()}' runs backwards; write {last}-{first}")
        for number in range(int(first), int(last or first) + 1):
            if number not in known:
                raise LessonError(f"there is no bar {number}; {bars}")
            if len(numbers) == MOST_CHOSEN:
                raise LessonError(f"more than {MOST_CHOSEN:,} bars are chosen; choose fewer, and repeat them by times")
            numbers.append(number)
    return tuple(numbers)


def _played_on(table: LineTable) -> tuple[list[PlayedOn], Literal["chorus", "bar"]]:
    turns = table.played_on if isinstance(table.played_on, dict) else {}
    if table.each_chorus is not None:
        if "played_on" in table.model_fields_set:
            raise LessonError("played_on and each_chorus both stand here; write one of them")
        turns = {"each_chorus": table.each_chorus}
    for key in ("each_chorus", "each_bar"):
        if key in turns and len(turns) == 1:
            with at(key):
                return [_reading(one) for one in _reading_list(turns[key])], "chorus" if key == "each_chorus" else "bar"
    with at("played_on"):
        return [_reading(table.played_on)], "chorus"


def _reading_list(value: object) -> list[object]:
    if not isinstance(value, list) or not value:
        raise LessonError(f'{value!r} is not a list; write the readers in turn, such as ["snare", "bass drum"]')
    return value


def _reading(value: Any) -> PlayedOn:
    """One way to read: an instrument, or a table that parts the notes."""
    match value:
        case str():
            return PlayedOn(_reader(value), _reader(value))
        case {"long": str(long), "short": str(short), **rest} if not rest:
            return PlayedOn(_reader(long), _reader(short))
        case {"notes": str(notes), "gaps": str(gaps), **rest} if not rest:
            return _with_gaps(_reader(notes), _reader(gaps))
        case {"hands": "alternate", **rest} if not rest:
            return PlayedOn("snare", "snare", alternate=True)
    raise LessonError(
        f"{value!r} cannot be played; write one of {', '.join(READERS)}, or {{ long = …, short = … }}, "
        '{ notes = …, gaps = … }, { hands = "alternate" }, { each_bar = […] }, { each_chorus = […] }'
    )


def _reader(name: str) -> str:
    if name not in READERS:
        raise LessonError(f"'{name}' cannot read the line; {nearest(name, READERS)}")
    return name


def _with_gaps(notes: str, gaps: str) -> PlayedOn:
    if notes == gaps:
        raise LessonError(f"notes and gaps are both on the {notes}; give the gaps to another limb")
    return PlayedOn(notes, notes, gaps)


# --- feel and balance ----------------------------------------------------------------------------


def _feel(table: FeelTable, score: Score) -> Feel:
    with at("feel"):
        line_swing = None
        if table.line_swing is not None:
            with at("line_swing"):
                line_swing = check_swing(table.line_swing, score.meter)
        return Feel(
            swing=score.groove.swing,
            line_swing=line_swing,
            upbeat_accent_lu=table.upbeat_accent,
            held_upbeat_lu=table.held_upbeat_accent,
            downbeat_quarters_lu=table.downbeat_quarters,
            accent_lu=table.accent,
            timing_ms=table.timing_ms,
            level_lu=table.level_lu,
            correlation=table.correlation,
            together=table.together,
            placement_ms=_placements(table, score),
            seed=table.seed,
        )


def _placements(table: FeelTable, score: Score) -> dict[str, float]:
    """Milliseconds by limb, behind positive; a part's name stands for the limb that plays it."""
    limb_of = {stroke.part: stroke.limb for bar in score.bars for stroke in (*bar.groove_alone, *bar.strokes)}
    placed: dict[str, float] = {}
    for key, table_ms, sign in (("ahead_ms", table.ahead_ms, -1.0), ("behind_ms", table.behind_ms, 1.0)):
        for name, milliseconds in table_ms.items():
            limb = limb_of.get(name, name)
            if limb not in LIMBS:
                raise LessonError(
                    f"{key}: '{name}' is neither a part here nor a limb; {nearest(name, (*limb_of, *LIMBS))}"
                )
            if limb in placed:
                raise LessonError(f"{key}: the {limb} is placed twice; keep one of them")
            placed[limb] = sign * milliseconds
    return placed


def _balance(table: Mapping[str, float], groove: Groove) -> dict[str, float]:
    known = [part.name for part in groove.parts if part.name != "ride"] + [LINE, "gaps"]
    for name in table:
        if name == "fill":
            raise LessonError("balance: fill is now called gaps")
        if name == "ride":
            raise LessonError("balance: the ride is what the others are measured against; leave it out")
        if name in PARTS and name not in known:
            raise LessonError(
                f"balance: {name} keeps no time in {groove.name}; it has {', '.join(known[:-2])}. "
                "For the reading line write line"
            )
        if name not in known:
            raise LessonError(f"balance: no part is called '{name}'; {nearest(name, known)}")
    return dict(table)


# --- tracks --------------------------------------------------------------------------------------


def _track(number: int, table: TrackTable, score: Score) -> Track:
    with at(f"track {number} ({table.name})"):
        chosen: tuple[int, ...] = ()
        if table.bars is not None:
            with at("bars"):
                chosen = bar_indexes(table.bars, score)
        track = Track(
            name=table.name,
            without=_who(table.without, "without", score),
            only=_who(table.only, "only", score),
            softer_lu={name: table.softer[name] for name in sorted(_who(table.softer, "softer", score))},
            bars=chosen,
            tempo_bpm=_own_pace(table, score.tempo_bpm),
            times=table.times,
            count_in=table.count_in,
            click=table.click,
            ladder=_ladder(table, score.tempo_bpm),
            trade=Alternation(table.trade.with_, table.trade.without) if table.trade else None,
            fade=Fade(table.fade.times, table.fade.to) if table.fade else None,
            silence=Alternation(table.silence.play, table.silence.rest) if table.silence else None,
            groove_alone=not table.line,
        )
        check_track(track)
        _check_somebody_plays(track, score)
        return track


def _check_names(tracks: Sequence[Track]) -> None:
    seen: dict[str, int] = {}
    for number, track in enumerate(tracks, 1):
        first = seen.setdefault(slug(track.name), number)
        if first != number:
            raise LessonError(
                f"track {number} ({track.name}): track {first} ({tracks[first - 1].name}) would write the same files; "
                "choose another name"
            )


def bar_indexes(text: str | int, score: Score) -> tuple[int, ...]:
    """Find chosen bars in a score: with `repeat_each = 2`, bar 3 is `score.bars[4]`; raises LessonError."""
    there = [bar.number for bar in score.bars[: score.chorus_length]]
    first = {number: place for place, number in reversed([*enumerate(there)])}
    return tuple(first[number] for number in bar_numbers(text, there))


def pace_bpm(pace: float | str, tempo_bpm: float) -> float:
    """A tempo or a share of one: `pace_bpm("60%", 120)` is 72.0; raises LessonError outside 30 to 400."""
    bpm = round(float(pace.removesuffix("%")) / 100 * tempo_bpm, 6) if isinstance(pace, str) else float(pace)
    if not SLOWEST_BPM <= bpm <= FASTEST_BPM:
        raise LessonError(f"{pace} of {tempo_bpm:g} is {bpm:g}; a tempo runs from {SLOWEST_BPM:g} to {FASTEST_BPM:g}")
    return bpm


def _own_pace(table: TrackTable, tempo_bpm: float) -> float | None:
    with at("tempo"):
        return None if table.tempo is None else pace_bpm(table.tempo, tempo_bpm)


def _ladder(table: TrackTable, tempo_bpm: float) -> Ladder | None:
    if table.ladder is None:
        return None
    with at("ladder"):
        low, high = pace_bpm(table.ladder.from_, tempo_bpm), pace_bpm(table.ladder.to, tempo_bpm)
        if high < low:
            raise LessonError(f"it runs from {low:g} down to {high:g}; a ladder rises, so swap from and to")
        return Ladder(low, high, table.ladder.step, table.ladder.times_each)


def _who(names: Iterable[str], key: str, score: Score) -> frozenset[str]:
    with at(key):
        return names_here(names, score)


def names_here(names: Iterable[str], score: Score) -> frozenset[str]:
    """Check names of parts and limbs against who plays in this lesson: raises LessonError for a stranger."""
    strokes = [stroke for bar in score.bars for stroke in (*bar.strokes, *bar.groove_alone)]
    parts = [part for part in PARTS if any(stroke.part == part for stroke in strokes)]
    limbs = [limb for limb in LIMBS if any(stroke.limb == limb for stroke in strokes)]
    here, wanted = (*parts, *limbs, LINE), frozenset(names)
    for name in sorted(wanted - {*here}):
        if name in (*PARTS, *LIMBS):
            raise LessonError(f"nobody plays {name} in this lesson; it has {', '.join(parts)}")
        raise LessonError(f"'{name}' is neither a part nor a limb; {nearest(name, here)}")
    return wanted


def _check_somebody_plays(track: Track, score: Score) -> None:
    heard = Passage((), score.tempo_bpm, without=track.without, only=track.only)
    strokes = (s for bar in score.bars for s in (bar.groove_alone if track.groove_alone else bar.strokes))
    if not (track.trade or track.fade) and not any(plays(stroke, heard) for stroke in strokes):
        raise LessonError("nobody is left to play; leave fewer parts out")
