"""One part of a MusicXML score as measures of notes and rests: what stands where, in which voice, what cannot be read.

A note that cannot be read carries its fault, because the voice it stands in may not be the one that is wanted;
only what leaves the place of everything after it unknown is refused at once. Bars are numbered from 1 as they stand
in the file, whatever it calls them. Source: W3C MusicXML 4.0.
"""

import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import takewhile

from grooves.errors import LessonError
from grooves.rhythm import Kind, Meter, place_name
from render.reading.musicxml_file import Element
from render.reading.parts import LONGEST_LINE_BARS, shown

TRIPLET = Fraction(2, 3)
MOST_NOTES_IN_BAR = 1000  # in one bar, all voices and chords
FINEST = 1_000_000  # parts of a quarter; past that the numbers are an attack on the arithmetic, or damage
_NOTATED_AGAIN = {
    "measure-repeat": "a repeat-bar sign",
    "beat-repeat": "a repeat-beat sign",
    "slash": "slash notation",
}
_JUMPS = {"dacapo": "da capo", "dalsegno": "dal segno", "tocoda": "to coda"}


@dataclass(frozen=True)
class XmlNote:
    """A note, one note of a chord, or a rest: `XmlNote("1", Fraction(0), Fraction(1), "struck")`."""

    voice: str
    onset: Fraction  # from the start of its measure
    length: Fraction
    kind: Kind
    accent: bool = False
    tied_on: bool = False
    instrument: str = ""  # id in the file
    fault: str = ""  # why it cannot be read
    simplified: str = ""  # what is left out of it


@dataclass(frozen=True)
class XmlMeasure:
    """A measure as it stands in the file; `times` is how often a repeat ending here is played, 0 for no repeat."""

    signs: tuple[XmlNote, ...]
    length: Fraction
    pickup: bool  # shorter than its meter, and marked so
    forward: bool = False
    times: int = 0
    endings: frozenset[int] = frozenset()


def read_measures(part: Element, meter: Meter) -> tuple[XmlMeasure, ...]:
    """Read a part: `read_measures(part, Meter(4, 4))[0].signs`. Raises LessonError with the bar."""
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
        signs, length, divisions = _signs(element, divisions, meter, number)
        endings = _opened(element, number) or endings
        repeats = [repeat.get("direction") for repeat in element.iter("repeat")]
        marked = element.get("implicit") == "yes" or element.get("number") == "0"
        pickup = marked and 0 < length < meter.length
        measures.append(XmlMeasure(signs, length, pickup, "forward" in repeats, _times(element, number), endings))
        if any(ending.get("type") in ("stop", "discontinue") for ending in element.iter("ending")):
            endings = frozenset()
    return tuple(measures)


# --- meter, repeats, jumps ----------------------------------------------------------------------


def _refuse_what_moves_bars(element: Element, meter: Meter, number: int) -> None:
    for time in element.iterfind("attributes/time"):
        _check_time(time, meter, number)
    for tag, name in _NOTATED_AGAIN.items():
        if any(style.get("type") != "stop" for style in element.iterfind(f"attributes/measure-style/{tag}")):
            raise LessonError(f"bar {number} has {name}; write its notes out in the notation program")
    for sound in element.iter("sound"):
        for attribute, name in _JUMPS.items():
            if sound.get(attribute):
                raise LessonError(f"bar {number} jumps ({name}); write the bars out in the order they are played")


def _check_time(time: Element, meter: Meter, number: int) -> None:
    beats = [(element.text or "").strip() for element in time.findall("beats")]
    units = [(element.text or "").strip() for element in time.findall("beat-type")]
    found = "+".join(f"{beat}/{unit}" for beat, unit in zip(beats, units, strict=False)) or "no meter"
    same = found == str(meter) and len(units) == 1
    if not same and not (found == "2/2" and meter == Meter(4, 4)):
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


def playing_order(measures: Sequence[XmlMeasure]) -> tuple[int, ...]:
    """Indices in the order they are played, repeats and endings written out: (0, 1, 0, 1) for two bars repeated."""
    order: list[int] = []
    start, index, turn = (1 if measures[0].pickup and len(measures) > 1 else 0), 0, 1
    while index < len(measures):
        here = measures[index]
        if here.forward and index != start:
            start, turn = index, 1
        skipped = bool(here.endings) and turn not in here.endings
        if not skipped:
            order.append(index)
        if len(order) > LONGEST_LINE_BARS:
            raise LessonError(f"with its repeats the line has more than {LONGEST_LINE_BARS} bars")
        if here.times and not skipped and turn < _turns(measures, index):
            index, turn = start, turn + 1
            continue
        over = here.times and not skipped and not here.endings
        index += 1
        if over or (here.endings and index < len(measures) and not measures[index].endings):
            start, turn = index, 1
    return tuple(order)


def _turns(measures: Sequence[XmlMeasure], index: int) -> int:
    """How often a section is played whose repeat ends at this index."""
    endings = measures[index].endings
    if not endings:
        return measures[index].times
    later = [m.endings for m in takewhile(lambda measure: measure.endings, measures[index + 1 :])]
    if 1 in endings and all(other == endings for other in later):  # what follows is the ending without a bracket
        return max(endings) + 1
    return max(endings.union(*later))


# --- signs --------------------------------------------------------------------------------------


def _signs(
    element: Element, divisions: Fraction, meter: Meter, number: int
) -> tuple[tuple[XmlNote, ...], Fraction, Fraction]:
    """A measure's signs, its length, and the divisions that hold after it."""
    signs: list[XmlNote] = []
    at = last = end = Fraction(0)
    for child in element:
        if child.tag == "attributes":
            divisions = _divisions(child, divisions, number)
        elif child.tag in ("backup", "forward"):
            at += _duration(child, divisions, number) * (-1 if child.tag == "backup" else 1)
        elif child.tag == "note":
            chord = child.find("chord") is not None
            if chord and not signs:
                raise LessonError(f"bar {number} begins with a chord's second note; export the part again")
            sign = _sign(child, last if chord else at, divisions, meter, number)
            signs.append(sign)
            if len(signs) > MOST_NOTES_IN_BAR:
                raise LessonError(
                    f"bar {number} holds more than {MOST_NOTES_IN_BAR} notes; export the line's part alone"
                )
            last = sign.onset
            at += 0 if chord else sign.length
        if at.denominator > FINEST:
            raise LessonError(f"bar {number} has lengths that fit no grid; export the part again")
        if at < 0:
            raise LessonError(f"bar {number} steps back over its own start; export the part again")
        end = max(end, at)
    return tuple(signs), end, divisions


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


def _sign(note: Element, onset: Fraction, divisions: Fraction, meter: Meter, number: int) -> XmlNote:
    voice = shown(note.findtext("voice", "1")) or "1"
    rest = note.find("rest")
    if note.find("grace") is not None:
        return XmlNote(voice, onset, Fraction(0), "struck", instrument=_instrument(note), fault="a grace note")
    whole_bar = rest is not None and rest.get("measure") == "yes"
    length = meter.length if whole_bar else _duration(note, divisions, number)
    if rest is not None:
        return XmlNote(voice, onset, length, "rest", fault=_odd_tuplet(note))
    if note.find("cue") is not None:
        return XmlNote(voice, onset, length, "rest", simplified="cue notes are read as rests")
    ties = {tie.get("type") for tie in (*note.findall("tie"), *note.iterfind("notations/tied"))}
    return XmlNote(
        voice,
        onset,
        length,
        "held" if "stop" in ties else "struck",
        _accented(note),
        "start" in ties,
        _instrument(note),
        _odd_tuplet(note),
        "rolls and tremolos are read as one stroke" if note.find("notations/ornaments/tremolo") is not None else "",
    )


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


def faults(signs: Iterable[XmlNote], number: int, meter: Meter) -> Iterator[str]:
    """What cannot be read among these signs, each with its place and what to do."""
    for sign in signs:
        if sign.fault:
            remedy = "take it out" if "grace" in sign.fault else "write it as eighths, triplets or sixteenths"
            place = at_place(number, sign.onset, meter)
            yield f"{place}: {sign.fault} cannot be read; {remedy} in the notation program"
