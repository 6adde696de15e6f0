"""The command line's words: every command, its options and its help. Imports nothing heavy."""

import argparse
from pathlib import Path
from typing import Any, NoReturn

ABOUT = "Jazz drum-set practice: read a line with one limb over steady time, with the limbs you choose left out."
CAUTION = (
    "Keep the volume low, warm up, rest often, and stop on pain, numbness or ringing ears; ask a clinician. "
    "Local rules on noise at work and in class come first."
)


class Parser(argparse.ArgumentParser):
    """A parser whose mistakes are one line on stderr and exit code 2."""

    def error(self, message: str) -> NoReturn:
        """Say what is wrong and how to get help."""
        self.exit(2, f"fourlimb: {message}; see {self.prog} --help\n")


def parser() -> Parser:
    """The whole command line: `parser().parse_args(["render", "first.toml"]).command` is "render"."""
    main = Parser(prog="fourlimb", description=ABOUT, epilog=CAUTION)
    main.add_argument("--version", action="store_true", help="say which version this is")
    commands = main.add_subparsers(dest="command", metavar="COMMAND", parser_class=Parser)
    for add in (_demo, _new, _render, _loop, _balance, _bars, _lines, _chart, _page, _check, _grooves, _soundfonts):
        add(commands)
    return main


Commands = Any  # argparse keeps the type of its subparsers to itself


def _command(commands: Commands, name: str, about: str, example: str) -> Parser:
    added: Parser = commands.add_parser(name, help=about, description=about, epilog=f"Example: {example}")
    return added


def _lesson(one: Parser, many: bool = False) -> None:
    if many:
        one.add_argument("lessons", nargs="+", type=Path, metavar="LESSON", help="lesson files, or folders of them")
    else:
        one.add_argument("lesson", type=Path, metavar="LESSON", help="a lesson file (.toml)")


def _folder(one: Parser, default: str) -> None:
    one.add_argument(
        "-o", "--out", type=Path, default=Path(default), metavar="DIR", help=f"where to (default: {default})"
    )


def _sound(one: Parser) -> None:
    one.add_argument("--soundfont", type=Path, metavar="FILE", help="play with this soundfont (.sf2)")
    one.add_argument("--rate", type=int, default=44100, metavar="HZ", help="sample rate: 44100 or 48000")
    one.add_argument("--no-cache", action="store_true", help="record the drums afresh, keep nothing on disk")


def _format(one: Parser) -> None:
    one.add_argument("--format", default="wav", metavar="F", help="sound format: wav, flac, ogg or mp3")


def _json(one: Parser) -> None:
    one.add_argument("--json", action="store_true", help="report as JSON on standard output")


def _demo(commands: Commands) -> None:
    one = _command(commands, "demo", "render the shipped lesson: every kind of file", "fourlimb demo -o demo")
    _folder(one, "demo")
    _sound(one)
    _json(one)


def _new(commands: Commands) -> None:
    one = _command(commands, "new", "write a commented lesson to start from", "fourlimb new tuesday.toml")
    one.add_argument("file", type=Path, metavar="FILE.toml", help="the lesson to write; never overwrites")


def _render(commands: Commands) -> None:
    one = _command(
        commands, "render", "make MIDI, sound and paper of lessons", "fourlimb render tuesday.toml -o tuesday --stems"
    )
    _lesson(one, many=True)
    _folder(one, "out")
    one.add_argument("--track", action="append", default=[], metavar="NAME", help="only this track (may be repeated)")
    _format(one)
    one.add_argument("--stems", action="store_true", help="also one sound file for each part of each track")
    one.add_argument("--no-audio", action="store_true", help="no sound files")
    one.add_argument("--no-paper", action="store_true", help="no chart, MusicXML and lesson page")
    one.add_argument(
        "--velocities",
        choices=("measured", "plain"),
        default="measured",
        help="measured: balanced for the soundfont; plain: for an unknown sound module",
    )
    one.add_argument(
        "--jobs",
        type=int,
        default=0,
        metavar="N",
        help="lessons at a time, or processes for one lesson, at most 4 (default: one a core)",
    )
    one.add_argument("--scheduler", metavar="ADDRESS", help="hand the lessons to a Dask scheduler (extra: cluster)")
    _sound(one)
    _json(one)


def _loop(commands: Commands) -> None:
    one = _command(
        commands, "loop", "a hard bar, slow, over and over, without a seam", "fourlimb loop tuesday.toml --bars 6"
    )
    _lesson(one)
    one.add_argument("--bars", required=True, metavar="BARS", help='bars of the line, such as 6 or "3-4"')
    one.add_argument(
        "--tempo", metavar="T", help="beats a minute, or a share of the lesson's (default 60%%, but not below 30)"
    )
    one.add_argument("--times", type=int, default=8, metavar="N", help="how many times (default 8)")
    one.add_argument("--without", action="append", default=[], metavar="PART", help="leave this part or limb out")
    _folder(one, "out")
    _format(one)
    _sound(one)
    _json(one)


def _balance(commands: Commands) -> None:
    one = _command(
        commands, "balance", "measure how loud each part is against the ride", "fourlimb balance tuesday.toml"
    )
    _lesson(one)
    _folder(one, "out")
    _format(one)
    _sound(one)
    _json(one)


def _bars(commands: Commands) -> None:
    one = _command(
        commands, "bars", "who sounds together in each bar, and how hard it is", "fourlimb bars tuesday.toml"
    )
    _lesson(one)
    one.add_argument("--stairs", type=int, metavar="BAR", help="write the steps up to this bar as a lesson")
    one.add_argument("--from", dest="start", type=int, metavar="BAR", help="begin the stairs at this bar")
    one.add_argument("-o", "--out", type=Path, metavar="FILE.toml", help="the lesson of stairs to write")
    _json(one)


def _lines(commands: Commands) -> None:
    one = _command(commands, "lines", "write a reading line of a level", "fourlimb lines --level 3 --bars 8 --seed 1")
    one.add_argument("--level", type=int, required=True, metavar="N", help="see the table of levels in the README")
    one.add_argument("--bars", type=int, default=8, metavar="M", help="how many bars (default 8)")
    one.add_argument("--seed", type=int, default=1, metavar="S", help="another seed, another line (default 1)")
    one.add_argument("--meter", default="4/4", metavar="M", help="4/4, 3/4 or another (default 4/4)")
    _json(one)


def _chart(commands: Commands) -> None:
    one = _command(
        commands, "chart", "print the line, the drum score and the grid", "fourlimb chart tuesday.toml -o tuesday.pdf"
    )
    _lesson(one)
    one.add_argument("-o", "--out", type=Path, required=True, metavar="FILE", help=".pdf, .svg, .png or .musicxml")
    one.add_argument("--bars", metavar="BARS", help='only these bars, such as 6 or "1-4"')
    one.add_argument("--paper", choices=("a4", "letter"), default="a4", help="paper size (default a4)")


def _page(commands: Commands) -> None:
    one = _command(
        commands, "page", "make the lesson page: one file, works offline", "fourlimb page tuesday.toml -o tuesday.html"
    )
    one.add_argument("lesson", type=Path, metavar="LESSON", help="a lesson file, or a folder of lessons")
    one.add_argument("-o", "--out", type=Path, metavar="FILE.html", help="the page; for a folder: where to")
    _sound(one)


def _check(commands: Commands) -> None:
    one = _command(
        commands, "check", "how a take went: late, missed, apart", "fourlimb check tuesday.toml tuesday.mid -o again"
    )
    one.add_argument("lesson", nargs="?", type=Path, metavar="LESSON", help="a lesson file (.toml)")
    one.add_argument(
        "take", nargs="?", type=Path, metavar="TAKE", help="what was played: .mid, .wav, .flac, .ogg, .mp3"
    )
    one.add_argument("--track", metavar="NAME", help="the track it was played to (default: the student's own)")
    one.add_argument("--bars", metavar="BARS", help='judge only these bars of the line, such as 6 or "1-4"')
    one.add_argument("--kit", type=Path, metavar="KIT", help="a recording of single strokes, as --hello tells")
    one.add_argument("--latency", type=float, metavar="MS", help="the device's delay, where it is known")
    one.add_argument("--hello", action="store_true", help="write a click for recording single strokes; or measure")
    one.add_argument("--soundfont", type=Path, metavar="FILE", help="play with this soundfont (.sf2)")
    one.add_argument("-o", "--out", type=Path, metavar="DIR", help="write pictures, and practice of the worst bars")
    _json(one)


def _grooves(commands: Commands) -> None:
    one = _command(commands, "grooves", "list the grooves, or show one", "fourlimb grooves swing")
    one.add_argument("name", nargs="?", metavar="NAME", help="a shipped groove, or a groove file")
    _json(one)


def _soundfonts(commands: Commands) -> None:
    one = _command(commands, "soundfonts", "which soundfonts are here, or what one holds", "fourlimb soundfonts")
    one.add_argument("file", nargs="?", type=Path, metavar="FILE", help="a soundfont (.sf2)")
    _json(one)
