"""One part of a MusicXML score as measures of notes and rests: what stands where, in which voice, what cannot be read.

A note that cannot be read carries its fault, because the voice it stands in may not be the one that is wanted;
only what leaves the place of everything after it unknown is refused at once. Bars are numbered from 1 as they stand
in the file, whatever it calls them. Source: W3C MusicXML 4.0.
"""

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

from grooves.errors import LessonError
from grooves.rhythm import Kind, Meter, place_name, value_length
from render.reading.musicxml_file import Element
from render.reading.parts import LONGEST_LINE_BARS, shown
from render.reading.playing_order import Turns, marks_of

TRIPLET = Fraction(2, 3)
MOST_NOTES_IN_BAR = 1000  # in one bar, all voices and chords
GRACE = "grace notes are left out; of a flam the main note is read"
FINEST = 1_000_000  # parts of a quarter; past that the numbers are an attack on the arithmetic, or damage
_NOTATED_AGAIN = {
    "measure-repeat": "a repeat-bar sign",
    "beat-repeat": "a repeat-beat sign",
    "slash": "slash notation",
}
_TYPES = {"whole": "1", "half": "2", "quarter": "4", "eighth": "8", "16th": "16", "32nd": "32"}
PLACES = 48  # of a quarter: places of triplets and sixteenths, to which rounded lengths are brought back
ROUNDED = Fraction(2)  # divisions that a rounded length or place may be off


@dataclass(frozen=True)
class XmlNote:
    """A note, one note of a chord, or a rest: `XmlNote("1", Fraction(0), Fraction(1), "struck")`."""

    voice: str
    onset: Fraction  # from the start of its measure
    length: Fraction
    kind: Kind | Literal["grace"]
    accent: bool = False
    tied_on: bool = False
    instrument: str = ""  # id in the file
    fault: str = ""  # why it cannot be read
    simplified: str = ""  # what is left out of it


@dataclass(frozen=True)
class XmlMeasure:
    """A measure as it stands in the file."""

    notes: tuple[XmlNote, ...]
    length: Fraction
    pickup: bool  # shorter than its meter, and marked so
    turns: Turns


def read_measures(part: Element, meter: Meter) -> tuple[XmlMeasure, ...]:
    """Read a part: `read_measures(part, Meter(4, 4))[0].notes`. Raises LessonError with the bar."""
    elements = part.findall("measure")
    if not elements:
        raise LessonError("the part has no measures; export it again")
    if len(elements) > LONGEST_LINE_BARS:
        raise LessonError(
            f"the part has {len(elements)} bars; a line has at most {LONGEST_LINE_BARS}, so export a shorter one"
        )
    measures: list[XmlMeasure] = []
    divisions = Fraction(0)
    endings: frozenset[int] = frozenset()
    for number, element in enumerate(elements, 1):
        _refuse_what_moves_bars(element, meter, number)
        notes, length, divisions = _notes(element, divisions, meter, number)
        endings = _opened(element, number) or endings
        repeats = [repeat.get("direction") for repeat in element.iter("repeat")]
        marked = element.get("implicit") == "yes" or element.get("number") == "0"
        turns = Turns("forward" in repeats, _times(element, number), endings, marks_of(element, number))
        measures.append(XmlMeasure(notes, length, marked and 0 < length < meter.length, turns))
        if any(ending.get("type") in ("stop", "discontinue") for ending in element.iter("ending")):
            endings = frozenset()
    return tuple(measures)


# --- meter, repeats -----------------------------------------------------------------------------


def _refuse_what_moves_bars(element: Element, meter: Meter, number: int) -> None:
    for time in element.iterfind("attributes/time"):
        _check_time(time, meter, number)
    for tag, name in _NOTATED_AGAIN.items():
        if any(style.get("type") != "stop" for style in element.iterfind(f"attributes/measure-style/{tag}")):
            raise LessonError(f"bar {number} has {name}; write its notes out in the notation program")


def _check_time(time: Element, meter: Meter, number: int) -> None:
    """Refuse another meter than the groove's; a sum such as 3+2/4 is its whole, and 2/2 is 4/4."""
    beats = [(element.text or "").strip() for element in time.findall("beats")]
    units = [(element.text or "").strip() for element in time.findall("beat-type")]
    pairs = list(zip(beats, units, strict=False))
    found = "+".join(f"{beat}/{unit}" for beat, unit in pairs) or "no meter"
    known = all(re.fullmatch(r"\d{1,2}(\s*\+\s*\d{1,2})*/[1-9]\d?", f"{beat}/{unit}", re.ASCII) for beat, unit in pairs)
    if known and len(beats) == len(units):
        sums = [(sum(map(int, beat.split("+"))), int(unit)) for beat, unit in pairs]
        length = sum((Fraction(4 * count, unit) for count, unit in sums), Fraction(0))
        written = Meter(sum(count for count, _ in sums), sums[0][1]) if len({unit for _, unit in sums}) == 1 else None
        if written == meter or (written is None and sums and length == meter.length):
            return
        if written == Meter(2, 2) and meter == Meter(4, 4):
            return
    raise LessonError(
        f"bar {number} is in {shown(found)}, but the groove is in {meter}; "
        "every bar of the line must be in the groove's meter"
    )


def _opened(element: Element, number: int) -> frozenset[int]:
    """The passes for which an ending that begins here is played: "1, 2" is {1, 2}."""
    opened: set[int] = set()
    for ending in element.iter("ending"):
        if ending.get("type") == "start":
            text = ending.get("number", "")
            if not re.fullmatch(r"\s*[1-9]\d?(\s*[,.]?\s*[1-9]\d?)*[\s.]*", text[:40]):
                raise LessonError(f"bar {number}: '{shown(text)}' is not the number of an ending; write 1 or 1, 2")
            opened |= {int(digits) for digits in re.findall(r"\d+", text)}
    return frozenset(opened)


def _times(element: Element, number: int) -> int:
    """How often what ends here is played: twice, unless the repeat says otherwise."""
    for repeat in element.iter("repeat"):
        if repeat.get("direction") == "backward":
            text = repeat.get("times", "2")
            if not re.fullmatch(r"[1-9]\d?", text):
                raise LessonError(f"bar {number}: a repeat is played '{shown(text)}' times; write 2 to 99")
            return int(text)
    return 0


# --- notes --------------------------------------------------------------------------------------


@dataclass
class _Cursor:
    """Where the next note stands, and where lengths that were rounded in the file would have put it."""

    at: Fraction = Fraction(0)
    counted: Fraction = Fraction(0)  # by the durations as they stand

    def advance(self, length: Fraction, counted: Fraction) -> None:
        self.at += length
        self.counted += counted

    def move(self, counted: Fraction, rounded: Fraction) -> None:
        """Go forward or back by a duration as it stands, to the place nearby that notes can have."""
        self.counted += counted
        near = Fraction(round(self.counted * PLACES), PLACES)
        self.at = near if abs(near - self.counted) <= rounded else self.counted


def _notes(
    element: Element, divisions: Fraction, meter: Meter, number: int
) -> tuple[tuple[XmlNote, ...], Fraction, Fraction]:
    """A measure's notes and rests, its length, and the divisions that hold after it."""
    notes: list[XmlNote] = []
    cursor, last, end = _Cursor(), Fraction(0), Fraction(0)
    for child in element:
        if child.tag == "attributes":
            divisions = _divisions(child, divisions, number)
        elif child.tag in ("backup", "forward"):
            counted = _duration(child, divisions, number) * (-1 if child.tag == "backup" else 1)
            cursor.move(counted, ROUNDED / divisions)
        elif child.tag == "note":
            chord = child.find("chord") is not None
            if chord and not notes:
                raise LessonError(f"bar {number} begins with a chord's second note; export the part again")
            note, counted = _note(child, last if chord else cursor.at, divisions, meter, number)
            notes.append(note)
            if len(notes) > MOST_NOTES_IN_BAR:
                raise LessonError(
                    f"bar {number} holds more than {MOST_NOTES_IN_BAR} notes; export the line's part alone"
                )
            last = note.onset
            if not chord:
                cursor.advance(note.length, counted)
        _check_place(cursor.at, number)
        end = max(end, cursor.at)
    return tuple(notes), end, divisions


def _check_place(at: Fraction, number: int) -> None:
    if at.denominator > FINEST:
        raise LessonError(f"bar {number} has lengths that fit no grid; export the part again")
    if at < 0:
        raise LessonError(f"bar {number} steps back over its own start; export the part again")


def _divisions(attributes: Element, before: Fraction, number: int) -> Fraction:
    text = attributes.findtext("divisions")
    if text is None:
        return before
    return _positive(text, f"bar {number}: divisions")


def _duration(element: Element, divisions: Fraction, number: int) -> Fraction:
    if not divisions:
        raise LessonError(f"bar {number} comes before its divisions are said; export the part again")
    return _positive(element.findtext("duration", ""), f"bar {number}: a duration") / divisions


def _positive(text: str, what: str) -> Fraction:
    found = re.fullmatch(r"\s*(\d{1,7}(\.\d{1,6})?)\s*", text, re.ASCII)
    value = Fraction(found[1]) if found else Fraction(0)
    if not value:
        raise LessonError(f"{what} of '{shown(text)}' is not a length; export the part again")
    return value


def _note(note: Element, onset: Fraction, divisions: Fraction, meter: Meter, number: int) -> tuple[XmlNote, Fraction]:
    """A note or rest, and its length as the durations count it."""
    voice = shown(note.findtext("voice", "1")) or "1"
    rest = note.find("rest")
    drum = _instrument(note)
    if note.find("grace") is not None:
        return XmlNote(voice, onset, Fraction(0), "grace", instrument=drum, simplified=GRACE), Fraction(0)
    whole_bar = rest is not None and rest.get("measure") == "yes"
    counted = meter.length if whole_bar else _duration(note, divisions, number)
    length = _meant(note, counted, divisions)
    if rest is not None:
        return XmlNote(voice, onset, length, "rest", fault=_odd_tuplet(note)), counted
    if note.get("print-object") == "no":
        return XmlNote(voice, onset, length, "rest", simplified="hidden notes are read as rests"), counted
    if note.find("cue") is not None:
        return XmlNote(voice, onset, length, "rest", simplified="cue notes are read as rests"), counted
    ties = {tie.get("type") for tie in (*note.findall("tie"), *note.iterfind("notations/tied"))}
    rolled = note.find("notations/ornaments/tremolo") is not None
    return XmlNote(
        voice,
        onset,
        length,
        "held" if "stop" in ties else "struck",
        _accented(note),
        "start" in ties,
        drum,
        _odd_tuplet(note),
        "rolls and tremolos are read as one stroke" if rolled else "",
    ), counted


def _meant(note: Element, counted: Fraction, divisions: Fraction) -> Fraction:
    """A note's length by its type, dots and tuplet, where its duration is that length rounded."""
    value = _TYPES.get(note.findtext("type", "").strip())
    dots = len(note.findall("dot"))
    if value is None or dots > 2:
        return counted
    length = value_length(value + "." * dots)
    change = note.find("time-modification")
    if change is not None:
        actual, normal = (change.findtext(tag, "").strip() for tag in ("actual-notes", "normal-notes"))
        if not all(re.fullmatch(r"[1-9]\d?", text, re.ASCII) for text in (actual, normal)):
            return counted
        length *= Fraction(int(normal), int(actual))
    return length if abs(length - counted) <= min(ROUNDED / divisions, length / 8) else counted


def _instrument(note: Element) -> str:
    instrument = note.find("instrument")
    return "" if instrument is None else instrument.get("id", "")


def _accented(note: Element) -> bool:
    return any(note.find(f"notations/articulations/{mark}") is not None for mark in ("accent", "strong-accent"))


def _odd_tuplet(note: Element) -> str:
    """Say which tuplet a note stands in, if it is not a triplet."""
    change = note.find("time-modification")
    if change is None:
        return ""
    actual, normal = (change.findtext(tag, "").strip() for tag in ("actual-notes", "normal-notes"))
    known = all(re.fullmatch(r"[1-9]\d{0,2}", text, re.ASCII) for text in (actual, normal))
    if known and Fraction(int(normal), int(actual)) in (TRIPLET, 1):
        return ""
    return f"a tuplet of {shown(actual) or '?'} in the time of {shown(normal) or '?'}"


def at_place(number: int, onset: Fraction, meter: Meter) -> str:
    """A place in the file: `at_place(2, Fraction(3, 2), Meter(4, 4))` is "bar 2, beat 2&"."""
    return f"bar {number}, beat {place_name(onset, meter)}"


def faults(notes: Iterable[XmlNote], number: int, meter: Meter) -> Iterator[str]:
    """What cannot be read among these notes, each with its place and what to do."""
    for note in notes:
        if note.fault:
            remedy = "write it as eighths, triplets or sixteenths"
            place = at_place(number, note.onset, meter)
            yield f"{place}: {note.fault} cannot be read; {remedy} in the notation program"
