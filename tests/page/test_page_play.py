"""The page plays what `perform` performs: times, levels and sound compared stroke by stroke, in a real browser."""

from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from music import lesson_of, parse_text
from page_browser import RATE, html_of, kit_and_balance, opened

from grooves.deviations import deviations, stream_key, white
from grooves.feel import swing_ratio
from grooves.passages import Alternation, Fade, Ladder, Track, track_passages
from grooves.performance import perform
from render.lesson.demonstration import measure_parts
from render.page.sounds import shortened
from render.sound.balance import velocities
from render.sound.loudness import hit_loudness
from render.sound.peaks import true_peak

LINE = "4 8 8 4 4 | 8 4 4 [8 4] | 12 12 12 4 8r 8 4 | 16 16 16 16 8 8 [4 8] 8"
HUMAN = "timing_ms = 6\nlevel_lu = 1\nseed = 7"
TWO_LINES = f"""
title = "Harbour Street, two lines"
tempo = 130
groove = "bossa-nova"
[[line]]
values = "4 8 8 4 4 | % | 2 8 8 4"
[[line]]
values = "8 8 4 8 4 8 | 4 4 2"
played_on = "bass drum"
[feel]
{HUMAN}
"""
TEMPOS = (48, 120, 207, 300)
LARGE = Path("/usr/share/sounds/sf2/FluidR3_GM.sf2")


@pytest.fixture(scope="module")
def kit():
    return kit_and_balance()


@pytest.fixture(scope="module")
def shown(chrome, kit, tmp_path_factory):
    """A lesson with deviations, open in the browser."""
    lesson = lesson_of(LINE, feel=HUMAN)
    with opened(chrome, html_of(lesson, *kit), tmp_path_factory.mktemp("page")) as page:
        yield lesson, page
        assert page.errors == []


def expected(lesson, kit, track, seconds):
    """The hits of a performance that fall before a moment, with their velocities."""
    passages = track_passages(track, lesson.score, lesson.choruses, lesson.count_in)
    performance = perform(lesson.score, passages, lesson.feel, lesson.balance_lu)
    assert performance.length_seconds > seconds + 1, "the performance must outlast what is compared"
    pairs = zip(performance.hits, velocities(performance, kit[1]), strict=True)
    return [(hit, velocity) for hit, velocity in pairs if hit.onset_seconds < seconds]


def assert_same(found, wanted):
    """Same strokes, times within one sample, same velocities."""
    assert [hit["part"] for hit in found] == [hit.part for hit, _ in wanted]
    times = np.array([hit["seconds"] for hit in found]) - np.array([hit.onset_seconds for hit, _ in wanted])
    assert np.abs(times).max() < 0.5 / RATE
    levels = np.array([hit["level"] for hit in found]) - np.array([hit.level_lu for hit, _ in wanted])
    assert np.abs(levels).max() < 1e-4
    assert [hit["velocity"] for hit in found] == [velocity for _, velocity in wanted]
    assert [hit["key"] for hit in found] == [hit.key for hit, _ in wanted]


def in_order(found):
    return sorted(found, key=lambda hit: (hit["seconds"], hit["part"]))


# --- the numbers ---------------------------------------------------------------------------------


@pytest.mark.parametrize("limb", ["right hand", "left hand", "right foot", "left foot"])
@pytest.mark.parametrize("what", ["timing", "level"])
def test_deviations_are_those_of_python_at_thousands_of_places(shown, limb, what):
    lesson, page = shown
    places = np.concatenate([np.arange(0, 900, 1 / 3), np.arange(0, 900, 0.25), np.arange(100_000, 100_100, 0.5)])
    script = """([limb, what, places]) => {
        const deviations = new Deviations(lesson.feel);
        return places.map((place) => deviations.at(limb, what, place));
    }"""
    found = page.page.evaluate(script, [limb, what, places.tolist()])
    assert np.abs(np.array(found) - deviations(lesson.feel, limb, what, places)).max() < 1e-9


def test_white_numbers_fall_on_the_same_forty_eighths_halves_to_the_even_one(shown):
    _, page = shown
    key, places = stream_key(3, "left hand", "timing"), [1.5 / 48, 2.5 / 48, 7 / 32, 0.7, 89_478_485.25]
    found = page.page.evaluate("([key, places]) => places.map((place) => white(key, place))", [key, places])
    assert found == pytest.approx(white(key, np.array(places)).tolist(), abs=1e-12)


@pytest.mark.parametrize("swing", ["by tempo", "as measured", "straight"])
def test_the_swing_tables_give_python_s_ratio_at_every_tempo(shown, swing):
    _, page = shown
    tempos = [30 + step * 0.37 for step in range(1000)]
    script = "([swing, tempos]) => tempos.map((tempo) => swingRatio(swing, lesson.curves, tempo))"
    found = page.page.evaluate(script, [swing, tempos])
    assert found == pytest.approx([swing_ratio(swing, tempo) for tempo in tempos], abs=3e-6)


# --- the strokes ---------------------------------------------------------------------------------


@pytest.mark.parametrize("tempo", TEMPOS)
def test_the_page_plays_the_times_and_levels_of_the_performance_at_every_tempo(shown, kit, tempo):
    lesson, page = shown
    track = Track("x", tempo_bpm=tempo, times=8)
    wanted = expected(lesson, kit, track, 20)
    assert_same(in_order(page.player_hits({"tempo": tempo}, 20)), wanted)


@pytest.mark.parametrize("tempo", TEMPOS)
@pytest.mark.parametrize("limb", ["right hand", "left hand", "right foot", "left foot"])
def test_a_limb_that_is_off_is_silent_and_moves_nobody_else(shown, kit, tempo, limb):
    lesson, page = shown
    wanted = expected(lesson, kit, Track("x", without=frozenset({limb}), tempo_bpm=tempo, times=6), 12)
    found = in_order(page.player_hits({"tempo": tempo, "limbs": {limb: "off"}}, 12))
    assert_same(found, wanted)
    assert {hit.limb for hit, _ in wanted} & {limb} == set()


@pytest.mark.parametrize("tempo", TEMPOS)
def test_a_loop_of_two_bars_counts_its_places_on_as_the_performance_does(shown, kit, tempo):
    lesson, page = shown
    wanted = expected(lesson, kit, Track("x", bars=(1, 2), tempo_bpm=tempo, times=30), 30)
    assert_same(in_order(page.player_hits({"tempo": tempo, "loop": [1, 2]}, 30)), wanted)


@pytest.mark.parametrize(
    ("settings", "track"),
    [
        ({"limbs": {"line": "off"}}, Track("x", without=frozenset({"line"}), times=8)),
        ({"alone": True}, Track("x", groove_alone=True, times=8)),
        ({"limbs": {"left foot": "softer"}}, Track("x", softer_lu={"left foot": -9.0}, times=8)),
        ({"click": "every beat"}, Track("x", click="every beat", times=8)),
        ({"click": "2 and 4"}, Track("x", click="2 and 4", times=8)),
        ({"countIn": 0}, Track("x", count_in=0, times=8)),
        ({"countIn": 4}, Track("x", count_in=4, times=8)),
        ({"fade": {"times": 3, "to": -30, "names": ["line"]}, "loop": [0]}, Track("x", bars=(0,), fade=Fade(30, -435))),
        (
            {"trade": {"first": 2, "second": 1}, "limbs": {"left hand": "off"}},
            Track("x", without=frozenset({"left hand"}), trade=Alternation(2, 1), times=8),
        ),
        ({"trade": {"first": 1, "second": 2}}, Track("x", trade=Alternation(1, 2), times=8)),
        (
            {"silence": {"first": 2, "second": 1}, "click": "every beat"},
            Track("x", silence=Alternation(2, 1), click="every beat", times=8),
        ),
        (
            {"rise": {"every": 2, "by": 4, "to": 90}, "tempo": 72, "loop": [0]},
            Track("x", bars=(0,), ladder=Ladder(72, 90, 4, 2)),
        ),
    ],
    ids=[
        "line off",
        "time",
        "softer",
        "click",
        "2 and 4",
        "no count-in",
        "long count-in",
        "fade",
        "trade",
        "trade of the line",
        "silence",
        "rise",
    ],
)
def test_each_choice_on_the_page_is_the_track_of_that_kind(shown, kit, settings, track):
    lesson, page = shown
    seconds = 9 if track.fade else 12  # after three times through the page stays where the fade ends
    wanted = expected(lesson, kit, track, seconds)
    assert_same(in_order(page.player_hits(settings, seconds)), wanted)


LESSONS = {
    "waltz": lambda: lesson_of("4 8 8 4 | 2 8 8", groove="jazz-waltz", feel=HUMAN),
    "in six": lambda: lesson_of("4. 8 8 8", groove="six-eight", tempo=70, feel=HUMAN),
    "in twelve": lambda: lesson_of("8 8 8 4. 4. 4 8", groove="twelve-eight", tempo=60, feel=HUMAN),
    "in five": lambda: lesson_of("4 8 8 4 4 4", groove="five-four-swing", feel=HUMAN),
    "straight": lambda: lesson_of("8 8 4 8 4 8", groove="bossa-nova", tempo=140, feel=HUMAN),
    "by turns": lambda: lesson_of(LINE, line='played_on = { each_bar = ["snare", "bass drum"] }', feel=HUMAN),
    "loose": lambda: lesson_of("16 16 16 16 12 12 12 4 8 8", feel="timing_ms = 30\nlevel_lu = 4", tempo=200),
    "white": lambda: lesson_of(LINE, feel="timing_ms = 8\ncorrelation = 0\ntogether = 0.2"),
    "placed": lambda: lesson_of(LINE, feel="ahead_ms = { hi-hat = 30 }\nbehind_ms = { snare = 25 }"),
    "two swings": lambda: lesson_of(LINE, feel='swing = 3.0\nline_swing = "as measured"'),
    "left": lambda: lesson_of(LINE, top='kit = "left-handed"', feel=HUMAN),
    "balanced": lambda: lesson_of(LINE, balance="hi-hat = -3\nline = -8", feel=HUMAN),
    "gaps": lambda: lesson_of("4 4 4 4", line='played_on = { notes = "snare", gaps = "bass drum" }', feel=HUMAN),
    "repeated": lambda: lesson_of(LINE, line="repeat_each = 2", feel=HUMAN),
    "lines in turn": lambda: parse_text(TWO_LINES),
    "reading in turn": lambda: lesson_of(LINE, line='played_on = { each_chorus = ["snare", "bass drum"] }', feel=HUMAN),
}


@pytest.mark.parametrize("kind", LESSONS)
def test_every_kind_of_lesson_plays_on_the_page_as_it_is_performed(chrome, kit, tmp_path, kind):
    lesson = LESSONS[kind]()
    wanted = expected(lesson, kit, Track("x", times=16), 15)
    with opened(chrome, html_of(lesson, *kit), tmp_path) as page:
        assert_same(in_order(page.player_hits({}, 15)), wanted)
        assert page.errors == []


def test_ten_minutes_of_play_do_not_drift_and_small_steps_give_what_one_step_gives(shown, kit):
    lesson, page = shown
    script = """() => {
        const player = new Player(lesson, firstSettings(lesson));
        const hits = [];
        for (let until = 0; until < 600; until += 0.025) hits.push(...player.pump(until));
        hits.push(...player.pump(600));
        return hits.map((hit) => (
            { seconds: hit.seconds, part: hit.voice.part, key: hit.key, level: hit.level, velocity: hit.velocity }));
    }"""
    wanted = expected(lesson, kit, Track("x", times=80), 600)
    assert len(wanted) > 5000
    assert_same(in_order(page.page.evaluate(script)), wanted)


# --- changes while it plays ----------------------------------------------------------------------

CHANGES = """([seed, seconds]) => {
    let state = seed;
    const chance = () => (state = Math.imul(state, 1664525) + 1013904223 >>> 0) / 2 ** 32;
    const player = new Player(lesson, firstSettings(lesson));
    const hits = [];
    for (let until = 0; until < seconds; until += 0.025) {
        const change = (act) => {
            const moment = Math.max(until - 1 + chance() / 10, player.changed);
            player.change(moment, act);
            for (let at = hits.length - 1; at >= 0 && hits[at].seconds >= moment - 1; at--) {
                if (hits[at].seconds >= moment) hits.splice(at, 1);
            }
            hits.push(...player.pump(until - 0.025));
        };
        if (chance() < 0.05) change(() => (player.settings.tempo = 40 + Math.round(chance() * 300)));
        if (chance() < 0.02) change(() => (player.settings.swing = [1, 2, 3, "by tempo", "as measured"][Math.floor(chance() * 5)]));
        if (chance() < 0.02) change(() => player.loop([[], [1], [0, 2], [3]][Math.floor(chance() * 4)]));
        hits.push(...player.pump(until));
    }
    const cells = player.cells.filter((cell) => cell.score && cell.seconds + 4 < seconds);
    return [
        hits.map((hit) => [hit.seconds, hit.voice.limb, hit.onset ?? -1, hit.id]),
        cells.map((cell) => [cell.beat, cell.score.strokes[cell.from].map((stroke) => [stroke.voice.limb, stroke.onset]),
            cell.beat + cell.size, cell.from]),
    ];
}"""


@pytest.mark.parametrize("seed", [1, 2, 3, 4])
def test_changing_tempo_swing_and_loop_loses_doubles_and_turns_round_no_stroke(shown, seed):
    """A second is handed over ahead, and taken back at each change, as the page does."""
    _, page = shown
    hits, cells = page.page.evaluate(CHANGES, [seed, 120])
    names = [name for *_, name in hits]
    assert len(names) == len(set(names)), "a stroke was doubled"
    for limb in ("right hand", "left hand", "right foot", "left foot"):
        own = [(seconds, float(name.split(" ")[0])) for seconds, player, _, name in hits if player == limb]
        assert [beat for _, beat in own] == sorted(beat for _, beat in own), "strokes come in their order"
        assert [seconds for seconds, _ in own] == sorted(seconds for seconds, _ in own)
    for (_, _, end, quarter), (start, _, _, following) in pairwise(cells):
        assert start == end, "a quarter begins where the one before it ends"
        assert following == (quarter + 1) % 4, "every bar is played out"
    written = {f"{beat - quarter + onset:g} {limb}" for beat, strokes, _, quarter in cells for limb, onset in strokes}
    assert len(written) > 400
    heard = {f"{float(name.split(' ', 1)[0]):g} {name.split(' ', 1)[1]}" for name in names}
    assert written <= heard, "a stroke was lost"


def test_a_new_tempo_takes_hold_at_the_moment_it_is_asked_for_and_what_began_stays(shown):
    _, page = shown
    beats = page.page.evaluate("""() => {
        const player = new Player(lesson, { ...firstSettings(lesson), countIn: 0, tempo: 60 });
        player.pump(4);
        player.change(2.25, () => (player.settings.tempo = 120));
        player.pump(8);
        return [2, 2.25, 2.75, 4].map((moment) => player.map.beatAt(moment));
    }""")
    assert beats == [2, 2.25, 3.25, 5.75]


def test_a_rising_tempo_that_was_laid_out_ahead_and_taken_back_rises_once(shown):
    _, page = shown
    tempos = page.page.evaluate("""() => {
        const rise = { every: 1, by: 10, to: 300 };
        const player = new Player(lesson, { ...firstSettings(lesson), countIn: 0, tempo: 60, loop: [0], rise });
        for (let moment = 0; moment < 9; moment += 0.1) {
            player.pump(moment + 1);
            player.change(moment + 0.05);
        }
        return player.map.spans.map(({ beat, pace }) => [beat, pace]);
    }""")
    assert tempos[:3] == [[0, 60], [4, 70], [8, 80]]


def test_a_limb_switched_off_and_on_while_it_plays_misses_only_its_own_strokes(shown, kit):
    lesson, page = shown
    script = """() => {
        const player = new Player(lesson, firstSettings(lesson));
        const hits = player.pump(7).filter((hit) => hit.seconds < 6);
        player.change(6, () => (player.settings.limbs = { "right hand": "off" }));
        hits.push(...player.pump(10).filter((hit) => hit.seconds < 9));
        player.change(9, () => (player.settings.limbs = {}));
        hits.push(...player.pump(12));
        return hits.map((hit) => (
            { seconds: hit.seconds, part: hit.voice.part, key: hit.key, level: hit.level, velocity: hit.velocity }));
    }"""
    wanted = [
        pair
        for pair in expected(lesson, kit, Track("x", times=4), 12)
        if not (pair[0].limb == "right hand" and 6 <= pair[0].onset_seconds < 9)
    ]
    assert_same(in_order(page.page.evaluate(script)), wanted)


# --- the sound -----------------------------------------------------------------------------------


def struck(kit, hits, seconds, gain):
    """The performance as sound: every recorded hit at its nearest sample; the hits of this kit's parts do not choke."""
    total = np.zeros((round(seconds * RATE), 2))
    for hit, velocity in hits:
        sound = shortened(kit[0].hit(hit.key, velocity), RATE)
        at = round(hit.onset_seconds * RATE)
        piece = sound[: len(total) - at]
        total[at : at + len(piece)] += piece * gain
    return total


def bent(page, sound):
    """A sum as the page sends it out: peaks above its straight part bent so that they stay below its ceiling."""
    straight, ceiling = page.page.evaluate("[STRAIGHT, CEILING]")
    over, rest = np.abs(sound) - straight, ceiling - straight
    return np.where(over <= 0, sound, np.sign(sound) * (straight + rest * np.tanh(over / rest)))


def decibels(part, whole):
    return 10 * np.log10(np.sum(np.square(part)) / np.sum(np.square(whole)))


@pytest.mark.parametrize("tempo", TEMPOS)
def test_rendered_by_the_browser_every_hit_lies_on_its_sample(shown, kit, tempo):
    lesson, page = shown
    only = {"limbs": {"left foot": "off"}, "tempo": tempo, "loop": [1, 2]}
    track = Track("x", without=frozenset({"left foot"}), bars=(1, 2), tempo_bpm=tempo, times=12)
    wanted = expected(lesson, kit, track, 6)
    found = page.samples(only, 6)
    ideal = bent(page, struck(kit, wanted, 6, page.page.evaluate("lesson.gain")))
    assert decibels(found - ideal, ideal) < -65
    assert decibels(found - np.roll(ideal, 1, axis=0), ideal) > -20, "one sample off would be seen"


@pytest.mark.parametrize("limb", ["right hand", "left hand", "right foot", "left foot"])
def test_a_limb_that_is_off_leaves_no_sound_behind(shown, kit, limb):
    lesson, page = shown
    others = [name for name in lesson.score.limbs if name != limb]
    full = page.samples({"countIn": 0}, 3)
    without = page.samples({"countIn": 0, "limbs": {limb: "off"}}, 3)
    alone = page.samples({"countIn": 0, "limbs": dict.fromkeys(others, "off")}, 3)
    straight = np.max(np.abs([full, without, alone]), axis=0) < 0.88  # above that the page bends a peak
    assert straight.mean() > 0.9999
    assert np.abs(without + alone - full)[straight].max() < 1e-6
    assert np.abs(alone).max() > 1e-3
    silent = page.samples({"countIn": 0, "limbs": dict.fromkeys(lesson.score.limbs, "off")}, 3)
    assert np.abs(silent).max() == 0


@pytest.mark.parametrize("tempo", [120, 400])
def test_everyone_with_a_click_stays_under_full_scale_at_any_tempo(shown, tempo):
    _, page = shown
    sound = page.samples({"tempo": tempo, "click": "every beat", "countIn": 0}, 8)
    assert 0.4 < np.abs(sound).max() < 0.93 + 1e-6
    assert true_peak(sound) < 1.05, "bent peaks may stand a little higher between two samples"


@pytest.mark.parametrize("path", [None, LARGE], ids=["bundled", "large"])
@pytest.mark.parametrize("groove", ["swing", "bossa-nova"])
def test_parts_stand_where_the_balance_report_measures_them_within_half_a_unit(chrome, tmp_path, groove, path):
    if path is not None and not path.is_file():
        pytest.skip(f"{path} is not installed: apt install fluid-soundfont-gm")
    kit = kit_and_balance(path)
    lesson = lesson_of("4 4r 2r", groove=groove, tempo=48)
    rows = {row.part: row for row in measure_parts(lesson, *kit)}
    found = {}
    with opened(chrome, html_of(lesson, *kit), tmp_path) as page:
        for limb in lesson.score.limbs:
            others = [name for name in lesson.score.limbs if name != limb]
            own = {"countIn": 0, "limbs": dict.fromkeys(others, "off")}
            sound = page.samples(own, 5)
            for hit in page.player_hits(own, 4):
                at = round(hit["seconds"] * RATE)
                loud = hit_loudness(np.ascontiguousarray(sound[at : at + RATE // 2]), RATE)
                found.setdefault(hit["part"], []).append((loud, hit["level"]))
    plain = next(loud for loud, level in found["ride"] if level == 0)
    assert set(found) >= {"ride", "bass drum", "hi-hat"}
    for part, hits in found.items():
        loud, level = hits[0]
        assert loud - plain == pytest.approx(level, abs=0.5), part
        if rows[part].target_lu == level:
            assert loud - plain == pytest.approx(rows[part].measured_lu, abs=0.5), part
