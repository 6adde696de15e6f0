"""Nothing that a user wrote is written over, by any command."""

from pathlib import Path

import mido
import pytest
from music import text_of

from render.command.cli import main
from render.lesson.earlier import earlier_files
from render.lesson.first_lesson import demo_lesson
from render.lesson.options import RenderOptions
from render.lesson.plan import plan_lesson
from render.lesson.render_lesson import render_lesson

LESSON = 'title = "a"\ntempo = 200\ngroove = "swing"\n[line]\nfile = "{line}"\n'
SHORT = text_of("4 8 8 4 4", tempo=300, top="count_in = 0")


def quarters(path: Path) -> None:
    """A bar of four quarters on the snare, as any program writes it."""
    file = mido.MidiFile(ticks_per_beat=480)
    track = mido.MidiTrack([mido.MetaMessage("set_tempo", tempo=500_000)])
    for _ in range(4):
        track.append(mido.Message("note_on", channel=9, note=38, velocity=90, time=0))
        track.append(mido.Message("note_off", channel=9, note=38, time=480))
    file.tracks.append(track)
    file.save(path)


@pytest.mark.parametrize(
    ("words", "line"),
    [
        (["render", "tue.toml", "-o", "."], "tue-full.mid"),
        (["loop", "tue.toml", "--bars", "1", "-o", "."], "tue-loop-bar-1.mid"),
        (["loop", "tue.toml", "--bars", "1", "-o", "."], "tue-loop-bar-1-counted-in.mid"),
        (["balance", "tue.toml", "-o", "."], "tue-balance.mid"),
        (["chart", "tue.toml", "-o", "tue.musicxml"], "tue.musicxml"),
        (["render", ".", "-o", "."], "wed-full.mid"),
    ],
)
def test_no_command_writes_over_what_a_line_is_read_from(words, line, tmp_path, monkeypatch, capfd):
    monkeypatch.chdir(tmp_path)
    if line.endswith("musicxml"):
        Path("made.toml").write_text(SHORT)
        assert main(["chart", "made.toml", "-o", line]) == 0
        Path("made.toml").unlink()
    else:
        quarters(Path(line))
    Path("tue.toml").write_text(LESSON.format(line=line))
    if line.startswith("wed"):
        Path("wed.toml").write_text(SHORT)  # another lesson would write it
    before = {path.name: path.read_bytes() for path in tmp_path.iterdir()}
    assert main(words) == 2
    assert f"{line}: the lesson is read from this file; write to another folder or name" in capfd.readouterr().err
    assert {path.name: path.read_bytes() for path in tmp_path.iterdir()} == before


@pytest.mark.parametrize("words", [["page", "tue.html"], ["page", "tue.html", "-o", "tue.html"]])
def test_a_lesson_by_another_ending_is_not_turned_into_its_page(words, tmp_path, monkeypatch, capfd):
    monkeypatch.chdir(tmp_path)
    Path("tue.html").write_text(SHORT)
    assert main(words) == 2
    assert "tue.html: the lesson is read from this file" in capfd.readouterr().err
    assert Path("tue.html").read_text() == SHORT


def test_a_link_to_the_line_is_the_line(tmp_path, monkeypatch, capfd):
    monkeypatch.chdir(tmp_path)
    quarters(Path("line.mid"))
    Path("tue-full.mid").symlink_to("line.mid")
    Path("tue.toml").write_text(LESSON.format(line="line.mid"))
    assert main(["render", "tue.toml", "-o", "."]) == 2
    assert "tue-full.mid: the lesson is read from this file" in capfd.readouterr().err


def test_stairs_do_not_replace_a_lesson(tmp_path, monkeypatch, capfd):
    monkeypatch.chdir(tmp_path)
    Path("tue.toml").write_text(text_of("4 8 8 4 4"))
    Path("up.toml").write_text("mine")
    assert main(["bars", "tue.toml", "--stairs", "1", "-o", "up.toml"]) == 2
    assert "up.toml: there is a file of that name already; choose another" in capfd.readouterr().err
    assert Path("up.toml").read_text() == "mine"


def test_the_demonstration_keeps_a_lesson_that_was_changed_and_renders_it_and_says_so(tmp_path, capfd):
    path, said = demo_lesson(tmp_path)
    assert said == ""
    assert demo_lesson(tmp_path) == (path, "")  # as it was written
    path.write_text(SHORT)
    assert main(["demo", "-o", str(tmp_path), "--json"]) == 0
    assert path.read_text() == SHORT
    assert f"{path} has been changed since it was written: it is kept as it is, and rendered" in capfd.readouterr().err
    assert (tmp_path / "first-lesson-full.mid").exists()
    assert mido.MidiFile(tmp_path / "first-lesson-full.mid").tracks[0].name == "Harbour Street, test page"


# --- files of tracks that are gone ------------------------------------------------------------------


def track(name):
    return f'[[track]]\nname = "{name}"\n'


def test_files_of_a_track_that_is_gone_are_named(tmp_path):
    path, out = tmp_path / "tue.toml", tmp_path / "out"
    path.write_text(SHORT + track("slow") + track("full"))
    assert render_lesson(path, RenderOptions(out, stems=True)).notes[-1].startswith("all files at one level")
    path.write_text(SHORT + track("full"))
    (note,) = render_lesson(path, RenderOptions(out, audio=False)).notes
    assert note == (
        "the folder also holds tue-slow-stem-bass-drum.wav, tue-slow-stem-hi-hat.wav, tue-slow-stem-ride.wav, "
        "tue-slow-stem-snare.wav, tue-slow.mid, tue-slow.wav, of tracks that this lesson no longer has"
    )
    for number in range(5):
        (out / f"tue-old-{number}.mid").touch()
    assert " and 5 more, of tracks" in render_lesson(path, RenderOptions(out, audio=False)).notes[0]


def test_files_of_tracks_that_were_not_asked_for_of_loops_and_of_others_are_no_leftovers(tmp_path):
    path = tmp_path / "tue.toml"
    path.write_text(SHORT + track("slow") + track("full"))
    (tmp_path / "tue-b.toml").write_text(SHORT)
    names = ("slow", "full", "loop-bar-1", "loop-bar-1-counted-in", "balance", "b-full", "b-time")
    for name in names:
        for ending in ("mid", "wav"):
            (tmp_path / f"tue-{name}.{ending}").touch()
    (tmp_path / "tue-chart.pdf").touch()
    (tmp_path / "tuesday-old.mid").touch()
    plan = plan_lesson(path, RenderOptions(tmp_path, tracks=("full",)))
    assert earlier_files(plan) == []
    (tmp_path / "tue-old.mid").touch()
    (tmp_path / "tue-old-other.wav").touch()  # no track without a MIDI file
    assert [one.name for one in earlier_files(plan)] == ["tue-old.mid"]
