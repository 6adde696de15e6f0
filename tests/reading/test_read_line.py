"""Lines read from files on disk: which formats, which sizes, and what a message says."""

import os
from fractions import Fraction
from pathlib import Path

import mido
import pytest
from music import lesson_of

from grooves.errors import LessonError
from grooves.lesson import Lesson
from grooves.notes import line_notes
from grooves.rhythm import Meter, values_text
from render.command.cli import main
from render.lesson.load import load_lesson
from render.paper.notation import line_musicxml
from render.reading.read_line import LARGEST_BYTES, read_line

EXAMPLES = Path(__file__).parents[2] / "examples"
FOUR = Meter(4, 4)
LINE = "4 8 8 4. 8 | 8 4 [8 8] 4 8"


@pytest.mark.parametrize("name", ["line.musicxml", "line.xml", "LINE.XML"])
def test_a_score_is_read_by_any_of_its_suffixes(tmp_path: Path, name: str) -> None:
    (tmp_path / name).write_bytes(line_musicxml(lesson_of(LINE).score))
    assert values_text(read_line(tmp_path / name, FOUR).bars) == LINE


@pytest.mark.parametrize("name", ["line.mid", "line.midi"])
def test_midi_is_read_by_either_suffix_and_reported(tmp_path: Path, name: str) -> None:
    notes = [mido.Message(kind, note=60, time=480 * (kind == "note_off")) for kind in ("note_on", "note_off") * 4]
    mido.MidiFile(tracks=[mido.MidiTrack(notes)]).save(tmp_path / name)
    line = read_line(tmp_path / name, FOUR)
    assert values_text(line.bars) == "4 4 4 4"
    assert line.report == (
        "grid: eighths in 4 beats",
        "distance from the grid: mean 0.0 ms, worst 0.0 ms (bar 1, beat 1)",
    )


def test_the_part_is_passed_on(tmp_path: Path) -> None:
    (tmp_path / "line.xml").write_bytes(line_musicxml(lesson_of(LINE).score))
    with pytest.raises(LessonError, match=r"line\.xml: there is no part 'Claps'"):
        read_line(tmp_path / "line.xml", FOUR, part="Claps")


def test_the_meter_is_passed_on(tmp_path: Path) -> None:
    (tmp_path / "line.xml").write_bytes(line_musicxml(lesson_of(LINE).score))
    with pytest.raises(LessonError, match=r"line\.xml: bar 1 is in 4/4, but the groove is in 3/4"):
        read_line(tmp_path / "line.xml", Meter(3, 4))


@pytest.mark.parametrize("name", ["line.pdf", "line", "line.mscz"])
def test_another_format_is_refused_with_those_that_are_read(tmp_path: Path, name: str) -> None:
    with pytest.raises(LessonError, match=r"a line is read from \.musicxml, \.xml, \.mxl, \.mid, \.midi, not from"):
        read_line(tmp_path / name, FOUR)


@pytest.mark.parametrize("suffix", LARGEST_BYTES)
def test_a_file_that_is_missing_empty_or_a_folder_is_refused(tmp_path: Path, suffix: str) -> None:
    path = tmp_path / f"line{suffix}"
    with pytest.raises(LessonError, match=f"line{suffix}: there is no such file"):
        read_line(path, FOUR)
    path.touch()
    with pytest.raises(LessonError, match=f"line{suffix}: is empty"):
        read_line(path, FOUR)
    path.unlink()
    path.mkdir()
    with pytest.raises(LessonError, match=f"line{suffix}: is a folder, not a file"):
        read_line(path, FOUR)


def test_a_pipe_is_not_waited_for_and_a_device_not_read(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "line.mid")
    (tmp_path / "zero.mid").symlink_to("/dev/zero")
    for name in ("line.mid", "zero.mid"):
        with pytest.raises(LessonError, match=f"{name}: is a device or a pipe, not a file; name the score's file"):
            read_line(tmp_path / name, FOUR)


@pytest.mark.parametrize(("suffix", "limit"), LARGEST_BYTES.items())
def test_a_file_too_large_for_a_line_is_not_opened(tmp_path: Path, suffix: str, limit: int) -> None:
    path = tmp_path / f"line{suffix}"
    with path.open("wb") as file:
        file.truncate(100 * limit)  # sparse: a gigabyte of zeros for a score
    with pytest.raises(LessonError, match=f"holds .* MB; a reading line has at most {limit / 1e6:.0f} MB"):
        read_line(path, FOUR)


@pytest.mark.parametrize("name", ["bad\0name.mid", "x" * 300 + ".mid"])
def test_a_name_that_is_no_path_is_refused(tmp_path: Path, name: str) -> None:
    with pytest.raises(LessonError, match=r"there is no such file|cannot be opened"):
        read_line(tmp_path / name, FOUR)


# --- what we write ourselves, read back through a lesson --------------------------------------------

SHIPPED = [("quarters", "snare"), ("quarters-and-eighths", "snare"), ("upbeats", "bass drum")]
ALONE = '\n[[track]]\nname = "line alone"\nonly = ["line"]\n'


def struck(lesson: Lesson) -> list[tuple[int, Fraction]]:
    """Bar and place of every stroke of the line."""
    return [(note.bar, note.onset) for note in line_notes([bar.line for bar in lesson.score.bars])]


def lesson_from(file: Path, line: str = "") -> list[tuple[int, Fraction]]:
    """The struck places of a lesson whose line stands in this file beside it."""
    lesson = file.with_name("lesson-from-a-file.toml")
    lesson.write_text(
        f'title = "Harbour Street, test page"\ntempo = 120\ngroove = "swing"\n[line]\nfile = "{file.name}"\n{line}\n'
    )
    return struck(load_lesson(lesson).lesson)


@pytest.mark.parametrize(("example", "part"), SHIPPED)
def test_the_midi_of_a_shipped_lesson_reads_back_as_its_line(tmp_path: Path, example: str, part: str) -> None:
    """Once out of a whole drum set, where the part must be named, and once from a track of nothing else."""
    source = tmp_path / f"{example}.toml"
    before_tracks = (EXAMPLES / f"{example}.toml").read_text().split("[[track]]")[0]
    source.write_text(f'{before_tracks}{ALONE}[[track]]\nname = "all"\n')
    assert main(["render", str(source), "--no-audio", "--no-documents", "-o", str(tmp_path)]) == 0
    written = struck(load_lesson(EXAMPLES / f"{example}.toml").lesson)
    assert lesson_from(tmp_path / f"{example}-line-alone.mid") == written
    assert lesson_from(tmp_path / f"{example}-all.mid", f'part = "{part}"') == written
    with pytest.raises(LessonError, match="tracks have notes .*choose one"):
        lesson_from(tmp_path / f"{example}-all.mid")


@pytest.mark.parametrize(("example", "part"), SHIPPED)
def test_the_score_of_a_shipped_lesson_reads_back_as_its_line(tmp_path: Path, example: str, part: str) -> None:
    score = tmp_path / f"{example}.musicxml"
    assert main(["chart", str(EXAMPLES / f"{example}.toml"), "-o", str(score)]) == 0
    written = load_lesson(EXAMPLES / f"{example}.toml").lesson
    assert lesson_from(score) == lesson_from(score, f'part = "{part}"') == struck(written)


def test_the_pickup_of_a_score_is_the_lessons_pickup_and_its_report_is_told(tmp_path: Path) -> None:
    import music21

    part = music21.stream.Part()
    for number, lengths in enumerate([(0.5, 0.5), (1, 1, 2), (3,)]):
        measure = music21.stream.Measure(number=number)
        if not number:
            measure.timeSignature = music21.meter.TimeSignature("4/4")
            measure.paddingLeft = 3.0
        for length in lengths:
            measure.append(music21.note.Note("C5", quarterLength=length))
        part.append(measure)
    exported = music21.musicxml.m21ToXml.GeneralObjectExporter(music21.stream.Score([part])).parse()
    (tmp_path / "line.musicxml").write_bytes(exported)
    lesson = tmp_path / "lesson.toml"
    lesson.write_text('title = "Harbour Street"\ntempo = 120\ngroove = "swing"\n[line]\nfile = "line.musicxml"\n')
    loaded = load_lesson(lesson)
    pickup = loaded.lesson.score.pickup
    assert pickup is not None and [symbol.onset for symbol in pickup.line] == [3, Fraction(7, 2)]
    assert [values_text([bar.line]) for bar in loaded.lesson.score.bars] == ["4 4 2", "2. 4r"]
    assert "line.musicxml: a pickup of 1 beat stands before bar 1" in loaded.notes
