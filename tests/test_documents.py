"""README and docs hold what they say: commands run, lessons parse, links lead somewhere, JSON is as its schema says."""

import json
import re
import shlex
import shutil
from pathlib import Path

import jsonschema
import pytest
import typer
from kept_paper import paper
from takes_made import Student, played
from takes_sound import Drums, calibration, plain_levels, saved

from grooves.takes.check import student_track
from grooves.takes.sheet import sheet_of
from grooves.teaching.term_file import read_term
from render.command.app import COMMANDS, command
from render.command.cli import main
from render.lesson.first_lesson import new_lesson
from render.lesson.load import load_lesson
from render.lesson.made_up_take import write_made_up_take
from render.soundfont.soundfont import default_soundfont

ROOT = Path(__file__).parents[1]
DOCUMENTS = [
    ROOT / "README.md",
    ROOT / "DEVELOPERS.md",
    ROOT / "soundfonts" / "README.md",
    *sorted(ROOT.glob("docs/*.md")),
]
SCHEMAS = ROOT / "docs" / "schemas"
BUNDLED = default_soundfont()
LESSON = 'title = "x"\ntempo = 100\ngroove = "swing"\n[line]\nvalues = "4 4 8 8 4 | 8 8 4 4r 4 | 4 8 4 8 4 | 8 4. 2r"\n'


def blocks(document: Path, *languages: str) -> list[str]:
    found = re.findall(r"^```(\w*)\n(.*?)^```", document.read_text(), re.DOTALL | re.MULTILINE)
    return [text for language, text in found if language in languages]


def shell_lines(document: Path) -> list[list[str]]:
    lines = [line for text in blocks(document, "sh", "") for line in text.splitlines()]
    return [shlex.split(line, comments=True)[1:] for line in lines if line.startswith("fourlimb ")]


def name(path: Path) -> str:
    return str(path.relative_to(ROOT))


# --- commands ---------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def things(tmp_path_factory) -> Path:
    """What a reader has at hand: a lesson, takes of it, a term of two weeks and a log that came back of it."""
    folder = tmp_path_factory.mktemp("things")
    lesson = new_lesson(folder / "tuesday.toml")
    lesson.write_text(
        lesson.read_text().replace("choruses = 2", "choruses = 1")
    )  # a short one: its takes are listened to
    write_made_up_take(lesson, folder).path.rename(folder / "tuesday.mid")
    shutil.copy(folder / "tuesday.mid", folder / "take.mid")
    loaded = load_lesson(lesson).lesson
    sheet = sheet_of(loaded, student_track(loaded.tracks))
    kept = paper(loaded, sheet, played(sheet, Student(3)).take)
    (folder / "take-2026-11-26-1830.json").write_text(json.dumps(kept))
    drums = Drums(BUNDLED)
    saved(folder / "kit.wav", calibration(sheet.parts, drums, plain_levels(sheet)))
    assert main(["render", str(lesson), "-o", str(folder / "out"), "--track", "full", "--no-documents"]) == 0
    (folder / "out" / "tuesday-full.wav").rename(folder / "tuesday.wav")
    assert main(["check", "--hello", "-o", str(folder)]) == 0
    (folder / "hello.wav").rename(folder / "back.wav")
    (term,) = (text for text in blocks(ROOT / "docs" / "teaching.md", "toml") if "weeks" in text)
    term = re.sub(
        r"week = 5", "week = 2", re.sub(r"(?m)^lines .*", "lines = 1", term.replace("weeks = 12", "weeks = 2"))
    )
    (folder / "autumn.toml").write_text(term)
    assert main(["term", str(folder / "autumn.toml"), "-o", str(folder / "autumn")]) == 0
    record = json.loads((folder / "autumn" / "fourlimb-term.json").read_text())
    log = json.loads(*blocks(ROOT / "docs" / "formats.md", "json")[:1])
    log["lesson"]["hash"] = next(iter(record["notes"]))
    (folder / "back").mkdir()
    (folder / "back" / "log.json").write_text(json.dumps(log))
    return folder


@pytest.fixture
def desk(things, tmp_path, monkeypatch) -> Path:
    """A reader's folder, where they stand."""
    here = tmp_path / "desk"
    shutil.copytree(things, here)
    monkeypatch.chdir(here)
    return here


@pytest.mark.parametrize("document", [one for one in DOCUMENTS if shell_lines(one)], ids=name)
def test_every_command_that_is_shown_runs(document, desk):
    lines = shell_lines(document)
    if any(words[0] == "new" or ("-o" in words and "tuesday.toml" in words and words[0] == "lines") for words in lines):
        (desk / "tuesday.toml").unlink()
    for words in lines:
        words = [str(BUNDLED) if word == "FILE" else word for word in words]
        assert main(words) == 0, words


@pytest.mark.parametrize("document", DOCUMENTS, ids=name)
def test_every_command_and_option_that_is_named_is_there(document):
    for code in re.findall(r"`fourlimb ([^`]*)`", document.read_text()):
        words = code.split()
        assert words[0] in COMMANDS or words[0].startswith("-"), code
        options = {word for word in words[1:] if re.fullmatch(r"--?[a-z-]+", word)}
        there = {"--help", *(option for one in command(words[0]).params for option in one.opts)} if options else set()
        assert options <= there, code
    for row in re.findall(r"^\| `fourlimb (\w+)[^`]*` \|(.*)", document.read_text(), re.MULTILINE):
        there = {option for one in command(row[0]).params for option in one.opts}
        assert set(re.findall(r"`(--[a-z-]+)", row[1])) <= there, row


def test_the_readme_lists_every_command():
    text = (ROOT / "README.md").read_text()
    assert set(re.findall(r"^\| `fourlimb (\w+)", text, re.MULTILINE)) == set(COMMANDS)


def test_the_python_that_is_shown_runs(desk, capsys):
    (code,) = blocks(ROOT / "README.md", "python")
    exec(compile(code, "README", "exec"), {})
    assert "Stroke(" in capsys.readouterr().out
    assert (desk / "tuesday" / "tuesday-full.wav").exists()


# --- lessons ----------------------------------------------------------------------------------------


def lessons() -> list[tuple[str, str]]:
    return [
        (f"{name(document)} {n}", text) for document in DOCUMENTS for n, text in enumerate(blocks(document, "toml"))
    ]


@pytest.mark.parametrize("text", [text for _, text in lessons()], ids=[title for title, _ in lessons()])
def test_every_lesson_and_piece_of_one_that_is_shown_is_read(text, tmp_path):
    if "weeks" in text:
        read_term(text)
        return
    head, _, _ = LESSON.partition("[line]")
    whole = text if "title" in text else (head if "[[line]]" in text else LESSON) + text
    (tmp_path / "shown.toml").write_text(whole)
    assert load_lesson(tmp_path / "shown.toml").lesson.tracks


def test_every_reader_and_every_key_of_a_track_in_the_tables_is_read(tmp_path):
    text = (ROOT / "docs" / "practising.md").read_text()
    readers, keys = (
        part.split("\n\n")[0] for part in (text.split("| `played_on =` |")[1], text.split("| key of a track |")[1])
    )
    found = re.findall(r"`([\"{][^`]*)`", readers)
    rows = re.findall(r"^\| `([^`]*)` \|", keys, re.MULTILINE)
    assert len(found) >= 9 and len(rows) >= 5
    lines = [f"played_on = {one}\n" for one in found]
    tracks = [f'[[track]]\nname = "x"\nwithout = ["snare"]\n{one}\n' for one in rows]
    for number, more in enumerate([*lines, *tracks]):
        path = tmp_path / f"{number}.toml"
        path.write_text(LESSON.replace('title = "x"', 'title = "x"\nchoruses = 4') + more)
        load_lesson(path)


# --- links ------------------------------------------------------------------------------------------


@pytest.mark.parametrize("document", DOCUMENTS, ids=name)
def test_every_link_leads_somewhere(document):
    for target in re.findall(r"\]\(([^)\s]+)\)", document.read_text()):
        assert not target.startswith("http"), f"{target}: nothing here needs a network"
        file, _, heading = target.partition("#")
        path = document.parent / file if file else document
        assert path.exists(), target
        anchors = (
            [
                re.sub(r"[^a-z0-9 -]", "", line.lower()).strip().replace(" ", "-")
                for line in re.findall(r"^#+ (.*)", path.read_text(), re.MULTILINE)
            ]
            if heading
            else []
        )
        assert not heading or heading in anchors, target


# --- JSON -------------------------------------------------------------------------------------------

TOLD = [
    ("files", "render tuesday.toml -o out --no-audio --json"),
    ("files", "loop tuesday.toml --bars 3 --no-audio -o out --json"),
    ("files", "bars tuesday.toml --stairs 4 --json"),
    ("files", "lines --level 3 -o other.toml --json"),
    ("files", "check --hello --json"),
    ("balance", "balance tuesday.toml --no-audio -o out --json"),
    ("bars", "bars tuesday.toml --json"),
    ("lines", "lines --level 3 --json"),
    ("doctor", "doctor --json"),
    ("groove", "grooves swing --json"),
    ("grooves", "grooves --json"),
    ("form", "forms blues --json"),
    ("forms", "forms --json"),
    ("soundfonts", "soundfonts --json"),
    ("soundfont", f"soundfonts {shlex.quote(str(BUNDLED))} --json"),
    ("check", "check tuesday.toml tuesday.mid --json"),
    ("term", "term autumn.toml -o autumn --json"),
    ("term-results", "term autumn.toml -o autumn --results back --json"),
]  # fmt: skip


def checked(schema: str, value: object) -> None:
    known = json.loads((SCHEMAS / f"{schema}.json").read_text())
    jsonschema.Draft202012Validator.check_schema(known)
    jsonschema.Draft202012Validator(known).validate(value)


@pytest.mark.parametrize(("schema", "words"), TOLD, ids=[words for _, words in TOLD])
def test_what_a_command_tells_as_json_is_as_its_schema_says(schema, words, desk, capsys):
    """Source: JSON Schema, draft 2020-12, read by the package jsonschema."""
    assert main(shlex.split(words)) == 0
    checked(schema, json.loads(capsys.readouterr().out))


def test_every_file_of_a_format_is_as_its_schema_says(desk):
    checked("term-record", json.loads((desk / "autumn" / "fourlimb-term.json").read_text()))
    shown = [json.loads(text) for text in blocks(ROOT / "docs" / "formats.md", "json")]
    for value in shown:
        checked(SCHEMA_OF[value["format"]], value)
    assert {value["format"] for value in shown} <= set(SCHEMA_OF)


SCHEMA_OF = {
    "fourlimb-practice": "practice-log",
    "fourlimb-check": "check",
    "fourlimb-take": "kept-take",
    "fourlimb-term": "term-record",
}


def test_every_schema_is_tried_and_every_command_that_tells_json_has_one():
    tried = {schema for schema, _ in TOLD} | set(SCHEMA_OF.values())
    assert {file.stem for file in SCHEMAS.glob("*.json")} == tried
    telling = {one for one in COMMANDS if any("--json" in option.opts for option in command(one).params)}
    assert telling - {words.split()[0] for _, words in TOLD} <= {"demo"}  # as render
    assert isinstance(command("demo"), typer.core.TyperCommand)
