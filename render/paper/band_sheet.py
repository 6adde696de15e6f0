"""What the band plays, on staves of its own: chord symbols above, horns or piano in treble clef, the bass below.

Each bar is written out, chorus after chorus. The bass stands an octave higher than it sounds, as double basses read.
A note is spelt by the chord that it belongs to, else by the key; accidentals last to the barline (common practice).
"""

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction

from lxml import etree

from grooves.meter import Meter
from grooves.players import ChordMark, WrittenBar
from grooves.rhythm import Bar, Symbol
from grooves.score import Score
from render.paper.harmony import with_chords
from render.paper.notation import DOCTYPE, printed_chords
from render.paper.notes import Element, element, tie_words, tuplet_marks, type_of
from render.paper.signs import Head, Sign, beamed
from render.paper.voices import writable

CLEFS = {"horns": ("G", "2", 0), "piano": ("G", "2", 0), "bass": ("F", "4", -1)}  # sign, line, octaves off
_LETTERS = "CDEFGAB"
_CLASSES = (0, 2, 4, 5, 7, 9, 11)
# How many letters above its root a chord's tone is written, by semitones: thirds two, sevenths six.
_STEPS = {
    0: 0, 1: 1, 2: 1, 3: 2, 4: 2, 5: 3, 6: 4, 7: 4, 8: 4, 9: 5, 10: 6, 11: 6, 13: 1, 14: 1, 15: 1, 17: 3, 18: 3,
    20: 5, 21: 5,
}  # fmt: skip
_SHARPS, _FLATS = "FCGDAEB", "BEADGCF"  # the order in which a key takes them
_ACCIDENTALS = {-2: "flat-flat", -1: "flat", 0: "natural", 1: "sharp", 2: "double-sharp"}


@dataclass(frozen=True)
class Pitch:
    """A note's name: `Pitch("B", -1, 2)` is B flat in the octave below middle C's."""

    step: str
    alter: int
    octave: int


@dataclass(frozen=True)
class WrittenSign:
    """A sign of one part with the keys that sound in it."""

    sign: Sign
    keys: tuple[int, ...]


def staves_of(parts: Collection[str]) -> list[str]:
    """The parts that are written out, from the top down: the piano only where nobody else plays."""
    found = [part for part in ("horns", "bass") if part in parts]
    return found or [part for part in ("piano",) if part in parts]


def band_musicxml(score: Score, bars: Sequence[WrittenBar], systems: Collection[int]) -> bytes:
    """Bars of a band as MusicXML for engraving: `band_musicxml(score, band_sheet(score, passages, feel), [4])`."""
    assert score.band is not None
    staves = staves_of(score.band.parts)
    parts = [_part(score, staff, bars, frozenset(systems), top=staff == staves[0]) for staff in staves]
    listed = [
        element("score-part", element("part-name", staff, **{"print-object": "no"}), id=staff) for staff in staves
    ]
    root = element("score-partwise", element("part-list", *listed), *parts, version="4.0")
    return bytes(etree.tostring(root, xml_declaration=True, encoding="UTF-8", doctype=DOCTYPE))


def band_signs(score: Score, bars: Sequence[WrittenBar]) -> list[set[Fraction]]:
    """The places of each bar where a staff has a sign: what its width depends on."""
    parts = staves_of(score.band.parts) if score.band else []
    every = [list(_written(bars, part, score.meter)) for part in parts]
    return [{one.sign.onset for part in every for one in part[at]} for at in range(len(bars))]


def _part(score: Score, staff: str, bars: Sequence[WrittenBar], systems: frozenset[int], top: bool) -> Element:
    measures = []
    fifths = score.band.fifths if score.band else 0
    written = list(_written(bars, staff, score.meter))
    first = min(bars[0].number, 1)  # 0: a bar before bar 1, for a pickup
    for at, (bar, signs) in enumerate(zip(bars, written, strict=True)):
        notes = list(_notes(signs, bar.chords, fifths))
        if top:
            before = bars[at - 1].chords if at and at not in systems else ()
            notes = list(with_chords(notes, printed_chords(bar.chords, before), _DIVISIONS, drawn=True))
        content = [element("print", **{"new-page": "yes"})] if at in systems or at == 0 else []
        content += [_attributes(score.meter, staff, fifths)] if at == 0 else []
        last = at + 1 == len(bars)
        end = [element("barline", element("bar-style", "light-heavy"), location="right")] if last else []
        measures.append(element("measure", *content, *notes, *end, number=str(first + at)))
    return element("part", *measures, id=staff)


_DIVISIONS = 24  # of a quarter: triplets and sixteenths


def _attributes(meter: Meter, staff: str, fifths: int) -> Element:
    sign, line, octaves = CLEFS[staff]
    lower = [element("clef-octave-change", str(octaves))] if octaves else []
    return element(
        "attributes",
        element("divisions", str(_DIVISIONS)),
        element("key", element("fifths", str(fifths))),
        element("time", element("beats", str(meter.count)), element("beat-type", str(meter.unit))),
        element("clef", element("sign", sign), element("line", line), *lower),
    )


# --- from notes to signs --------------------------------------------------------------------------


def _written(bars: Sequence[WrittenBar], part: str, meter: Meter) -> Iterator[list[WrittenSign]]:
    """The signs of a part, bar by bar, ties over the barline among them."""
    held: tuple[int, ...] = ()
    left = Fraction(0)  # how long they go on in this bar
    for bar in bars:
        struck: dict[Fraction, tuple[Fraction, tuple[int, ...]]] = {}
        for note in (one for one in bar.notes if one.part == part):
            struck[note.onset] = (note.length, (*struck.get(note.onset, (Fraction(0), ()))[1], note.key))
        symbols, keys = _symbols(struck, held, left, meter.length)
        signs, sounding = [], held
        pieces = writable(symbols, meter)
        for place, piece in enumerate(pieces):
            sounding = keys.get(piece.onset, sounding)
            following = place + 1 < len(pieces) and pieces[place + 1].kind == "held"
            goes_on = following or (place + 1 == len(pieces) and _reaches(struck, left, meter.length))
            rests = piece.kind == "rest"
            heads = () if rests else (Head(part),)
            signs.append(Sign(piece.onset, piece.length, heads, piece.kind == "held", goes_on and not rests))
        onsets = [keys.get(piece.onset) for piece in pieces]
        yield [WrittenSign(sign, own) for sign, own in zip(beamed(signs, meter), _carried(onsets, held), strict=True)]
        last = max(struck, default=None)
        end = last + struck[last][0] if last is not None else left
        held, left = (struck[last][1] if last is not None else held), max(end - meter.length, Fraction(0))


def _carried(found: Sequence[tuple[int, ...] | None], held: tuple[int, ...]) -> Iterator[tuple[int, ...]]:
    for keys in found:
        held = held if keys is None else keys
        yield held


def _reaches(struck: dict[Fraction, tuple[Fraction, tuple[int, ...]]], left: Fraction, length: Fraction) -> bool:
    """Whether the last note of a bar sounds past its barline."""
    return max((onset + own for onset, (own, _) in struck.items()), default=left) > length


def _symbols(
    struck: dict[Fraction, tuple[Fraction, tuple[int, ...]]], held: tuple[int, ...], left: Fraction, length: Fraction
) -> tuple[Bar, dict[Fraction, tuple[int, ...]]]:
    """A bar as notes, ties and rests, with the keys that are struck or held at each place."""
    onsets = sorted(struck)
    ends = [*onsets[1:], length]
    first = onsets[0] if onsets else length
    symbols: list[Symbol] = []
    keys: dict[Fraction, tuple[int, ...]] = {}
    if left and held:
        until = min(left, first)
        symbols.append(Symbol(Fraction(0), until, "held"))
        keys[Fraction(0)] = held
    if (here := symbols[-1].end if symbols else Fraction(0)) < first:
        symbols.append(Symbol(here, first - here, "rest"))
    for onset, end in zip(onsets, ends, strict=False):  # a bar of rest has an end and no onset
        own = min(struck[onset][0], end - onset)
        symbols.append(Symbol(onset, own))
        keys[onset] = tuple(sorted(struck[onset][1]))
        if onset + own < end:
            symbols.append(Symbol(onset + own, end - onset - own, "rest"))
    return tuple(symbols), keys


# --- from signs to notes --------------------------------------------------------------------------


def _notes(signs: Sequence[WrittenSign], chords: Sequence[ChordMark], fifths: int) -> Iterator[Element]:
    """The notes of a bar with the accidentals that are to be seen."""
    seen: dict[tuple[str, int], int] = {}
    for one in signs:
        if not one.sign.heads:
            yield _note(one.sign, None, "", False)
            continue
        chord = next((mark for mark in reversed(chords) if mark.onset <= one.sign.onset), None)
        for place, key in enumerate(one.keys):
            pitch = spelt(key, chord, fifths)
            shown = seen.get((pitch.step, pitch.octave), _in_key(pitch.step, fifths))
            accidental = _ACCIDENTALS[pitch.alter] if shown != pitch.alter and not one.sign.tie_from else ""
            if not one.sign.tie_from:
                seen[pitch.step, pitch.octave] = pitch.alter
            yield _note(one.sign, pitch, accidental, place > 0)


def _note(sign: Sign, pitch: Pitch | None, accidental: str, chorded: bool) -> Element:
    """One note or rest with its children in the order the schema asks for."""
    content: list[Element] = [element("chord")] if chorded else []
    content.append(_pitch(pitch) if pitch else element("rest"))
    content.append(element("duration", str(int(sign.length * _DIVISIONS))))
    content += [element("tie", type=word) for word in tie_words(sign) if pitch]
    content.append(element("voice", "1"))
    kind = type_of(sign)
    after = [piece for piece in kind if piece.tag == "time-modification"]
    content += [piece for piece in kind if piece.tag != "time-modification"]
    content += [element("accidental", accidental)] if accidental else []
    content += after
    if not chorded:
        content += [element("beam", word, number=str(level)) for level, word in enumerate(sign.beams, 1)]
    marks = [element("tied", type=word) for word in tie_words(sign) if pitch]
    marks += [] if chorded else tuplet_marks(sign)
    return element("note", *content, *([element("notations", *marks)] if marks else []))


def _pitch(pitch: Pitch) -> Element:
    alter = [element("alter", str(pitch.alter))] if pitch.alter else []
    return element("pitch", element("step", pitch.step), *alter, element("octave", str(pitch.octave)))


def spelt(key: int, chord: ChordMark | None, fifths: int) -> Pitch:
    """A key by name, as a tone of its chord or of the key: `spelt(46, None, -1)` is `Pitch("B", -1, 2)`."""
    if chord:
        root = _CLASSES[_LETTERS.index(chord.root[0])] + chord.root.count("#") - chord.root.count("b")
        for tone in chord.tones:
            if (root + tone - key) % 12 == 0:
                diminished = tone == 9 and {3, 6} <= {*chord.tones}  # its seventh, not a sixth
                letter = _LETTERS[(_LETTERS.index(chord.root[0]) + (6 if diminished else _STEPS[tone])) % 7]
                return _named(key, letter)
    letters = [letter for letter in _LETTERS if (_natural(letter) + _in_key(letter, fifths) - key) % 12 == 0]
    if letters:
        return _named(key, letters[0])
    plain = [letter for letter in _LETTERS if _natural(letter) == key % 12]
    sign = -1 if fifths < 0 or (fifths == 0 and key % 12 in (3, 8, 10)) else 1
    return _named(key, plain[0] if plain else next(n for n in _LETTERS if (_natural(n) + sign - key) % 12 == 0))


def _natural(letter: str) -> int:
    return _CLASSES[_LETTERS.index(letter)]


def _in_key(letter: str, fifths: int) -> int:
    """What a key signature does to a letter: -1 flat, 1 sharp, 0 nothing."""
    return int(letter in _SHARPS[: max(fifths, 0)]) - int(letter in _FLATS[: max(-fifths, 0)])


def _named(key: int, letter: str) -> Pitch:
    alter = (key - _natural(letter) + 6) % 12 - 6
    return Pitch(letter, alter, (key - alter) // 12 - 1)
