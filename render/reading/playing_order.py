"""The order in which a score's measures are played: repeats, endings, and the jumps da capo, dal segno, coda, fine.

After a jump the repeats are not taken again and the last endings are played, as is common practice (no source). A jump
is a sign, a sound's attribute, or words; words that look like one and are none of these are refused with their bar.
Source: W3C MusicXML 4.0: `sound` (dacapo, dalsegno, tocoda, coda, segno, fine), `segno`, `coda`, `words`.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import takewhile

from grooves.errors import LessonError
from render.reading.musicxml_file import Element
from render.reading.parts import LONGEST_LINE_BARS, shown

_CAPO, _SEGNO, _FINE, _CODA = r"(d\.?\s*c\.?|da\s+capo)", r"(d\.?\s*s\.?|dal\s+segno)", r"fine\.?", r"(la\s+)?coda"
_WORDS = (  # what words mean, tried in this order
    (rf"{_CAPO}(\s+al\s+({_FINE}|{_CODA}))?", "dacapo"),
    (rf"{_SEGNO}(\s+al\s+({_FINE}|{_CODA}))?", "dalsegno"),
    (rf"(to|al)\s+{_CODA}", "tocoda"),
    (_FINE, "fine"),
    (_CODA, "coda"),
    (r"segno", "segno"),
)
_LIKE_A_JUMP = re.compile(r"\b(d\.\s*[cs]\.|da capo|dal segno|to coda|al coda|al fine)", re.IGNORECASE)
_NAMES = {"dacapo": "da capo", "dalsegno": "dal segno", "tocoda": "to coda"}


@dataclass(frozen=True)
class Turns:
    """What directs the way at one measure: `times` is how often a repeat that ends here is played, 0 for none."""

    forward: bool = False
    times: int = 0
    endings: frozenset[int] = frozenset()
    marks: frozenset[str] = frozenset()  # segno, coda, tocoda, fine, dacapo, dalsegno, "al fine", "al coda"


def marks_of(measure: Element, number: int) -> frozenset[str]:
    """The marks of a measure, signs and words alike; raises LessonError with the bar for words of an unknown jump."""
    marks = {
        mark
        for sound in measure.iter("sound")
        for mark in ("segno", "coda", "tocoda", "fine", "dacapo", "dalsegno")
        if sound.get(mark) not in (None, "no", "")
    }
    for direction in measure.iterfind("direction/direction-type"):
        marks |= {tag for tag in ("segno", "coda") if direction.find(tag) is not None}
        text = " ".join(" ".join((words.text or "").split()) for words in direction.iterfind("words"))
        said = next((mark for pattern, mark in _WORDS if re.fullmatch(pattern, text[:60], re.IGNORECASE)), None)
        if said is None and _LIKE_A_JUMP.search(text[:200]):
            raise LessonError(
                f"bar {number}: '{shown(text)}' is a jump that is not known here; "
                "write the bars out in the order they are played"
            )
        marks |= {said} if said else set()
        if said in ("dacapo", "dalsegno"):
            marks |= {f"al {word}" for word in ("fine", "coda") if re.search(rf"\b{word}", text, re.IGNORECASE)}
    if "tocoda" in marks:
        marks.discard("coda")  # the sign beside the words is the same mark
    return frozenset(marks)


def playing_order(turns: Sequence[Turns], start: int = 0) -> tuple[int, ...]:
    """Indices in the order they are played: (0, 1, 0, 1) for two bars repeated.

    `start` is where the first repeat goes back to. Raises LessonError with the bar of a jump that leads nowhere.
    """
    jump = _jump(turns)
    if jump is None:
        return _with_repeats(turns, 0, len(turns), start)
    where, mark = jump
    coda, leaves = _coda(turns, where)
    fine = _marked(turns, "fine", len(turns))
    if "al fine" in turns[where].marks and fine is None:
        raise LessonError(f"bar {where + 1} goes back to play as far as the fine, but no bar has one; write it there")
    target = start if mark == "dacapo" else _segno(turns, where)
    until = leaves if leaves is not None else fine
    last = len(turns) if until is None else until + 1
    again = [index for index in range(target, last) if _in_last_ending(turns, index)]
    end = [] if coda is None or leaves is None else _with_repeats(turns, coda, len(turns), coda)
    order = (*_with_repeats(turns, 0, where + 1, start), *again, *end)
    _check_length(order)
    return order


def _jump(turns: Sequence[Turns]) -> tuple[int, str] | None:
    found = [(index, mark) for index, one in enumerate(turns) for mark in ("dacapo", "dalsegno") if mark in one.marks]
    if len(found) > 1:
        raise LessonError(
            f"bar {found[1][0] + 1} jumps ({_NAMES[found[1][1]]}), and bar {found[0][0] + 1} too; "
            "write the bars out in the order they are played"
        )
    if not found and (index := _marked(turns, "tocoda", len(turns))) is not None:
        raise LessonError(f"bar {index + 1} goes to the coda, but nothing jumps back before it; take the mark out")
    return found[0] if found else None


def _marked(turns: Sequence[Turns], mark: str, end: int) -> int | None:
    return next((index for index in range(end) if mark in turns[index].marks), None)


def _segno(turns: Sequence[Turns], jump: int) -> int:
    found = _marked(turns, "segno", jump + 1)
    if found is None:
        raise LessonError(f"bar {jump + 1} jumps to the segno, but no bar before it has one; put the sign there")
    return found


def _coda(turns: Sequence[Turns], jump: int) -> tuple[int | None, int | None]:
    """Where the coda begins, after the jump, and the bar before the jump after which to leave for it.

    Where no words say it, a coda sign before the jump is the place to leave.
    """
    coda = next((index for index in range(jump + 1, len(turns)) if "coda" in turns[index].marks), None)
    leaves = _marked(turns, "tocoda", jump + 1)
    if leaves is None:
        leaves = _marked(turns, "coda", jump + 1)
    wanted = leaves is not None or "al coda" in turns[jump].marks
    if wanted and coda is None:
        raise LessonError(f"bar {(leaves or jump) + 1} goes to the coda, but no bar after bar {jump + 1} has its sign")
    if wanted and leaves is None:
        raise LessonError(f"bar {jump + 1} goes to the coda, but no bar before it says 'To Coda'; write it there")
    return coda, leaves


def _with_repeats(turns: Sequence[Turns], first: int, end: int, start: int) -> tuple[int, ...]:
    """Indices from `first` to before `end`, repeats and endings written out; a repeat goes back to `start` at first."""
    order: list[int] = []
    index, turn = first, 1
    while index < end:
        here = turns[index]
        if here.forward and index != start:
            start, turn = index, 1
        skipped = bool(here.endings) and turn not in here.endings
        if not skipped:
            order.append(index)
        _check_length(order)
        if here.times and not skipped and turn < _times(turns, index):
            index, turn = start, turn + 1
            continue
        over = here.times and not skipped and not here.endings
        index += 1
        if over or (here.endings and index < len(turns) and not turns[index].endings):
            start, turn = index, 1
    return tuple(order)


def _check_length(order: Sequence[int]) -> None:
    if len(order) > LONGEST_LINE_BARS:
        raise LessonError(f"with its repeats the line has more than {LONGEST_LINE_BARS} bars")


def _times(turns: Sequence[Turns], index: int) -> int:
    """How often a section is played whose repeat ends at this index."""
    endings = turns[index].endings
    if not endings:
        return turns[index].times
    later = [one.endings for one in takewhile(lambda one: one.endings, turns[index + 1 :])]
    if 1 in endings and all(other == endings for other in later):  # what follows is the ending without a bracket
        return max(endings) + 1
    return max(endings.union(*later))


def _in_last_ending(turns: Sequence[Turns], index: int) -> bool:
    """Whether a measure is played when the repeats are not taken: outside all endings, or in the last of them."""
    endings = turns[index].endings
    if not endings:
        return True
    later = [one.endings for one in takewhile(lambda one: one.endings, turns[index + 1 :])]
    before = [one.endings for one in takewhile(lambda one: one.endings, reversed(turns[:index]))]
    last = max(endings.union(*later, *before))
    alone = all(other == endings for other in (*later, *before))
    return last in endings and not alone
