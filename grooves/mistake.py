"""What is wrong with an input, said so that a teacher can mend it."""

from collections.abc import Iterable, Iterator
from contextlib import contextmanager


class Mistake(ValueError):
    """A wrong input or a missing tool: one message that says where, what stands there, what would be right."""


def nearest(word: str, choices: Iterable[str]) -> str:
    """Say which choice was probably meant, else list all: `nearest("rid", ["ride"])` is "did you mean 'ride'?"."""
    from difflib import get_close_matches

    names = list(choices)
    close = get_close_matches(word.lower(), names, n=1, cutoff=0.6)
    if close:
        return f"did you mean '{close[0]}'?"
    return f"choose from {', '.join(names)}" if names else "there are none"


@contextmanager
def at(place: str) -> Iterator[None]:
    """Say where a mistake was made: a message from inside a block headed "line" begins with "line: "."""
    try:
        yield
    except Mistake as mistake:
        raise Mistake(f"{place}: {mistake}") from None
