"""The pages of keys in docs/ are those that the tables make, and every example on them is read."""

from pathlib import Path

import pytest
from music import parse_text

from grooves.groove import parse_groove
from grooves.keys import GROOVE_KEYS, PART_KEYS
from grooves.lesson_tables import TABLES, LessonFile, keys_of
from render.lesson.key_pages import groove_page, lesson_page

DOCS = Path(__file__).parents[2] / "docs"


@pytest.mark.parametrize(("name", "page"), [("lesson.md", lesson_page), ("groove.md", groove_page)])
def test_a_page_of_keys_is_as_its_table_makes_it(name, page):
    assert (DOCS / name).read_text(encoding="utf-8") == page()


def test_every_key_has_a_row_with_type_default_and_example():
    lines = (line.split(" | ") for line in lesson_page().splitlines() if line.startswith("| "))
    rows = [(key.removeprefix("| "), *rest) for key, *rest in lines if rest[0] not in ("takes", "---")]
    keys = [key for table in (LessonFile, *TABLES.values()) for key in keys_of(table)]
    assert [row[0] for row in rows] == keys
    assert all(kind and default and "`" in example for _, kind, default, _, example, *_ in rows)


TOP = 'title = "x"\ntempo = 120\ngroove = "swing"\n'
LINE = '[line]\nvalues = "4 4 4 4 | 4 4 4 4 | 4 4 4 4 | 4 4 4 4 | 4 4 4 4 | 4 4 4 4 | 4 4 4 4"\n'


def said(table, key):
    example = keys_of(table)[key].example
    return "" if example.split(" ")[0].strip("[]").split("\n")[0] in ("title", "tempo", "groove", "line") else example


@pytest.mark.parametrize("key", [key for key in keys_of(LessonFile) if key not in ("line", "track")])
def test_an_example_of_the_lesson_s_own_keys_is_read(key):
    example = said(LessonFile, key)
    headed = example.startswith("[")
    assert parse_text(f"{TOP}{'' if headed else example}\n{LINE}{example if headed else ''}")


@pytest.mark.parametrize("key", [key for key in keys_of(TABLES["line"]) if key not in ("file", "part")])
def test_an_example_of_the_line_is_read(key):
    own = keys_of(TABLES["line"])[key].example
    assert parse_text(TOP + (f"[line]\n{own}" if key in ("values", "counts") else LINE + own))


@pytest.mark.parametrize("key", keys_of(TABLES["feel"]))
def test_an_example_of_the_feel_is_read(key):
    assert parse_text(f"{TOP}{LINE}[feel]\n{keys_of(TABLES['feel'])[key].example}")


@pytest.mark.parametrize("key", keys_of(TABLES["track"]))
def test_an_example_of_a_track_is_read(key):
    own = keys_of(TABLES["track"])[key].example
    name = "" if key == "name" else 'name = "x"\n'
    assert parse_text(f"{TOP}{LINE}[[track]]\n{name}{own}")


@pytest.mark.parametrize("key", [*GROOVE_KEYS, *PART_KEYS])
def test_an_example_of_a_groove_is_read(key):
    keys = {name: GROOVE_KEYS[name].example for name in ("name", "title", "meter", "tempo")}
    part = {"counts": PART_KEYS["counts"].example}
    if key in GROOVE_KEYS:
        keys[key] = GROOVE_KEYS[key].example
    else:
        part = {"values": PART_KEYS[key].example} if key == "values" else {**part, key: PART_KEYS[key].example}
    assert parse_groove("\n".join([*keys.values(), "[ride]", *part.values()]))
