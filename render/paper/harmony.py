"""Chord symbols above a staff, as MusicXML 4.0 `<harmony>`: root, kind, what stands behind a slash, and degrees.

A degree that is added is counted from a dominant chord: major and perfect, the seventh minor (W3C MusicXML 4.0,
`<degree-alter>`). The kind's `text` is the quality as it was written.
"""

from collections.abc import Iterator, Sequence
from fractions import Fraction

from lxml import etree

from grooves.players import ChordMark

Element = etree._Element

# The kinds of MusicXML 4.0 that chords are told as, by their tones in semitones above the root.
_KINDS: dict[tuple[int, ...], str] = {
    (0, 4, 7): "major", (0, 3, 7): "minor", (0, 3, 6): "diminished", (0, 4, 8): "augmented",
    (0, 5, 7): "suspended-fourth", (0, 2, 7): "suspended-second", (0, 4, 7, 9): "major-sixth",
    (0, 3, 7, 9): "minor-sixth", (0, 4, 7, 10): "dominant", (0, 4, 7, 11): "major-seventh",
    (0, 3, 7, 10): "minor-seventh", (0, 3, 7, 11): "major-minor", (0, 3, 6, 10): "half-diminished",
    (0, 3, 6, 9): "diminished-seventh", (0, 4, 8, 10): "augmented-seventh", (0, 4, 7, 10, 14): "dominant-ninth",
    (0, 4, 7, 11, 14): "major-ninth", (0, 3, 7, 10, 14): "minor-ninth", (0, 4, 7, 10, 14, 17): "dominant-11th",
    (0, 3, 7, 10, 14, 17): "minor-11th", (0, 4, 7, 10, 14, 17, 21): "dominant-13th",
    (0, 4, 7, 11, 14, 17, 21): "major-13th",
}  # fmt: skip
# Degrees that may be added to a kind: semitones above the root, number, alteration.
_DEGREES = {
    2: (2, 0), 5: (4, 0), 9: (6, 0), 10: (7, 0), 11: (7, 1), 13: (9, -1), 14: (9, 0), 15: (9, 1), 17: (11, 0),
    18: (11, 1), 20: (13, -1), 21: (13, 0),
}  # fmt: skip
_ALTERED_FIFTHS = ((6, -1), (8, 1))
_ALTERS = {"": 0, "b": -1, "#": 1, "bb": -2, "##": 2}


def with_chords(
    content: Sequence[Element], marks: Sequence[ChordMark], divisions: int, drawn: bool = False
) -> Iterator[Element]:
    """A measure's elements with chord symbols before the notes that they stand above.

    One that begins while a note lasts stands before it, with an offset. `drawn`: for engraving, in letters alone.
    """
    waiting = list(marks)
    place = Fraction(0)
    for piece in content:
        length = _length(piece, divisions)
        while length and waiting and waiting[0].onset < place + length:
            mark = waiting.pop(0)
            yield harmony(mark, round((mark.onset - place) * divisions), drawn)
        yield piece
        if piece.tag == "backup":  # a second voice, below the chords
            length = Fraction(0)
        place += length


def _length(piece: Element, divisions: int) -> Fraction:
    duration = piece.findtext("duration")
    return Fraction(int(duration), divisions) if duration and piece.find("chord") is None else Fraction(0)


def harmony(mark: ChordMark, offset: int = 0, drawn: bool = False) -> Element:
    """One chord symbol, `offset` divisions after the place where it stands in its measure.

    One that is to be drawn has its signs as letters, and no degrees: engravers set those in fonts of their own.
    """
    kind, degrees = _kind(mark.tones)
    written = mark.symbol.removesuffix(f"/{mark.bass}" if mark.bass else "")[len(mark.root) :]
    made = etree.Element("harmony", placement="above")
    made.append(_note("root", mark.root, drawn))
    etree.SubElement(made, "kind", text=written).text = kind
    if mark.bass:
        made.append(_note("bass", mark.bass, drawn))
    for value, alter, how in () if drawn else degrees:
        degree = etree.SubElement(made, "degree", {"print-object": "no"})
        for tag, text in (("value", str(value)), ("alter", str(alter)), ("type", how)):
            etree.SubElement(degree, f"degree-{tag}").text = text
    if offset:
        etree.SubElement(made, "offset").text = str(offset)
    return made


def _note(tag: str, name: str, drawn: bool) -> Element:
    made = etree.Element(tag)
    step = etree.SubElement(made, f"{tag}-step", {"text": name} if drawn else {})
    step.text = name[0]
    if name[1:] and not drawn:
        etree.SubElement(made, f"{tag}-alter").text = str(_ALTERS[name[1:]])
    return made


def _kind(tones: tuple[int, ...]) -> tuple[str, list[tuple[int, int, str]]]:
    """The kind that says most of a chord, and the degrees that it leaves unsaid.

    A suspended seventh is told as a dominant with its third taken away: readers differ on an added seventh.
    """
    if tones in _KINDS:
        return _KINDS[tones], []
    if not {3, 4} & set(tones) and 10 in tones:
        kind, degrees = _kind(tuple(sorted({4, *tones} - {5})))
        return kind, [*degrees, (3, 0, "subtract"), (4, 0, "add")]
    base = max((kind for kind in _KINDS if _goes_with(kind, tones)), key=lambda kind: (len(kind), kind))
    altered = [
        (5, alter, "alter")
        for tone, alter in _ALTERED_FIFTHS
        if tone in tones and not {7, tone} & (set(base) & set(tones))
    ]
    added = [(*_DEGREES[tone], "add") for tone in tones if tone not in base and tone in _DEGREES]
    return _KINDS[base], [*altered, *added]


def _goes_with(kind: tuple[int, ...], tones: tuple[int, ...]) -> bool:
    """Whether a kind has no tone that a chord has not, but for a plain fifth where the chord's is altered."""
    third = next((tone for tone in (3, 4) if tone in tones), kind[1])
    fifth = {7} if {6, 8} & set(tones) else set()
    return kind[1] == third and set(kind) <= set(tones) | fifth
