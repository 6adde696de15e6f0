"""What is wrong with an input, said so that a teacher can mend it.

A message stands on one line of at most 400 characters; whatever a file says is bounded and made visible in it.
"""

from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager

MOST_CHARACTERS = 400  # of a message
_ECHOED = 60  # characters of one foreign value
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
    """A wrong input or a missing tool: one message that says where, what stands there, what would be right.

    `LessonError("tempo: 0 is out of range")` is one line; several messages are several lines, one each.
    """

    def __init__(self, *messages: str) -> None:
        super().__init__(*(visible(message, MOST_CHARACTERS) for message in messages))

    def __str__(self) -> str:
        return "\n".join(map(str, self.args))


def visible(text: str, limit: int = MOST_CHARACTERS) -> str:
    r"""Foreign text fit for one line: an escape sign becomes the four letters `\x1b`; too long, it loses its middle.

    Whatever does not print (control codes, line breaks, marks of direction, halves of surrogate pairs) is written
    as its escape. Text that is fit already stays as it is.
    """
    shortened = text if len(text) <= 2 * limit else f"{text[:limit]}{text[-limit:]}"
    written = "".join(sign if sign.isprintable() else ascii(sign)[1:-1] for sign in shortened)
    if len(written) <= limit and shortened is text:
        return written
    after = (limit - 1) * 2 // 5
    return f"{written[: limit - 1 - after]}…{written[len(written) - after :]}"


def shown(number: float) -> str:
    """A number as a message says it: `shown(120.0)` is "120", `shown(10**400)` is "a number of 401 digits"."""
    if isinstance(number, int) and abs(number) > 10**4000:  # Python itself writes 4 300 digits and no more
        return f"a number of about {int(abs(number).bit_length() * 0.30103) + 1} digits"  # log10(2) is 0.30103
    if isinstance(number, int) and abs(number) > 10**15:
        return f"a number of {len(str(abs(number)))} digits"
    return f"{number:g}"


def quoted(value: object, depth: int = 2) -> str:
    """A foreign value as a message says it, bounded: `quoted("fast")` is "'fast'", `quoted(True)` is "true"."""
    match value:
        case bool():
            return str(value).lower()
        case int():
            return str(value) if abs(value) <= 10**15 else shown(value)
        case float():
            return repr(value)
        case str():
            return repr(value if len(value) <= _ECHOED else f"{value[: _ECHOED - 1]}…")
        case list() | tuple():
            inside = [quoted(one, depth - 1) for one in value[:4]] if depth else ["…"] * bool(value)
            return f"[{', '.join([*inside, '…'] if depth and len(value) > 4 else inside)}]"
        case Mapping():
            pairs = [f"{visible(str(key), 20)} = {quoted(one, depth - 1)}" for key, one in [*value.items()][:4]]
            inside = pairs if depth else ["…"] * bool(value)
            return f"{{ {', '.join([*inside, '…'] if depth and len(value) > 4 else inside)} }}"
    return visible(str(value), _ECHOED)


def nearest(word: str, choices: Iterable[str], other: str = "") -> str:
    """Say which choice was probably meant, else list all: `nearest("rid", ["ride"])` is "did you mean 'ride'?".

    `other` is what may be written instead of any: "did you mean 'swing'? Or write a ratio", "choose from a, b, or …".
    """
    from difflib import get_close_matches

    names = list(choices)
    if word.lower() in _NOT_HERE:
        return _NOT_HERE[word.lower()]
    said = _ALSO_SAID.get(word.lower(), word.lower())
    close = [said] if said in names else get_close_matches(said[:_ECHOED], names, n=1, cutoff=0.66)
    if close:
        return f"did you mean '{close[0]}'?" + (f" Or {other}" if other else "")
    listed = f"choose from {', '.join(names)}" if names else "there are none"
    return f"{listed}, or {other}" if other else listed


@contextmanager
def at(place: str) -> Iterator[None]:
    """Say where a mistake was made: a message from inside a block headed "line" begins with "line: "."""
    try:
        yield
    except LessonError as error:
        raise LessonError(f"{place}: {error}") from None
