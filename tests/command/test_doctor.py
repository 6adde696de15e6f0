"""What the machine has: each thing named, one line of advice for what is missing, and a code."""

import json

from render.command.cli import main
from render.command.doctor import examine


def told(capsys) -> dict[str, dict[str, str]]:
    return {one["what"]: one for one in json.loads(capsys.readouterr().out)["findings"]}


def test_a_machine_that_has_everything_is_well(capsys, tmp_path, monkeypatch):
    monkeypatch.setenv("FOURLIMB_CACHE", str(tmp_path))
    assert main(["doctor", "--json"]) == 0
    found = told(capsys)
    assert list(found) == ["Python", "FluidSynth", "soundfont", "cache", "disk"]
    assert all(one["advice"] == "" and one["found"] and one["needed_for"] for one in found.values())
    assert found["FluidSynth"]["found"].startswith("2.")
    assert "TimGM6mb.sf2" in found["soundfont"]["found"]


def test_a_soundfont_that_is_not_there_is_told_with_advice_and_code_2(capsys, tmp_path, monkeypatch):
    monkeypatch.setenv("FOURLIMB_SOUNDFONT", str(tmp_path / "none.sf2"))
    assert main(["doctor"]) == 2
    said = capsys.readouterr().out
    assert "! soundfont: the variable FOURLIMB_SOUNDFONT names the soundfont" in said
    assert main(["doctor", "--json"]) == 2
    assert told(capsys)["soundfont"]["found"] == ""


def test_a_cache_that_cannot_be_is_told(tmp_path, monkeypatch):
    monkeypatch.setenv("FOURLIMB_CACHE", "~nobodyhere/cache")
    cache = next(one for one in examine() if one.what == "cache")
    assert not cache.good
    assert "there is no such user" in cache.advice


def test_a_full_disk_is_told(monkeypatch):
    monkeypatch.setattr("shutil.disk_usage", lambda _: type("Usage", (), {"free": 1_000_000})())
    disk = next(one for one in examine() if one.what == "disk")
    assert "1 MB are free" in disk.advice
