"""A score as MusicXML 4.0: the line on its staff, and all limbs on a drum staff.

Sources: W3C MusicXML 4.0 (percussion clef with `<unpitched>`; `midi-unpitched` is the MIDI key + 1; `<swing>`
holds whole numbers in lowest terms); staff places from `grooves.kit`. The same score gives the same bytes:
no date, and note ids made of bar and place. Lengths in the file are whole divisions of a quarter, exact.
"""

from collections import Counter
from collections.abc import Collection, Iterable, Sequence
from dataclasses import replace
from fractions import Fraction
from math import lcm

from lxml import etree

from grooves.kit import INSTRUMENTS
from grooves.players import ChordMark
from grooves.score import Score
from render.paper.harmony import with_chords
from render.paper.notes import DRUMS, LINE, TYPES, Element, Page, element, instrument_id, voices
from render.paper.signs import PLAIN
from render.paper.text_metrics import printable
from render.paper.voices import PrintedBar, printed_bars, printed_pickup
from render.paper.who_reads import reads_from

TITLES = {LINE: "Line", DRUMS: "Drum set"}
DOCTYPE = '<!DOCTYPE score-partwise PUBLIC "-//Recordare//DTD MusicXML 4.0 Partwise//EN" "http://www.musicxml.org/dtds/partwise.dtd">'
# Where the line stands: the snare's space in the middle of the staff, whoever plays it.
LINE_INSTRUMENT = "snare"
SWING_DENOMINATOR = 12


def musicxml(
    score: Score,
    staves: Sequence[str] = (LINE, DRUMS),
    headings: bool = True,
    systems: Collection[int] = (),
    under: Collection[str] = (),
    letters: bool = True,
) -> bytes:
    """Write a score as MusicXML: `musicxml(score)` has a part for the line and one for the drums.

    `headings` are tempo, feel and title; `systems` are indices of printed bars that begin a new system, each on
    its own page; `under` names what stands below the line: "counts", "sticking". `letters=False` leaves out rehearsal
    letters, not the double bars before them.
    """
    printed = (*printed_pickup(score), *printed_bars(score))
    page = Page(score, staves[0], _divisions(printed), headings, frozenset(systems), frozenset(under), letters)
    parts = [_part(page, staff, printed) for staff in staves]
    listed = [_score_part(page, staff, silent=staff == LINE and DRUMS in staves) for staff in staves]
    work = [element("work", element("work-title", printable(score.title)))] if headings else []
    root = element(
        "score-partwise",
        *work,
        element("identification", element("encoding", element("software", "fourlimb"))),
        element("part-list", *listed),
        *parts,
        version="4.0",
    )
    etree.indent(root)
    return bytes(etree.tostring(root, xml_declaration=True, encoding="UTF-8", doctype=DOCTYPE))


def line_musicxml(score: Score, headings: bool = True, systems: Collection[int] = ()) -> bytes:
    """The reading line alone, spelled as it was written: `line_musicxml(score)` has no pickup and no letters."""
    return musicxml(replace(score, pickup=None), (LINE,), headings, systems, letters=False)


def _divisions(printed: Iterable[PrintedBar]) -> int:
    signs = (sign for bar in printed for voice in (bar.line, bar.hands, bar.feet) for sign in voice)
    return lcm(*(place.denominator for sign in signs for place in (sign.length, sign.end)))


# --- parts and instruments ----------------------------------------------------------------------


def _instruments(score: Score, staff: str) -> list[str]:
    if staff == LINE:
        return [LINE_INSTRUMENT]
    used = {stroke.instrument for bar in score.bars for stroke in bar.strokes}
    return [name for name in INSTRUMENTS if name in used] or [LINE_INSTRUMENT]


def _score_part(page: Page, staff: str, silent: bool) -> Element:
    """The part's entry; the line is silent beside drums that already play it, or it would sound twice."""
    names = _instruments(page.score, staff)
    sounds = [
        element(
            "midi-instrument",
            element("midi-channel", "10"),
            element("midi-unpitched", str(INSTRUMENTS[name].key + 1)),
            *([element("volume", "0")] if silent else []),
            id=instrument_id(staff, name),
        )
        for name in names
    ]
    listed = [
        element("score-instrument", element("instrument-name", name.capitalize()), id=instrument_id(staff, name))
        for name in names
    ]
    shown = {} if page.headings else {"print-object": "no"}
    return element("score-part", element("part-name", TITLES[staff], **shown), *listed, *sounds, id=staff)


def _part(page: Page, staff: str, printed: Sequence[PrintedBar]) -> Element:
    numbers = numbered([bar.number for bar in printed])
    bars = [_measure(page, staff, index, number, printed) for index, number in enumerate(numbers)]
    return element("part", *bars, id=staff)


def numbered(bars: Sequence[int]) -> list[str]:
    """Names for bars by their numbers, so that none stands twice: `numbered([1, 2, 1])` is ["1", "2", "1b"]."""
    seen: Counter[int] = Counter()
    names = []
    for bar in bars:
        seen[bar] += 1
        names.append(f"{bar}{_letters(seen[bar])}")
    return names


def _letters(time: int) -> str:
    return "" if time == 1 else chr(ord("a") + time - 1) if time <= 26 else f".{time}"


# --- measures -----------------------------------------------------------------------------------


def _measure(page: Page, staff: str, index: int, number: str, printed: Sequence[PrintedBar]) -> Element:
    bar = printed[index]
    content: list[Element] = []
    # Music for a page of ours begins with a break of its own, or verovio would break where it likes.
    if index in page.systems or (index == 0 and not page.headings):
        content.append(element("print", **{"new-page": "yes"}))
    elif page.headings and index and _jumps(printed[index - 1], bar):
        content.append(element("print", **{"new-system": "yes"}))
    if index == 0:
        content.append(_attributes(page))
    if bar.times > 1:
        content.append(
            element(
                "barline", element("bar-style", "heavy-light"), element("repeat", direction="forward"), location="left"
            )
        )
    content += _directions(page, staff, index, printed)
    notes = voices(page, staff, index, bar)
    if staff == LINE:
        notes = [*with_chords(notes, _chords(page, index, printed), page.divisions, drawn=not page.headings)]
    content += notes
    if bar.times > 1:
        content.append(_repeat_end(bar.times))
    elif index + 1 == len(printed) or _is_parted(bar, printed[index + 1]):
        style = "light-heavy" if index + 1 == len(printed) else "light-light"
        content.append(element("barline", element("bar-style", style), location="right"))
    implicit = {} if bar.number else {"implicit": "yes"}
    return element("measure", *content, number=number, **implicit, id=f"{staff}-b{index + 1}")


def _chords(page: Page, index: int, printed: Sequence[PrintedBar]) -> Sequence[ChordMark]:
    """The chords printed above a bar; one that goes on is said again where a system begins or bars are left out."""
    apart = not index or index in page.systems or _jumps(printed[index - 1], printed[index])
    return printed_chords(printed[index].chords, () if apart else printed[index - 1].chords)


def printed_chords(marks: Sequence[ChordMark], before: Sequence[ChordMark]) -> Sequence[ChordMark]:
    """The chords of a bar without the one that goes on from the bar before."""
    goes_on = bool(marks and before) and before[-1].symbol == marks[0].symbol
    return marks[1:] if goes_on else marks


def _jumps(before: PrintedBar, bar: PrintedBar) -> bool:
    """Whether bars were left out between two that are printed."""
    return before.reading == bar.reading and bar.number not in (before.number, before.number + 1)


def _is_parted(bar: PrintedBar, after: PrintedBar) -> bool:
    """Whether a double bar stands between two bars: before a letter, but for a pickup's end and a sign of repeat."""
    return bool(after.letter and bar.number and after.times == 1)


def _repeat_end(times: int) -> Element:
    again = element("repeat", direction="backward", **({"times": str(times)} if times > 2 else {}))
    return element("barline", element("bar-style", "light-heavy"), again, location="right")


def _attributes(page: Page) -> Element:
    meter = page.score.meter
    return element(
        "attributes",
        element("divisions", str(page.divisions)),
        element("time", element("beats", str(meter.count)), element("beat-type", str(meter.unit))),
        element("clef", element("sign", "percussion")),
    )


def _directions(page: Page, staff: str, index: int, printed: Sequence[PrintedBar]) -> list[Element]:
    """Tempo and feel at the top, who reads where that changes, and how often a bar is played."""
    if staff != page.top:
        return []
    found = [_tempo(page)] if page.headings and index == 0 else []
    reading = printed[index].reading
    if page.score.readings > 1 and (index == 0 or printed[index - 1].reading != reading) and page.headings:
        found.append(_words(f"line on {' and '.join(page.score.played_on[reading].instruments)}"))
    if page.letters and printed[index].letter:
        words = reads_from(page.score, printed[index].number)
        found += [*([_words(words)] if words else []), rehearsal(printed[index].letter, drawn=not page.headings)]
    if printed[index].times > 2:
        found.append(_words(f"{printed[index].times}×"))
    return found


def rehearsal(letter: str, drawn: bool = False) -> Element:
    """A rehearsal letter in its box: `rehearsal("B")`; `drawn`, it is words, beside which verovio numbers the bar."""
    bold = {"font-weight": "bold", "enclosure": "square"}
    mark = element("words" if drawn else "rehearsal", printable(letter), **bold)
    return element("direction", element("direction-type", mark), placement="above")


def _words(text: str) -> Element:
    return element("direction", element("direction-type", element("words", text)), placement="above")


def _tempo(page: Page) -> Element:
    score = page.score
    base = max(length for length in PLAIN if length <= score.groove.beat)
    dots = [element("beat-unit-dot")] if base != score.groove.beat else []
    metronome = element(
        "metronome",
        element("beat-unit", TYPES[base]),
        *dots,
        element("per-minute", f"{score.tempo_bpm:g}"),
        parentheses="no",
    )
    return element(
        "direction",
        element("direction-type", element("words", printable(score.groove.title))),
        element("direction-type", metronome),
        element("sound", _swing(page), tempo=f"{float(Fraction(score.tempo_bpm) * score.groove.beat):g}"),
        placement="above",
    )


def _swing(page: Page) -> Element:
    """The feel for playback as a ratio of small whole numbers, near the groove's, or straight."""
    from grooves.feel import swing_ratio

    groove = page.score.groove
    ratio = swing_ratio(groove.swing, float(Fraction(page.score.tempo_bpm) * groove.beat))
    parts = Fraction(ratio).limit_denominator(SWING_DENOMINATOR)
    if parts == 1:
        return element("swing", element("straight"))
    return element(
        "swing",
        element("first", str(parts.numerator)),
        element("second", str(parts.denominator)),
        element("swing-type", "eighth"),
    )
