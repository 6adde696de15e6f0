"""What is wrong with an input, said so that a teacher can mend it."""

from collections.abc import Iterable, Iterator
from contextlib import contextmanager

_ALSO_SAID = {  # what drummers also call it
    "kick": "bass drum",
    "kick drum": "bass drum",
    "snare drum": "snare",
    "hat": "hi-hat",
    "hats": "hi-hat",
    "ride cymbal": "ride",
    "rim": "cross-stick",
    "rim click": "cross-stick",
    "side stick": "cross-stick",
}
_NOT_HERE = {"rimshot": "a rimshot, head and rim at once, is not in the kit, nor is it a cross-stick"}


class LessonError(ValueError):
    """A wrong input or a missing tool: one message that says where, what stands there, what would be right."""


def shown(number: float) -> str:
    """A number as a message says it: `shown(120.0)` is "120", `shown(10**400)` is "a number of 401 digits"."""
    if isinstance(number, int) and abs(number) > 10**15:
        return f"a number of {len(str(abs(number)))} digits"
    return f"{number:g}"


def nearest(word: str, choices: Iterable[str]) -> str:
    """Say which choice was probably meant, else list all: `nearest("rid", ["ride"])` is "did you mean 'ride'?"."""
    from difflib import get_close_matches

    names = list(choices)
    if word.lower() in _NOT_HERE:
        return _NOT_HERE[word.lower()]
    said = _ALSO_SAID.get(word.lower(), word.lower())
    close = [said] if said in names else get_close_matches(said, names, n=1, cutoff=0.6)
    if close:
        return f"did you mean '{close[0]}'?"
    return f"choose from {', '.join(names)}" if names else "there are none"


@contextmanager
def at(place: str) -> Iterator[None]:
    """Say where a mistake was made: a message from inside a block headed "line" begins with "line: "."""
    try:
        yield
    except LessonError as error:
        raise LessonError(f"{place}: {error}") from None
