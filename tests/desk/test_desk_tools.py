"""Tapping, sharing, making, the entry on the desktop, the command: what stands around the desk."""

import asyncio
import configparser
import itertools
import os
import shlex
import signal
import socket
import subprocess
import sys
import time
import tomllib
from pathlib import Path

import httpx
import pytest
from desk_lessons import BESIDE, LESSON, lesson_with
from desk_server import served

from grooves.errors import LessonError
from grooves.rhythm import Meter, parse_values
from render.command.cli import main
from render.desk import sharing
from render.desk.drawing import Drawer, Kept
from render.desk.make_process import main as make
from render.desk.preview import groove_svg
from render.desk.serve import listen
from render.desk.sharing import Sharing, qr_svg
from render.desk.shortcut import write_shortcut
from render.desk.tapping import read_score, tapped
from render.desk.view import view

ROOT = Path(__file__).parents[2]


# --- tapping --------------------------------------------------------------------------------------


def taps(quarters, tempo=100.0, groove="swing", bars=4, late=0.0, beat=1.0):
    """What comes of taps at these quarters, a hand's deviation on each."""
    hand = itertools.cycle([0.008, -0.006, 0.003, -0.009, 0.005])
    seconds = [one * 60 / (tempo * beat) + off + late for one, off in zip(quarters, hand, strict=False)]
    return tapped({"groove": groove, "tempo": tempo, "bars": bars, "seconds": seconds}, BESIDE)


FOUR = Meter(4, 4)


def struck(values, meter=FOUR):
    bars = parse_values(values, meter)
    return [
        float(number * meter.length + one.onset)
        for number, bar in enumerate(bars)
        for one in bar
        if one.kind == "struck"
    ]


@pytest.mark.parametrize("tempo", [60, 100, 180])
@pytest.mark.parametrize("late", [0.0, 0.03])
def test_quarters_and_eighths_are_read_where_they_were_meant(tempo, late):
    meant = [0, 1, 2, 2.5, 3, 4, 4.5, 5, 6, 6.5, 7, 8, 9, 10, 10.5, 11, 12, 12.5, 13, 14]
    assert struck(taps(meant, tempo, late=late)["values"]) == meant


def test_swung_upbeats_are_written_as_eighths():
    meant = [0, 1, 1.5, 2, 3, 3.5, 4, 5, 5.5, 6, 6.5, 7, 8, 8.5, 9, 10, 10.5, 11]
    swung = [one + 1 / 6 if one % 1 else one for one in meant]
    assert struck(taps(swung, bars=3)["values"]) == meant


def test_a_beat_of_the_groove_that_is_no_quarter_sets_the_pace():
    meant = [0, 1.5, 2.0, 3, 4.5, 6, 7.5, 8, 9, 10.5]
    told = taps(meant, 80, "six-eight", bars=4, beat=1.5)
    assert struck(told["values"], Meter(6, 8)) == meant


def test_the_tapped_line_has_as_many_bars_as_were_asked_for():
    assert len(parse_values(taps([0, 1, 2], bars=4)["values"], Meter(4, 4))) == 4
    assert len(parse_values(taps([0, 1, 2, 17, 18, 40], bars=2)["values"], Meter(4, 4))) == 2


def test_a_first_tap_that_comes_a_little_early_is_on_the_beat():
    assert struck(taps([-0.05, 1, 2, 3], bars=1)["values"]) == [0, 1, 2, 3]


def test_how_it_was_read_is_told():
    assert any("grid" in sentence or "eighths" in sentence for sentence in taps([0, 1, 1.5, 2, 3])["report"])


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"seconds": []}, "tap: no tap was heard"),
        ({"seconds": [-3.0]}, "tap: no tap was heard"),
        ({"tempo": 5}, "tap: a tempo runs from 30 to 400"),
        ({"tempo": True}, "tap: a tempo runs from 30 to 400"),
        ({"bars": 0}, "tap: bars: 0 does not fit"),
        ({"groove": "swng"}, "tap: 'swng' is not shipped; did you mean 'swing'"),
        ({"seconds": [0.0, float("nan")]}, "tap: the taps are not a list of seconds"),
    ],
)
def test_taps_that_cannot_be_read_are_refused(change, says):
    body = {"groove": "swing", "tempo": 100, "bars": 4, "seconds": [0.0, 0.6], **change}
    with pytest.raises(LessonError, match=says):
        tapped(body, BESIDE)


def test_a_score_with_a_pickup_brings_it_along(tmp_path):
    from music import lesson_of

    from render.paper.notation import musicxml

    score = lesson_of("4 4 2 | 1", line='pickup = "8 8"').score
    told = read_score(musicxml(score, ("line",)), "up.musicxml", "", "swing", tmp_path)
    assert told["pickup"] == "8 8"
    assert told["values"] == "4 4 2 | 1"


@pytest.mark.parametrize(
    ("file", "data"),
    [
        ("x.wav", b"RIFF"),
        ("x.mid", b""),
        ("x.musicxml", b"<a>"),
        ("../../x.mid", b"MThd"),
        ("\0.mid", b"MThd"),
        ("", b"x"),
        ("a" * 300 + ".mid", b"MThd"),
    ],
)
def test_a_file_that_is_no_score_is_refused(tmp_path, file, data):
    with pytest.raises(LessonError):
        read_score(data, file, "", "swing", tmp_path)


# --- what is shown --------------------------------------------------------------------------------


def test_what_is_shown_has_everything_that_stands_in_the_file():
    shown = view(LESSON, BESIDE)
    assert shown["tables"] == tomllib.loads(LESSON)
    assert [bar["counts"] for bar in shown["bars"]] == ["1 2 3 & 4", "1 & 2 3r 4", "1 & 2 3r 4", "1 & 3r"]
    assert shown["meter"]["beats"] == [[0, 96], [96, 192], [192, 288], [288, 384]]
    assert shown["here"][:2] == ["ride", "snare"]
    assert shown["balance"]["hi-hat"] == -6.0
    louder = view(LESSON + "\n[balance]\nline = -1\nhi-hat = -9\n", BESIDE)["balance"]
    assert louder["line"] == -1.0 and louder["hi-hat"] == -9.0


def test_a_place_that_has_no_count_leaves_the_counts_out():
    assert view(lesson_with('values = "24 24 24 24 24 24 4 2"'), BESIDE)["bars"][0]["counts"] is None


def test_a_groove_s_picture_has_a_row_for_each_part_and_says_it_too(tmp_path):
    from lxml import etree

    drawn = etree.fromstring(groove_svg("swing", tmp_path))
    space = {"s": "http://www.w3.org/2000/svg"}
    assert [one.text for one in drawn.findall("s:text", space)] == ["ride", "bass drum", "hi-hat"]
    assert len(drawn.findall("s:circle", space)) == 6 + 4 + 2
    assert drawn.find("s:title", space).text.startswith("Swing: ride on 1, 2, 2&, 3, 4, 4&; bass drum on 1, 2, 3, 4")


def test_only_the_last_pictures_are_kept():
    kept = Kept(12)
    names = [kept.put(b"%d" % number, "svg") for number in range(15)]
    assert [kept.get(name) is None for name in names] == [True] * 3 + [False] * 12
    assert kept.put(b"3", "svg") == names[3] and kept.put(b"new", "svg", "own") == "own.svg"
    assert kept.get(names[3]) == b"3" and kept.get(names[4]) is None


def test_drawing_goes_on_after_its_process_died():
    drawer = Drawer()
    try:
        first = drawer.draw("chart", LESSON, BESIDE)
        os.kill(drawer._process.pid, signal.SIGKILL)
        assert drawer.draw("chart", LESSON, BESIDE) == first
        with pytest.raises(LessonError, match="tempo: 5 is out of range"):
            drawer.draw("chart", LESSON.replace("100", "5"), BESIDE)
        assert first.startswith(b"<svg")
        wav = drawer.draw("groove", "swing", Path())
        assert wav[:4] == b"RIFF" and len(wav) > 500_000
    finally:
        drawer.end()


# --- making ---------------------------------------------------------------------------------------


def test_what_is_wrong_with_a_making_is_told(tmp_path, capsys):
    (tmp_path / "bad.toml").write_text(LESSON.replace("100", "5"))
    assert make("page", tmp_path / "bad.toml") == 2
    assert "tempo: 5 is out of range" in capsys.readouterr().out
    assert [path.name for path in tmp_path.iterdir()] == ["bad.toml"]


def test_only_what_can_be_made_is_and_two_at_a_time(tmp_path):
    (tmp_path / "first.toml").write_text(LESSON)
    with served(tmp_path) as desk:
        refused = desk.client.post("/do/make", json={"name": "first.toml", "what": "pages"})
        assert refused.json()["error"] == "'pages' cannot be made; did you mean 'page'?"
        numbers = [desk.ask("make", name="first.toml", what="everything")["number"] for _ in range(2)]
        assert desk.client.post("/do/make", json={"name": "first.toml", "what": "page"}).status_code == 422
        for number in numbers:
            desk.ask("stop-making", number=number)
        end = time.monotonic() + 30
        while not all(desk.ask("making", number=number)["done"] for number in numbers):
            assert time.monotonic() < end
            time.sleep(0.05)
        assert desk.client.post("/do/making", json={"number": 99}).json()["error"] == "this making is long over"
    assert [path.name for path in tmp_path.rglob("*") if path.is_file()] == ["first.toml"]


# --- sharing --------------------------------------------------------------------------------------


@pytest.fixture
def shared(tmp_path):
    page = tmp_path / "first.html"
    page.write_bytes(b"<!DOCTYPE html><title>x</title>")
    one = Sharing("127.0.0.1")
    yield one, one.begin(page)
    one.stop()


def test_a_page_is_fetched_once_and_by_its_whole_address_alone(shared):
    _, told = shared
    address = told["address"]
    root = address.rpartition("/")[0]
    for other in (f"{root}/", f"{root}/x", address[:-1], f"{address}/", f"{address}x"):
        assert httpx.get(other).status_code == 404
    assert httpx.post(address).status_code == httpx.head(address).status_code == 404
    assert httpx.get(address, headers={"host": "evil.example"}).status_code == 404
    answer = httpx.get(address)
    assert (answer.status_code, answer.text) == (200, "<!DOCTYPE html><title>x</title>")
    assert httpx.get(address).status_code == 410


def test_after_ten_minutes_nothing_is_there(shared, monkeypatch):
    one, told = shared
    assert told["seconds"] == 600
    now = time.monotonic()
    monkeypatch.setattr(sharing, "now", lambda: now + 590)
    assert one.state() == {"shared": True, "fetched": False}
    monkeypatch.setattr(sharing, "now", lambda: now + 601)
    assert httpx.get(told["address"]).status_code == 404
    assert one.state() == {"shared": False, "fetched": False}
    with pytest.raises(httpx.ConnectError):
        httpx.get(told["address"])


def test_another_page_takes_the_place_of_the_first(shared, tmp_path):
    one, told = shared
    again = one.begin(tmp_path / "first.html")
    assert again["address"] != told["address"]
    with pytest.raises(httpx.ConnectError):
        httpx.get(told["address"])
    with pytest.raises(LessonError, match="a page is given to a phone"):
        one.begin(tmp_path / "first.toml")


def test_nothing_is_shared_before_it_is_asked_for(tmp_path):
    (tmp_path / "first.html").write_text("x")
    with served(tmp_path) as desk:
        assert desk.desk.sharing.state() == {"shared": False, "fetched": False}
        refused = desk.client.post("/do/share", json={"file": "../first.html"})
        assert refused.status_code == 422


def test_the_code_says_the_address():
    """Read back by OpenCV's detector where it is there; the outside of the code is in ISO/IEC 18004 either way."""
    import segno

    address = "http://192.168.1.20:40123/abcDEF123456-_"
    made = segno.make(address, error="m", micro=False)
    assert made.error == "M" and not made.is_micro
    drawn = qr_svg(address)
    side = (made.symbol_size(border=4)[0]) * 6
    assert f'width="{side}" height="{side}"' in drawn
    assert "<script" not in drawn


# --- the entry on the desktop ---------------------------------------------------------------------


def test_the_entry_of_linux_starts_the_desk_over_its_folder(tmp_path, monkeypatch):
    monkeypatch.delenv("XDG_DATA_HOME", raising=False)
    folder = tmp_path / 'my "lessons" 100% $x'
    path = write_shortcut(folder, "linux", tmp_path)
    assert path == tmp_path / ".local/share/applications/fourlimb-desk.desktop"
    entry = configparser.RawConfigParser()
    entry.optionxform = str
    entry.read(path)
    told = dict(entry["Desktop Entry"])
    assert told["Type"] == "Application"
    words = shlex.split(told["Exec"].replace("\\\\", "\\").replace("%%", "%").replace("\\$", "$"))
    assert words == [sys.executable, "-m", "render", "desk", str(folder)]
    assert path.stat().st_mode & 0o111


def test_the_entry_of_macos_is_a_command_that_a_shell_reads(tmp_path):
    path = write_shortcut(tmp_path / "it's mine", "darwin", tmp_path)
    assert path == tmp_path / "Desktop/Fourlimb desk.command"
    assert shlex.split(path.read_text().splitlines()[1]) == [
        "exec",
        sys.executable,
        "-m",
        "render",
        "desk",
        str(tmp_path / "it's mine"),
    ]
    subprocess.run(["sh", "-n", path], check=True)


def test_windows_that_does_not_answer_is_one_message(tmp_path, monkeypatch):
    monkeypatch.setenv("PATH", str(tmp_path))
    with pytest.raises(LessonError, match="Windows did not write the link"):
        write_shortcut(tmp_path / "lessons", "win32", tmp_path)


# --- the command ----------------------------------------------------------------------------------


def test_answers_are_sent_at_once():
    """Without the pause of Nagle's algorithm, which waits for what is acknowledged late (RFC 896; TCP_NODELAY)."""

    async def waits_not() -> int:
        own, told = listen(0), asyncio.get_running_loop().create_future()
        server = await asyncio.start_server(lambda _, writer: told.set_result(writer), sock=own)
        _, mine = await asyncio.open_connection(*own.getsockname())
        writer = await told
        found = writer.get_extra_info("socket").getsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY)
        for one in (mine, writer, server):
            one.close()
        return found

    assert asyncio.run(waits_not())


def test_a_port_that_is_taken_is_one_message(tmp_path, capsys):
    own = listen(0)
    own.listen()
    port = own.getsockname()[1]
    assert main(["desk", str(tmp_path), "--no-browser", "--port", str(port)]) == 2
    assert f"--port: {port} cannot be used (address already in use)" in capsys.readouterr().err
    own.close()
    assert main(["desk", str(tmp_path), "--port", "99999"]) == 2
    assert "--port: 99999 cannot be used" in capsys.readouterr().err


def test_a_file_is_no_folder(tmp_path, capsys):
    (tmp_path / "first.toml").write_text(LESSON)
    assert main(["desk", str(tmp_path / "first.toml"), "--no-browser"]) == 2
    assert f"name the folder that it lies in: {tmp_path}" in capsys.readouterr().err


def test_the_command_prints_an_address_that_opens_and_ends_with_control_c(tmp_path):
    told = [sys.executable, "-m", "render", "desk", str(tmp_path / "new"), "--no-browser"]
    with subprocess.Popen(told, cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) as desk:
        try:
            assert "is open at:" in desk.stdout.readline()
            address = desk.stdout.readline().strip()
            assert httpx.get(address, follow_redirects=False).status_code == 303
        finally:
            desk.send_signal(signal.SIGINT)
        _, said = desk.communicate(timeout=30)
    assert "Traceback" not in said
    assert (tmp_path / "new").is_dir()


def test_help_loads_nothing_of_the_desk():
    code = "import sys; from render.command.app import command; command('desk'); print([m for m in ('starlette', 'uvicorn', 'watchfiles', 'segno', 'send2trash', 'numpy', 'pydantic') if m in sys.modules])"
    told = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, cwd=ROOT)
    assert told.stdout == "[]\n"
