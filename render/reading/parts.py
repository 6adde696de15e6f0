"""Which part of a notation file is meant, and foreign names made fit for messages. Used by both readers.

Sources: General MIDI 1 percussion keys, which give two keys to some drums; `grooves.kit` plays one of them.
"""

import re
from collections.abc import Iterable, Mapping, Sequence

from grooves.errors import LessonError, nearest, visible

LONGEST_LINE_BARS = 1000
DRUM_KEYS: Mapping[str, tuple[int, ...]] = {
    "ride": (51, 59),
    "ride bell": (53,),
    "closed hi-hat": (42,),
    "open hi-hat": (46,),
    "snare": (38, 40),
    "cross-stick": (37,),
    "bass drum": (36, 35),
    "hi-hat": (44,),
}


def shown(text: str) -> str:
    r"""Foreign text fit for a message, at most 40 characters: a name over two lines is one, an escape is `\x1b`."""
    return visible(" ".join(text.split()), 40)


def listed(names: Iterable[str]) -> str:
    """Parts as a teacher may choose them: `listed(["Snare", "Bass"])` is "1 Snare, 2 Bass"."""
    shown_names = [f"{number} {shown(name)}".strip() for number, name in enumerate(names, 1)]
    return ", ".join([*shown_names[:16], *(["…"] if len(shown_names) > 16 else [])])


def numbers_listed(numbers: Sequence[int]) -> str:
    """Bars as a sentence names them: `numbers_listed([2, 5])` is "bars 2, 5"; of many the first dozen."""
    named = ", ".join(map(str, numbers[:12])) + (", …" if len(numbers) > 12 else "")
    return f"{'bar' if len(numbers) == 1 else 'bars'} {named}"


def numbered(part: str | int | None) -> int | None:
    """The number a lesson's `part` says, if it says one: `numbered("2")` is 2."""
    if isinstance(part, str):
        return int(part) if re.fullmatch(r"[0-9]{1,3}", part.strip()) else None
    return part


def pick(names: Sequence[str], number: int) -> int:
    """The index of a part chosen by number: `pick(["Snare", "Bass"], 2)` is 1; LessonError where there is none."""
    if not 1 <= number <= len(names):
        raise LessonError(f"part {number} is not there; the parts are {listed(names)}")
    return number - 1


def matching(names: Sequence[str], wanted: str) -> int | None:
    """The index of the one name that is meant, large and small letters alike; LessonError where two are."""
    word = " ".join(wanted.casefold().split())
    found = [index for index, name in enumerate(names) if " ".join(name.casefold().split()) == word]
    if len(found) > 1:
        raise LessonError(f"{len(found)} parts are called '{shown(wanted)}'; choose by number: {listed(names)}")
    return found[0] if found else None


def unknown_part(wanted: str, names: Sequence[str], drums: Sequence[str]) -> LessonError:
    """What to say where no part and no drum has the wanted name."""
    choices = list(dict.fromkeys(shown(name).casefold() for name in (*names, *drums) if shown(name)))[:24]
    hint = nearest(wanted, choices)
    return LessonError(
        f"there is no part '{shown(wanted)}'; {hint}" + (f" The parts are {listed(names)}" * ("?" in hint))
    )


def choice(names: Sequence[str], index: int) -> str:
    """How a lesson says which part: `choice(["Snare"], 0)` is 'part = "Snare"'; by number where names do not tell."""
    name = shown(names[index])
    plain = name == " ".join(names[index].split()) != "" and not set('"\\') & set(name)
    by_name = plain and names.count(names[index]) == 1
    return f'part = "{name}"' if by_name else f"part = {index + 1}"
