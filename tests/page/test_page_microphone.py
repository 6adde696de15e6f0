"""The page listens by microphone: strokes found in samples, and a real capture in Chromium from a file that stands for
the microphone (`--use-file-for-fake-audio-capture`), on a page opened from a file.

mir_eval matches events within a window (C. Raffel et al., mir_eval, ISMIR 2014).
"""

import base64
import shutil
from dataclasses import replace

import mir_eval
import numpy as np
import pytest
import soundfile
from music import text_of
from page_browser import QUIET, RATE, html_of, opened, until
from page_midi import FAKE
from playwright.sync_api import sync_playwright
from takes_made import Student, sheet
from takes_sound import CLEAN, DEFAULT, SMALL, Drums, recorded

from grooves.rhythm import Meter
from render.hearing.kept_take import kept_take
from render.lesson.check import CheckOptions, check_lesson
from render.lesson.load import load_lesson

LINE = "4 8 8 4 4 | 16 16 16 16 8 8 4 4 | 12 12 12 4 8r 8 4 | 8 8 4 4r 4"
NEAR_SECONDS = 0.003
CAPTURED_SECONDS = 5.0
HEAR = """(text) => {
    const bytes = Uint8Array.from(atob(text), (letter) => letter.charCodeAt(0));
    const samples = new Float32Array(bytes.buffer), found = [];
    const onsets = new Onsets(44100, (sample) => found.push(sample / 44100));
    for (let at = 0; at < samples.length; at += 441) onsets.hear(samples.subarray(at, at + 441));
    return found;
}"""


@pytest.fixture(scope="module")
def drums():
    return Drums(DEFAULT())


def alone(part, room, tempo, drums):
    """One drum's strokes as sound, and when they come."""
    of = sheet(LINE, tempo=tempo, choruses=1)
    own = replace(of, strokes=tuple(one for one in of.strokes if one.part == part))
    sound, made = recorded(own, Student(tempo, spread_ms=6), drums, room)
    return sound, np.array([one.onset_seconds for one in made.take.strokes])


@pytest.mark.parametrize("room", [CLEAN, SMALL], ids=["clean", "a small room by a phone"])
def test_strokes_of_one_drum_are_found_with_precision_and_recall_of_99_in_100(chrome, html, tmp_path, drums, room):
    hits = found = real = 0
    off = []
    with opened(chrome, html, tmp_path) as page:
        for part, tempo in (("snare", 150), ("bass drum", 120), ("hi-hat", 200)):
            sound, truth = alone(part, room, tempo, drums)
            heard = np.array(page.page.evaluate(HEAR, base64.b64encode(sound.astype("<f4").tobytes()).decode()))
            pairs = mir_eval.util.match_events(truth, heard, 0.03)
            hits, found, real = hits + len(pairs), found + len(heard), real + len(truth)
            gaps = np.array([heard[second] - truth[first] for first, second in pairs])
            off += list(gaps - np.median(gaps))
    assert hits / found >= 0.99 and hits / real >= 0.99, (hits, found, real)
    assert np.median(np.abs(off)) < 0.0005 and np.quantile(np.abs(off), 0.9) < NEAR_SECONDS


def test_noise_and_silence_have_no_strokes(sheet_page):
    noise = np.random.default_rng(4).standard_normal(RATE * 3).astype("<f4") * 0.01
    for sound in (noise, np.zeros(RATE, "<f4")):
        assert sheet_page.page.evaluate(HEAR, base64.b64encode(sound.tobytes()).decode()) == []


@pytest.fixture
def sheet_page(chrome, html, tmp_path):
    with opened(chrome, html, tmp_path) as found:
        yield found


COUNT = """([rows, window, step]) => {
    const clock = new FrameClock(1000, { window, step });
    for (const [count, arrived] of rows) clock.arrived(count, arrived);
    return [[0, 500, 1500, 3500].map((sample) => clock.at(sample)), clock.sampleAt(clock.at(700)), clock.pieces.length];
}"""


def test_samples_are_counted_and_those_lost_on_the_way_made_up_for(sheet_page):
    draw = np.random.default_rng(3)
    ends = 10.0 * np.arange(1, 401)
    late = draw.uniform(0, 60, 400) * (draw.random(400) < 0.8)  # most blocks wait in a queue for a while
    plain = [(10, 200 + end + more) for end, more in zip(ends, late, strict=True)]
    moments, sample, pieces = sheet_page.page.evaluate(COUNT, [plain, 50, 5])
    assert moments == pytest.approx([200, 700, 1700, 3700]) and sample == 700 and pieces == 1
    lost = [(count, arrived + (35 if number >= 200 else 0)) for number, (count, arrived) in enumerate(plain)]
    moments, _, pieces = sheet_page.page.evaluate(COUNT, [lost, 50, 5])
    assert moments == pytest.approx([200, 700, 1700, 3735]) and pieces > 1


# --- a real capture -------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def strokes():
    """When the drum before the microphone is struck, uneven, none nearer than 0.2 s."""
    draw = np.random.default_rng(8)
    return 1.2 + 0.26 * np.arange(40) + draw.uniform(-0.03, 0.03, 40)


@pytest.fixture(scope="module")
def folder(strokes, drums, tmp_path_factory):
    """A lesson, and the sound that stands for the microphone."""
    folder = tmp_path_factory.mktemp("capture")
    sound = np.random.default_rng(2).standard_normal(RATE * 13) * 2e-4
    for number, moment in enumerate(strokes):
        wave = drums.of("snare")[number % 12] * 1.5
        start = round(moment * RATE)
        sound[start : start + len(wave)] += wave[: len(sound) - start]
    soundfile.write(folder / "microphone.wav", np.clip(sound, -1, 1), RATE, "PCM_16")
    (folder / "evening.toml").write_text(text_of(LINE, tempo=132))
    return folder


@pytest.fixture(scope="module")
def chrome(folder):
    """A browser whose microphone is that file."""
    capture = [
        "--use-fake-device-for-media-stream",
        "--use-fake-ui-for-media-stream",
        f"--use-file-for-fake-audio-capture={folder / 'microphone.wav'}%noloop",
    ]
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=shutil.which("chromium"), args=[*QUIET, *capture])
        yield browser
        browser.close()


@pytest.fixture(scope="module")
def listening(chrome, kit, folder):
    """The browser, the page of the lesson, and where the lesson lies."""
    return chrome, html_of(load_lesson(folder / "evening.toml").lesson, *kit), folder


def captured(listening, before, tmp_path, script="", throttled=4, stall_ms=400):
    """The page after some seconds of listening, and the moments at which it heard strokes."""
    browser, html, _ = listening
    with opened(browser, html, tmp_path, ready=False) as found:
        found.page.add_init_script(FAKE + script)
        found.page.reload()
        found.page.wait_for_selector("body.ready")
        session = found.page.context.new_cdp_session(found.page)
        session.send("Emulation.setCPUThrottlingRate", {"rate": throttled})
        found.page.evaluate(
            "(long) => setInterval(() => { const end = performance.now() + long; while (performance.now() < end); }, 2000)",
            stall_ms,
        )
        found.page.evaluate(
            "(before) => { ui.before.value = before; settings.countIn = 0; ui['by-microphone'].click(); }", before
        )
        until(found, "controls.listen.input")
        found.page.evaluate("controls.toggle()")
        found.page.wait_for_timeout(1000 * CAPTURED_SECONDS)
        found.page.evaluate("controls.toggle()")
        until(found, "!controls.listen.session")
        session.send("Emulation.setCPUThrottlingRate", {"rate": 1})
        yield found
        assert found.errors == []


def offsets(heard, strokes):
    """How far each stroke that was heard lies from the one it is, after what all are late together is taken off."""
    laid = []
    for first in range(12):
        off = heard - heard[0] + strokes[first]
        gaps = np.array([strokes[np.argmin(np.abs(strokes - one))] - one for one in off])
        laid.append(np.abs(gaps - np.median(gaps)))
    return min(laid, key=np.median)


NOTES = "controls.listen.heard.taken.paper.played.map(([seconds]) => seconds)"


def best_of_three(listen, off):
    """A capture that went through: on a machine with other work the browser's own device may lose samples before the page."""
    for _ in range(3):
        heard = listen()
        if len(heard) >= 8 and off(heard) < NEAR_SECONDS:
            return 0.0
    return off(heard) if len(heard) >= 8 else np.inf


def test_strokes_before_the_microphone_are_within_three_milliseconds_on_a_slow_and_busy_machine(
    listening, strokes, tmp_path
):
    def listen():
        for found in captured(listening, "snare", tmp_path):
            asked = found.page.evaluate("controls.listen.input.stream.getAudioTracks()[0].getSettings()")
            assert [asked[key] for key in ("echoCancellation", "noiseSuppression", "autoGainControl")] == [False] * 3
            heard = np.array(found.page.evaluate(NOTES))
        return heard

    assert best_of_three(listen, lambda heard: offsets(heard, strokes).max()) < NEAR_SECONDS


def test_a_browser_that_counts_samples_on_the_page_hears_strokes_too(listening, strokes, tmp_path):
    def listen():
        script = "delete globalThis.MediaStreamTrackProcessor;"
        for found in captured(listening, "snare", tmp_path, script, throttled=1, stall_ms=0):
            assert found.page.evaluate("Boolean(controls.listen.input.script) && !controls.listen.input.worker")
            heard = np.array(found.page.evaluate(NOTES))
        return heard

    def off(heard):
        gaps = np.diff(heard[2:])  # at the beginning a capture has a gap of its own
        return min(np.median(np.abs(gaps - np.diff(strokes)[k : k + len(gaps)])) for k in range(20))

    assert best_of_three(listen, off) < NEAR_SECONDS


def test_the_whole_kit_is_recorded_saved_with_its_paper_and_heard_back_in_time(listening, strokes, tmp_path):
    for found in captured(listening, "the whole kit", tmp_path, throttled=1, stall_ms=0):
        assert "bars recorded" in found.page.inner_text("#heard-says")
        path = tmp_path / "take.wav"
        with found.page.expect_download() as waiting:
            found.page.click("#save")
        waiting.value.save_as(path)
        found.page.evaluate("""() => {
            globalThis.begun = [];
            const start = AudioBufferSourceNode.prototype.start;
            AudioBufferSourceNode.prototype.start = function (...when) { begun.push([this.buffer.duration, ...when]); return start.apply(this, when); };
            controls.listen.heard.taken.offset = 120;
            ui["hear-back"].click();
        }""")
        begun = found.page.evaluate("begun")
        track = found.page.evaluate("controls.listen.heard.taken.track.map(({ seconds }) => seconds)")
        origin = found.page.evaluate("controls.listen.heard.back.sound.origin")
        found.page.evaluate("ui['hear-back'].click()")
        assert found.page.evaluate("controls.listen.heard.back") is None
    sound, rate = soundfile.read(path)
    assert rate == RATE and len(sound) / rate > CAPTURED_SECONDS - 1
    whole = next(one for one in begun if one[0] == pytest.approx(len(sound) / rate, abs=0.01))
    assert whole[1:] == pytest.approx([origin, 0.12]), "what came 120 ms late is begun 120 ms in"
    assert min(one[1] for one in begun if one is not whole) == pytest.approx(origin + track[0], abs=1e-3)
    kept = kept_take(path, Meter(4, 4))
    assert kept.kind == "kit" and kept.struck is None and kept.tempo_bpm == 132 and len(kept.sheet.bars) >= 2
    assert kept.step == "The time"
    lesson = listening[2] / "evening.toml"
    report = check_lesson(lesson, path, CheckOptions())
    assert report.track == "The time" and report.sentences
    # the same paper beside a recording that was made into another kind of file
    soundfile.write(tmp_path / "other.flac", sound, rate)
    (tmp_path / "other.json").write_bytes(chunk(path))
    assert kept_take(tmp_path / "other.flac", Meter(4, 4)).sheet == kept.sheet
    (tmp_path / "other.json").write_text('{"format": "fourlimb-check"}')
    assert kept_take(tmp_path / "other.flac", Meter(4, 4)) is None


def chunk(path):
    """The paper in a WAV file, found by reading its chunks (RIFF)."""
    data = path.read_bytes()
    at = 12
    while data[at : at + 4] != b"take":
        at += 8 + int.from_bytes(data[at + 4 : at + 8], "little")
    return data[at + 8 : at + 8 + int.from_bytes(data[at + 4 : at + 8], "little")]


# --- what may go wrong ----------------------------------------------------------------------------

THROWS = "() => {{ navigator.mediaDevices.getUserMedia = async () => {{ throw new DOMException('no', '{}'); }}; }}"
NO_MICROPHONE = {
    THROWS.format("NotAllowedError"): "The microphone was not allowed.",
    THROWS.format("NotFoundError"): "No microphone is found.",
    THROWS.format("NotReadableError"): "another program may hold it",
    "() => { Object.defineProperty(navigator, 'mediaDevices', { value: undefined }); }": "gives a page no microphone",
}


def test_why_there_is_no_microphone_is_told_in_words_and_the_page_plays(sheet_page):
    for script, says in NO_MICROPHONE.items():
        sheet_page.page.evaluate(script)
        sheet_page.page.evaluate("ui['listen-said'].textContent = ''; ui['by-microphone'].click()")
        until(sheet_page, "ui['listen-said'].textContent !== ''")
        assert says in sheet_page.page.evaluate("ui['listen-said'].textContent")
        assert sheet_page.page.evaluate("controls.listen.kind") == ""
    sheet_page.page.evaluate("controls.toggle()")
    until(sheet_page, "transport.player.sent > 1")
    assert sheet_page.errors == []


def test_a_microphone_that_is_pulled_out_is_told_of(listening, tmp_path):
    with opened(listening[0], listening[1], tmp_path) as found:
        found.page.evaluate("ui['by-microphone'].click()")
        until(found, "controls.listen.input && controls.listen.input.clock")
        found.page.evaluate("controls.listen.input.stream.getAudioTracks()[0].dispatchEvent(new Event('ended'))")
        assert "was pulled out" in found.page.evaluate("ui['listen-said'].textContent")
        found.page.evaluate("ui['stop-listening'].click()")
        assert found.page.evaluate("controls.listen.kind") == ""
        assert found.errors == []
