"""The page judges a take by the rules of `grooves.takes`: the same strokes, numbers and sentences, in a real browser."""

import json
import re
from dataclasses import asdict
from typing import Any

import numpy as np
import pytest
from takes_made import LINE, Student, played, sheet

from grooves.takes import pads as python_pads
from grooves.takes.check import check_take
from grooves.takes.pads import Struck, played_take
from grooves.takes.sheet import Sheet
from grooves.takes.take import Take

TAKES = 200
WALTZ = "4 8 8 4 | 8 8 8 8 4 | 4 4 8 8 | 12 12 12 4 4"
COMPOUND = "8 8 8 4 8 | 4. 8 8 8 | 8 4 8 8 8 | 4 8 4."
SHEETS = (
    {"tempo": 66, "choruses": 2},
    {"tempo": 126, "choruses": 3},
    {"tempo": 220, "choruses": 3},
    {"tempo": 280, "choruses": 3},
    {"values": "16 16 16 16 8 8 4 4 | 12 12 12 4 8r 8 4 | 4 8 8 4 4 | 8 8 8 8 4 4", "tempo": 100, "choruses": 3},
    {"values": WALTZ, "groove": "jazz-waltz", "tempo": 150, "choruses": 3},
    {"values": "8 8 4 4 4 | 4 8 8 4 4 | 8 4 8 4 4", "line": 'pickup = "8 8 4"', "tempo": 140, "choruses": 3},
    {"values": COMPOUND, "groove": "six-eight", "tempo": 80, "choruses": 3},
)

JUDGE = """(text) => JSON.stringify(JSON.parse(text).map(({ sheet, take, notes, sounding, delay }) => {
    const strokes = sheet.strokes.map(([seconds, limb, part, role, bar, place]) => ({ seconds, limb, part, role, bar, place }));
    const bars = sheet.bars.map(([number, seconds, length, beat]) => ({ number, seconds, length, beat }));
    const written = { ...sheet, strokes, bars };
    const struck = notes && takeOfPads(notes.map(([seconds, key, velocity]) => ({ seconds, key, velocity })), written);
    const own = struck ? struck.take : { ...take, strokes: take.strokes.map(([seconds, part]) => ({ seconds, part, mark: "" })) };
    const found = checkTake(own, written, { delay, sounding: sounding.map(([part, seconds]) => ({ part, seconds })) });
    const { findings, ...rest } = found;
    const judged = findings && { ...findings, judged: findings.judged.length };
    const guessed = struck && [Object.fromEntries(struck.guessed), struck.unknown];
    return { ...rest, findings: judged, guessed, marks: own.strokes.map(({ mark }) => mark) };
}))"""


def judge(page: Any, rows: list[dict]) -> list[dict]:
    """What the page makes of takes; as text, which goes to the browser and back far faster than objects do."""
    return list(json.loads(page.evaluate(JUDGE, json.dumps(rows))))


def written_rows(of: Sheet) -> dict:
    """A sheet as the page has it."""
    divisions = int(np.lcm.reduce([one.place.denominator for one in of.strokes]))
    meter = of.meter
    return {
        "strokes": [(s.onset_seconds, s.limb, s.part, s.role, s.bar, int(s.place * divisions)) for s in of.strokes],
        "bars": [(bar.number, bar.onset_seconds, bar.seconds, bar.beat_seconds) for bar in of.bars],
        "parts": list(of.parts),
        "divisions": divisions,
        "swing": of.swing,
        "meter": {"count": meter.count, "length": float(meter.length), "pulse": float(meter.pulse)},
    }


def student(seed: int, of: Sheet) -> Student:
    """Somebody new for every seed: steady or not, with faults of every kind."""
    draw = np.random.default_rng(seed)
    limbs = {limb: float(draw.normal(0, 15)) for limb, _ in of.limb_parts}
    lag = {bar: int(draw.choice([-1, 1, 2])) for bar in range(4, 8)} if seed % 5 == 0 else {}
    silent = (of.parts[int(draw.integers(len(of.parts)))],) if seed % 4 == 1 else ()
    return Student(
        seed,
        spread_ms=float(draw.uniform(2, 22)),
        limb_ms=limbs,
        missing=float(draw.choice([0.0, 0.05, 0.15, 0.3])),
        extra=float(draw.choice([0.0, 0.05, 0.15, 0.3])),
        offset_ms=float(draw.uniform(-300, 900)),
        drift=float(draw.choice([0.0, 2e-5, 5e-4])),
        wander_ms=float(draw.choice([0.0, 30.0])),
        silent=silent,
        lag=lag,
    )


def case(seed: int) -> dict:
    """One take with its sheet, some of them too short, too slow, or of another lesson."""
    of = sheet(**SHEETS[seed % len(SHEETS)])
    take = played(of, student(seed, of)).take
    if seed % 23 == 7:
        take = Take(take.strokes[:6], take.strokes[5].onset_seconds)
    if seed % 23 == 11:
        take = Take(
            tuple(python_pads.replace(s, onset_seconds=2 * s.onset_seconds) for s in take.strokes), 2 * take.seconds
        )
    if seed % 23 == 15:
        take = played(sheet("8 8 4 8 8 4 | 4. 8 4. 8 | 4 4r 8 8 8 8 | 8 4 8 4 4", tempo=113), Student(seed)).take
    return {"sheet": of, "take": take, "delay": 40.0 if seed % 3 == 0 else None}


@pytest.fixture(scope="module")
def cases():
    return [case(seed) for seed in range(TAKES)]


@pytest.fixture(scope="module")
def judged(chrome, html, cases, tmp_path_factory):
    """What the page says of all of them."""
    from page_browser import opened

    rows = [
        {
            "sheet": written_rows(one["sheet"]),
            "take": {
                "strokes": [(s.onset_seconds, s.part) for s in one["take"].strokes],
                "seconds": one["take"].seconds,
            },
            "delay": one["delay"],
            "sounding": [],
        }
        for one in cases
    ]
    with opened(chrome, html, tmp_path_factory.mktemp("page")) as found:
        yield judge(found.page, rows)
        assert found.errors == []


@pytest.fixture(scope="module")
def answers(cases):
    return [check_take(one["take"], one["sheet"], latency_ms=one["delay"]) for one in cases]


def test_two_hundred_takes_are_matched_stroke_by_stroke_as_in_python(judged, answers):
    for own, answer in zip(judged, answers, strict=True):
        assert own["match"]["of"] == list(answer.match.of)
        assert own["match"]["extras"] == list(answer.match.extras)
        assert own["match"]["lost"] == list(answer.match.lost_beats)
        assert own["match"]["late"] == pytest.approx(answer.match.late_seconds, abs=1e-7)


def test_the_page_says_the_same_sentences_of_them(judged, answers):
    for own, answer in zip(judged, answers, strict=True):
        assert own["sentences"] == list(answer.sentences)
        assert own["reason"] == answer.no_verdict
    said = {re.sub(r"\d+", "7", sentence) for answer in answers for sentence in answer.sentences}
    assert len(said) > 60, "the takes have faults of many kinds"


def close(own, other):
    if other is None or isinstance(other, str | bool):
        return own == other
    return own == pytest.approx(other, abs=1e-4)


def test_the_numbers_of_limbs_bars_and_pairs_are_the_same(judged, answers):
    seen = 0
    for own, answer in zip(judged, answers, strict=True):
        if own["reason"]:
            continue
        for key in ("offset_ms", "drift_ms_per_minute", "swing_asked", "swing_played"):
            assert close(own["findings"][key], getattr(answer.findings, key)), key
        for name in ("limbs", "bars", "together"):
            assert len(own["findings"][name]) == len(getattr(answer.findings, name))
            for row, other in zip(own["findings"][name], getattr(answer.findings, name), strict=True):
                table = asdict(other)
                assert row.get("trouble", 0) == pytest.approx(getattr(other, "trouble", 0), abs=1e-6)
                same(row, table)
                seen += 1
    assert seen > 1000


def same(row, table):
    """Every number of a finding; those that the page has not are those of a part that was not heard."""
    for key, value in table.items():
        if key == "limbs" and isinstance(value, dict):
            for limb, numbers in value.items():
                rounded = row["limbs"][limb]["lateness_ms"]
                assert (
                    close(rounded and round(rounded, 1), numbers["lateness_ms"])
                    or abs(rounded - numbers["lateness_ms"]) < 0.06
                )
                assert {**row["limbs"][limb], "lateness_ms": 0} == {**numbers, "lateness_ms": 0}
        elif key in row and key.startswith("within"):
            assert row[key] == pytest.approx(value, abs=6e-4)
        elif key in ("limbs", "lost_beats"):
            assert row[key] == list(value)
        elif key in row:
            assert close(row[key], value), key
        else:
            assert not table["heard"] or value is None, key


# --- pads -----------------------------------------------------------------------------------------


def notes_of(seed: int) -> tuple[Sheet, list[Struck]]:
    """Pads with doubles and crosstalk, some of them on keys that nobody knows."""
    draw = np.random.default_rng(seed)
    of = sheet(**SHEETS[seed % len(SHEETS)])
    take = played(of, Student(seed, missing=0.05, spread_ms=6.0)).take
    keys = {part: python_pads.NEIGHBOURS[part][0] for part in of.parts}
    for part in of.parts:
        if draw.random() < 0.3:
            keys[part] = 20 + int(draw.integers(8))
    struck = []
    for one in take.strokes:
        velocity = int(draw.integers(40, 120))
        struck.append(Struck(one.onset_seconds, keys[one.part], velocity))
        if draw.random() < 0.1:
            struck.append(Struck(one.onset_seconds + 0.02, keys[one.part], velocity // 2))
        if draw.random() < 0.1:
            struck.append(Struck(one.onset_seconds + float(draw.uniform(-0.004, 0.004)), 49, max(velocity // 5, 1)))
    return of, struck


def test_pads_echoes_and_guesses_are_those_of_python(chrome, html, tmp_path):
    from page_browser import opened

    made = [notes_of(seed) for seed in range(30)]
    rows = [
        {
            "sheet": written_rows(of),
            "notes": [(one.onset_seconds, one.key, one.velocity) for one in struck],
            "sounding": [],
            "delay": None,
        }
        for of, struck in made
    ]
    with opened(chrome, html, tmp_path) as found:
        judged = judge(found.page, rows)
    guessed = 0
    for own, (of, struck) in zip(judged, made, strict=True):
        take, told = played_take(struck, of)
        assert own["marks"] == [one.mark for one in take.strokes]
        assert own["guessed"] == [{str(key): part for key, part in told.guessed.items()}, list(told.unknown)]
        assert own["sentences"] == list(check_take(take, of).sentences)
        guessed += len(told.guessed)
    assert guessed > 5


def test_the_keys_of_the_pads_are_those_of_python(sheet):
    assert sheet.page.evaluate("PAD_KEYS") == {part: list(keys) for part, keys in python_pads.NEIGHBOURS.items()}


def test_the_track_itself_is_told_from_a_student(sheet_page_rows):
    own, reason = sheet_page_rows
    assert own == reason == "This is the track itself; record what you play while you hear it."


@pytest.fixture
def sheet_page_rows(chrome, html, tmp_path):
    """What the page and Python say of a track that is played back."""
    from page_browser import opened

    of = sheet(LINE)
    take = played(of, Student(3, spread_ms=0.5)).take
    sounding = [(one.part, one.onset_seconds) for one in of.strokes]
    row = {
        "sheet": written_rows(of),
        "take": {"strokes": [(s.onset_seconds, s.part) for s in take.strokes], "seconds": take.seconds},
        "sounding": sounding,
        "delay": None,
    }
    with opened(chrome, html, tmp_path) as found:
        (own,) = judge(found.page, [row])
    return own["reason"], check_take(take, of, sounding).no_verdict
