"""The notes of one bar as MusicXML elements, their children in the order the schema asks for.

Ids are made of staff, printed bar and place. Durations are whole divisions of a quarter, exact.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import partial

from lxml import etree

from grooves.kit import FEET, HANDS, INSTRUMENTS
from grooves.rhythm import syllable
from grooves.score import Score
from render.paper.signs import PLAIN, Head, Sign, is_triplet
from render.paper.voices import PrintedBar, reads

Element = etree._Element
LINE, DRUMS = "line", "drums"
NAMES = ("whole", "half", "quarter", "eighth", "16th", "32nd", "64th", "128th", "256th")
TYPES = dict(zip(PLAIN, NAMES, strict=True))


@dataclass(frozen=True)
class Page:
    """What every measure of a document needs to know."""

    score: Score
    top: str  # the staff that carries the words
    divisions: int
    headings: bool
    systems: frozenset[int]
    under: frozenset[str] = frozenset()  # "counts" and "sticking", written below the line's notes
    letters: bool = True  # rehearsal letters are written


def element(tag: str, *content: Element | str, **attributes: str) -> Element:
    """An element with its children or its text: `element("dot")`, `element("beats", "4")`."""
    made = etree.Element(tag, attributes)
    for piece in content:
        if isinstance(piece, str):
            made.text = piece
        else:
            made.append(piece)
    return made


def instrument_id(staff: str, name: str) -> str:
    """An instrument's id within its part: `instrument_id("drums", "bass drum")` is "drums-bass-drum"."""
    return f"{staff}-{name.replace(' ', '-')}"


def voices(page: Page, staff: str, index: int, bar: PrintedBar) -> list[Element]:
    """The voices of one staff in one bar; the second follows a step back to the barline."""
    note = partial(_chord, page, staff, index)
    if staff == LINE:
        return [written for sign in bar.line for written in note(sign, "1", "up")]
    both = [
        (_marked(page, bar, signs, limbs), name, stem)
        for signs, limbs, name, stem in ((bar.hands, HANDS, "1", "up"), (bar.feet, FEET, "2", "down"))
    ]
    sounding = [voice for voice in both if voice[0]]
    content: list[Element] = []
    for signs, name, stem in sounding or [(_empty(bar), "1", "up")]:
        if content:
            content.append(element("backup", element("duration", _duration(page, bar.length))))
        content += [written for sign in signs for written in note(sign, name, stem)]
    return content


def _marked(page: Page, bar: PrintedBar, signs: Sequence[Sign], limbs: Sequence[str]) -> Sequence[Sign]:
    """The signs with the accents that are to be seen.

    A document keeps every note's own. A printed chord shows one mark for all its heads; where limbs read, it is the
    line's, and the grid tells the groove's.
    """
    if page.headings:
        return signs
    own = reads(page.score, bar.reading, limbs)
    return [replace(sign, heads=tuple(_shown(head, own) for head in sign.heads)) for sign in signs]


def _shown(head: Head, own: bool) -> Head:
    return replace(head, accent=head.accent and (head.reads or not own))


def _empty(bar: PrintedBar) -> tuple[Sign, ...]:
    return (Sign(Fraction(0), bar.length),)


def _duration(page: Page, length: Fraction) -> str:
    return str(int(length * page.divisions))


def _chord(page: Page, staff: str, index: int, sign: Sign, voice: str, stem: str) -> list[Element]:
    """The note elements of one sign: its heads from the lowest up, or one rest."""
    heads = sorted(sign.heads, key=lambda head: _height(INSTRUMENTS[head.instrument].step))
    if not page.headings:  # one mark for the printed chord
        accented = next((head for head in heads if head.accent), None)
        heads = [replace(head, accent=head is accented) for head in heads]
    return [
        _note(page, staff, index, sign, voice, stem, head, chorded=place > 0)
        for place, head in enumerate(heads or [None])
    ]


def _height(step: str) -> tuple[int, int]:
    return int(step[1]), "CDEFGAB".index(step[0])


def _note(
    page: Page, staff: str, index: int, sign: Sign, voice: str, stem: str, head: Head | None, chorded: bool
) -> Element:
    """One note with its children in the order the schema asks for."""
    whole_bar = head is None and sign.length == page.score.meter.length
    content: list[Element] = [element("chord")] if chorded else []
    content.append(_place(head) if head else element("rest", **({"measure": "yes"} if whole_bar else {})))
    content.append(element("duration", _duration(page, sign.length)))
    if head:
        content += [element("tie", type=word) for word in tie_words(sign)]
        content.append(element("instrument", id=instrument_id(staff, head.instrument)))
    content.append(element("voice", voice))
    if not whole_bar:
        content += type_of(sign)
    if head:
        content += [element("stem", stem), *_notehead(head)]
    if not chorded:
        content += [element("beam", word, number=str(level)) for level, word in enumerate(sign.beams, 1)]
    marks = _notations(sign, head, stem, chorded)
    content += [element("notations", *marks)] if marks else []
    if head and staff == LINE:
        content += _lyrics(page, sign)
    return element("note", *content, **({"id": note_id(staff, index, sign, head)} if head else {}))


def _lyrics(page: Page, sign: Sign) -> list[Element]:
    """What is said or which hand plays, below a note of the line; a tied note's count stands in parentheses."""
    count = syllable(sign.onset, page.score.meter)
    said = {"sticking": sign.hand, "counts": f"({count})" if sign.tie_from else "" if count[:1] == "+" else count}
    words = [said[name] for name in ("sticking", "counts") if name in page.under and (name == "counts" or said[name])]
    return [
        element("lyric", element("syllabic", "single"), element("text", word), number=str(line))
        for line, word in enumerate(words, 1)
        if word
    ]


def note_id(staff: str, index: int, sign: Sign, head: Head) -> str:
    """A note's lasting name: `drums-b2-3_2-snare` is the snare on 2& of the second printed bar."""
    return f"{staff}-b{index + 1}-{place_id(sign.onset)}-{head.instrument.replace(' ', '-')}"


def place_id(onset: Fraction) -> str:
    """A place in quarters as names write it: `place_id(Fraction(3, 2))` is "3_2"."""
    return str(onset).replace("/", "_")


def _place(head: Head) -> Element:
    step = INSTRUMENTS[head.instrument].step
    return element("unpitched", element("display-step", step[0]), element("display-octave", step[1]))


def type_of(sign: Sign) -> list[Element]:
    """The written value: its type and dots, and the triplet that shortens it."""
    written = sign.length * Fraction(3, 2) if is_triplet(sign) else sign.length
    base = max(length for length in PLAIN if length <= written)
    dots = {1: 0, Fraction(3, 2): 1, Fraction(7, 4): 2}[written / base]
    triplet = element("time-modification", element("actual-notes", "3"), element("normal-notes", "2"))
    return [
        element("type", TYPES[base]),
        *(element("dot") for _ in range(dots)),
        *([triplet] if is_triplet(sign) else []),
    ]


def tie_words(sign: Sign) -> list[str]:
    """How a note is tied, in MusicXML's words: "stop" from the one before, "start" to the next."""
    return ["stop"] * sign.tie_from + ["start"] * sign.tie_on


def _notehead(head: Head) -> list[Element]:
    shape = INSTRUMENTS[head.instrument].head
    if head.ghost:
        return [element("notehead", shape, parentheses="yes")]
    return [] if shape == "normal" else [element("notehead", shape)]


def _notations(sign: Sign, head: Head | None, stem: str, chorded: bool) -> list[Element]:
    marks = [element("tied", type=word) for word in tie_words(sign)] if head else []
    marks += [] if chorded else tuplet_marks(sign)
    if head and head.accent:
        marks.append(element("articulations", element("accent", placement="above" if stem == "up" else "below")))
    return marks


def tuplet_marks(sign: Sign) -> list[Element]:
    """Where a triplet begins or ends, with a bracket where no beam holds it together."""
    if sign.tuplet not in ("start", "stop"):
        return []
    shown = {"bracket": "yes" if sign.bracket else "no"} if sign.tuplet == "start" else {}
    return [element("tuplet", type=sign.tuplet, number="1", **shown)]
