"""What a file may hold to hurt: huge numbers, endless nesting, control codes. Each gets one short line that is fit."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from music import parse_text, text_of

from grooves.errors import MOST_CHARACTERS, LessonError, nearest, quoted, shown, visible
from grooves.groove import parse_groove

GROOVE = 'name = "x"\ntitle = "X"\nmeter = "4/4"\ntempo = [60, 200]\n[ride]\ncounts = "1 2 3 4"\n'
LONG_NUMBER, LONG_HEX = "9" * 5000, "0x" + "f" * 5000
DEEP = "{ a = " * 300 + "1" + " }" * 300
DOTS = "a." * 20_000 + "a"
ESCAPES = "\\u001b[31mred\\n\\u202e\\u0000"
KEYS = ["part", "bars", "repeat_each", "played_on", "each_chorus", "reads_with", "values"]
HOSTILE = {
    **{f"line.{key} = {name}": text_of(line=f"{key} = {value}") for key in KEYS for name, value in (("digits", LONG_NUMBER), ("hex", LONG_HEX), ("deep", DEEP))},
    **{f"feel.{key} hex": text_of(feel=f"{key} = {LONG_HEX}") for key in ("swing", "line_swing", "seed", "accent", "ahead_ms")},
    "tempo hex": text_of(tempo=LONG_HEX),
    "kit control": text_of(top=f'kit = "{ESCAPES}"'),
    "key control": text_of(top=f'"{ESCAPES}" = 1'),
    "key long": text_of(top=f"{'k' * 20_000} = 1"),
    "dots": text_of(top=f"{DOTS} = 1"),
    "dots in a table": text_of(line=f"played_on = {{ {DOTS} = 1 }}"),
    "dots in a heading": f"[{DOTS}]\n" + text_of(),
    "quoted dots": text_of(top=".".join(['"a"'] * 20_000) + " = 1"),
    "brackets": "a = " + "[" * 50_000,
    "softer control": text_of(tracks=f'[[track]]\nname = "x"\nsofter = {{ "{ESCAPES}" = 1 }}'),
    "track name": text_of(tracks=f'[[track]]\nname = "{ESCAPES}"\nwithout = ["nobody"]'),
    "many bars": text_of("4 4 4 4 | " * 200_000 + "4 4 4 4"),
    "many notes": text_of("4 " * 200_000),
    "long note": text_of("4" * 100_000),
    "raw control": 'title = "\x1b[31m"\n',
    "not closed": 'title = "' + "x" * 100_000,
}  # fmt: skip


def fit(message: str) -> bool:
    return message.isprintable() and len(message) <= MOST_CHARACTERS


@pytest.mark.parametrize("name", HOSTILE)
def test_a_hostile_lesson_gets_one_short_line_that_is_fit(name):
    with pytest.raises(LessonError) as error:
        parse_text(HOSTILE[name])
    assert fit(str(error.value)), str(error.value)


@pytest.mark.parametrize(
    "row",
    [f"level = {LONG_HEX}", f"level = {DEEP}", f'limb = "{ESCAPES}"', f'"{ESCAPES}" = 1', f"{DOTS} = 1", f"spread = {LONG_NUMBER}", f"limb = {LONG_HEX}"],
)  # fmt: skip
def test_a_hostile_groove_gets_one_short_line_that_is_fit(row):
    with pytest.raises(LessonError) as error:
        parse_groove(GROOVE + row + "\n")
    assert fit(str(error.value))


@pytest.mark.parametrize("key", ["swing", "tempo", "beat", "meter", "name", "source"])
def test_a_hostile_value_of_a_groove_is_refused_shortly(key):
    for value in (LONG_HEX, DEEP, f'"{ESCAPES}"'):
        rows = [row for row in GROOVE.splitlines() if not row.startswith(f"{key} ")]
        try:
            parse_groove("\n".join([f"{key} = {value}", *rows]))
        except LessonError as error:
            assert fit(str(error))  # a name with control codes is a name; whoever prints it makes it visible


@given(st.text(max_size=2000), st.integers(20, 400))
def test_whatever_is_made_visible_is_fit_and_stays_so(text, limit):
    once = visible(text, limit)
    assert once.isprintable()
    assert len(once) <= limit
    assert visible(once, limit) == once


def test_what_is_fit_already_stays():
    assert visible("Harbour Street, 4/4 – “é”") == "Harbour Street, 4/4 – “é”"
    assert visible("a\x1b[0m\n\u202e\udc80") == "a\\x1b[0m\\n\\u202e\\udc80"
    assert visible("x" * 500, 9) == "xxxxx…xxx"


def test_a_message_of_several_lines_has_one_for_each():
    error = LessonError("one\nstill one", "two")
    assert str(error) == "one\\nstill one\ntwo"


def test_values_are_echoed_as_a_file_writes_them_and_bounded():
    assert [quoted(value) for value in (True, 1.5, "fast", [1, [2, [3]]], {"a": 1})] == [
        "true", "1.5", "'fast'", "[1, [2, […]]]", "{ a = 1 }",
    ]  # fmt: skip
    assert quoted("x" * 99) == f"'{'x' * 59}…'"
    assert quoted([1, 2, 3, 4, 5]) == "[1, 2, 3, 4, …]"
    assert shown(16**5000) == "a number of about 6021 digits"


def test_what_is_nearest_is_near_and_may_be_something_else():
    assert nearest("swng", ["swing"], "write a ratio") == "did you mean 'swing'? Or write a ratio"
    assert nearest("zzz", ["swing", "shuffle"], "write a ratio") == "choose from swing, shuffle, or write a ratio"
    assert nearest("rimshot", ["cross-stick"]).startswith("a rimshot, head and rim at once, is not in the kit")
    assert nearest("monday", ["sunday-2"]) == "choose from sunday-2"
