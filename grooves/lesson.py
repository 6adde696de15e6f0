"""The lesson file: what it may say, and what is wrong with one that says it badly.

`parse_lesson` is the only door. `grooves.lesson_file` checks the tables; here their words become a
score, a feel, levels and tracks. Files are opened elsewhere: the caller says how a groove is found,
how a notation file is read and who plays along.
"""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from grooves.bar_choice import bar_indexes as bar_indexes
from grooves.bar_choice import bar_numbers as bar_numbers
from grooves.errors import LessonError, at, nearest
from grooves.feel import Feel
from grooves.file_names import slug
from grooves.groove import Groove, check_swing
from grooves.kit import BAND, LIMBS, PARTS, Handedness
from grooves.lesson_feel import no_player, read_balance, read_feel
from grooves.lesson_file import read_tables
from grooves.lesson_lines import MOST_BARS as MOST_BARS
from grooves.lesson_lines import ReadLine as ReadLine
from grooves.lesson_lines import read_lines
from grooves.lesson_tables import BandTable, SilenceTable, TrackTable, TradeTable
from grooves.passages import (
    LINE,
    Alternation,
    Fade,
    Ladder,
    Passage,
    Track,
    check_track,
    default_tracks,
    heard,
    plays,
)
from grooves.players import Band
from grooves.score import Score, with_band

SLOWEST_BPM, FASTEST_BPM = 30.0, 400.0

FindGroove = Callable[[str], Groove]
ReadBand = Callable[[BandTable, Groove, int], Band]  # its table, the groove, bars in one chorus of the line


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
    kit_program: str | int | None = None  # the soundfont's drum kit by number or name; none: jazz, else standard
    note: str = ""  # the teacher's word to the student, on the page and on the chart


def parse_lesson(text: str, find_groove: FindGroove, read_line: ReadLine, read_band: ReadBand) -> Lesson:
    """Read a lesson file's text: `parse_lesson(text, find_groove, read_line, read_band).tracks[0].name` is "time".

    Raises LessonError naming the key, what stands there and what would be right.
    """
    file = read_tables(text)
    with at("groove"):
        groove = find_groove(file.groove)
    if file.feel.swing is not None:
        with at("feel"):
            groove = replace(groove, swing=check_swing(file.feel.swing, groove.meter))
    score = read_lines(file, groove, read_line)
    if file.band:
        with at("band"):
            score = with_band(score, read_band(file.band, groove, score.chorus_length))
    players = score.band.parts if score.band else ()
    tracks = tuple(_track(number, table, score) for number, table in enumerate(file.track, 1))
    _check_names(tracks)
    return Lesson(
        file.title,
        score,
        read_feel(file.feel, score),
        read_balance(file.balance, groove, players),
        tracks or default_tracks(players),
        file.choruses,
        file.count_in,
        file.groove,
        file.soundfont,
        file.kit,
        file.kit_program,
        file.note,
    )


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
            trade=_trade(table.trade) if table.trade else None,
            fade=Fade(table.fade.times, table.fade.to) if table.fade else None,
            silence=_silence(table.silence) if table.silence else None,
            groove_alone=not table.line,
            note=table.note,
        )
        check_track(track)
        _check_somebody_plays(track, score)
        return track


def _trade(table: TradeTable) -> Alternation:
    return Alternation(table.with_, table.without, table.swap, table.echo)


def _silence(table: SilenceTable) -> Alternation:
    return Alternation(table.play, table.rest, table.swap)


def _check_names(tracks: Sequence[Track]) -> None:
    seen: dict[str, int] = {}
    for number, track in enumerate(tracks, 1):
        first = seen.setdefault(slug(track.name), number)
        if first != number:
            raise LessonError(
                f"track {number} ({track.name}): track {first} ({tracks[first - 1].name}) would write the same files; "
                "choose another name"
            )


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
    players = score.band.parts if score.band else ()
    here, wanted = (*parts, *limbs, *players, LINE), frozenset(names)
    for name in sorted(wanted - {*here}):
        if name in BAND:
            raise LessonError(no_player(name, players))
        if name in (*PARTS, *LIMBS):
            raise LessonError(f"nobody plays {name} in this lesson; it has {', '.join(parts)}")
        raise LessonError(f"'{name}' is neither a part nor a limb; {nearest(name, here)}")
    return wanted


def _check_somebody_plays(track: Track, score: Score) -> None:
    passage = Passage((), score.tempo_bpm, without=track.without, only=track.only)
    strokes = (s for bar in score.bars for s in (bar.groove_alone if track.groove_alone else bar.strokes))
    players = any(heard({part}, passage) for part in score.band.parts) if score.band else False
    if not (track.trade or track.fade or players) and not any(plays(stroke, passage) for stroke in strokes):
        raise LessonError("nobody is left to play; leave fewer parts out")
