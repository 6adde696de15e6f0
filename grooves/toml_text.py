"""The text of a lesson or a groove as tables, and what is wrong with one that cannot be read, in plain words.

The format is TOML; a teacher need not know its name, so no message says it.
"""

import re
import tomllib
from collections.abc import Callable
from typing import Any

from grooves.errors import LessonError, visible

MOST_NESTED = 8  # tables inside tables; a lesson has two, a groove one
_SEGMENT = r"(?:[A-Za-z0-9_-]++|\"[^\"\n]*+\"|'[^'\n]*+')"
_MANY_DOTS = re.compile(rf"(?<![A-Za-z0-9_\-\"'])(?:{_SEGMENT}[ \t]*+\.[ \t]*+){{32}}")


def read_toml(text: str) -> dict[str, Any]:
    """Read a file's text into tables: `read_toml('tempo = 120')` is `{"tempo": 120}`; raises LessonError."""
    if _MANY_DOTS.search(text):  # reading them takes time with the square of their number
        raise LessonError("a name has more than 30 dots; a key of a lesson has none")
    try:
        table = tomllib.loads(text)
    except RecursionError:
        raise LessonError("this is nested too deeply; no table of a lesson has more than one inside") from None
    except ValueError as error:  # its own, or a number of thousands of digits
        raise LessonError(_explain(str(error), text)) from None
    _check_nesting(table)
    return table


def _check_nesting(table: dict[str, Any]) -> None:
    layer: list[Any] = [table]
    for _ in range(MOST_NESTED):
        inside = [one.values() if isinstance(one, dict) else one for one in layer]
        layer = [value for values in inside for value in values if isinstance(value, dict | list)]
    if layer:
        raise LessonError("this is nested too deeply; no table of a lesson has more than one inside")


def _explain(error: str, text: str) -> str:
    """What is wrong, with the line that it is in: "line 3: tempo = slow: words are written between quotes"."""
    if "digits" in error:
        return "a number has thousands of digits; write a shorter one"
    at_line = re.search(r"at line (\d+)", error)
    lines = text.rstrip().splitlines() or [""]
    number = min(int(at_line[1]) if at_line else len(lines), len(lines))
    line = lines[number - 1].strip()
    hint = next((hint for start, hint in _BY_ERROR.items() if error.startswith(start)), "this cannot be read")
    hint = next((say(found) for pattern, say in _BY_LINE if (found := re.search(pattern, line[:500]))), hint)
    return f"line {number}: {visible(line, 80)}: {hint}" if line else f"line {number}: {hint}"


_CURLY = "“”„‟‘’‚«»"
_BY_LINE: tuple[tuple[str, Callable[[re.Match[str]], str]], ...] = (
    (rf"(?:[=,\[{{]|^)\s*[{_CURLY}]", lambda _: 'the quotes are curly ones; write straight ones, "…"'),
    (r"^([A-Za-z_-]+|\"[^\"]+\")\s*:\s*(.*)", lambda found: f"write {found[1]} = {visible(found[2], 40)}, not a colon"),
    (r"=\s*(#.*)?$", lambda _: "write a value after it"),
    (r"=\s*(\d+),(\d+)\s*(#|$)", lambda found: f"write {found[1]}.{found[2]}, with a point"),
    (r"[=,{]\s*(\d+)\s*%", lambda found: f'write "{found[1]}%", between quotes'),
    (r"(?:^|[{,])\s*([a-z]+ [a-z]+)\s*=", lambda found: f'a name of two words needs quotes: "{found[1]}"'),
    (r"=\s*\"[^\"]*$", lambda _: 'a quote is missing at the end; a text of several lines stands between """ and """'),
)  # fmt: skip

_BY_ERROR = {
    "Cannot overwrite": "this key stands in the table twice; keep one",
    "Cannot declare": "this table stands in the file twice; keep one",
    "Duplicate": "this key stands in the table twice; keep one",
    "Cannot mutate": "this table is closed already; write its keys in one place",
    "Illegal character": "a sign stands here that a file of text does not hold, or a quote is missing before it",
    "Unterminated string": "a quote is missing at the end",
    "Unescaped": 'a backslash is written twice, \\\\, or the text stands between single quotes',
    "Invalid value": "words are written between quotes",
    "Invalid hex value": "this number cannot be read; write it with the digits 0 to 9",
    "Expected '=' after": "write the key, =, and its value",
    "Expected ']": "a bracket is missing, ]",
    "Unclosed array": "a bracket is missing at the end, ]",
    "Unclosed inline table": "a brace is missing at the end, }",
    "Expected newline": "what follows belongs on a line of its own",
    "Invalid statement": "write a key, =, and its value; a comment begins with #",
    "Invalid initial character": "write a key, =, and its value; a comment begins with #",
}  # fmt: skip
