"""Cases: files in a folder and the words of a command line about them; and what must hold of each."""

import contextlib
import io
import os
import shutil
from collections import Counter
from dataclasses import dataclass
from pathlib import Path

from hostile import foreign, texts
from hypothesis import strategies as st
from written_files import grooves, lessons, logs, midi, musicxml, mxl, records, terms

from grooves.errors import MOST_CHARACTERS
from render.command.app import COMMANDS
from render.command.cli import main

ENDED: Counter[str] = Counter()  # how cases ended: the command and its exit code
START = "fourlimb: "
SOUND = '[line]\nvalues = "4 8 8 4 4 | 8 4 4 4 8"\n'
GOOD = f'title = "Harbour Street"\ntempo = 120\ngroove = "swing"\n{SOUND}'.encode()


@dataclass(frozen=True)
class Case:
    """Files by name, and a command line said in their folder."""

    words: tuple[str, ...]
    files: tuple[tuple[str, bytes], ...]


def _case(words, **files):
    names = {"lesson": "a.toml", "groove": "own.toml", "midi": "line.mid", "score": "line.musicxml", "packed": "line.mxl", "take": "take.mid", "term": "term.toml", "log": "back/log.json", "record": "out/fourlimb-term.json"}  # fmt: skip
    found = st.fixed_dictionaries({names[kind]: made for kind, made in files.items()})
    return st.builds(lambda said, held: Case(tuple(said), tuple(held.items())), words, found)


_MIDI_ONLY = ("render", "a.toml", "--no-audio", "--no-documents", "-o", "out")
_LESSON = st.sampled_from([
    ("bars", "a.toml"), ("bars", "a.toml"), ("bars", "a.toml", "--json"), _MIDI_ONLY, (*_MIDI_ONLY, "--json"),
    ("chart", "a.toml", "-o", "a.musicxml"), ("bars", "a.toml", "--stairs", "1", "-o", "b.toml"),
])  # fmt: skip
_LOOP = st.tuples(texts, texts, texts).map(
    lambda said: ("loop", "a.toml", f"--bars={said[0]}", f"--tempo={said[1]}", f"--without={said[2]}", "--no-audio", "-o", "out")
)
_CHECK = st.sampled_from([("check", "a.toml", "take.mid"), ("check", "a.toml", "take.mid", "--json"), ("check", "a.toml", "take.mid", "--track", "full")])
_NAME = st.one_of(st.sampled_from(["a.toml", ".", "", "/", "**", "*.toml", "none.toml", "a.toml/x", "out", "--json", "-o", "--bars", "1", "/dev/zero", "/dev/full", "pipe", "b\udcff.toml", "x\0y", "a" * 300]), foreign)
_WORDS = st.tuples(st.sampled_from([name for name in COMMANDS if name not in ("demo", "doctor", "balance", "page", "soundfonts")]), st.lists(_NAME, max_size=4)).map(
    lambda said: (said[0], *said[1], *(("--no-audio", "--no-documents") if said[0] == "render" else ()), *(("--no-audio",) if said[0] == "loop" else ()))
)
good = st.just(GOOD)

CASES = st.one_of(
    _case(_LESSON, lesson=lessons()),
    _case(_LESSON, lesson=lessons()),
    _case(_LESSON, lesson=lessons(), groove=grooves()),
    _case(st.just(("grooves", "own.toml")), groove=grooves()),
    _case(st.just(("bars", "a.toml")), lesson=st.just(GOOD.replace(b'"swing"', b'"own.toml"')), groove=grooves()),
    _case(st.just(("bars", "a.toml")), lesson=st.just(GOOD.replace(b'values = "4 8 8 4 4 | 8 4 4 4 8"', b'file = "line.mid"')), midi=midi()),
    _case(st.just(("bars", "a.toml")), lesson=st.just(GOOD.replace(b'values = "4 8 8 4 4 | 8 4 4 4 8"', b'file = "line.musicxml"')), score=musicxml()),
    _case(st.just(("bars", "a.toml")), lesson=st.just(GOOD.replace(b'values = "4 8 8 4 4 | 8 4 4 4 8"', b'file = "line.mxl"')), packed=mxl()),
    _case(_LOOP, lesson=good),
    _case(_CHECK, lesson=good, take=midi()),
    _case(st.just(("term", "term.toml", "-o", "out", "--results", "back")), term=terms(), log=logs(), record=records),
    _case(_WORDS, lesson=st.one_of(good, lessons())),
)  # fmt: skip


def broken_promise(case: Case, folder: Path) -> str:
    """What does not hold of a case, said in a sentence; "" where all holds. The folder is made anew and removed."""
    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir()
    for name, data in case.files:
        (folder / name).parent.mkdir(exist_ok=True)
        (folder / name).write_bytes(data)
    if "pipe" in case.words:
        os.mkfifo(folder / "pipe")
    out, err = (io.TextIOWrapper(io.BytesIO(), "utf-8") for _ in range(2))
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err), contextlib.chdir(folder):
        code = main(list(case.words))
    ENDED[f"{case.words[0]} {code}"] += 1
    said, told = (_text(stream) for stream in (err, out))
    return _of_words(code, said, told, case.words) or _of_files(folder)


def _text(stream: io.TextIOWrapper) -> str:
    stream.flush()
    return stream.buffer.getvalue().decode()


def _of_words(code: int, said: str, told: str, words: tuple[str, ...]) -> str:
    if code not in (0, 1, 2):
        return f"the exit code is {code}"
    lines = said.split("\n")[:-1]
    if code == 2 and not (said or "Usage:" in told):
        return "the exit code is 2, and nothing is said"
    if code == 2 and said and len(lines) != 1 and words[0] != "render":  # of several lessons each has a line
        return f"{len(lines)} lines on stderr: {said[:300]!r}"
    if said and not (said.startswith(START) and all(len(row) <= MOST_CHARACTERS and row.isprintable() for row in lines)):
        return f"stderr is unfit: {said[:600]!r}"
    if "--json" not in words and (unfit := {sign for sign in told if not sign.isprintable()} - {"\n"}):
        return f"stdout holds {sorted(unfit)}: {told[:300]!r}"
    return ""


def _of_files(folder: Path) -> str:
    left = [path.name for path in folder.rglob("*") if path.suffix in (".part", ".old")]
    return f"left half written: {left}" if left else ""
