"""Mutants: a drawn case damaged again and again, which costs less than to draw one; the same seed, the same mutants."""

import re
from collections.abc import Callable, Sequence
from random import Random

from cases import Case
from hostile import LONG, NUMBERS, RAW, SIGNS

EACH = 49  # mutants of a drawn case
SLOW = 1  # and of one that is heard, or struck in a process of its own
_NUMBER = re.compile(rb"-?\d+(?:\.\d+)?")
_QUOTED = re.compile(rb'"[^"\n]*"')
_FOREIGN = [sign.encode("utf-8", "surrogateescape") for sign in (*SIGNS, *LONG[:4])]
_VALUES = [str(value).encode() for value in (*NUMBERS, *RAW)]
_WIDE = [b"\xff" * 4, b"\0" * 4, b"\x7f\xff\xff\xff", b"\x80\0\0\0", b"\0\0\0\x80", b"\x01\0\0\0", b"\0\0\0\x01"]


def mutants(case: Case, others: Sequence[Case], drawn: Random) -> list[Case]:
    """Damaged copies of a case, some with pieces of other cases that have files of the same names."""
    kin = [other for other in others if _names(other) == _names(case)]
    many = SLOW if _names(case) & {"take.wav", "kit.wav", "font.sf2"} else EACH
    return [_mutant(case, kin or [case], drawn) for _ in range(many)] if case.files else []


def _names(case: Case) -> set[str]:
    return {name for name, _ in case.files}


def _mutant(case: Case, kin: Sequence[Case], drawn: Random) -> Case:
    files = dict(case.files)
    for _ in range(drawn.choice((1, 1, 1, 2, 4))):
        name = drawn.choice(sorted(files))
        other = dict(drawn.choice(kin).files)[name]
        files[name] = drawn.choice(_WAYS if _is_text(files[name]) else _BYTES)(files[name], other, drawn)
    return Case(drawn.choice([case, case, case, drawn.choice(kin)]).words, tuple(files.items()))


def _is_text(data: bytes) -> bool:
    return b"\0" not in data[:64]


def _slice(data: bytes, drawn: Random, most: int) -> tuple[int, int]:
    start = drawn.randrange(len(data) + 1)
    return start, min(len(data), start + drawn.randint(1, most))


# --- any bytes ----------------------------------------------------------------------------------


def _turned(data: bytes, _: bytes, drawn: Random) -> bytes:
    at = drawn.randrange(len(data) + 1)
    return data[:at] + bytes([drawn.randrange(256)]) + data[at + 1 :]


def _cut(data: bytes, _: bytes, drawn: Random) -> bytes:
    start, end = _slice(data, drawn, 40)
    return data[:start] + data[end:]


def _ended(data: bytes, _: bytes, drawn: Random) -> bytes:
    return data[: drawn.randrange(len(data) + 1)]


def _again(data: bytes, _: bytes, drawn: Random) -> bytes:
    start, end = _slice(data, drawn, 200)
    return data[:end] + data[start:end] * drawn.choice((1, 1, 3, 60)) + data[end:]


def _wide(data: bytes, _: bytes, drawn: Random) -> bytes:
    at = drawn.randrange(len(data) + 1)
    return data[:at] + drawn.choice(_WIDE) + data[at + 4 :]


def _joined(data: bytes, other: bytes, drawn: Random) -> bytes:
    """Its beginning and the end of another."""
    return data[: drawn.randrange(len(data) + 1)] + other[drawn.randrange(len(other) + 1) :]


# --- written lines ------------------------------------------------------------------------------


def _number(data: bytes, _: bytes, drawn: Random) -> bytes:
    return _put(data, _NUMBER, drawn.choice(_VALUES), drawn)


def _text(data: bytes, other: bytes, drawn: Random) -> bytes:
    texts = [*_QUOTED.findall(data), *_QUOTED.findall(other), b'"' + drawn.choice(_FOREIGN) + b'"']
    return _put(data, _QUOTED, drawn.choice(texts), drawn)


def _put(data: bytes, kind: "re.Pattern[bytes]", fresh: bytes, drawn: Random) -> bytes:
    there = list(kind.finditer(data))
    if not there:
        return data + fresh
    place = drawn.choice(there)
    return data[: place.start()] + fresh + data[place.end() :]


def _line(data: bytes, other: bytes, drawn: Random) -> bytes:
    """A line less, twice, elsewhere, or one of another's more."""
    lines, theirs = data.split(b"\n"), other.split(b"\n")
    at, to = drawn.randrange(len(lines)), drawn.randrange(len(lines))
    match drawn.randrange(4):
        case 0:
            del lines[at]
        case 1:
            lines.insert(to, lines[at])
        case 2:
            lines[at], lines[to] = lines[to], lines[at]
        case 3:
            lines.insert(at, drawn.choice(theirs))
    return b"\n".join(lines)


def _sign(data: bytes, _: bytes, drawn: Random) -> bytes:
    at = drawn.randrange(len(data) + 1)
    return data[:at] + drawn.choice(_FOREIGN) + data[at:]


Way = Callable[[bytes, bytes, Random], bytes]
_BYTES: tuple[Way, ...] = (_turned, _turned, _cut, _ended, _again, _wide, _wide, _joined)
_WAYS: tuple[Way, ...] = (_turned, _cut, _again, _joined, _number, _number, _text, _text, _line, _line, _line, _sign)
