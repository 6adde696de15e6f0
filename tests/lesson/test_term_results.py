"""What came back of a term: counted where it belongs, told where it does not; and what to practise next."""

import json
import re
import subprocess
from pathlib import Path

import pytest
from lxml import etree

from grooves.errors import LessonError
from grooves.teaching.coordination import hardest_first
from grooves.teaching.stairs import alone
from render.command.cli import main
from render.lesson.load import load_lesson
from render.lesson.several import Workers
from render.lesson.term import TermOptions, make_term
from render.lesson.term_results import term_results
from render.page.practice_log import lesson_hash

TERM = """
title = "Harbour Street, autumn"
weeks = 2
[[group]]
name = "Monday"
level = 3
tempo = 96
bars = 4
"""


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """A term as it is written, not to be changed."""
    folder = tmp_path_factory.mktemp("term")
    (folder / "autumn.toml").write_text(TERM)
    make_term(folder / "autumn.toml", TermOptions(folder / "out", workers=Workers(1)))
    return folder


@pytest.fixture
def term(made, tmp_path):
    """The same, with an empty folder for what comes back."""
    subprocess.run(["cp", "-r", *map(str, made.iterdir()), str(tmp_path)], check=True)
    (tmp_path / "back").mkdir()
    return tmp_path


def lesson_of(term: Path, week: int):
    return load_lesson(term / "out" / "monday" / f"week-{week:02}-1.toml").lesson


def log(term: Path, name: str, week: int = 1, **changed: object) -> None:
    """A practice log as a page exports it."""
    lesson = lesson_of(term, week)
    told = {
        "format": "fourlimb-practice",
        "version": 1,
        "lesson": {"title": lesson.title, "hash": lesson_hash(lesson)},
        "minutes": {"2026-11-24": 12.5},
        "bars": {"1": [60, 96], "2": [120], "3": [72, 95.5]},
        **changed,
    }
    path = term / "back" / name
    path.parent.mkdir(exist_ok=True)
    path.write_text(json.dumps(told))


def read(term: Path, personal: bool = False):
    return term_results(term / "autumn.toml", term / "out", term / "back", personal)


def test_a_bar_is_clean_where_it_came_clean_at_the_asked_tempo_or_faster(term):
    log(term, "a.json")
    first, second = read(term).results.groups["Monday"]
    assert [(bar.bar, bar.clean, bar.of) for bar in first.bars] == [(1, 1, 1), (2, 1, 1), (3, 0, 1), (4, 0, 1)]
    assert (first.students["a"].minutes, first.students["a"].share) == (12.5, 0.5)
    assert second.students == {} and all(bar.of == 0 for bar in second.bars)


def test_bars_that_stopped_most_come_first(term):
    log(term, "a.json", bars={"1": [96], "2": [96], "3": [96]})
    log(term, "b.json", bars={"1": [96], "3": [96]})
    log(term, "c.json", bars={"1": [96], "2": [96]})
    stopped = read(term).results.groups["Monday"][0].stopped
    assert [(bar.bar, bar.of - bar.clean) for bar in stopped] == [(4, 3), (2, 1), (3, 1)]


def test_a_file_counts_for_its_word_else_for_its_folder_else_for_its_name(term):
    log(term, "seven/log.json", word=" 7b ")
    log(term, "eight/log.json")
    log(term, "nine.json")
    assert list(read(term).results.groups["Monday"][0].students) == ["7b", "eight", "nine"]


def test_two_files_of_one_student_are_joined_and_no_day_counts_twice(term):
    log(term, "eight/one.json", minutes={"2026-11-24": 10, "2026-11-25": 5}, bars={"1": [96]})
    log(term, "eight/two.json", minutes={"2026-11-24": 12}, bars={"2": [96]})
    cell = read(term).results.groups["Monday"][0].students["eight"]
    assert (cell.minutes, cell.share, cell.files) == (17, 0.5, 1)


def test_a_checked_take_counts_as_the_command_saves_it(term, capsys):
    lesson = term / "out" / "monday" / "week-01-1.toml"
    (term / "takes").mkdir()
    student = term / "takes" / "student.toml"  # who strays another way than the track
    text = lesson.read_text().replace("[line]", "count_in = 0\n[line]") + "[feel]\nseed = 7\n"
    student.write_text(text)
    words = ["-o", str(term / "takes"), "--no-audio", "--no-documents", "--track", "full"]
    assert main(["render", str(student), *words]) == 0
    capsys.readouterr()
    assert main(["check", str(lesson), str(term / "takes" / "student-full.mid"), "--track", "full", "--json"]) == 0
    saved = capsys.readouterr().out
    (term / "back" / "take.json").write_text(saved)
    told = json.loads(saved)
    assert (told["format"], told["version"], told["tempo_bpm"]) == ("fourlimb-check", 1, 96)
    assert read(term).results.groups["Monday"][0].students["take"].share == 1.0
    # The same take, slower than asked, or with a fault in bar 2.
    (term / "back" / "take.json").write_text(json.dumps({**told, "tempo_bpm": 72}))
    assert read(term).results.groups["Monday"][0].students["take"].share == 0.0
    told["bars"][1]["missed"] = 1
    (term / "back" / "take.json").write_text(json.dumps(told))
    assert [bar.clean for bar in read(term).results.groups["Monday"][0].bars] == [1, 0, 1, 1]


CHECK = {"format": "fourlimb-check", "version": 1}
HOSTILE = [
    (b"\xff\xfe", "this is not UTF-8 text"),
    (b"[" * 100_000, "this is neither a practice log nor a checked take: it is not JSON"),
    (b"[]", "this is neither a practice log nor a checked take"),
    (b'{"format": "other"}', 'this is not a practice log: its format is not "fourlimb-practice"'),
    ({"version": 2}, "this log is of version 2; version 1 can be read"),
    ({"lesson": {"hash": "0" * 16}}, "this belongs to no lesson of this term"),
    ({"lesson": {"hash": 3}}, "this log does not say which lesson it belongs to"),
    ({"minutes": {"2026-11-24": 1e9}}, "2026-11-24: 1e+09 is out of range"),
    ({"minutes": {"yesterday": 5}}, "minutes: 'yesterday' is not a day"),
    ({"bars": {"1": "all"}}, "bars: bar 1: 'all' is not a list of tempos"),
    ({**CHECK, "version": None}, "this take is of version None; version 1 can be read"),
    ({**CHECK, "lesson": []}, "this take does not say which lesson it belongs to"),
    ({**CHECK, "tempo_bpm": "fast", "bars": []}, "this take does not say its tempo and its bars"),
    ({**CHECK, "tempo_bpm": 96, "bars": []}, "nothing could be said of this take, so it has no bars to count"),
    ({**CHECK, "tempo_bpm": 96, "bars": [{"bar": 1}]}, "bars: {'bar': 1} is not a bar of a checked take"),
    (b" " * 2_000_001, "this is larger than 2 MB; what came back of one lesson is a page of text"),
]


@pytest.mark.parametrize(("content", "message"), HOSTILE, ids=[message[:40] for _, message in HOSTILE])
def test_a_file_that_is_no_result_is_told_of_and_the_others_count(content, message, term):
    log(term, "good.json")
    log(term, "wrong.json", **(content if isinstance(content, dict) else {}))
    if isinstance(content, bytes):
        (term / "back" / "wrong.json").write_bytes(content)
    results = read(term).results
    assert len(results.refused) == 1
    assert results.refused[0].startswith(f"{term / 'back' / 'wrong.json'}: {message}")
    assert list(results.groups["Monday"][0].students) == ["good"]


def test_a_log_of_a_lesson_that_was_edited_since_is_noticed(term):
    log(term, "early.json")
    lesson = term / "out" / "monday" / "week-01-1.toml"
    lesson.write_text(
        re.sub(r'values = """.*?"""', 'values = "4 4 4 4 | 2 2 | 1 | 4 4 2"', lesson.read_text(), flags=re.S)
    )
    make_term(term / "autumn.toml", TermOptions(term / "out", workers=Workers(1)))
    log(term, "late.json")
    results = read(term).results
    assert results.refused == (
        f"{term / 'back' / 'early.json'}: this came back of monday/week-01-1.toml before that was changed; "
        "its bars are others now",
    )
    assert list(results.groups["Monday"][0].students) == ["late"]


# --- what is made of it ---------------------------------------------------------------------------


def test_the_picture_says_every_field_in_numbers_and_is_darker_where_fewer_have_it_clean(term):
    log(term, "a.json", bars={"1": [96], "2": [96]})
    log(term, "b.json", bars={"1": [96]})
    (picture,) = read(term).files
    svg = etree.parse(str(picture)).getroot()
    space = {"s": "http://www.w3.org/2000/svg"}
    fields = svg.xpath("//s:rect[s:title]", namespaces=space)
    says = [field.findtext("s:title", namespaces=space) for field in fields[:4]]
    assert says == [f"bar {bar}: {clean} of 2 clean" for bar, clean in enumerate((2, 1, 0, 0), 1)]
    greys = [int(re.match(r"rgb\((\d+),", field.get("fill"))[1]) for field in fields[:4]]
    assert greys[0] == 255 > greys[1] > greys[2] == greys[3]
    words = svg.xpath("//s:text/text()", namespaces=space)
    assert [word for word in words if "/" in word] == ["2/2", "1/2", "0/2", "0/2"]
    inks = [one.get("fill") for one in svg.xpath("//s:text", namespaces=space) if one.text in ("2/2", "0/2")]
    assert inks == ["#000", "#fff", "#fff"]
    assert words.count("·") == 4  # week 2: no file


def test_next_writes_a_climb_to_the_two_hardest_bars_that_are_not_clean_and_a_ladder_for_each(term):
    ranked = [one.number for one in hardest_first(lesson_of(term, 1).score)]
    log(term, "seven.json", bars={str(ranked[0]): [96]})
    found = read(term, personal=True)
    path = term / "out" / "next" / "seven" / "monday-week-01-1.toml"
    assert found.files == (term / "out" / "results.svg", path)
    wanted = ranked[1:3]
    assert path.read_text().startswith(f"# For seven: bars {wanted[0]} and {wanted[1]} of Monday, week 1, the hardest")
    lesson, old = load_lesson(path).lesson, lesson_of(term, 1)
    lines = {bar.number: bar.line for bar in lesson.score.bars}
    assert [track.name for track in lesson.tracks] == ["stairs", *(f"bar {bar}, up to the tempo" for bar in wanted)]
    for number, track in zip(wanted, lesson.tracks[1:], strict=True):
        (place,) = {lesson.score.bars[index].number for index in track.bars}
        assert lines[place] == alone(next(bar.line for bar in old.score.bars if bar.number == number), old.score.meter)
        assert track.ladder.to_bpm == 96


def test_who_has_all_clean_has_no_lesson_to_write_and_an_edited_one_is_left(term):
    log(term, "done.json", bars={str(bar): [96] for bar in range(1, 5)})
    log(term, "seven.json")
    read(term, personal=True)
    assert [path.name for path in (term / "out" / "next").iterdir()] == ["seven"]
    path = term / "out" / "next" / "seven" / "monday-week-01-1.toml"
    path.write_text(path.read_text() + "# mine\n")
    log(term, "seven.json", bars={"1": [96]})
    assert read(term, personal=True).left == (path,)
    assert path.read_text().endswith("# mine\n")
    assert make_term(term / "autumn.toml", TermOptions(term / "out", workers=Workers(1))).notes == ()


def test_the_command_shows_a_table_and_json(term, capsys):
    log(term, "a.json")
    words = ["term", str(term / "autumn.toml"), "-o", str(term / "out"), "--results", str(term / "back")]
    assert main(words) == 0
    said = capsys.readouterr().out.splitlines()
    assert said[0] == "Monday" and said[1].split() == ["week", "a", "stopped", "most"]
    stopped = "the line bar 3 (1 of 1), the line bar 4 (1 of 1)"
    assert re.split("  +", said[2].strip()) == ["1", "12 min, 50% clean", stopped]
    assert main([*words, "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["groups"]["Monday"][0]["students"] == {"a": {"minutes": 12.5, "share": 0.5, "files": 1}}
    assert told["refused"] == [] and told["files"] == [str(term / "out" / "results.svg")]


def test_what_cannot_be_read_at_all_is_one_message(term, capsys):
    with pytest.raises(
        LessonError, match=r"--results: in .*back there is no practice log and no checked take \(.json\)"
    ):
        read(term)
    with pytest.raises(LessonError, match="--results: .*none is not a folder; name the folder with what came back"):
        term_results(term / "autumn.toml", term / "out", term / "none", False)
    with pytest.raises(LessonError, match="there is no term in this folder yet; run: fourlimb term"):
        term_results(term / "autumn.toml", term / "back", term / "back", False)
    (term / "autumn.toml").write_text(TERM + TERM[TERM.index("[[group]]") :].replace("Monday", "Tuesday"))
    with pytest.raises(LessonError, match="group 'Tuesday' is not made yet; run: fourlimb term"):
        read(term)
    assert main(["term", str(term / "autumn.toml"), "--next"]) == 2
    assert "--next is made of what came back: add --results" in capsys.readouterr().err
