"""Rehearsal letters of a MusicXML score, over the bars of a line as it is played."""

from collections.abc import Iterable, Sequence

from grooves.checks import is_letter
from grooves.line import RehearsalLetter
from render.reading.musicxml_file import Element


def rehearsal_letters(parts: Iterable[Element], order: Sequence[int], pickup: bool) -> tuple[RehearsalLetter, ...]:
    """The letters over bars, by the place where each bar is played first: `rehearsal_letters([part], [0, 1], False)`.

    A score has them in any of its parts. What a lesson takes for no letter, such as a number, is left out, and so is
    one that has stood before. Source: W3C MusicXML 4.0, `rehearsal`.
    """
    over: dict[int, str] = {}
    for part in parts:
        for index, measure in enumerate(part.iterfind("measure")):
            for mark in measure.iterfind("direction/direction-type/rehearsal"):
                over.setdefault(index, (mark.text or "").strip())
    found: dict[str, RehearsalLetter] = {}
    for bar, index in enumerate(order, 0 if pickup else 1):
        letter = over.get(index, "")
        if is_letter(letter) and bar and index not in order[: bar - 1 + pickup]:
            found.setdefault(letter.casefold(), RehearsalLetter(letter, bar))
    return tuple(found.values())
