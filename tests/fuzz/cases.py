"""Cases: files in a folder and the words of a command line about them; and what must hold of each."""

import contextlib
import io
import json
import os
import shutil
import subprocess
import sys
import tempfile
import tomllib
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

import mido
from hostile import foreign, seldom, texts
from hypothesis import strategies as st
from lxml import etree
from sound_files import soundfonts, wav
from written_files import came_back, grooves, lessons, logs, midi, musicxml, mxl, records, terms

from grooves.errors import MOST_CHARACTERS, LessonError
from render.command.app import COMMANDS
from render.command.cli import WRONG, _fail, main
from render.lesson.several import Workers
from render.lesson.term import TermOptions, make_term
from render.lesson.term_lessons import group_jobs, plan_lessons
from render.lesson.term_record import RECORD, read_record
from render.page.practice_log import read_log

ENDED: Counter[str] = Counter()  # how cases ended: the command and its exit code
START = "fourlimb: "
SOUND = '[line]\nvalues = "4 8 8 4 4 | 8 4 4 4 8"\n'
TERM = b'title = "Harbour Street"\nweeks = 1\n[[group]]\nname = "Monday"\nlevel = 3\ntempo = 96\nbars = 4\n'
GOOD = f'title = "Harbour Street"\ntempo = 120\ngroove = "swing"\n{SOUND}'.encode()


@dataclass(frozen=True)
class Case:
    """Files by name, and a command line said in their folder."""

    words: tuple[str, ...]
    files: tuple[tuple[str, bytes], ...]


def _case(words, **files):
    names = {"lesson": "a.toml", "groove": "own.toml", "midi": "line.mid", "score": "line.musicxml", "packed": "line.mxl", "take": "take.mid", "term": "term.toml", "log": "back/log.json", "record": "out/fourlimb-term.json", "sound": "take.wav", "kit_sound": "kit.wav", "kit_midi": "kit.mid", "font": "font.sf2"}  # fmt: skip
    found = st.fixed_dictionaries({names[kind]: made for kind, made in files.items()})
    return st.builds(lambda said, held: Case(tuple(said), tuple(held.items())), words, found)


_MIDI_ONLY = ("render", "a.toml", "--no-audio", "--no-documents", "-o", "out")
_LESSON = st.sampled_from(
    [
        *[("bars", "a.toml")] * 8,
        *[("bars", "a.toml", "--json")] * 4,
        *[_MIDI_ONLY, (*_MIDI_ONLY, "--json")] * 2,
        *[("chart", "a.toml", "-o", "a.musicxml")] * 4,
        ("bars", "a.toml", "--stairs", "1", "-o", "b.toml"),
        ("chart", "a.toml", "-o", "a.svg", "--counts"),
        ("chart", "a.toml", "-o", "a.pdf", "--bars", "1"),
        ("page", "a.toml", "-o", "a.html"),
        ("balance", "a.toml", "--no-audio", "-o", "out"),
    ]
)
_LOOP = st.tuples(*(seldom(st.just(right), texts, 4) for right in ("1", "60%", "snare"))).map(
    lambda said: (
        "loop",
        "a.toml",
        f"--bars={said[0]}",
        f"--tempo={said[1]}",
        f"--without={said[2]}",
        "--no-audio",
        "-o",
        "out",
    )
)
_CHECK = st.sampled_from(
    [
        ("check", "a.toml", "take.mid"),
        ("check", "a.toml", "take.mid", "--json"),
        ("check", "a.toml", "take.mid", "--track", "full"),
    ]
)
_NAME = st.one_of(
    st.just("a.toml"),
    st.sampled_from(
        [
            "a.toml",
            ".",
            "",
            "/",
            "**",
            "*.toml",
            "none.toml",
            "a.toml/x",
            "out",
            "--json",
            "-o",
            "--bars",
            "1",
            "/dev/zero",
            "/dev/full",
            "pipe",
            "b\udcff.toml",
            "x\0y",
            "a" * 300,
        ]
    ),
    foreign,
)
_WORDS = st.tuples(
    st.sampled_from(
        [name for name in COMMANDS if name not in ("demo", "desk", "doctor", "balance", "page", "soundfonts")]
    ),
    st.lists(_NAME, max_size=4),
).map(
    lambda said: (
        said[0],
        *said[1],
        *(("--no-audio", "--no-documents") if said[0] == "render" else ()),
        *(("--no-audio",) if said[0] == "loop" else ()),
    )
)
good = st.just(GOOD)
_OWN = ("check", "a.toml", "take.wav", "--kit", "kit.wav")
_HEARD = seldom(st.sampled_from([_OWN, (*_OWN, "--json")]), st.just(("check", "a.toml", "take.wav")), 40)  # a slow one
_TOLD = st.sampled_from(
    [("check", "a.toml", "take.mid", "--kit", "kit.mid"), ("check", "a.toml", "take.mid", "--kit", "kit.wav")]
)
_DELAY = st.sampled_from([("check", "take.wav", "--hello"), ("check", "take.wav", "--hello", "--json")])
_BACK = ("term", "term.toml", "-o", "out", "--results", "back")
_RESULTS = st.sampled_from([_BACK, (*_BACK, "--json"), (*_BACK, "--next")])


@lru_cache
def term_made() -> tuple[tuple[str, bytes], ...]:
    """A small term as it lies there when its results come back: made once in a process, without its pages."""
    with tempfile.TemporaryDirectory() as made:
        folder = Path(made)
        (folder / "term.toml").write_bytes(TERM)
        make_term(folder / "term.toml", TermOptions(folder / "out", workers=Workers(1)))
        kept = [folder / "term.toml", folder / "out" / RECORD, *folder.glob("out/*/*.toml")]
        return tuple((path.relative_to(folder).as_posix(), path.read_bytes()) for path in kept)


def _results() -> st.SearchStrategy:
    """A term with hostile files that came back of it."""
    made = term_made()
    hashes = sorted(json.loads(dict(made)[f"out/{RECORD}"])["notes"])
    names = st.sampled_from(["back/log.json", "back/anna/log.json", "back/\x1b[31m/a.json", "back/take.json"])
    return st.tuples(_RESULTS, st.dictionaries(names, came_back(hashes), max_size=3)).map(
        lambda said: Case(said[0], (*made, *said[1].items()))
    )


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
    _case(_HEARD, lesson=good, sound=wav(), kit_sound=wav()),
    _case(_TOLD, lesson=good, take=midi(), kit_midi=midi(), kit_sound=wav()),
    _case(_DELAY, sound=wav()),
    _case(st.just(("a soundfont",)), font=soundfonts()),
    st.deferred(_results),
    _case(st.just(("term", "term.toml", "-o", "out", "--results", "back")), term=terms(), log=logs(), record=records),
    _case(st.just(("a term's plan",)), term=terms()),
    _case(st.just(("a practice log",)), log=logs()),
    _case(st.just(("a term's record",)), record=records),
    _case(_WORDS, lesson=st.one_of(good, lessons())),
)  # fmt: skip


def _record(data: bytes) -> None:
    Path(RECORD).write_bytes(data)
    read_record(Path())


def _plan(data: bytes) -> None:
    Path("term.toml").write_bytes(data)
    for job in group_jobs(Path("term.toml"), Path("out"))[1]:
        plan_lessons(job)


class _Struck:
    """The process that strikes soundfonts, begun when the first one comes, and anew where one took it along."""

    process: "subprocess.Popen[str] | None" = None

    def strike(self, path: Path) -> str:
        if self.process is None:
            words = [sys.executable, Path(__file__).with_name("font_child.py")]
            self.process = subprocess.Popen(words, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
        try:
            print(path, file=self.process.stdin, flush=True)
            said = self.process.stdout.readline().rstrip("\n")
        except BaseException:  # it took too long
            self.process.kill()
            self.process.wait()
            self.process = None
            raise
        if not said:
            code, self.process = self.process.wait(), None
            raise RuntimeError(f"the soundfont took its process along: {code}")
        return said


_struck = _Struck()


def _strike(data: bytes) -> None:
    Path("font.sf2").write_bytes(data)
    if (said := _struck.strike(Path("font.sf2").resolve())) != "sound":
        raise (LessonError if said.startswith("FONT: ") else AssertionError)(said)


DOORS: dict[str, Callable[[bytes], object]] = {  # read by commands that take too long for so many cases
    "a practice log": lambda data: read_log(data.decode("utf-8", "replace")),
    "a term's record": _record,
    "a term's plan": _plan,
    "a soundfont": _strike,
}


def _run(words: Sequence[str], files: Sequence[tuple[str, bytes]]) -> int:
    """Say a command line, or knock at a door as the command does."""
    if words[0] not in DOORS:
        return main(words)
    try:
        DOORS[words[0]](files[0][1])
    except LessonError as error:
        return _fail(WRONG, *map(str, error.args))
    return 0


def broken_promise(case: Case, folder: Path) -> str:
    """What does not hold of a case, said in a sentence; "" where all holds. The folder is made anew and removed."""
    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir()
    for name, data in case.files:
        (folder / name).parent.mkdir(exist_ok=True, parents=True)
        (folder / name).write_bytes(data)
    if "pipe" in case.words:
        os.mkfifo(folder / "pipe")
    out, err = (io.TextIOWrapper(io.BytesIO(), "utf-8") for _ in range(2))
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err), contextlib.chdir(folder):
        code = _run(case.words, case.files)
    ENDED[f"{case.words[0]} {code}"] += 1
    said, told = (_text(stream) for stream in (err, out))
    return _of_words(code, said, told, case.words) or _of_files(folder, {RECORD, *(name for name, _ in case.files)})


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
    if said and not (
        said.startswith(START) and all(len(row) <= MOST_CHARACTERS and row.isprintable() for row in lines)
    ):
        return f"stderr is unfit: {said[:600]!r}"
    if code == 0 and "--json" in words:
        json.loads(told)
    if "--json" not in words and (unfit := {sign for sign in told if not sign.isprintable()} - {"\n"}):
        return f"stdout holds {sorted(unfit)}: {told[:300]!r}"
    return ""


_WHOLE: dict[str, Callable[[bytes], object]] = {  # how a file is read that must be whole
    ".mid": lambda data: mido.MidiFile(file=io.BytesIO(data)),
    ".musicxml": etree.fromstring,
    ".svg": etree.fromstring,
    ".toml": lambda data: tomllib.loads(data.decode()),
    ".pdf": lambda data: data.rindex(b"%%EOF"),
    ".html": lambda data: data.rindex(b"</html>"),
    ".json": json.loads,
}


def _of_files(folder: Path, handed_over: set[str]) -> str:
    for path in sorted(folder.rglob("*")):
        name = path.relative_to(folder).as_posix()
        if path.suffix in (".part", ".old"):
            return f"{name} is left half written"
        if path.suffix in _WHOLE and name not in handed_over and path.is_file():
            try:
                _WHOLE[path.suffix](path.read_bytes())
            except Exception as error:
                return f"{name} is not whole: {error}"
    return ""
