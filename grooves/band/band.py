"""The band of a lesson: a form of chords under the line, and who plays over it."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from math import lcm
from typing import TYPE_CHECKING

from grooves.band.forms import Form, FormBar, check_key, find_form, parse_chords
from grooves.band.styles import style_for
from grooves.errors import LessonError, at
from grooves.groove import Groove
from grooves.kit import BAND
from grooves.lesson_tables import BandTable
from grooves.meter import Meter
from grooves.players import BAND_PROGRAMS, BandNote, ChordMark, TrackBar

if TYPE_CHECKING:
    from grooves.band.bars import BandBar


@dataclass(frozen=True)
class FormBand:
    """A band over a form: `read_band(table, groove, 12).chords(0)[0].symbol` is "F7" in a blues in F."""

    form: Form
    meter: Meter
    line_bars: int  # in one chorus of the line
    bass: str  # a style, or off
    piano: str
    horns: str
    programs: Mapping[str, int]

    @property
    def parts(self) -> tuple[str, ...]:
        """Those that play."""
        return tuple(part for part in BAND if getattr(self, part) != "off")

    @property
    def readers(self) -> tuple[str, ...]:
        """Those that play the reading line, and rest where nobody reads."""
        return tuple(part for part in BAND if getattr(self, part) == "line")

    @property
    def form_bars(self) -> int:
        """How many bars the form has."""
        return len(self.form.bars)

    @property
    def key_signature(self) -> str:
        """The key that the form is in."""
        return self.form.key

    @property
    def fifths(self) -> int:
        """Signs of its key: sharps above 0, flats below."""
        return self.form.fifths

    def chords(self, index: int) -> tuple[ChordMark, ...]:
        """The chords over a bar of the chorus, the first time through."""
        return _marks(self.form.bars[index % len(self.form.bars)])

    def chords_over(self, bars: Sequence[TrackBar]) -> list[tuple[ChordMark, ...]]:
        """The chords over each bar of a track, as the form runs on under it."""
        return [_marks(bar.chords) for bar in self._with_chords(bars)]

    def play(self, bars: Sequence[TrackBar], seed: int) -> list[BandNote]:
        """What all parts play over the bars of a track. The piano hears the bass, also one that is left out."""
        from grooves.band.comping import comp, comp_line
        from grooves.band.melody import melody
        from grooves.band.patterns import play_bass

        there = list(self._with_chords(bars))
        if not there:
            return []
        bass = play_bass(there, self.bass, seed) if self.bass != "off" else []
        piano = {"comping": comp, "line": comp_line}
        chords = piano[self.piano](there, seed, bass) if self.piano != "off" else []
        return [*bass, *chords, *(melody(there, seed) if self.horns == "line" else [])]

    def _with_chords(self, bars: Sequence[TrackBar]) -> Iterator["BandBar"]:
        """Lay the form under a track: it goes on from bar to bar, and where the track jumps, to where it stood first.

        So a bar that is looped keeps its chords, and whole choruses of the line run through the form. A bar before the
        first one has the form's last chords.
        """
        from grooves.band.bars import BandBar

        before, place = -2, 0
        for bar in bars:
            follows = bar.index == (before + 1) % self.line_bars and before >= 0
            place = (place + 1 if follows else bar.index) % len(self.form.bars)
            fresh = place == 0 or not follows
            pace = bar.quarters_per_minute
            yield BandBar(self.form.bars[place], self.meter, bar.place, pace, bar.line, fresh, bar.pickup)
            before = bar.index


def _marks(bar: FormBar) -> tuple[ChordMark, ...]:
    return tuple(
        ChordMark(p.onset, p.chord.symbol, p.chord.root_name, p.chord.quality, p.chord.tones, p.chord.bass_name)
        for p in bar
    )


def read_band(table: BandTable, groove: Groove, line_bars: int) -> FormBand:
    """The band that a lesson's table asks for: raises LessonError naming the key.

    `read_band(BandTable(form="blues"), swing, 12).parts` is ("bass", "piano").
    """
    if table.form and table.chords:
        raise LessonError("form and chords both stand here; write one of them")
    if not table.form and not table.chords:
        raise LessonError('there are no chords to play; write form = "blues", or chords = "F7 | Bb7 | F7 | C7"')
    if table.bass == table.piano == table.horns == "off":
        raise LessonError("nobody plays: bass, piano and horns are off; leave one of them on, or the table out")
    bass = table.bass if table.bass == "off" else style_for(groove, table.bass)
    programs = {**BAND_PROGRAMS, **table.program}
    return FormBand(_form(table, groove.meter), groove.meter, line_bars, bass, table.piano, table.horns, programs)


def _form(table: BandTable, meter: Meter) -> Form:
    if table.form:
        with at("key" if table.key and _only_key_is_wrong(table, meter) else "form"):
            return find_form(table.form, meter, table.key)
    with at("key"):
        key = check_key(table.key) if table.key else ""
    with at("chords"):
        return Form("chords", "Chords of the lesson", key, parse_chords(table.chords.replace("\n", " "), meter))


def _only_key_is_wrong(table: BandTable, meter: Meter) -> bool:
    """Whether a form can be found in its own key: then it is the key that is amiss."""
    try:
        find_form(table.form, meter)
    except LessonError:
        return False
    return True


def form_and_line(band: FormBand) -> str:
    """How form and line fit, in a sentence: twelve bars under a line of eight meet again after twenty-four."""
    form, line = len(band.form.bars), band.line_bars
    if form == line:
        return f"the form and the line have {form} {_bars(form)} each"
    if line % form == 0:
        return f"the form of {form} {_bars(form)} goes {line // form} times under the line of {line}"
    together = lcm(form, line)
    need = together // line
    if together == form:
        return f"the form of {form} bars goes once under {need} choruses of the line of {line} {_bars(line)}"
    return (
        f"the line of {line} {_bars(line)} and the form of {form} begin together again after {together} bars: "
        f"choruses = {need}, or a multiple of it, ends with the form"
    )


def _bars(count: int) -> str:
    return "bar" if count == 1 else "bars"
