"""What the lesson page knows of the band: every bar that it may play, as written, and who stands where.

The page finds no notes of its own. It carries those of the lesson's choruses, note for note what MIDI and sound files
play, and some choruses more; a track whose notes are others brings them along. Where the student loops bars by hand,
each has the notes of a chorus in which the form stands over it as the first time through.
"""

from collections.abc import Mapping, Sequence
from math import lcm
from typing import Any

from grooves.accompany import BEHIND_QUARTERS, TOGETHER_SECONDS, StruckBar, WrittenStrike
from grooves.deviations import stream_key
from grooves.feel import placement_seconds
from grooves.lesson import Lesson
from grooves.passages import Track, default_tracks, track_passages
from grooves.performance import band_bars
from grooves.players import Band
from render.page.score import Voice

LONGEST_BARS = 384  # that the page carries in a row, about 60 kB; then it begins anew; ours
_FEWEST_CHORUSES = 4  # so that what is played for long is not always the same; ours
_SWINGS = {"": 0, "swing": 1, "triplet": 3}  # the time's; one more for the line's, as a stroke's row has it

Row = tuple[int, int, int, int, int, float, tuple[int, ...]]  # part, onset, which swing, end, which swing, level, keys
_Bar = tuple[
    int, bool, tuple[WrittenStrike, ...]
]  # place in the chorus, whether the chords are the first time's, notes
_Sheet = tuple[int, tuple[_Bar, ...], tuple[_Bar, ...]]  # bars to a time through, all bars, and one before them if any


def own_tracks(lesson: Lesson) -> tuple[Track, ...]:
    """The tracks of a lesson that are steps of its page: none where they are the default ones."""
    parts = lesson.score.band.parts if lesson.score.band else ()
    return () if lesson.tracks == default_tracks(parts) else lesson.tracks


def band_data(lesson: Lesson, voices: Sequence[Voice]) -> dict[str, Any]:
    """The band of a lesson, ready for JSON: `band_data(lesson, sheet.voices)["band"]["parts"]` is ("bass", "piano").

    Empty without a band. `voices` are those of the page's strokes.
    """
    band = lesson.score.band
    if band is None:
        return {}
    found = [_main_sheet(lesson, band), *(_track_sheet(track, lesson, band) for track in own_tracks(lesson))]
    found = [_known(one, found[0]) for one in found]
    sheets = list(dict.fromkeys(found))
    bars = [bar for _, own, lead_in in sheets for bar in (*own, *lead_in)]
    places = [place for *_, strikes in bars for one in strikes for place in (one.onset, one.end)]
    divisions = lcm(*(place.denominator for place in places))
    patterns: dict[tuple[Row, ...], int] = {}
    rows = {strikes: tuple(_row(one, band, divisions) for one in strikes) for *_, strikes in bars}
    numbers = {strikes: patterns.setdefault(own, len(patterns)) for strikes, own in rows.items()}
    return {
        "band": {
            "parts": band.parts,
            "readers": band.readers,
            "divisions": divisions,
            "patterns": list(patterns),
            "sheets": [
                {
                    "turn": turn,
                    "bars": [[place, int(home), numbers[strikes]] for place, home, strikes in own],
                    "leadIn": numbers[lead_in[0][2]] if lead_in else None,
                }
                for turn, own, lead_in in sheets
            ],
            "ofTracks": [sheets.index(one) for one in found[1:]],
            **_stands(lesson, band, voices),
        }
    }


def _known(sheet: _Sheet, main: _Sheet) -> _Sheet:
    """The lesson's choruses themselves where a track plays those or the beginning of them."""
    return main if sheet == (main[0], main[1][: len(sheet[1])], main[2]) else sheet


def _main_sheet(lesson: Lesson, band: Band) -> _Sheet:
    """The lesson's choruses as its files have them, and further ones up to where line and form end together."""
    length = lesson.score.chorus_length
    choruses = _choruses(lesson.choruses, length, band.form_bars)
    own, lead_in = _bars(Track("full"), lesson, band, lesson.choruses)
    more = _bars(Track("full"), lesson, band, choruses)[0][len(own) :] if choruses > lesson.choruses else ()
    return length, (*own[: choruses * length], *more), lead_in


def _choruses(choruses: int, line_bars: int, form_bars: int) -> int:
    """How many choruses the page carries: `_choruses(1, 8, 12)` is 6, three of which end with the form."""
    apart = lcm(form_bars, line_bars) // line_bars
    wanted, most = -(-max(choruses, _FEWEST_CHORUSES) // apart) * apart, max(LONGEST_BARS // line_bars, 1)
    return wanted if wanted <= most else most // apart * apart or most


def _track_sheet(track: Track, lesson: Lesson, band: Band) -> _Sheet:
    """A track's bars in the order in which it plays them."""
    echoed = 2 if track.trade and track.trade.echo else 1
    turn = len(track.bars or range(lesson.score.chorus_length)) * echoed
    bars, lead_in = _bars(track, lesson, band, lesson.choruses)
    return turn, bars[: max(LONGEST_BARS // turn, 1) * turn], lead_in


def _bars(track: Track, lesson: Lesson, band: Band, choruses: int) -> tuple[tuple[_Bar, ...], tuple[_Bar, ...]]:
    """All bars of a track, and the bar of the groove before them where there is one for a pickup."""
    passages = track_passages(track, lesson.score, choruses, lesson.count_in)
    struck = band_bars(lesson.score, passages, lesson.feel, lesson.balance_lu)
    bars = tuple((one.place, one.place >= 0 and one.chords == band.chords(one.place), _anew(one)) for one in struck)
    leads = sum(place < 0 for place, *_ in bars)
    return bars[leads:], bars[:leads]


def _anew(bar: StruckBar) -> tuple[WrittenStrike, ...]:
    """A bar's strikes in order, whichever bar of a track it is."""
    return tuple(sorted(one._replace(bar=0) for one in bar.strikes))


def _row(strike: WrittenStrike, band: Band, divisions: int) -> Row:
    reads = strike.part in band.readers
    onset_moves, end_moves = (_SWINGS[how] + bool(how and reads) for how in (strike.swing, strike.end_swing))
    places = int(strike.onset * divisions), onset_moves, int(strike.end * divisions), end_moves
    return band.parts.index(strike.part), *places, round(strike.level_lu, 6), strike.keys


def _stands(lesson: Lesson, band: Band, voices: Sequence[Voice]) -> dict[str, Any]:
    """Where each part stands against the beat, what it strays by, and whose foot the bass stays with."""
    feel, placed = lesson.feel, lesson.feel.placement_ms
    foot = lesson.score.groove.part("hi-hat")
    follows = [number for number, voice in enumerate(voices) if foot and voice[:2] == ("hi-hat", foot.limb)]
    keys: Mapping[str, Any] = {
        part: {what: stream_key(feel.seed, part, what) for what in ("timing", "level")} for part in band.parts
    }
    return {
        "behind": {part: BEHIND_QUARTERS[part] for part in band.parts if part not in placed},
        "placement": {part: placement_seconds(feel, part) for part in band.parts},
        "keys": keys,
        "together": TOGETHER_SECONDS,
        "foot": follows[0] if follows else None,
    }
