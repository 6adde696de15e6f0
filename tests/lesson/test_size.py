"""How large tracks will be is known before they are laid out, and what is too large is refused at once."""

import re

import pytest
from music import lesson_of, text_of

from grooves.errors import LessonError
from grooves.passages import track_passages
from grooves.performance import perform
from render.command.cli import main
from render.lesson.load import load_lesson
from render.lesson.loop import render_loop
from render.lesson.options import LoopOptions, RenderOptions
from render.lesson.plan import lay_out, plan_lesson
from render.lesson.size import MOST_PAGE_BARS, track_size

SHAPES = """
[[track]]
name = "all"
[[track]]
name = "climbing"
bars = "2, 2, 1"
click = "every beat"
ladder = { from = 100, to = 131, step = 10, times_each = 2 }
[[track]]
name = "climbing often"
times = 3
ladder = { from = "50%", to = "50%", step = 10 }
[[track]]
name = "fading"
fade = { times = 3, to = -20 }
count_in = 0
[[track]]
name = "traded"
times = 5
tempo = 70
trade = { with = 1, without = 2 }
[[track]]
name = "echoed"
times = 2
trade = { with = 1, without = 1, echo = true }
[[track]]
name = "time"
line = false
click = "2 and 4"
"""
READERS = ["", 'each_chorus = ["snare", "bass drum", "hi-hat"]']


@pytest.mark.parametrize("line", READERS)
@pytest.mark.parametrize("groove", ["swing", "jazz-waltz"])
def test_a_track_s_size_is_that_of_its_passages_and_bounds_its_strokes(line, groove):
    bars = "4 8 8 4 | 8 4 4 8" if groove == "jazz-waltz" else "4 8 8 4 4 | 8 4 4 4 8"
    lesson = lesson_of(bars, groove=groove, line=line, tracks=SHAPES, top="choruses = 4\ncount_in = 3")
    assert len(lesson.tracks) == 7
    for track in lesson.tracks:
        size, laid = track_size(track, lesson), lay_out(track, lesson)
        assert size.seconds == pytest.approx(laid.seconds), track.name
        strokes = len(perform(lesson.score, laid.passages, lesson.feel).hits)
        assert strokes <= size.strokes <= 2 * strokes + 20, track.name
        if not (track.trade or track.fade or track.click == "2 and 4"):
            placed = sum(
                one.times * sum(len(lesson.score.bars[bar].strokes) for bar in one.bars) for one in laid.passages
            )
            helpers = sum(one.times * len(one.bars) for one in laid.passages) * (track.click != "off") + 3
            assert size.strokes == placed + helpers * lesson.score.meter.pulses


def refused(text, tmp_path, options=None):
    path = tmp_path / "long.toml"
    path.write_text(text)
    with pytest.raises(LessonError) as raised:
        plan_lesson(path, options or RenderOptions(tmp_path / "out"))
    return str(raised.value).removeprefix(f"{path}: ")


def test_a_track_of_more_than_ten_hours_is_refused_with_its_length(tmp_path, monkeypatch):
    monkeypatch.setattr("render.lesson.plan.track_passages", lambda *_: pytest.fail("it was laid out"))
    tracks = '[[track]]\nname = "x"\ntimes = 1000\nladder = { from = 30, to = 400, step = 0.5, times_each = 64 }'
    said = refused(text_of("4 4 4 4 | 4 4 4 4", tracks=tracks), tmp_path, RenderOptions(tmp_path, audio=False))
    # By hand: 2 bars of 4 beats, 64 000 times on each of 741 rungs, whose 1/tempo add up to 5.216 or so.
    minutes = 8 * 64_000 * sum(1 / (30 + number / 2) for number in range(741))
    assert said == (
        f"the track 'x' would last {minutes / 60:,.1f} hours; a track is at most 10: "
        "ask for fewer bars, times or choruses"
    )


def test_readers_by_chorus_and_bars_in_turn_are_not_laid_out_either(tmp_path, monkeypatch):
    monkeypatch.setattr("render.lesson.plan.track_passages", lambda *_: pytest.fail("it was laid out"))
    tracks = '[[track]]\nname = "x"\ntimes = 1000\ntrade = { with = 1, without = 1 }'
    said = refused(text_of(" | ".join(["4 4 4 4"] * 20), line=READERS[1], tracks=tracks), tmp_path)
    assert said.startswith("the track 'x' would last 11.1 hours")


def test_a_lesson_of_more_strokes_than_memory_holds_is_refused_with_their_number(tmp_path):
    bars = " | ".join(["16 " * 16] * 4)
    tracks = "".join(f'[[track]]\nname = "{n}"\ntimes = 1000\ntempo = 400\n' for n in range(30))
    said = refused(text_of(bars, tracks=tracks), tmp_path)
    found = re.fullmatch(
        r"its tracks would have ([\d,]+) strokes; a lesson has at most 900,000: ask for fewer tracks, .*", said
    )
    # By hand: 16 of the line and 6 or more of ride and hi-hat, 4 bars, 1000 times, 30 tracks.
    assert found and int(found[1].replace(",", "")) >= 22 * 4 * 1000 * 30


def test_a_short_track_beside_a_very_long_one_is_refused_as_well_since_all_set_the_gain(tmp_path):
    tracks = '[[track]]\nname = "short"\n[[track]]\nname = "long"\ntimes = 1000\ntempo = 30\n'
    text = text_of(" | ".join(["4 4 4 4"] * 5), tracks=tracks)
    assert refused(text, tmp_path, RenderOptions(tmp_path, tracks=("short",))).startswith("the track 'long' would last")
    (tmp_path / "long.toml").write_text(text)
    assert plan_lesson(tmp_path / "long.toml", RenderOptions(tmp_path, tracks=("short",), audio=False)).files


def test_a_track_of_more_than_two_hours_is_spoken_of_once_and_ten_hours_are_allowed(tmp_path):
    path = tmp_path / "long.toml"
    tracks = "".join(f'[[track]]\nname = "{n}"\ntimes = {n}\ntempo = 30\ncount_in = 0\n' for n in (10, 901, 999))
    path.write_text(text_of("4 4 4 4", tracks=tracks))
    plan = plan_lesson(path, RenderOptions(tmp_path, format="flac"))
    assert plan.notes == ("the track '999' lasts 2.2 hours; is it meant to?",)
    assert plan_lesson(path, RenderOptions(tmp_path, tracks=("10",))).notes == ()
    path.write_text(text_of(" | ".join(["4 4 4 4"] * 5), top="choruses = 900\ncount_in = 0", tempo=30))
    assert plan_lesson(path, RenderOptions(tmp_path, format="flac")).tracks[0].seconds == 36_000


def test_a_loop_is_measured_too(tmp_path):
    path = tmp_path / "long.toml"
    path.write_text(text_of(" | ".join(["4 4 4 4"] * 5)))
    with pytest.raises(LessonError, match="the track 'loop bar 1-5' would last 11.1 hours"):
        render_loop(path, LoopOptions("1-5", "30", 1000), RenderOptions(tmp_path / "out"))


@pytest.mark.parametrize("where", ["line", "track"])
def test_bars_chosen_without_end_are_refused_before_they_are_counted_out(where, tmp_path):
    many = ",".join(["1-2"] * 100_000)
    asked = {"line": {"line": f'bars = "{many}"'}, "track": {"tracks": f'[[track]]\nname = "x"\nbars = "{many}"'}}
    with pytest.raises(LessonError, match="bars: more than 20,000 bars are chosen; choose fewer, and repeat them by"):
        lesson_of("4 4 4 4 | 4 4 4 4", **asked[where])


def test_a_choice_past_the_end_is_told_as_such_however_often_it_stands_there():
    many = ",".join(["1-99999"] * 3000)
    with pytest.raises(LessonError, match="bars: there is no bar 3; it has bars 1, 2$"):
        lesson_of("4 4 4 4 | 4 4 4 4", line=f'bars = "{many}"')


def test_a_track_is_laid_out_once_for_names_lengths_and_sound(tmp_path, monkeypatch):
    laid = []

    def counted(track, *rest):
        laid.append(track.name)
        return track_passages(track, *rest)

    path = tmp_path / "page.toml"
    path.write_text(text_of("4 8 8 4 4", top="choruses = 1", tempo=300))
    for module in ("render.lesson.plan", "render.lesson.session", "render.lesson.render_lesson"):
        monkeypatch.setattr(f"{module}.track_passages", counted, raising=False)
    plan = plan_lesson(path, RenderOptions(tmp_path, stems=True))
    assert laid == [track.name for track in load_lesson(path).lesson.tracks] + ["full"]  # the last sets the gain
    from render.lesson.render_lesson import render_plan

    render_plan(plan)
    assert len(laid) == 5


def test_a_page_of_too_many_bars_is_refused_before_anything_is_made(tmp_path, capsys):
    path = tmp_path / "long.toml"
    path.write_text(text_of("4 8 8 4 4", line=f'repeat_each = {MOST_PAGE_BARS // 25 + 1}\nbars = "{"1," * 24}1"'))
    said = "its page would have 1,025 bars, all ways to read the line together; a page has at most 1,000: choose bars"
    for words in (("render", path, "-o", tmp_path / "out"), ("page", path, "-o", tmp_path / "out" / "a.html")):
        assert main([*map(str, words)]) == 2
        assert said in capsys.readouterr().err
    assert [*tmp_path.iterdir()] == [path]
    assert main(["render", str(path), "-o", str(tmp_path / "out"), "--no-documents", "--no-audio"]) == 0
