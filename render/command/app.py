"""The commands by name; the module of a command is imported when it is called or explained."""

import os
import sys
from collections.abc import Sequence
from importlib import import_module
from typing import Annotated, Any, Literal

import typer
from typer.core import TyperCommand, TyperGroup

from grooves.errors import LessonError, nearest

__all__ = ["COMMANDS", "BadUsage", "call", "command", "usage_message"]

COMMANDS = {  # by name, with what `--help` says of each: no module need be imported for that
    "demo": "Render the first lesson: every kind of file.",
    "new": "Write a commented lesson to start from.",
    "render": "Render MIDI, audio, chart and page of lessons.",
    "loop": "Render a hard bar, slow, over and over.",
    "balance": "Measure how loud each part is against the ride.",
    "bars": "Say who sounds together, and how hard bars are.",
    "lines": "Write a reading line of a level.",
    "chart": "Draw the line, the drum score and the grid.",
    "page": "Make the lesson page: one file, works offline.",
    "desk": "Write and give lessons in your browser.",
    "check": "Say how a take went, and what to practise next.",
    "term": "Make a term of lessons for several groups.",
    "grooves": "List the grooves, or show one.",
    "forms": "List the forms of chords, or show one.",
    "soundfonts": "List the soundfonts, or what one holds.",
    "doctor": "Say what this machine has of what is needed.",
}
ABOUT = "Jazz drum-set practice: read a line with one limb over steady time, with the limbs you choose left out."
CAUTION = (
    "Keep the volume low, warm up, rest often, and stop on pain, numbness or ringing ears; ask a clinician. "
    "Local rules on noise at work and in class come first."
)
BadUsage: Any = typer.BadParameter.__bases__[0]  # what typer raises for words that it cannot read
Context = Any  # typer keeps the type of its context to itself
_COMPLETING = "_FOURLIMB_COMPLETE"  # set by the shell, as typer names it


class Commands(TyperGroup):
    """The command line's words: listed without their modules, imported when they are called."""

    def list_commands(self, _: Context) -> list[str]:
        """The commands in the order of a teacher's work."""
        return list(COMMANDS)

    def get_command(self, _: Context, name: str) -> TyperCommand | None:
        """A command by its name and what it is for, without its options: enough to be listed."""
        return TyperCommand(name, help=COMMANDS[name]) if name in COMMANDS else None

    def resolve_command(self, context: Context, words: list[str]) -> Any:
        """Import the command that is called; raises LessonError with the nearest spelling."""
        if words[0] in COMMANDS:
            return words[0], command(words[0]), words[1:]
        if words[0].startswith("-"):
            return super().resolve_command(context, words)
        raise LessonError(f"there is no command '{words[0]}'; {nearest(words[0], COMMANDS)}")


def command(name: str) -> TyperCommand:
    """One command: `command("grooves").help` says what it does."""
    module = import_module(f"render.command.{name}")
    one = typer.Typer(add_completion=False, rich_markup_mode=_markup())
    one.command(name, epilog=f"Example: {module.EXAMPLE}")(getattr(module, name))
    made = typer.main.get_command(one)
    assert isinstance(made, TyperCommand)
    return made


def call(words: Sequence[str] | None) -> int:
    """Read the words of a command line and do what they say: `call(["grooves"])` is the exit code."""
    said = list(sys.argv[1:] if words is None else words)
    if any("\0" in word for word in said):  # a system hands over none, another program may
        raise LessonError("the sign NUL stands in a word of the command; no name holds it")
    commands = typer.main.get_command(_app())
    if _COMPLETING in os.environ:  # a shell asks what may come next
        commands.main(prog_name="fourlimb")
    try:
        # Not by its `main`, which takes Ctrl-C and a closed pipe for itself.
        with commands.make_context("fourlimb", said) as context:
            return int(commands.invoke(context) or 0)
    except typer.Exit as done:
        return done.exit_code


def usage_message(error: Any) -> str:
    """What is wrong with a command line, in one line that says how to get help."""
    asked = error.ctx.command_path if error.ctx else "fourlimb"
    said = error.format_message().rstrip(".")
    return f"{said[:1].lower()}{said[1:]}; see {asked} --help"


def _markup() -> Literal["rich"] | None:
    """Help is set by rich for a person at a terminal, and is plain text in a pipe."""
    return "rich" if sys.stdout and sys.stdout.isatty() else None


def _app() -> typer.Typer:
    app = typer.Typer(
        cls=Commands, help=ABOUT, epilog=CAUTION, rich_markup_mode=_markup(), pretty_exceptions_enable=False
    )
    app.callback(invoke_without_command=True)(_fourlimb)
    return app


def _fourlimb(
    context: typer.Context,
    version: Annotated[bool, typer.Option("--version", help="Say which version this is.")] = False,
) -> int:
    if version:
        from importlib.metadata import version as installed

        print(f"fourlimb {installed('fourlimb')}")
    elif context.invoked_subcommand is None:
        print(context.get_help())
        return 2
    return 0
