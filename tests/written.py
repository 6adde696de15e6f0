"""Scores for tests, written from a line of note values over a shipped groove."""

from dataclasses import replace
from pathlib import Path

from grooves.groove import Groove, parse_groove
from grooves.line import PlayedOn
from grooves.rhythm import parse_values
from grooves.score import Score, write_score

LIBRARY = Path(__file__).parents[1] / "grooves" / "library"
GROOVES = sorted(path.stem for path in LIBRARY.glob("*.toml"))
SNARE = PlayedOn("snare", "snare")
FEET_READ = PlayedOn("bass drum", "bass drum")


def groove(name: str) -> Groove:
    """A shipped groove."""
    return parse_groove((LIBRARY / f"{name}.toml").read_text(encoding="utf-8"))


def score(line: str, name: str = "swing", played_on=SNARE, title: str = "Harbour Street", **options) -> Score:
    """A line over a groove, on the snare at 120 unless told otherwise."""
    chosen = groove(name)
    chosen = replace(chosen, swing=options.pop("swing", chosen.swing))
    readings = played_on if isinstance(played_on, list) else [played_on]
    tempo_bpm = options.pop("tempo_bpm", 120)
    return write_score(title, chosen, tempo_bpm, parse_values(line, chosen.meter), readings, **options)
