"""`fourlimb forms`: forms of chords for the band."""

from typing import TYPE_CHECKING, Annotated, Any

import typer

from grooves.errors import LessonError, at
from render.command.options import Json
from render.command.report import as_json, show_lines, show_table

if TYPE_CHECKING:
    from grooves.band.forms import Form

EXAMPLE = "fourlimb forms blues --key Bb"


def forms(
    name: Annotated[str | None, typer.Argument(metavar="NAME", help="A shipped form.")] = None,
    key: Annotated[
        str | None,
        typer.Option("--key", metavar="KEY", help="A tonic such as F, Bb or F#, with m for minor."),
    ] = None,
    json: Json = False,
) -> None:
    """List the forms of chords, or show one in any key, in bars."""
    from grooves.band.forms import find_form, shipped_forms

    if key is not None and not name:
        raise LessonError("--key: name the form that it is for, such as fourlimb forms blues --key Bb")
    if name:
        form = _in_key(name, key)
        print(as_json(_plain(form)) if json else "\n".join(_said(form)))
        return
    every = [find_form(one) for one in shipped_forms()]
    if json:
        print(as_json({"forms": [_plain(form) for form in every]}))
        return
    rows = [(form.name, form.title, str(len(form.bars)), form.key, ", ".join(_meters(form))) for form in every]
    show_table("Forms", ("name", "title", "bars", "key", "for"), rows, right=(2,))
    show_lines(["", 'In a lesson: [band] with form = "blues", and key = "Bb" for another key; or chords of your own.'])


def _in_key(name: str, key: str | None) -> "Form":
    from grooves.band.forms import find_form

    form = find_form(name)
    if key is None:
        return form
    with at("--key"):
        return find_form(name, key=key)


def _meters(form: "Form") -> list[str]:
    from grooves.band.forms import form_table

    return list(form_table(form.name)["meters"])


def _said(form: "Form") -> list[str]:
    """A form in bars, four to a line, as a lesson's own chords may be written."""
    from grooves.band.forms import chords_text
    from grooves.meter import parse_meter

    bars = chords_text(form, parse_meter(_meters(form)[0])).splitlines()
    about = f"{form.title}, in {form.key}; for {', '.join(_meters(form))}; {form.source}"
    return [about, "", *(f"  {line}" for line in bars)]


def _plain(form: "Form") -> dict[str, Any]:
    symbols = [[placed.chord.symbol for placed in bar] for bar in form.bars]
    return {"name": form.name, "title": form.title, "key": form.key, "meters": _meters(form), "bars": symbols}
