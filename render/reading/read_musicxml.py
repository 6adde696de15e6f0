"""One line of rhythm from a MusicXML score: which part, which drum, which voice, and its bars as written.

A note is one stroke whatever its pitch or head; the notes of a chord are one stroke. Ties, dots, triplets and
accents are kept; a pickup is filled with rests in front; repeats and their endings are written out. What a bar
holds besides that is refused or, where the rhythm stays what it is, left out and reported.
Sources: W3C MusicXML 4.0 (`midi-unpitched` is the MIDI key + 1); General MIDI 1 percussion keys.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import groupby, pairwise

from grooves.errors import LessonError
from grooves.kit import PARTS
from grooves.rhythm import Bar, Kind, Meter, Symbol, amount, spell, value_name
from render.reading.imported_line import ImportedLine
from render.reading.measures import XmlMeasure, XmlNote, at_place, faults, read_measures
from render.reading.musicxml_file import Element, open_musicxml
from render.reading.parts import (
    DRUM_KEYS,
    choice,
    listed,
    matching,
    numbered,
    numbers_listed,
    pick,
    shown,
    unknown_part,
)
from render.reading.playing_order import playing_order
from render.reading.rebar import rebarred
from render.reading.rehearsal_letters import rehearsal_letters
from render.reading.voices import one_rhythm

MOST_PARTS = 200
KINDS: tuple[Kind, ...] = ("struck", "held", "rest")
OUR_LINE = "line"  # what `render.paper.notation` calls the part that holds the reading line


@dataclass(frozen=True)
class _Part:
    """A part of the score: `instruments` are its drums, name and MIDI key (0 for none) by id in the file."""

    name: str
    element: Element
    instruments: Mapping[str, tuple[str, int]]

    @property
    def sounding(self) -> bool:
        return any(note.find("rest") is None for note in self.element.iter("note"))


@dataclass(frozen=True)
class _Chosen:
    part: _Part
    drums: frozenset[str] | None = None  # ids in the file; None: every note of the part


def bars_from_musicxml(data: bytes, meter: Meter, part: str | int | None = None) -> ImportedLine:
    """Read a line from a score's bytes: `bars_from_musicxml(data, Meter(4, 4), "Snare").bars`.

    `part` is a part's name or number, or a drum's name. Raises LessonError with the bar.
    """
    parts = _parts(open_musicxml(data))
    chosen = _choose(parts, part)
    measures = read_measures(chosen.part.element, meter)
    notes, told = one_rhythm(measures, chosen.drums)
    bars = [
        _measure_bar(mine, measure, number, meter)
        for number, (mine, measure) in enumerate(zip(notes, measures, strict=True), 1)
    ]
    order = playing_order([measure.turns for measure in measures], _first_repeated(measures, meter))
    pickup, whole, joined = rebarred(
        [(index + 1, bars[index], measures[index].length) for index in order], measures[0].pickup, meter
    )
    mended, loose = _mend_ties([pickup, *whole])
    simplified = dict.fromkeys(note.simplified for mine in notes for note in mine if note.simplified)
    report = [
        *_parts_report(parts, chosen),
        *told,
        *_drums_report(chosen, notes),
        *_pickup_report(pickup, meter),
        *([f"{numbers_listed(joined)} and what follows are one bar each, parted in the score"] if joined else []),
        *([f"repeats and jumps written out: {len(bars)} bars became {len(order)}"] if len(order) != len(bars) else []),
        *simplified,
        *([f"{loose} notes tied to nothing before them are struck"] if loose else []),
    ]
    whole_bars = len(whole) + bool(pickup) == len(order)
    letters = rehearsal_letters([one.element for one in parts], order, bool(pickup)) if whole_bars else ()
    return ImportedLine(mended[1:], tuple(report), mended[0], letters)


# --- parts and drums ----------------------------------------------------------------------------


def _parts(root: Element) -> list[_Part]:
    listing = {entry.get("id", ""): entry for entry in root.iterfind("part-list/score-part")}
    found = root.findall("part")
    if len(found) > MOST_PARTS:
        raise LessonError(f"has {len(found)} parts; export the line's part alone")
    parts = []
    for element in found:
        name = element.get("id", "")
        entry = listing.get(name)
        called = "" if entry is None else entry.findtext("part-name", "").strip()
        parts.append(_Part(called or name, element, {} if entry is None else _instruments(entry)))
    return parts


def _instruments(entry: Element) -> dict[str, tuple[str, int]]:
    keys = {}
    for sound in entry.findall("midi-instrument"):
        text = sound.findtext("midi-unpitched", "").strip()
        keys[sound.get("id", "")] = int(text) - 1 if text.isascii() and text.isdigit() and len(text) < 4 else 0
    return {
        drum.get("id", ""): (drum.findtext("instrument-name", "").strip(), keys.get(drum.get("id", ""), 0))
        for drum in entry.findall("score-instrument")
    }


def _choose(parts: Sequence[_Part], wanted: str | int | None) -> _Chosen:
    names = [part.name for part in parts]
    number = numbered(wanted)
    exact = matching(names, wanted) if isinstance(wanted, str) else None
    if exact is not None:
        return _Chosen(parts[exact])
    if number is not None:
        return _Chosen(parts[pick(names, number)])
    if isinstance(wanted, str):
        return _by_drum(parts, wanted)
    sounding = [part for part in parts if part.sounding]
    if not sounding:
        raise LessonError("there are no notes in it")
    ours = [part for part in sounding if part.name.casefold() == OUR_LINE]
    if len(sounding) > 1 and len(ours) != 1:
        one = choice(names, parts.index(sounding[0]))
        raise LessonError(f"{len(sounding)} parts have notes ({listed(names)}); choose one: {one}")
    return _Chosen((ours if len(ours) == 1 else sounding)[0])


def _by_drum(parts: Sequence[_Part], wanted: str) -> _Chosen:
    """The part that has a drum of this name, or with this drum's General MIDI key."""
    word = wanted.casefold().strip()
    for part in parts:
        drums = {drum for drum, (name, _) in part.instruments.items() if name.casefold() == word}
        drums = drums or {drum for drum, (_, key) in part.instruments.items() if key in DRUM_KEYS.get(word, ())}
        if drums:
            return _Chosen(part, frozenset(drums) if len(part.instruments) > 1 else None)
    drums_there = [name for part in parts for name, _ in part.instruments.values()]
    raise unknown_part(wanted, [part.name for part in parts], [*drums_there, *PARTS])


def _parts_report(parts: Sequence[_Part], chosen: _Chosen) -> list[str]:
    names = [part.name for part in parts]
    drums = sorted(chosen.part.instruments[drum][0] for drum in chosen.drums or ())
    read = shown(", ".join([chosen.part.name, *drums]))
    return [f"parts: {listed(names)}; read: {read}"] if len(names) > 1 or drums else []


def _drums_report(chosen: _Chosen, notes: Iterable[Iterable[XmlNote]]) -> list[str]:
    drums = {note.instrument for mine in notes for note in mine if note.kind == "struck" and note.instrument}
    if chosen.drums is not None or len(drums) < 2:
        return []
    names = sorted(shown(chosen.part.instruments.get(drum, (drum, 0))[0]) for drum in drums)
    return [f"{', '.join(names[:16])} are read as one rhythm; part may name one of them"]


# --- bars ---------------------------------------------------------------------------------------


def _first_repeated(measures: Sequence[XmlMeasure], meter: Meter) -> int:
    """Where a repeat without a sign at its start goes back to: to the pickup if its bar leaves room for it."""
    if not measures[0].pickup or len(measures) == 1:
        return 0
    ends = [m.length for m in measures if m.turns.times or m.turns.marks & {"dacapo"}]
    return 0 if ends and ends[0] + measures[0].length == meter.length else 1


def _measure_bar(notes: Sequence[XmlNote], measure: XmlMeasure, number: int, meter: Meter) -> Bar:
    """One measure as it stands, short ones too: chords joined, gaps filled with rests."""
    for fault in faults(notes, number, meter):
        raise LessonError(fault)
    symbols: list[Symbol] = []
    end = Fraction(0)
    played = sorted((note for note in notes if note.kind != "grace"), key=lambda note: note.onset)
    for onset, group in groupby(played, key=lambda note: note.onset):
        symbol = _joined(list(group), onset)
        if symbol.onset < end:
            raise LessonError(
                f"{at_place(number, symbol.onset, meter)}: two notes of one voice overlap; export it again"
            )
        symbols += [*_rest(end, symbol.onset), symbol]
        end = symbol.end
    symbols += _rest(end, measure.length or meter.length)
    return tuple(piece for symbol in symbols for piece in _written(symbol, meter, number))


def _joined(group: Sequence[XmlNote], onset: Fraction) -> Symbol:
    """What sounds at one place: a stroke if any note of the chord is struck."""
    kind: Kind = next(kind for kind in KINDS if any(note.kind == kind for note in group))
    first = next(note for note in group if note.kind == kind)
    accent = kind == "struck" and any(note.accent for note in group)
    return Symbol(onset, first.length, kind, accent)


def _rest(start: Fraction, end: Fraction) -> list[Symbol]:
    return [Symbol(start, end - start, "rest")] if end > start else []


def _written(symbol: Symbol, meter: Meter, number: int) -> Bar:
    """The symbol as it stands, or in pieces if no single sign writes its length."""
    if value_name(symbol.length):
        return (symbol,)
    pieces = spell((symbol,), meter) if symbol.end <= meter.length else (symbol,)
    for piece in pieces:
        if value_name(piece.length) is None:
            raise LessonError(
                f"{at_place(number, piece.onset, meter)}: a length of {shown(amount(piece.length))} quarters cannot be "
                "read; a line has notes down to 32nds, and triplets"
            )
    return pieces


def _mend_ties(bars: Sequence[Bar]) -> tuple[tuple[Bar, ...], int]:
    """Strike each note that is tied to a rest or to nothing, and count them."""
    flat = [Symbol(Fraction(0), Fraction(0), "rest"), *(symbol for bar in bars for symbol in bar)]
    loose = {index for index, (a, b) in enumerate(pairwise(flat)) if b.kind == "held" and a.kind == "rest"}
    mended = [replace(symbol, kind="struck") if index in loose else symbol for index, symbol in enumerate(flat[1:])]
    rest = iter(mended)
    return tuple(tuple(next(rest) for _ in bar) for bar in bars), len(loose)


def _pickup_report(pickup: Bar, meter: Meter) -> list[str]:
    if not pickup:
        return []
    beats = amount((meter.length - pickup[0].onset) / meter.step)
    return [f"a pickup of {beats} {'beat' if beats == '1' else 'beats'} stands before bar 1"]
