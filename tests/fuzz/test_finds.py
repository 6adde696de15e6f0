"""What hostile files and words once broke, each by name, and the worst that can be thought of: one line, soon."""

import io
import json
import os
import struct
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest
from cases import GOOD, TERM, Case, broken_promise
from sound_files import FLOAT, wave_file
from written_files import quantity

ROOT = Path(__file__).parents[2]
LINE = b'values = "4 8 8 4 4 | 8 4 4 4 8"'
FROM_MIDI, FROM_SCORE, FROM_PACKED = (
    GOOD.replace(LINE, f'file = "line.{kind}"'.encode()) for kind in ("mid", "musicxml", "mxl")
)
RENDER = ("render", "a.toml", "--no-audio", "--no-documents", "-o", "out")


def lesson(extra: str = "", line: str = "") -> bytes:
    return extra.encode() + b"\n" + GOOD + line.encode()


def midi_of(*events: bytes) -> bytes:
    inside = b"".join(events) + b"\0\xff\x2f\0"
    return b"MThd\0\0\0\6\0\1\0\1\1\xe0MTrk" + len(inside).to_bytes(4, "big") + inside


def packed(score: bytes) -> bytes:
    held = io.BytesIO()
    with zipfile.ZipFile(held, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr(
            "META-INF/container.xml", "<container><rootfiles><rootfile full-path='s.xml'/></rootfiles></container>"
        )
        archive.writestr("s.xml", score)
    return held.getvalue()


MARKS = [b"\0\xff\x06\x05bar 1", *([b"\0\xff\x06\x05bar 2", quantity(480) + b"\x99\x26\x40", b"\0\x89\x26\0"] * 20_000)]
BEFORE = bytes.fromhex(
    "4d546864000000060001000101e04d54726b00000045"
    "00902440874089260078992640874099264000992601874090266482408926018740992601789926008360b9077f83609926018740b9077f83609926000099264078892600"
)  # all late but the first, which stands at the beginning
SHORT_REST = (
    b"<score-partwise><part-list><score-part id='P'><part-name>Snare</part-name></score-part></part-list><part id='P'>"
    b"<measure number='1'><attributes><divisions>1000</divisions><time><beats>4</beats><beat-type>4</beat-type></time>"
    b"</attributes><note><rest/><duration>1</duration></note><note><unpitched/><duration>2</duration></note></measure>"
    b"<measure number='2'><note><unpitched/><duration>4000</duration></note></measure></part></score-partwise>"
)
TAKES = {
    "drums far apart": midi_of(b"\0\x99\x33\x40", quantity(480) + b"\x99\x26\x40", quantity(40_000) + b"\x99\x24\x40"),
    "one stroke after an hour": midi_of(quantity(3_400_000) + b"\x99\x26\x40"),
    "two bytes": b"MT",
    "no stroke": midi_of(),
}

FINDS = {
    **{f"a take: {name}": (("check", "a.toml", "take.mid"), {"a.toml": GOOD, "take.mid": take}) for name, take in TAKES.items()},
    "a word with a sign that no name holds": (("render", "\0", "--no-audio"), {"a.toml": GOOD}),
    "a title with signs for a terminal": (("bars", "a.toml"), {"a.toml": GOOD.replace(b"Harbour Street", b"\\u001b[31m\\u0000\\n\\u202e\\uFFFE")}),
    "a title with signs for a terminal, rendered": (RENDER, {"a.toml": GOOD.replace(b"Harbour Street", b"\\u001b[31m\\t\\u009b")}),
    "a title with signs for a terminal, as JSON": ((*RENDER, "--json"), {"a.toml": GOOD.replace(b"Harbour Street", b"\\u009b31m\\u202e")}),
    "a tempo of no time": (("bars", "a.toml"), {"a.toml": FROM_MIDI, "line.mid": midi_of(b"\0\xff\x51\x03\0\0\0", *[quantity(470) + b"\x99\x26\x40"] * 8)}),
    "a take in a tempo of no time": (("check", "a.toml", "take.mid"), {"a.toml": GOOD, "take.mid": midi_of(b"\0\xff\x51\x03\0\0\0", *[quantity(470) + b"\x99\x26\x40"] * 8)}),
    "a first note before bar 1": (("bars", "a.toml"), {"a.toml": FROM_MIDI, "line.mid": BEFORE}),
    "64 000 bars": (("bars", "a.toml"), {"a.toml": GOOD.replace(LINE, b'values = "' + b"4 4 4 4 | " * 999 + b'1"\nrepeat_each = 64')}),
    "a term of no name": (("term", ""), {}),
    "a term that is this folder": (("term", "."), {}),
    "a new lesson of no name": (("new", ""), {}),
    "a new lesson that is this folder": (("new", "."), {}),
    "a line into no name": (("lines", "--level", "1", "-o", ""), {}),
    "stairs of no lesson": (("bars", "", "--stairs", "1"), {}),
    "stairs of the root": (("bars", "/", "--stairs", "1"), {}),
    "a pattern for a path": (("render", "**", "--no-audio"), {"a.toml": GOOD}),
    "a pattern for a page": (("page", "**"), {"a.toml": GOOD}),
    "a device": (("bars", "/dev/zero"), {}),
    "a pipe": (("bars", "pipe"), {}),
    "a very long name": (("bars", "a" * 5000), {}),
    "a very long option": (("bars", "--" + "a" * 5000), {}),
    "an option with signs for a terminal": (("bars", "--\x1b[31m\n"), {}),
    "a value with signs for a terminal": (("lines", "--level", "\x1b[31m\n" + "9" * 500), {}),
    "a command with signs for a terminal": (("\x1b[31m\n" + "x" * 500,), {}),
    "a name that is not UTF-8": (("bars", "b\udcff.toml"), {}),
    "a million commas": (("bars", "a.toml"), {"a.toml": lesson(line=f'bars = "{"1," * 450_000}1"\n')}),
    "a key of 20 000 dots": (("bars", "a.toml"), {"a.toml": lesson("a." * 20_000 + "a = 1")}),
    "5 000 digits": (RENDER, {"a.toml": lesson(f"choruses = {'9' * 5000}")}),
    "5 000 hexadecimal digits": (RENDER, {"a.toml": lesson(f"choruses = 0x{'f' * 5000}")}),
    "nested without end": (RENDER, {"a.toml": lesson(line="played_on = " + "{a = " * 5000 + "1" + "}" * 5000)}),
    "20 000 markers": (("bars", "a.toml"), {"a.toml": FROM_MIDI, "line.mid": midi_of(*MARKS)}),
    "a week's own lesson by a name longer than any": (("a term's plan",), {"term.toml": TERM + b'[[group.week]]\nweek = 1\nlesson = "' + b"4 " * 3000 + b'"\n'}),
    "a soundfont by a name longer than any": (("balance", "a.toml", "--no-audio"), {"a.toml": b'soundfont = "' + b"4 " * 3000 + b'"\n' + GOOD}),
    "a score nested without end": (("bars", "a.toml"), {"a.toml": FROM_SCORE, "line.musicxml": b"<score-partwise>" + b"<part>" * 500_000}),
    "a score with a rest shorter than every sign": (("bars", "a.toml"), {"a.toml": FROM_SCORE, "line.musicxml": SHORT_REST}),
    "a packed score that swells": (("bars", "a.toml"), {"a.toml": FROM_PACKED, "line.mxl": packed(b" " * 9_999_000)}),
    "a recording far past full scale": (("check", "take.wav", "--hello"), {"take.wav": wave_file(struct.pack("<f", 1e30) * 8000, FLOAT)}),
    "a recording of no numbers": (("check", "a.toml", "take.wav", "--kit", "take.wav"), {"a.toml": GOOD, "take.wav": wave_file(struct.pack("<3f", float("nan"), float("inf"), 3e38) * 4000, FLOAT, 2)}),
    "a recording of nothing": (("check", "a.toml", "take.wav"), {"a.toml": GOOD, "take.wav": wave_file(b"")}),
    "a soundfont of nothing": (("a soundfont",), {"font.sf2": b"RIFF"}),
    "a log of many digits": (("a practice log",), {"log": b'{"format": "fourlimb-practice", "version": ' + b"9" * 5000 + b"}"}),
    "a log of a number past all measure": (("a practice log",), {"log": b'{"format": "fourlimb-practice", "version": 1, "lesson": {"hash": "0"}, "bars": {"1": [1' + b"0" * 400 + b"]}}"}),
    "a log nested without end": (("a practice log",), {"log": b"[" * 100_000}),
}  # fmt: skip


@pytest.mark.parametrize("name", FINDS)
def test_what_once_broke_is_one_line_and_whole_files(name, tmp_path):
    words, files = FINDS[name]
    assert broken_promise(Case(words, tuple(files.items())), tmp_path / "case") == ""


# --- terminals and pipes of few signs -------------------------------------------------------------

COMMANDS = {
    "render": ("--no-audio", "--no-documents"),
    "render as JSON": ("--no-audio", "--no-documents", "--json"),
    "bars": (),
    "bars as JSON": ("--json",),
    "balance": ("--no-audio",),
    "page": ("-o", "p.html"),
    "chart": ("-o", "c.svg"),
    "check": ("take.mid",),
}
ALL_IN_ONE = """
import io, os, sys
from render.command.cli import main
codes = []
for words in {every!r}:
    codes.append(main(words))
print(codes, file=sys.stderr)
"""


@pytest.mark.parametrize("encoding", ["ascii", "latin-1", "cp1252"])
def test_a_terminal_of_few_signs_gets_what_it_can_print(encoding, tmp_path):
    name = os.fsdecode(b"b\xff\xe4\xb8\xad.toml")  # no UTF-8, and a sign that none of the three knows
    (tmp_path / name).write_bytes(GOOD.replace(b"Harbour Street", "Hafenstraße – 名".encode()))
    (tmp_path / "take.mid").write_bytes(midi_of(b"\0\x99\x26\x40"))
    every = [
        (title.split()[0], name, *words, *(("-o", "out") if title.startswith(("render", "bal")) else ()))
        for title, words in COMMANDS.items()
    ]
    done = subprocess.run(
        [sys.executable, "-c", ALL_IN_ONE.format(every=every)],
        cwd=tmp_path, capture_output=True, check=False,
        env={**os.environ, "PYTHONIOENCODING": encoding, "LC_ALL": "C", "PYTHONPATH": str(ROOT)},
    )  # fmt: skip
    assert done.stderr.decode().splitlines() == [str([0] * 4 + [0] + [0] * 3)], done.stderr.decode()[-2000:]
    told = done.stdout.decode(encoding)
    assert "Hafenstra" in told
    assert ("ß" in told) == (encoding != "ascii")


@pytest.mark.parametrize("encoding", ["ascii", "cp1252"])
def test_json_says_a_name_that_the_terminal_does_not_know_by_escapes(encoding, tmp_path):
    name = os.fsdecode(b"b\xff\xe4\xb8\xad.toml")
    (tmp_path / name).write_bytes(GOOD)
    done = subprocess.run(
        [sys.executable, "-m", "render", "render", name, "--no-audio", "--no-documents", "--json"],
        cwd=tmp_path, capture_output=True, check=False,
        env={**os.environ, "PYTHONIOENCODING": encoding, "LC_ALL": "C", "PYTHONPATH": str(ROOT)},
    )  # fmt: skip
    told = json.loads(done.stdout.decode(encoding))
    assert all((tmp_path / made["path"]).exists() for made in told["files"])
