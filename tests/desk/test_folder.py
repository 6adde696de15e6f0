"""The folder of lessons: its files, what is saved and kept, and what is never written over."""

import os
import random
import signal
import subprocess
import sys
import time
import tomllib
from pathlib import Path

import pytest
from desk_lessons import LESSON
from desk_server import served

from grooves.errors import LessonError
from render.desk import listing
from render.desk.folder import ChangedOnDiskError, Folder, difference
from render.lesson.term_record import hash_of_bytes


@pytest.fixture
def folder(tmp_path):
    (tmp_path / "term").mkdir()
    (tmp_path / "term" / "first.toml").write_text(LESSON)
    return Folder(tmp_path / "term")


def text_of(folder, name):
    return folder.place(name).read_text()


def names(folder):
    return [folder.name(path) for path in folder.listing().lessons]


# --- names ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "name",
    ["../outside.toml", "/etc/x.toml", "a/../../x.toml", ".hidden.toml", ".git/x.toml", "x.txt", "", "x\0.toml", "..\\x.toml",
     "./first.toml/../../x.toml", "x" * 400 + ".toml", "~/x.toml/../../../../x.toml"],
)  # fmt: skip
def test_a_name_that_is_not_of_a_lesson_in_the_folder_is_refused(folder, name):
    with pytest.raises(LessonError, match=r"is not in this folder|is no name|does not end"):
        folder.place(name)


def test_a_link_that_leads_out_of_the_folder_is_refused_and_not_listed(folder, tmp_path):
    (tmp_path / "outside.toml").write_text(LESSON)
    (tmp_path / "outside").mkdir()
    (tmp_path / "outside" / "x.toml").write_text(LESSON)
    (folder.path / "link.toml").symlink_to(tmp_path / "outside.toml")
    (folder.path / "way").symlink_to(tmp_path / "outside")
    for name in ("link.toml", "way/x.toml", "way/new.toml"):
        with pytest.raises(LessonError, match="leads out of this folder"):
            folder.open(name)
        with pytest.raises(LessonError, match="leads out of this folder"):
            folder.save(name, LESSON, hash_of_bytes(LESSON.encode()))
    assert names(folder) == ["first.toml"]


def test_lessons_are_listed_in_order_and_grooves_are_none(folder):
    (folder.path / "week 10.toml").write_text(LESSON)
    (folder.path / "week 2.toml").write_text(LESSON)
    (folder.path / "groove.toml").write_text('name = "x"\nmeter = "4/4"\n')
    assert names(folder) == ["first.toml", "week 2.toml", "week 10.toml"]
    assert names(Folder(folder.path / "new")) == []


def test_what_programs_keep_for_themselves_is_not_looked_into(folder):
    for name in ("node_modules", "venv", "__pycache__", ".cache", "week 1"):
        (folder.path / name / "deep").mkdir(parents=True)
        (folder.path / name / "deep" / "a.toml").write_text(LESSON)
    found = folder.listing()
    assert names(folder) == ["first.toml", "week 1/deep/a.toml"]
    assert [folder.name(one) for one in found.folders] == [".", "week 1", "week 1/deep"]
    assert found.left_out == ""


def test_terms_and_files_of_other_programs_are_no_lessons_and_broken_lessons_are(folder):
    (folder.path / "pyproject.toml").write_text('[project]\nname = "x"\n')
    (folder.path / "autumn.toml").write_text('title = "Autumn"\nweeks = 12\n[[group]]\nname = "Monday"\n')
    (folder.path / "broken.toml").write_text("tempo = fast\n")
    (folder.path / "begun.toml").write_text("")
    assert names(folder) == ["begun.toml", "broken.toml", "first.toml"]


@pytest.mark.skipif(sys.platform != "linux", reason="other systems hold no such names")
def test_a_name_that_is_no_text_is_passed_over(folder):
    Path(os.fsdecode(os.fsencode(folder.path) + b"/\xff.toml")).write_text(LESSON)
    Path(os.fsdecode(os.fsencode(folder.path) + b"/\xfe")).mkdir()
    with served(folder.path) as desk:
        assert [one["name"] for one in desk.ask("lessons")["lessons"]] == ["first.toml"]


def test_of_a_folder_with_very_many_files_only_the_nearest_are_looked_at(folder, monkeypatch):
    monkeypatch.setattr(listing, "MOST_LOOKED_AT", 40)
    for number in range(30):
        (folder.path / f"photo {number}.jpg").touch()
    for number in range(20):
        (folder.path / "year" / str(number)).mkdir(parents=True)
        (folder.path / "year" / str(number) / "a.toml").write_text(LESSON)
    found = folder.listing()
    assert [folder.name(one) for one in found.lessons] == ["first.toml"]
    assert found.left_out == (
        "So many files lie in this folder that only the nearest were looked at; open the desk over the folder that your "
        "lessons lie in."
    )
    monkeypatch.setattr(listing, "MOST_LOOKED_AT", 400)
    monkeypatch.setattr(listing, "MOST_LESSONS", 4)
    found = folder.listing()
    assert [folder.name(one) for one in found.lessons] == ["first.toml", *(f"year/{n}/a.toml" for n in range(3))]
    assert found.left_out.startswith("Only the first 4 lessons of this folder are shown")


def test_a_folder_that_may_not_be_looked_into_is_passed_over(folder, monkeypatch):
    (folder.path / "locked").mkdir()
    scan = os.scandir

    def refuse(path):
        if Path(path).name == "locked":
            raise PermissionError(13, "Permission denied", str(path))
        return scan(path)

    monkeypatch.setattr(listing.os, "scandir", refuse)
    assert names(folder) == ["first.toml"]


def test_folders_that_come_later_are_watched_too(tmp_path):
    with served(tmp_path) as desk:
        count = 0
        for make in (
            lambda: (tmp_path / "week 1").mkdir(),
            lambda: (tmp_path / "week 1" / "a.toml").write_text(LESSON),
            lambda: (tmp_path / "week 1" / "a.toml").write_text(LESSON.replace("100", "90")),
        ):
            make()
            told = desk.client.get("/changes", params={"since": count}).json()["count"]
            assert told > count
            while (more := desk.desk._changes) != count:
                count = more
                time.sleep(0.5)
    assert count >= 3


# --- new, copy, rename, delete --------------------------------------------------------------------


def test_a_new_lesson_can_be_read_and_never_takes_a_name_that_is_there(folder):
    assert folder.new("Harbour Street: 'second' line") == "harbour-street-second-line.toml"
    assert folder.new("Harbour Street: 'second' line") == "harbour-street-second-line-2.toml"
    written = tomllib.loads(text_of(folder, "harbour-street-second-line.toml"))
    assert written["title"] == "Harbour Street: 'second' line"
    assert folder.new("二月") == "lesson.toml"


@pytest.mark.parametrize("title", ["", "   ", "x" * 201])
def test_a_title_has_something_in_it(folder, title):
    for act in (
        folder.new,
        lambda title: folder.copy("first.toml", title),
        lambda title: folder.rename("first.toml", title),
    ):
        with pytest.raises(LessonError, match="a title of 1 to 200 signs"):
            act(title)


def test_a_copy_has_its_own_title_and_all_the_comments(folder):
    name = folder.copy("first.toml", "Another")
    assert text_of(folder, name) == LESSON.replace("Harbour Street, first line", "Another")
    assert text_of(folder, "first.toml") == LESSON


def test_a_renamed_lesson_has_the_file_of_its_title_and_its_draft_goes(folder):
    folder.keep("first.toml", LESSON + "# more\n", "")
    name = folder.rename("first.toml", "Second line")
    assert name == "second-line.toml"
    assert sorted(path.name for path in folder.path.iterdir()) == ["second-line.toml"]
    assert text_of(folder, name) == LESSON.replace("Harbour Street, first line", "Second line")


def test_a_lesson_in_a_folder_stays_there_when_it_is_copied_or_renamed(folder):
    (folder.path / "week").mkdir()
    (folder.path / "week" / "a.toml").write_text(LESSON)
    assert folder.copy("week/a.toml", "B") == "week/b.toml"
    assert folder.rename("week/a.toml", "C") == "week/c.toml"


def test_a_deleted_lesson_lies_in_the_trash(folder, tmp_path):
    told = {**os.environ, "XDG_DATA_HOME": str(tmp_path / "data")}
    code = "import sys; from pathlib import Path; from render.desk.folder import Folder; Folder(Path(sys.argv[1])).delete('first.toml')"
    subprocess.run([sys.executable, "-c", code, str(folder.path)], env=told, check=True)
    assert names(folder) == []
    assert [path.read_text() for path in tmp_path.rglob("first.toml")] == [LESSON]
    with pytest.raises(LessonError, match="there is no such lesson any more"):
        folder.delete("first.toml")


# --- saving ---------------------------------------------------------------------------------------


def test_a_lesson_is_saved_over_what_was_read(folder):
    opened = folder.open("first.toml")
    other = LESSON.replace("100", "96")
    base = folder.save("first.toml", other, opened.base)
    assert text_of(folder, "first.toml") == other
    assert base == folder.open("first.toml").base


def test_what_another_program_has_written_is_shown_and_never_written_over(folder):
    opened = folder.open("first.toml")
    theirs = LESSON.replace("tempo  = 100", "tempo  = 88")
    folder.place("first.toml").write_text(theirs)
    with pytest.raises(ChangedOnDiskError, match="it was changed on the disk") as refused:
        folder.save("first.toml", LESSON.replace("tempo  = 100", "tempo  = 120"), opened.base)
    assert refused.value.text == theirs
    assert text_of(folder, "first.toml") == theirs


def test_a_text_that_is_no_lesson_is_not_saved(folder):
    opened = folder.open("first.toml")
    with pytest.raises(LessonError, match="tempo: 5 is out of range"):
        folder.save("first.toml", LESSON.replace("100", "5"), opened.base)
    assert text_of(folder, "first.toml") == LESSON


def test_a_lesson_that_was_deleted_meanwhile_is_written_again(folder):
    opened = folder.open("first.toml")
    folder.place("first.toml").unlink()
    folder.save("first.toml", LESSON, opened.base)
    assert text_of(folder, "first.toml") == LESSON


def test_mine_can_be_saved_beside_theirs(folder):
    assert folder.save_as(LESSON, "Mine", "first.toml") == "mine.toml"
    assert names(folder) == ["first.toml", "mine.toml"]


def test_the_difference_names_the_lines_that_differ():
    told = difference(LESSON.replace("tempo  = 100", "tempo  = 96"), LESSON)
    assert [line for line in told[2:] if line[0] in "+-"] == ["-tempo  = 100", "+tempo  = 96"]


# --- drafts ---------------------------------------------------------------------------------------


def test_unsaved_work_is_found_again_and_gone_once_it_is_saved(folder):
    opened = folder.open("first.toml")
    mine = LESSON.replace("100", "104")
    folder.keep("first.toml", mine, opened.base)
    assert folder.open("first.toml").draft == mine
    assert names(folder) == ["first.toml"]
    folder.save("first.toml", mine, opened.base)
    assert folder.open("first.toml").draft is None
    assert [path.name for path in folder.path.iterdir()] == ["first.toml"]


def test_work_that_went_back_to_what_is_saved_leaves_no_draft(folder):
    folder.keep("first.toml", LESSON + "\n", "")
    folder.keep("first.toml", LESSON, "")
    assert [path.name for path in folder.path.iterdir()] == ["first.toml"]


@pytest.mark.parametrize("data", [b"", b"{", b"[1]", b'{"text": 5}', b"\xff\xfe", b"null"])
def test_a_draft_that_cannot_be_read_is_none(folder, data):
    (folder.path / ".first.toml.draft").write_bytes(data)
    assert folder.open("first.toml").draft is None


FORKS = """
import os, sys
from pathlib import Path
from render.desk.folder import Folder
old, new = (Path(one).read_text() for one in sys.argv[2:4])
for _ in sys.stdin:
    child = os.fork()
    if not child:
        begun = False
        folder = Folder(Path(sys.argv[1]))
        base = folder.open("first.toml").base
        while True:
            for text in (new, old):
                folder.keep("first.toml", text, base)
                base = folder.save("first.toml", text, base)
            if not begun:
                print(os.getpid(), flush=True)
            begun = True
    os.waitpid(child, 0)
    print("dead", flush=True)
"""


def test_a_server_that_is_killed_while_it_saves_leaves_the_old_lesson_or_the_new_one(folder, tmp_path):
    """Fifty processes that do nothing but save, each killed at a random moment after its first two times."""
    old, new = LESSON, LESSON.replace("100", "111") + "# longer\n" * 2000
    (tmp_path / "old").write_text(old)
    (tmp_path / "new").write_text(new)
    rng, found = random.Random(19), set()
    told = [sys.executable, "-c", FORKS, str(folder.path), str(tmp_path / "old"), str(tmp_path / "new")]
    with subprocess.Popen(told, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, bufsize=1) as parent:
        for _ in range(50):
            parent.stdin.write("go on\n")
            child = int(parent.stdout.readline())
            try:
                time.sleep(rng.uniform(0.0, 0.03))
            finally:
                os.kill(child, signal.SIGKILL)
            assert parent.stdout.readline() == "dead\n"
            text = (folder.path / "first.toml").read_text()
            assert text in (old, new)
            assert Folder(folder.path).open("first.toml").draft in (None, old, new)
            found.add(text == new)
        parent.stdin.close()
    assert found == {True, False}
    Folder(folder.path).save("first.toml", old, hash_of_bytes((folder.path / "first.toml").read_bytes()))
    left = [path.name for path in Path(folder.path).iterdir() if path.name.endswith((".part", ".old"))]
    assert left == [], "what the dead have left is swept away"
