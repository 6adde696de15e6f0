"""The tables of a lesson file and all their keys (pydantic at this door only).

One row for each key: what it takes, what it is for, an example. `docs/lesson.md` is made of them.
"""

from typing import Annotated, Any

from pydantic import BaseModel, ConfigDict, Discriminator, Field, Tag

from grooves.checks import (
    LETTER,
    NAMES,
    NOTE,
    PACE,
    PROGRAMS,
    SECTIONS,
    YES_OR_NO,
    by_name,
    choice,
    level,
    number,
    said_as,
    text,
    text_or_whole,
    whole,
)
from grooves.keys import Key
from grooves.kit import HANDS, Handedness
from grooves.passages import CLICKS
from grooves.players import BASSES, HORNS, PIANOS

_TIMES = "a number of times"
_BARS = "a number of bars"
_SWING = said_as('ratio long:short, 1.0 to 4.0, or "by tempo", "as measured", "straight"')
_CHOICE_OF_BARS = text_or_whole('not a choice of bars; write a number or ranges, such as "1-4, 7"', "number or ranges")
_PART = text_or_whole(
    "neither a name nor a number; write the part's name, or its number from 1", "name, or number from 1"
)
_KIT_PROGRAM = text_or_whole(
    "neither a drum kit's number nor its name; `fourlimb soundfonts FILE` lists them", "program number, or name"
)
_MS = by_name(0, 80, "milliseconds")
ONE, SEVERAL = "[line]", "[[line]]"  # how a lesson writes its line
_READERS = said_as("a drum, a table of drums, or a list of them in turn")


class Table(BaseModel):
    """A table that knows its keys and refuses others."""

    model_config = ConfigDict(extra="forbid", frozen=True, arbitrary_types_allowed=True)


# fmt: off
class LineTable(Table):
    """`[line]`: the rhythm and who plays it."""

    values: Annotated[str, text("a line"), Key("the rhythm as note values; one of values, counts, file", 'values = "4 8 8 4 4 | 2 2"')] = ""
    counts: Annotated[str, text("a line"), Key("the rhythm as spoken counts", 'counts = "1 2 & 3 4 | 1 (2) 3r"')] = ""
    file: Annotated[str, text("a file name"), Key("the rhythm from MusicXML or MIDI beside the lesson", 'file = "line.musicxml"')] = ""
    pickup: Annotated[str, text("a pickup"), Key("note values before bar 1, shorter than a bar; beside values or counts", 'pickup = "8 8"')] = ""
    part: Annotated[str | int | None, _PART, Key("which part of that file", 'part = "Snare"')] = None
    played_on: Annotated[Any, _READERS, Key("who reads", 'played_on = { long = "bass drum", short = "snare" }')] = "snare"
    each_chorus: Annotated[Any, said_as("list of drums"), Key("who reads, in turn by chorus", 'each_chorus = ["snare", "bass drum"]')] = None
    reads_with: Annotated[str, choice(*HANDS), Key("the hand that reads on a drum of the hands; left out: the hand that does not keep the ride", 'reads_with = "right hand"')] = ""
    repeat_each: Annotated[int, whole(1, 64, _TIMES), Key("how often every bar is played in a row", "repeat_each = 4")] = 1
    bars: Annotated[str | int | None, _CHOICE_OF_BARS, Key("only these bars of the line, from 1; a letter of sections stands for its bars", 'bars = "1-4, 7"')] = None
    letter: Annotated[str, LETTER, Key("the rehearsal letter over its first bar; of several lines left out: A, B, C in turn", 'letter = "A"')] = ""
    sections: Annotated[dict[str, int], SECTIONS, Key("rehearsal letters over bars of the one line, each with a double bar before it", "sections = { A = 1, B = 5 }")] = {}


class FeelTable(Table):
    """`[feel]`: swing, phrasing and deviations."""

    swing: Annotated[Any, _SWING, Key("how long the first of two eighths is; left out: the groove's", "swing = 2.0")] = None
    line_swing: Annotated[Any, _SWING, Key("the line's own swing; left out: as the ride", 'line_swing = "straight"')] = None
    upbeat_accent: Annotated[float, level(0, 12), Key("added to the line's upbeats", "upbeat_accent = 2.0")] = 2.0
    held_upbeat_accent: Annotated[float, level(0, 12), Key("added more where an upbeat is held past the next beat", "held_upbeat_accent = 1.0")] = 1.0
    downbeat_quarters: Annotated[float, level(0, 12), Key("added to quarters that follow one another on the beat", "downbeat_quarters = 1.0")] = 1.0
    accent: Annotated[float, level(0, 12), Key("added where an accent is written", "accent = 3.0")] = 3.0
    timing_ms: Annotated[float, number(0, 30, "a standard deviation in milliseconds", "ms"), Key("how far strokes stray in time, standard deviation; 0 = exact", "timing_ms = 6.0")] = 6.0
    level_lu: Annotated[float, number(0, 6, "a standard deviation in LU", "LU"), Key("how far their loudness strays, standard deviation; 0 = exact", "level_lu = 1.0")] = 1.0
    correlation: Annotated[float, number(0, 1.5, "the exponent of the deviations"), Key("1: they stray slowly; 0: each stroke by itself", "correlation = 1.0")] = 1.0
    together: Annotated[float, number(0, 1, "the correlation of the limbs"), Key("how much the limbs stray together", "together = 0.75")] = 0.75
    ahead_ms: Annotated[dict[str, float], _MS, Key("parts or limbs that play early", "ahead_ms = { ride = 3 }")] = {}
    behind_ms: Annotated[dict[str, float], _MS, Key("parts or limbs that play late", 'behind_ms = { "left hand" = 8 }')] = {}
    seed: Annotated[int, whole(0, 2**32 - 1, "a seed"), Key("the same seed, the same deviations", "seed = 1")] = 1


class BandTable(Table):
    """`[band]`: chords under the line, and who plays them."""

    form: Annotated[str, text("a form"), Key("a shipped form, as `fourlimb forms` lists them; or chords", 'form = "blues"')] = ""
    chords: Annotated[str, text("a text of chords"), Key("chords of your own: bars between |, each chord of a bar as long, - for the chord before it again", 'chords = "F7 | Bb7 | F7 - - C7 | F7"')] = ""
    key: Annotated[str, text("a key"), Key("the key of a form; with chords of your own, their key signature", 'key = "Bb"')] = ""
    bass: Annotated[str, choice(*BASSES), Key("how the bass plays", 'bass = "walking"')] = "by the groove"
    piano: Annotated[str, choice(*PIANOS), Key("how the piano plays; line: the reading line's rhythm in chords", 'piano = "line"')] = "comping"
    horns: Annotated[str, choice(*HORNS), Key("line: the reading line as a melody", 'horns = "line"')] = "off"
    program: Annotated[dict[str, int], PROGRAMS, Key("other instruments of General MIDI, counted from 0", "program = { horns = 56 }")] = {}


class LadderTable(Table):
    """`ladder`: a tempo that rises by steps."""

    from_: Annotated[float | str, PACE, Key("where it begins", 'from = "60%"')] = Field(alias="from")
    to: Annotated[float | str, PACE, Key("where it ends", 'to = "100%"')]
    step: Annotated[float, number(0.5, 100, "a step in beats a minute", "beats a minute"), Key("from rung to rung", "step = 4")]
    times_each: Annotated[int, whole(1, 64, _TIMES), Key("how often on each rung", "times_each = 2")] = 1


class TradeTable(Table):
    """`trade`: bars with your part, then bars without it."""

    with_: Annotated[int, whole(1, 64, _BARS, "bars"), Key("bars with your part", "with = 4")] = Field(alias="with")
    without: Annotated[int, whole(1, 64, _BARS, "bars"), Key("bars that are yours", "without = 4")]
    swap: Annotated[bool, YES_OR_NO, Key("where a chorus would end as it began, the next one begins further on, so that every bar comes to you", "swap = false")] = True
    echo: Annotated[bool, YES_OR_NO, Key("the same bars, first played, then yours", "echo = true")] = False


class SilenceTable(Table):
    """`silence`: bars of sound, then bars of silence."""

    play: Annotated[int, whole(1, 64, _BARS, "bars"), Key("bars of sound", "play = 4")]
    rest: Annotated[int, whole(1, 64, _BARS, "bars"), Key("bars of silence", "rest = 4")]
    swap: Annotated[bool, YES_OR_NO, Key("as in trade", "swap = false")] = True


class FadeTable(Table):
    """`fade`: a part that sinks each time through."""

    times: Annotated[int, whole(2, 64, _TIMES), Key("times through", "times = 4")]
    to: Annotated[float, level(-60, 0), Key("how much lower the last time is", "to = -30")]


class TrackTable(Table):
    """`[[track]]`: one track to render."""

    name: Annotated[str, text("a text"), Key("what the track is called, also in its file's name", 'name = "slow"')]
    note: Annotated[str, NOTE, Key("your word to the student, on the page", 'note = "Count aloud."')] = ""
    without: Annotated[list[str], NAMES, Key("parts or limbs left out: they are yours", 'without = ["snare"]')] = []
    only: Annotated[list[str], NAMES, Key("the only parts or limbs that play", 'only = ["right hand", "left hand"]')] = []
    softer: Annotated[dict[str, float], by_name(-60, 0, "LU"), Key("parts or limbs that are lowered", "softer = { snare = -9 }")] = {}
    bars: Annotated[str | int | None, _CHOICE_OF_BARS, Key("only these bars of the line", 'bars = "6"')] = None
    tempo: Annotated[float | str | None, PACE, Key("its own tempo", 'tempo = "60%"')] = None
    times: Annotated[int | None, whole(1, 1000, _TIMES), Key("times through; left out: the lesson's choruses", "times = 8")] = None
    count_in: Annotated[int | None, whole(0, 16, _BARS, "bars"), Key("bars before it; left out: the lesson's", "count_in = 1")] = None
    click: Annotated[str, choice(*CLICKS), Key("a click beside the band", 'click = "2 and 4"')] = "off"
    ladder: Annotated[LadderTable | None, Key("the tempo rises by steps", 'ladder = { from = "60%", to = "100%", step = 4, times_each = 2 }')] = None
    trade: Annotated[TradeTable | None, Key("bars with your part, then bars where it is yours", "trade = { with = 4, without = 4 }")] = None
    fade: Annotated[FadeTable | None, Key("your part sinks a little each time through", "fade = { times = 4, to = -30 }")] = None
    silence: Annotated[SilenceTable | None, Key("the track falls silent and comes back", "silence = { play = 4, rest = 4 }")] = None
    line: Annotated[bool, YES_OR_NO, Key("false: the groove alone, as if there were no line", "line = false")] = True


ONE_OR_SEVERAL = Annotated[
    Annotated[LineTable, Tag(ONE)] | Annotated[list[LineTable], Tag(SEVERAL)],
    Discriminator(lambda value: SEVERAL if isinstance(value, list) else ONE),
]


class LessonFile(Table):
    """The whole file: what stands above the first heading, and the headings."""

    title: Annotated[str, text("a text"), Key("what the lesson is called", 'title = "Harbour Street, first line"')]
    tempo: Annotated[float, number(30, 400, "a tempo", "beats a minute"), Key("how fast; the groove says which note is the beat, mostly a quarter", "tempo = 120")]
    note: Annotated[str, NOTE, Key("your word to the student, on the page and on the chart", 'note = "Listen to the ride."')] = ""
    groove: Annotated[str, text("a groove"), Key("what the other limbs play: a shipped groove or a groove file beside the lesson", 'groove = "swing"')]
    line: Annotated[ONE_OR_SEVERAL, Key("the reading line; several, each under its own [[line]], are played one after another", '[line]\nvalues = "4 4 4 4"')]
    choruses: Annotated[int, whole(1, 1000, "a number of choruses"), Key("times through the line in each track", "choruses = 2")] = 1
    count_in: Annotated[int, whole(0, 16, _BARS, "bars"), Key("bars before each track; 0 = none", "count_in = 2")] = 2
    kit: Annotated[Handedness, choice("right-handed", "left-handed"), Key("left-handed: right and left swapped, the feet too", 'kit = "left-handed"')] = "right-handed"
    soundfont: Annotated[str, text("a soundfont file"), Key("the drums' sound, a file beside the lesson; left out: the default", 'soundfont = "drums.sf2"')] = ""
    kit_program: Annotated[str | int | None, _KIT_PROGRAM, Key("the soundfont's drum kit; left out: the jazz kit, else the standard one", 'kit_program = "Brush"')] = None
    feel: Annotated[FeelTable, Key("swing, phrasing and deviations", "[feel]\nswing = 2.0")] = FeelTable()
    balance: Annotated[dict[str, float], by_name(-40, 6, "LU"), Key("loudness of a part's plain stroke against the ride's; line: the reading line, gaps: what fills its gaps", '[balance]\n"bass drum" = -14')] = {}
    band: Annotated[BandTable | None, Key("a band that plays along", '[band]\nform = "blues"')] = None
    track: Annotated[list[TrackTable], Key("a track to render, each under its own heading; left out: the four default tracks", '[[track]]\nname = "slow"')] = []

    @property
    def lines(self) -> list[LineTable]:
        """The line, or several in turn."""
        return self.line if isinstance(self.line, list) else [self.line]
# fmt: on


TABLES: dict[str, type[Table]] = {
    "line": LineTable, "feel": FeelTable, "band": BandTable, "track": TrackTable,
    "ladder": LadderTable, "trade": TradeTable, "silence": SilenceTable, "fade": FadeTable,
}  # fmt: skip


def keys_of(table: type[Table]) -> dict[str, Key]:
    """The keys of a table with what they are for: `keys_of(LineTable)["bars"].example` is 'bars = "1-4, 7"'."""
    return {
        field.alias or name: next(one for one in field.metadata if isinstance(one, Key))
        for name, field in table.model_fields.items()
    }
