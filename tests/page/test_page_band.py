"""The page's band plays what `perform` performs: notes, velocities, times and sound, in a real browser."""

import base64
import json

import numpy as np
import pytest
from band_played import PROGRAMS
from music import lesson_of
from page_browser import RATE, data_of, html_of, kit_and_balance, opened
from sounding import pitch_hertz

from grooves.passages import Track, track_passages
from grooves.performance import perform
from render.page.page import SCRIPTS, scripts
from render.sound.balance import velocities
from render.sound.loudness import hit_loudness

LINE = "4 8 8 4 4 | 8 4 4 [8 4] | 12 12 12 4 8r 8 4 | 16 16 16 16 8 8 [4 8] 8"
HUMAN = "timing_ms = 6\nlevel_lu = 1\nseed = 7"
BLUES = '[band]\nform = "blues"\n'
NOTES = """([own, seconds, step]) => {
    if (step !== null) controls.steps.take(step);
    const player = new Player(lesson, { ...firstSettings(lesson), ...(step === null ? {} : settings), ...own });
    return player.pump(seconds).filter((one) => one.voice.band).map((one) => (
        { seconds: one.seconds, until: one.until, part: one.voice.part, key: one.key, level: one.level, velocity: one.velocity }));
}"""


@pytest.fixture(scope="module")
def kit():
    return kit_and_balance()


@pytest.fixture(scope="module")
def shown(chrome, kit, tmp_path_factory):
    """Three choruses of a blues with a bass that walks and a piano that comps, open in the browser."""
    lesson = lesson_of(LINE, feel=HUMAN, top="choruses = 9", tracks=BLUES)
    with opened(chrome, html_of(lesson, *kit), tmp_path_factory.mktemp("page")) as page:
        yield lesson, page
        assert page.errors == []


def played(page, own, seconds, step=None):
    """The notes that the page gives out before a moment."""
    found = page.page.evaluate(NOTES, [own, seconds, step])
    return sorted(found, key=lambda note: (note["seconds"], note["part"], note["key"]))


def expected(lesson, kit, track, seconds):
    """The notes of a performance that begin before a moment, with their velocities."""
    passages = track_passages(track, lesson.score, lesson.choruses, lesson.count_in)
    performance = perform(lesson.score, passages, lesson.feel, lesson.balance_lu)
    pairs = zip(performance.notes, velocities(performance, kit[1])[len(performance.hits) :], strict=True)
    return [(note, velocity) for note, velocity in pairs if note.onset_seconds < seconds]


def assert_same(found, wanted, ends=True):
    """Same notes, beginning and ending within half a sample, same velocities."""
    assert [(one["part"], one["key"]) for one in found] == [(note.part, note.key) for note, _ in wanted]
    times = np.array([one["seconds"] for one in found]) - np.array([note.onset_seconds for note, _ in wanted])
    assert np.abs(times).max() < 0.5 / RATE
    if ends:
        until = [one["until"] for one in found]
        lasts = np.array(until) - np.array([note.onset_seconds + note.length_seconds for note, _ in wanted])
        assert np.abs(lasts).max() < 0.5 / RATE
    levels = np.array([one["level"] for one in found]) - np.array([note.level_lu for note, _ in wanted])
    assert np.abs(levels).max() < 1e-4
    assert [one["velocity"] for one in found] == [velocity for _, velocity in wanted]


def test_the_page_plays_the_notes_of_the_performance_through_all_choruses(shown, kit):
    lesson, page = shown
    wanted = expected(lesson, kit, Track("x"), 75)
    assert len(wanted) > 300 and {note.part for note, _ in wanted} == {"bass", "piano"}
    assert_same(played(page, {}, 75), wanted)


@pytest.mark.parametrize("tempo", [48, 207])
def test_at_another_tempo_the_same_notes_come_sooner_or_later(shown, kit, tempo):
    lesson, page = shown
    assert_same(played(page, {"tempo": tempo}, 40), expected(lesson, kit, Track("x", tempo_bpm=tempo), 40))


KINDS = {
    "all read, placed and balanced": (
        LINE,
        'swing = 3.0\nline_swing = "as measured"\nbehind_ms = { bass = 20, horns = 12 }\nahead_ms = { hi-hat = 20, piano = 15 }',
        {"balance": "bass = -3\npiano = -12"},
        'piano = "line"\nhorns = "line"\n',
    ),
    "in twelve": ("8 8 8 4. 4. 4 8", HUMAN, {"groove": "twelve-eight", "tempo": 60}, 'horns = "line"\n'),
    "samba": ("8 8 4 8 4 8", HUMAN, {"groove": "jazz-samba", "tempo": 180}, ""),
    "fast and loose": (LINE, "timing_ms = 30\nlevel_lu = 4", {"tempo": 260}, ""),
}  # fmt: skip


@pytest.mark.parametrize("kind", KINDS)
def test_every_kind_of_band_plays_on_the_page_as_it_is_performed(chrome, kit, tmp_path, kind):
    line, feel, own, parts = KINDS[kind]
    lesson = lesson_of(line, feel=feel, **own, top="choruses = 12", tracks=BLUES + parts)
    wanted = expected(lesson, kit, Track("x"), 14)
    with opened(chrome, html_of(lesson, *kit), tmp_path) as page:
        assert_same(played(page, {}, 14), wanted)
        assert page.errors == []


TRACKS = (
    '[[track]]\nname = "by turns"\nwithout = ["bass"]\ntrade = { with = 2, without = 1 }\ntimes = 8\n',
    '[[track]]\nname = "hard bars"\nbars = "2-3"\ntempo = "60%"\ntimes = 12\n',
    '[[track]]\nname = "stairs"\nladder = { from = 100, to = 140, step = 20, times_each = 2 }\n',
    '[[track]]\nname = "no piano"\nwithout = ["piano"]\nsofter = { bass = -6 }\n',
    '[[track]]\nname = "answers"\ntrade = { with = 2, without = 2, echo = true }\ntimes = 4\n',
    '[[track]]\nname = "silent bars"\nsilence = { play = 2, rest = 2 }\ntimes = 6\n',
)


def test_the_lesson_s_own_tracks_have_their_own_notes_as_steps(chrome, kit, tmp_path):
    lesson = lesson_of(LINE, feel=HUMAN, top="choruses = 3", tracks=BLUES + 'horns = "line"\n' + "".join(TRACKS))
    with opened(chrome, html_of(lesson, *kit), tmp_path) as page:
        first = page.page.evaluate("lesson.steps.findIndex((step) => step.track)")
        for number, track in enumerate(lesson.tracks):
            wanted = expected(lesson, kit, track, 22)
            assert wanted, track.name
            assert_same(played(page, {}, 22, first + number), wanted)
        assert page.errors == []


def test_the_steps_are_the_drums_alone_but_the_last_which_is_with_the_band(chrome, kit, tmp_path):
    lesson = lesson_of(LINE, feel=HUMAN, top="choruses = 9", tracks=BLUES)
    (with_band,) = [track for track in lesson.tracks if track.name == "with-band"]
    with opened(chrome, html_of(lesson, *kit), tmp_path) as page:
        names = page.page.evaluate("lesson.steps.map((step) => step.name)")
        assert names[-1] == "With the band"
        heard = "(step) => { controls.steps.take(step); return new Player(lesson, settings).pump(8).map((one) => one.voice.part); }"
        for step in range(len(names) - 1):
            assert not {"bass", "piano"} & set(page.page.evaluate(heard, step))
        assert_same(played(page, {}, 20, len(names) - 1), expected(lesson, kit, with_band, 20))
        drums = set(page.page.evaluate(heard, len(names) - 1)) - {"bass", "piano", "count-in"}
        assert drums == {
            hit.part for hit in perform(lesson.score, track_passages(with_band, lesson.score), lesson.feel).hits
        } - {"count-in"}


def test_in_a_loop_every_bar_has_the_chords_that_stand_over_it(shown):
    """Two bars of a line of four over twelve: the second chorus of the line has other chords, and they never sound."""
    lesson, page = shown
    tones = {
        place: {(mark_root(chord) + tone) % 12 for chord in lesson.score.band.chords(place)[:1] for tone in chord.tones}
        for place in (1, 2)
    }
    script = """(own) => { const player = new Player(lesson, { ...firstSettings(lesson), ...own });
        return player.pump(60).filter((one) => one.voice.part === "bass" && one.onset === 0)
            .map((one) => [one.cell.position, one.key]); }"""
    found = page.page.evaluate(script, {"loop": [1, 2], "countIn": 0})
    assert len(found) > 25 and {place for place, _ in found} == {1, 2}
    assert all(key % 12 in tones[place] for place, key in found)
    assert len({key for _, key in found}) > 2, "not the same bar over and over"


def mark_root(chord):
    steps = dict(zip("CDEFGAB", (0, 2, 4, 5, 7, 9, 11), strict=True))
    return steps[chord.root[0]] + chord.root.count("#") - chord.root.count("b")


def test_changing_tempo_while_it_plays_loses_and_doubles_no_note(shown):
    """As for the limbs: a second is handed over ahead and taken back at each change."""
    _, page = shown
    script = """() => {
        const player = new Player(lesson, firstSettings(lesson)), hits = [];
        let state = 5;
        const chance = () => (state = Math.imul(state, 1664525) + 1013904223 >>> 0) / 2 ** 32;
        for (let until = 0; until < 60; until += 0.05) {
            if (chance() < 0.1) {
                const moment = Math.max(until - 1 + chance() / 10, player.changed);
                player.change(moment, () => (player.settings.tempo = 60 + Math.round(chance() * 240)));
                for (let at = hits.length - 1; at >= 0; at--) if (hits[at].seconds >= moment) hits.splice(at, 1);
                hits.push(...player.pump(until - 0.05));
            }
            hits.push(...player.pump(until));
        }
        return hits.filter((one) => one.voice.band).map((one) => [one.place, one.voice.part, one.key, one.until - one.seconds]);
    }"""
    found = page.page.evaluate(script)
    still = page.page.evaluate("""() => new Player(lesson, { ...firstSettings(lesson), tempo: 150 }).pump(120)
        .filter((one) => one.voice.band).map((one) => [one.place, one.voice.part, one.key])""")
    last = max(place for place, *_ in found)
    assert len(found) > 300 and min(lasts for *_, lasts in found) > 0
    names = sorted((place, part, key) for place, part, key, _ in found if place < last - 4)
    assert names == sorted((place, part, key) for place, part, key in still if place < last - 4)


# --- the sheet -----------------------------------------------------------------------------------


def test_each_part_has_a_switch_and_a_volume_that_are_heard_and_kept(chrome, kit, tmp_path):
    lesson = lesson_of(LINE, feel=HUMAN, top="choruses = 9", tracks=BLUES)
    heard = """() => Object.fromEntries(["bass", "piano"].map((part) => [part, new Player(lesson, settings).pump(12)
        .filter((one) => one.voice.part === part).map((one) => one.level + one.volume).reduce((sum, one, _, all) => sum + one / all.length, 0)]))"""
    with opened(chrome, html_of(lesson, *kit), tmp_path) as page:
        sheet = page.page
        assert sheet.evaluate(heard) == {"bass": 0, "piano": 0}, "the first step is the drums' alone"
        sheet.click("#more")
        row = '.limb[data-limb="bass"]'
        assert sheet.is_visible(row) and sheet.locator(f"{row} .limb-name").inner_text().strip() == "Bass"
        assert sheet.is_checked(f"{row} [value=off]")
        sheet.locator(f"{row} label", has_text="on").click()
        plain = sheet.evaluate(heard)
        assert plain["bass"] == pytest.approx(-6, abs=0.5) and plain["piano"] == 0
        assert sheet.evaluate("settings.alone") is True, "the time stays alone with the bass"
        sheet.locator(f"{row} label", has_text="softer").click()
        assert sheet.evaluate(heard)["bass"] == pytest.approx(plain["bass"] - 9)
        sheet.locator(f"{row} .volume").fill("-5")
        assert sheet.evaluate(heard)["bass"] == pytest.approx(plain["bass"] - 14)
        sheet.reload()
        sheet.wait_for_selector("body.ready")
        assert sheet.evaluate(heard)["bass"] == pytest.approx(plain["bass"] - 14)
        sheet.click("#more")
        sheet.locator(f"{row} label", has_text="off").click()
        assert sheet.evaluate(heard)["bass"] == 0
        assert page.errors == [] and all(address.startswith(("file:", "blob:")) for address in page.requests)


def test_a_trade_of_the_line_leaves_a_band_at_home_that_the_step_leaves_at_home(shown):
    _, page = shown
    script = """() => { controls.steps.take(3); const own = { ...settings, trade: { first: 1, second: 1 }, countIn: 0 };
        const all = new Player(lesson, own).pump(8);
        return [all.some((one) => one.voice.band), all.filter((one) => one.voice.role === LINE).map((one) => one.cell.position)]; }"""
    band, line = page.page.evaluate(script)
    assert not band and set(line) == {0, 2}


# --- the sound -----------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def whole(chrome, kit, tmp_path_factory):
    """A lesson with all three parts, open in the browser, and its page."""
    lesson = lesson_of("4 8 8 4 4 | 1", feel=HUMAN, top="choruses = 6", tracks=BLUES + 'horns = "line"\n')
    html = html_of(lesson, *kit)
    with opened(chrome, html, tmp_path_factory.mktemp("page")) as page:
        yield html, page
        assert page.errors == []


def notes_of(html):
    return json.loads(html.split('<script type="application/json" id="sounds">')[1].split("</script>")[0])["notes"]


def sounded(page, notes):
    """Some notes as the page sounds them, each by itself from its onset on: (part, key, how long it lasts)."""
    script = """async ([notes, apart]) => {
        const context = new OfflineAudioContext(1, notes.length * apart * RATE, RATE);
        const sound = new Sound(context, { ...lesson, gain: 1 }, await decodeHits(context, lesson));
        notes.forEach(([part, key, lasts], at) => {
            const voice = lesson.band.voices.find((one) => one.part === part);
            sound.strike({ voice, key, velocity: 80, seconds: at * apart, until: at * apart + lasts });
        });
        const bytes = new Uint8Array((await context.startRendering()).getChannelData(0).buffer);
        let text = "";
        for (let at = 0; at < bytes.length; at += 32768) text += String.fromCharCode(...bytes.subarray(at, at + 32768));
        return btoa(text);
    }"""
    made = np.frombuffer(base64.b64decode(page.page.evaluate(script, [notes, 3])), "<f4")
    return np.stack([made, made], axis=1).reshape(len(notes), 3 * RATE, 2)


def test_every_note_of_the_page_has_the_pitch_and_the_loudness_of_the_sound_files_and_begins_with_them(whole, kit):
    """Pitch within 5 cents, loudness within half a unit; its first rise lies where theirs lies."""
    html, page = whole
    notes = [(part, int(key), 0.8) for part, keys in notes_of(html).items() for key in sorted(keys, key=int)[::3]]
    for (part, key, _), ours in zip(notes, sounded(page, notes), strict=True):
        note = kit[0].instrument(PROGRAMS[part]).note(key, 80, 500)
        theirs = note.sample.beginning(3 * RATE) * note.gain
        tempered = 440 * 2 ** ((key - 69) / 12)
        heard, known = (pitch_hertz(one[4410 : round(0.7 * RATE)], tempered) for one in (ours, theirs))
        assert abs(1200 * np.log2(heard / known)) < 5, (part, key, 1200 * np.log2(heard / known))
        loud = [hit_loudness(np.ascontiguousarray(one[: round(0.58 * RATE)]), RATE) for one in (ours, theirs)]
        assert loud[0] == pytest.approx(loud[1], abs=0.5), (part, key)
        if notes_of(html)[part][str(key)][1] == 1:  # the recording of that very key
            lags = [float(ours[40 : 40 + 4000, 0] @ theirs[40 + lag : 4040 + lag].mean(axis=1)) for lag in range(-8, 9)]
            assert abs(int(np.argmax(lags)) - 8) <= 1, (part, key)


def test_a_note_ends_with_the_slope_of_the_sound_files_and_a_long_one_goes_on(whole, kit):
    html, page = whole
    lowest = {part: int(min(keys, key=int)) for part, keys in notes_of(html).items()}
    short, long = (sounded(page, [(part, key, lasts) for part, key in lowest.items()]) for lasts in (0.5, 0.9))
    end = round(0.5 * RATE / 64) * 64
    for (part, key), ended, held in zip(lowest.items(), short, long, strict=True):
        fallen = [
            10 * np.log10(np.square(held[at:][:441]).sum() / np.square(ended[at:][:441]).sum())
            for at in (end + 441, end + 2646)
        ]
        assert np.array_equal(ended[:end], held[:end])
        assert fallen[1] - fallen[0] == pytest.approx(notes_of(html)[part][str(key)][3] * 0.05, rel=0.05), part
    (held,) = sounded(page, [("horns", lowest["horns"], 2.5)])
    levels = [np.sqrt(np.mean(held[at : at + RATE // 4] ** 2)) for at in range(11025, round(2.4 * RATE), RATE // 4)]
    assert max(levels) < 2 * min(levels), "a horn holds its note"


def test_the_band_adds_at_most_400_kb_and_nothing_where_there_is_none(whole, kit):
    html, _ = whole
    alone = html_of(lesson_of("4 8 8 4 4 | 1", feel=HUMAN, top="choruses = 6"), *kit)
    assert len(html) - len(alone) < 400_000
    assert "band" not in data_of(alone) and "widen" not in alone and "bass,piano" not in alone
    assert scripts(lesson_of().score) == SCRIPTS
