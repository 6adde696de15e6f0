"""A term's files: written once, made again where something changed, never over a teacher's hand, whole whatever ends it."""

import json
import os
import re
import signal
import subprocess
import sys
import time
import zipfile
from pathlib import Path
from tempfile import TemporaryDirectory
from types import SimpleNamespace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from page_browser import until

from grooves.errors import LessonError
from grooves.rhythm import values_text
from grooves.teaching.stairs import alone
from render.command.cli import main
from render.lesson.lesson_text import lesson_text
from render.lesson.load import load_lesson
from render.lesson.several import Workers
from render.lesson.term import TermOptions, make_term
from render.lesson.term_lessons import group_jobs, plan_lessons
from render.lesson.term_record import LOCK, RECORD, locked

ROOT = Path(__file__).parents[2]
TERM = """
title = "Harbour Street, autumn"
weeks = 2
[[group]]
name = "Monday, first year"
level = [1, 2]
tempo = [80, 110]
bars = 2
review = 1
[[group.week]]
week = 2
note = "bring brushes"
"""
SECOND = '[[group]]\nname = "Tuesday"\nlevel = 2\ntempo = 90\nbars = 2\nplayed_on = "bass drum"\n'
MONDAY = "monday-first-year"


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """A term of two groups as it is written the first time, not to be changed."""
    folder = tmp_path_factory.mktemp("term")
    (folder / "autumn.toml").write_text(TERM + SECOND)
    report = make_term(folder / "autumn.toml", TermOptions(folder / "out", workers=Workers(1)))
    return folder / "out", report


@pytest.fixture
def term(made, tmp_path):
    """The same, to be changed: the term's file, and a run over it."""
    file = tmp_path / "autumn.toml"
    file.write_text(TERM + SECOND)
    subprocess.run(["cp", "-r", str(made[0]), str(tmp_path / "out")], check=True)

    def again(text=None, **options):
        if text is not None:
            file.write_text(text)
        report = make_term(file, TermOptions(tmp_path / "out", **{"workers": Workers(1), **options}))
        return report, sorted(path.relative_to(tmp_path / "out").as_posix() for path in report.files)

    return again


def tree(folder: Path) -> dict[str, bytes]:
    return {path.relative_to(folder).as_posix(): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


# --- what is written ------------------------------------------------------------------------------


def test_a_term_has_lessons_pages_a_handout_and_an_index_for_each_group_and_one_file_to_send(made):
    out, report = made
    assert sorted(tree(out)) == sorted([
        LOCK, RECORD, "index.html", f"{MONDAY}.zip", "tuesday.zip",
        *(f"{MONDAY}/{name}" for name in ("index.html", "handout.pdf")),
        *(f"{MONDAY}/week-{name}.{kind}" for name in ("01-1", "02-1", "02-review") for kind in ("toml", "html")),
        *(f"tuesday/{name}" for name in ("index.html", "handout.pdf")),
        *(f"tuesday/week-{name}.{kind}" for name in ("01-1", "02-1") for kind in ("toml", "html")),
    ])  # fmt: skip
    assert (report.left, report.notes) == ((), ())


def test_lessons_are_commented_files_that_say_their_week(made):
    text = (made[0] / MONDAY / "week-02-1.toml").read_text()
    assert text.startswith("# Harbour Street, autumn: Monday, first year, week 2 of 2, the line.\n# Level ")
    lesson = load_lesson(made[0] / MONDAY / "week-02-1.toml").lesson
    assert (lesson.title, lesson.note) == ("Monday, first year, week 2", "bring brushes")
    assert (lesson.score.tempo_bpm, lesson.groove, len(lesson.score.bars)) == (110, "swing", 2)
    tuesday = load_lesson(made[0] / "tuesday" / "week-01-1.toml").lesson
    assert (tuesday.score.tempo_bpm, tuesday.score.played_on[0].long) == (90, "bass drum")


def test_a_bar_that_comes_back_is_the_one_its_comment_names_twice_in_a_row(made):
    path = made[0] / MONDAY / "week-02-review.toml"
    number = int(re.search(r"Bar 1: week 1, line 1, bar (\d)", path.read_text())[1])
    first, again = load_lesson(path).lesson.score.bars
    then = load_lesson(made[0] / MONDAY / "week-01-1.toml").lesson.score
    assert first.line == again.line == alone(then.bars[number - 1].line, then.meter)


def test_an_index_goes_week_by_week_and_pages_lead_back_to_it(made):
    text = (made[0] / MONDAY / "index.html").read_text()
    links = re.findall(r'href="([^"]+)"', text)
    assert links == ["../index.html", "handout.pdf", "week-01-1.html", "week-02-1.html", "week-02-review.html"]
    assert "bring brushes" in text
    assert 'href="index.html"' in (made[0] / MONDAY / "week-01-1.html").read_text()
    above = re.findall(r'href="([^"]+)"', (made[0] / "index.html").read_text())
    assert above[0] == f"{MONDAY}/index.html" and "tuesday/week-02-1.html" in above
    assert all((made[0] / link).is_file() for link in above)


def test_the_same_file_makes_the_same_bytes_wherever_it_lies(made, tmp_path):
    (tmp_path / "elsewhere").mkdir()
    (tmp_path / "elsewhere" / "term.toml").write_text(TERM + SECOND)
    make_term(tmp_path / "elsewhere" / "term.toml", TermOptions(tmp_path / "again", workers=Workers(2)))
    assert tree(tmp_path / "again") == tree(made[0])


GROUPS = st.fixed_dictionaries(
    {
        "level": st.tuples(st.integers(1, 5), st.integers(1, 5)).map(sorted),
        "groove": st.sampled_from(["swing", "jazz-waltz", "two-feel"]),
        "bars": st.sampled_from([4, 8]),
        "lines": st.integers(1, 2),
        "review": st.integers(0, 2),
        "played_on": st.sampled_from([["snare"], ["snare", "bass drum"], "hi-hat"]),
    }
)


@settings(max_examples=6, deadline=None)
@given(GROUPS, st.integers(1, 3))
def test_every_file_of_any_term_reads_and_lies_in_the_order_of_its_weeks(group, weeks):
    with TemporaryDirectory() as name:
        folder = Path(name)
        tables = {"title": "t", "weeks": weeks, "group": [{"name": "Monday", "tempo": [80, 90], **group}]}
        (folder / "t.toml").write_text(lesson_text(tables))
        _, (job,) = group_jobs(folder / "t.toml", folder / "out")
        _, lessons = plan_lessons(job)
        assert [one.path for one in lessons] == sorted(one.path for one in lessons)
        assert [one.week for one in lessons] == sorted(one.week for one in lessons)
        assert {one.week for one in lessons} == set(range(1, weeks + 1))
        for one in lessons:
            (folder / "a.toml").write_text(one.text)
            lesson = load_lesson(folder / "a.toml").lesson
            assert lesson.groove == group["groove"]
            reviewed = len(lesson.score.bars) // 2 if "review" in one.path else group["bars"]
            assert len({bar.number for bar in lesson.score.bars}) == reviewed


# --- again ----------------------------------------------------------------------------------------


def test_a_second_run_makes_nothing(term, tmp_path):
    before = {path: path.stat().st_mtime_ns for path in (tmp_path / "out").rglob("*") if path.name != LOCK}
    assert term()[1] == []
    assert before == {path: path.stat().st_mtime_ns for path in (tmp_path / "out").rglob("*") if path.name != LOCK}


def test_a_note_in_one_week_makes_the_files_of_that_week_and_what_holds_it(term):
    made = term(TERM.replace("bring brushes", "bring sticks") + SECOND)[1]
    week = [f"{MONDAY}/week-02-{name}.{kind}" for name in ("1", "review") for kind in ("toml", "html")]
    assert made == sorted([*week, f"{MONDAY}/handout.pdf", f"{MONDAY}/index.html", f"{MONDAY}.zip"])


def test_another_rate_makes_the_pages_again_and_no_index(term):
    pages = [f"{MONDAY}/week-{name}.html" for name in ("01-1", "02-1", "02-review")]
    made = term(rate=48000)[1]
    assert set(pages) < set(made) and "index.html" not in made


def test_a_lesson_that_was_edited_is_left_and_its_page_made_of_it(term, tmp_path):
    lesson = tmp_path / "out" / "tuesday" / "week-01-1.toml"
    edited = lesson.read_text().replace("tempo    = 90", "tempo    = 77")
    lesson.write_text(edited)
    report, made = term(TERM + SECOND.replace("tempo = 90", "tempo = 100"))
    assert report.left == (lesson,)
    assert lesson.read_text() == edited
    assert "tuesday/week-01-1.html" in made and "tuesday/week-01-1.toml" not in made
    assert "= 77" in lesson.with_suffix(".html").read_text()
    assert "tempo    = 100" in (lesson.parent / "week-02-1.toml").read_text()


def test_a_file_that_was_damaged_or_lost_is_made_again(term, tmp_path):
    (tmp_path / "out" / "tuesday" / "week-01-1.html").write_text("half")
    (tmp_path / "out" / "tuesday" / "week-02-1.toml").unlink()
    assert term()[1] == ["tuesday/week-01-1.html", "tuesday/week-02-1.toml"]


def test_what_is_no_longer_in_the_term_is_left_and_said(term, tmp_path):
    report, _ = term(TERM)
    assert report.notes[0] == (
        f"{tmp_path / 'out' / 'tuesday' / 'week-01-1.toml'}: no longer in the term; it is left where it is"
    )
    assert (tmp_path / "out" / "tuesday" / "week-01-1.html").exists()


def test_the_teachers_own_lesson_takes_its_week_and_finds_its_groove(term, tmp_path):
    own = tmp_path / "own"
    own.mkdir()
    (own / "mine.toml").write_text((ROOT / "grooves" / "library" / "swing.toml").read_text())
    (own / "street.toml").write_text(
        'title = "Street beat"  # ours\ntempo = 99\ngroove = "mine.toml"\n[line]\nvalues = "4 8 8 4 4"\n'
    )
    third = 'weeks = 3\n[[group]]\nname = "Monday"\nlevel = 1\ntempo = 80\nbars = 2\nreview = 1\n'
    text = f'title = "t"\n{third}[[group.week]]\nweek = 2\nlesson = "own/street.toml"\n'
    made = term(text)[1]
    names = sorted(name for name in made if name.endswith(".toml"))
    # In week 3 nothing of week 2 comes back: its lines were not read. Week 1 is two weeks ago.
    assert names == [f"monday/week-{name}.toml" for name in ("01-1", "02-own", "02-review", "03-1", "03-review")]
    copy = tmp_path / "out" / "monday" / "week-02-own.toml"
    assert "# ours" in copy.read_text()
    assert load_lesson(copy).lesson.score.groove.title == load_lesson(own / "street.toml").lesson.score.groove.title
    review = load_lesson(tmp_path / "out" / "monday" / "week-03-review.toml").lesson
    first = load_lesson(tmp_path / "out" / "monday" / "week-01-1.toml").lesson
    lines = [values_text([alone(bar.line, first.score.meter)]) for bar in first.score.bars]
    assert values_text([review.score.bars[0].line]) in lines


# --- whatever happens -----------------------------------------------------------------------------


def test_a_run_that_is_killed_at_any_moment_is_finished_by_the_next(made, tmp_path):
    (tmp_path / "autumn.toml").write_text(TERM + SECOND)
    words = [sys.executable, "-m", "render", "term", str(tmp_path / "autumn.toml"), "-o", str(tmp_path / "out")]
    wanted = tmp_path / "out" / MONDAY / "week-02-1.html"
    running = subprocess.Popen([*words, "--jobs", "1"], cwd=ROOT, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    while running.poll() is None and not wanted.exists():
        time.sleep(0.01)
    running.kill()
    assert running.wait() == -signal.SIGKILL
    make_term(tmp_path / "autumn.toml", TermOptions(tmp_path / "out", workers=Workers(1)))
    assert tree(tmp_path / "out") == tree(made[0])


def test_lessons_of_a_killed_run_are_not_taken_for_a_teachers_hand(term, tmp_path):
    # As it would lie there: the record names both texts, and the new one is written.
    lesson = tmp_path / "out" / "tuesday" / "week-01-1.toml"
    record = tmp_path / "out" / RECORD
    told = json.loads(record.read_text())
    old = lesson.read_bytes()
    lesson.write_text(lesson.read_text() + "# as another term writes it\n")
    from hashlib import sha256

    told["lessons"]["tuesday/week-01-1.toml"].append(sha256(lesson.read_bytes()).hexdigest())
    record.write_text(json.dumps(told))
    report, made = term()
    assert (report.left, "tuesday/week-01-1.toml" in made, lesson.read_bytes()) == ((), True, old)


def test_two_runs_at_once_in_one_folder_are_one_too_many(term, tmp_path):
    with (
        locked(tmp_path / "out"),
        pytest.raises(LessonError, match="another run is at work in this folder; wait until"),
    ):
        term()
    assert term()[1] == []


def test_a_disk_that_is_full_is_said_and_the_next_run_finishes(made, tmp_path):
    (tmp_path / "autumn.toml").write_text(TERM + SECOND)
    words = ["term", str(tmp_path / "autumn.toml"), "-o", str(tmp_path / "out"), "--jobs", "1"]
    limited = (
        "import resource, signal, sys; signal.signal(signal.SIGXFSZ, signal.SIG_IGN); "
        "resource.setrlimit(resource.RLIMIT_FSIZE, (100_000, 100_000)); "
        "from render.command.cli import main; sys.exit(main(sys.argv[1:]))"
    )
    done = subprocess.run(
        [sys.executable, "-c", limited, *words],
        capture_output=True,
        text=True,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
    )
    assert done.returncode == 2
    assert re.fullmatch(r"fourlimb: \S+\.html: cannot be written: File too large\n", done.stderr)
    assert not [name for name in tree(tmp_path / "out") if name.endswith(".part")]
    make_term(tmp_path / "autumn.toml", TermOptions(tmp_path / "out", workers=Workers(1)))
    assert tree(tmp_path / "out") == tree(made[0])


def test_a_file_in_the_way_of_a_folder_is_one_message(tmp_path):
    (tmp_path / "autumn.toml").write_text(TERM)
    (tmp_path / "out").write_text("mine")
    options = TermOptions(tmp_path / "out", workers=Workers(1))
    with pytest.raises(LessonError, match="out: this is a file; name a folder"):
        make_term(tmp_path / "autumn.toml", options)
    (tmp_path / "out").unlink()
    (tmp_path / "out").mkdir()
    (tmp_path / "out" / MONDAY).write_text("mine")
    with pytest.raises(LessonError, match=f"{MONDAY}: this is a file; name a folder"):
        make_term(tmp_path / "autumn.toml", options)
    assert (tmp_path / "out" / MONDAY).read_text() == "mine"


WRONG = [
    ('played_on = "bass drum"', 'played_on = "bas drum"', "group 'Tuesday', week 1: .*did you mean 'bass drum'"),
    ("level = 2", 'level = 2\ngroove = "swnig"', "group 'Tuesday', groove: 'swnig' is not shipped; did you mean 'swing'"),
    ("bars = 2\nplayed", "bars = 0\nplayed", "autumn.toml: group 2, bars: 0 is out of range"),
    ("level = 2", "level = 22", r"autumn.toml: group 2 \(Tuesday\), level: 22 is out of range"),
    (
        'played_on = "bass drum"',
        '[[group.week]]\nweek = 1\nlesson = "none.toml"',
        "group 'Tuesday', week 1: .*none.toml: there is no such file",
    ),
]  # fmt: skip


@pytest.mark.parametrize(("old", "new", "message"), WRONG, ids=[new for _, new, _ in WRONG])
def test_a_term_that_is_wrong_is_one_message_and_nothing_is_written(old, new, message, tmp_path):
    (tmp_path / "autumn.toml").write_text(TERM + SECOND.replace(old, new))
    with pytest.raises(LessonError, match=message):
        make_term(tmp_path / "autumn.toml", TermOptions(tmp_path / "out", workers=Workers(1)))
    assert not [name for name in tree(tmp_path / "out") if name.endswith((".toml", ".html"))]


def test_an_edited_lesson_that_is_wrong_is_named(term, tmp_path):
    lesson = tmp_path / "out" / "tuesday" / "week-01-1.toml"
    lesson.write_text(lesson.read_text().replace("tempo ", "tempi "))
    with pytest.raises(LessonError, match="tuesday/week-01-1.toml: tempi: .*did you mean 'tempo'"):
        term()


def test_a_record_of_another_version_is_refused_and_one_that_is_no_record_begun_afresh(term, tmp_path):
    record = tmp_path / "out" / RECORD
    whole = record.read_text()
    record.write_text(whole.replace('"version": 1', '"version": 9'))
    with pytest.raises(LessonError, match=r"this is of version 9, and version 1 can be read; use the fourlimb that"):
        term()
    for broken in ('{"format": "fourlimb-term", "version": 1, "lessons": 3}', "[" * 5000):
        record.write_text(broken)
        report, made = term()
        assert report.left == () and "tuesday/week-01-1.html" in made
    assert record.read_text() == whole


# --- to send --------------------------------------------------------------------------------------


def test_every_link_of_the_zip_file_works_with_no_network_and_its_pages_play(made, tmp_path, chrome):
    with zipfile.ZipFile(made[0] / f"{MONDAY}.zip") as archive:
        assert archive.testzip() is None
        archive.extractall(tmp_path)
    screen = chrome.new_context(offline=True)
    page = screen.new_page()
    errors = []
    page.on("pageerror", lambda error: errors.append(str(error)))
    index = tmp_path / MONDAY / "index.html"
    page.goto(index.as_uri())
    links = page.evaluate("[...document.querySelectorAll('a')].map((one) => one.getAttribute('href'))")
    assert len(links) == 4  # handout and three pages; nothing above
    assert (tmp_path / MONDAY / links[0]).read_bytes().startswith(b"%PDF")
    for link in links[1:]:
        page.click(f"a[href='{link}']")
        page.wait_for_selector("body.ready")
        page.click(".back a")
        page.wait_for_selector("ol.lessons")
    page.click("a:has-text('week 2')")
    page.wait_for_selector("body.ready")
    page.click("#play")

    playing = "document.querySelector('#play-word').textContent !== 'Play'"
    until(SimpleNamespace(page=page), playing)
    page.click("#play")
    until(SimpleNamespace(page=page), f"!({playing})")
    page.click(".back a")
    page.wait_for_selector("ol.lessons")
    assert errors == []
    screen.close()


def test_tracks_of_a_term_share_one_loudness_and_are_in_the_zip_file(tmp_path):
    text = 'title = "t"\nweeks = 2\n[[group]]\nname = "Monday"\nlevel = 1\ntempo = 300\nbars = 1\n'
    (tmp_path / "t.toml").write_text(text)
    options = TermOptions(tmp_path / "out", tracks=True, format="ogg", workers=Workers(1))
    report = make_term(tmp_path / "t.toml", options)
    tracks = [path for path in report.files if path.suffix == ".ogg"]
    assert len(tracks) == 8 and all(path.parent.name == "tracks" for path in tracks)
    levels = json.loads((tmp_path / "out" / RECORD).read_text())["levels"]
    assert sorted(levels) == ["monday/week-01-1.toml", "monday/week-02-1.toml"]
    with zipfile.ZipFile(tmp_path / "out" / "monday.zip") as archive:
        inside = set(archive.namelist())
        index = archive.read("monday/index.html").decode()
    assert {f"monday/tracks/{path.name}" for path in tracks} <= inside
    assert 'href="tracks/week-01-1-full.ogg"' in index
    assert make_term(tmp_path / "t.toml", options).files == ()


def test_the_command_says_what_it_made_and_where_and_in_json(term, tmp_path, capsys):
    words = ["term", str(tmp_path / "autumn.toml"), "-o", str(tmp_path / "out"), "--jobs", "1"]
    assert main(words) == 0
    assert (
        f"  Tuesday                   2               0  {tmp_path / 'out' / 'tuesday.zip'}" in capsys.readouterr().out
    )
    (tmp_path / "out" / "tuesday.zip").unlink()
    assert main([*words, "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["files"] == [str(tmp_path / "out" / "tuesday.zip")]
    assert [group["name"] for group in told["groups"]] == ["Monday, first year", "Tuesday"]
