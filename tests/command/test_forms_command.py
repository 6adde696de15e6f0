import json

import pytest

from grooves.band.forms import parse_chords, shipped_forms
from grooves.meter import Meter
from render.command.cli import main


def test_the_forms_are_listed_by_name_with_their_bars_and_meters(capsys):
    assert main(["forms"]) == 0
    said = capsys.readouterr().out
    assert all(name in said for name in shipped_forms())
    assert "Blues, twelve bars" in said and "4/4, 12/8, 3/4" in said


def test_one_form_is_printed_in_bars_that_a_lesson_can_take_as_they_stand(capsys):
    assert main(["forms", "blues", "--key", "Bb"]) == 0
    about, _, *bars = capsys.readouterr().out.splitlines()
    assert about.startswith("Blues, twelve bars, in Bb; for 4/4")
    assert [placed.chord.symbol for bar in parse_chords(" ".join(bars), Meter(4, 4)) for placed in bar][:5] == [
        "Bb7", "Eb7", "Bb7", "Fm7", "Bb7"
    ]  # fmt: skip


def test_forms_are_told_as_json(capsys):
    assert main(["forms", "--json"]) == 0
    every = json.loads(capsys.readouterr().out)["forms"]
    assert [form["name"] for form in every] == list(shipped_forms())
    assert main(["forms", "turnaround", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["bars"][0] == ["Bbmaj7", "G7"]


@pytest.mark.parametrize(
    "words, message",
    [
        (["blus"], "'blus' is not a form; did you mean 'blues'?, or write chords of your own"),
        (["blues", "--key", "H"], "--key: 'H' is not a key; did you mean 'B'?"),
        (["blues", "--key", "Am"], "--key: 'Am' is in minor and blues is in major; write A, or take another form"),
        (["--key", "F"], "--key: name the form that it is for, such as fourlimb forms blues --key Bb"),
    ],
)
def test_what_is_no_form_and_no_key_gets_one_message(words, message, capsys):
    assert main(["forms", *words]) == 2
    assert capsys.readouterr().err.strip() == f"fourlimb: {message}"
