from collections import Counter
from itertools import pairwise

import pytest
from band_bars import COMMON, bars_of, chords_of, every_form, place_of, sounding, with_line

from grooves.band.bars import Changes, spans
from grooves.band.chords import parse_chord
from grooves.band.comping import comp, comp_line
from grooves.band.forms import find_form, parse_chords
from grooves.band.patterns import play_bass
from grooves.band.voicing import FARTHEST, HIGHEST, LOWEST, voicings
from grooves.band.walking import walk
from grooves.feel import is_upbeat
from grooves.meter import Meter


def accompanied(form, count, seed, **more):
    bars = bars_of(form, count, **more)
    bass = walk(bars, seed)
    return bars, bass, comp(bars, seed, bass)


@pytest.fixture(scope="module")
def comped():
    """Two thousand bars and more of all forms in all keys, with bass and piano, a third of them fast."""
    return [
        accompanied(form, 32, seed, quarters_per_minute=260.0 if seed % 3 == 0 else 140.0)
        for seed, form in enumerate(every_form())
    ]


def test_voicings_are_from_the_third_or_from_the_seventh_up():  # common practice, no source
    there = voicings(parse_chord("Dm7"))
    assert (53, 57, 60, 64) in there  # F A C E
    assert (60, 64, 65, 69) in there  # C E F A
    assert voicings(parse_chord("G13b9"))[0] == (59, 64, 65, 68)  # B E F Ab: thirteenth for fifth, flat ninth


def test_every_chord_has_its_third_and_its_seventh(comped):
    for bars, _, piano in comped:
        changes = Changes(spans(bars))
        for place, keys in chords_of(piano, bars).items():
            near = {changes.at(place).chord, changes.at(place + 1).chord, changes.at(place + COMMON.step / 2).chord}
            own = [{(chord.root + chord.third) % 12, (chord.root + chord.seventh) % 12} for chord in near]
            assert any(needed <= {key % 12 for key in keys} for needed in own), (place, keys)


def test_chords_lie_in_the_middle_of_the_keyboard(comped):
    keys = [note.key for _, _, piano in comped for note in piano]
    assert (LOWEST, HIGHEST) == (50, 72)
    assert min(keys) >= LOWEST and max(keys) <= HIGHEST


def test_fast_chords_are_shells_of_two_notes_and_slower_ones_have_four(comped):
    for bars, _, piano in comped:
        sizes = {len(keys) for keys in chords_of(piano, bars).values()}
        assert sizes == ({2} if bars[0].quarters_per_minute > 240 else {4})


def test_no_lowest_note_doubles_the_bass_so_none_runs_parallel_to_it(comped):
    for bars, bass, piano in comped:
        chords = chords_of(piano, bars)
        under = sounding(bass, bars, list(chords))
        assert all((keys[0] - low) % 12 for keys, low in zip(chords.values(), under, strict=True))


def test_no_voice_moves_farther_than_a_fifth_and_most_move_by_steps(comped):
    assert FARTHEST == 7
    farthest = Counter()
    for bars, _, piano in comped:
        if bars[0].quarters_per_minute < 240:
            for before, after in pairwise(chords_of(piano, bars).values()):
                farthest[max(abs(there - here) for here, there in zip(before, after, strict=True))] += 1
    assert max(farthest) <= FARTHEST
    assert sum(many for moved, many in farthest.items() if moved <= 2) / farthest.total() > 0.75


def test_the_two_voices_of_a_shell_move_an_octave_at_most(comped):
    for bars, _, piano in comped:
        if bars[0].quarters_per_minute > 240:
            for before, after in pairwise(chords_of(piano, bars).values()):
                assert max(abs(there - here) for here, there in zip(before, after, strict=True)) <= 12


@pytest.mark.parametrize("style", ["two-feel", "dotted", "street", "straight"])
@pytest.mark.parametrize("play", [comp, comp_line])
def test_it_keeps_off_every_bass_and_reads_the_line_so_too(style, play):
    for seed, form in enumerate(every_form()[::9]):
        bars = with_line(bars_of(form, 24), "4 8 8 4 4 | 8 4 4 4 8")
        bass = play_bass(bars, style, seed)
        chords = chords_of(play(bars, seed, bass), bars)
        under = sounding(bass, bars, list(chords))
        assert all((keys[0] - low) % 12 for keys, low in zip(chords.values(), under, strict=True))


def test_the_piano_plays_one_or_two_chords_a_bar_some_of_them_early(comped):
    strikes = Counter()
    early = 0
    for bars, _, piano in comped:
        for place in chords_of(piano, bars):
            strikes[int(place // 4)] += 1
            early += place % 4 == COMMON.length - COMMON.step / 2
    per_bar = strikes.total() / sum(len(bars) for bars, *_ in comped)
    assert 1 < per_bar < 2.5
    assert 0.05 < early / strikes.total() < 0.4


def test_an_upbeat_before_a_new_chord_has_that_chord():
    form = find_form("blues").__class__("x", "x", "", parse_chords("Dm7 | Ab7", COMMON))
    bars, _, piano = accompanied(form, 200, 1)
    found = 0
    for place, keys in chords_of(piano, bars).items():
        if place % 4 == COMMON.length - COMMON.step / 2:
            coming = parse_chord("Ab7" if (place // 4) % 2 == 0 else "Dm7")
            assert {(coming.root + coming.third) % 12, (coming.root + coming.seventh) % 12} <= {k % 12 for k in keys}
            found += 1
    assert found > 20


def test_no_chord_is_held_into_the_next(comped):
    for bars, _, piano in comped:
        ends = {place_of(note, bars): place_of(note, bars) + note.length for note in piano}
        for place, after in pairwise(sorted(ends)):
            assert ends[place] <= after


LINES = {
    "quarters": "4 4 4 4 | 4 4 2",
    "upbeats": "8r 8 8r 8 8r 8 8r 8 | 4 8 8 4 8 8",
    "dense": "8 8 8 8 8 8 8 8 | 8 8 8 8 4 8 8",
    "one upbeat": "2 8r 4.",
}


@pytest.mark.parametrize("values", LINES.values(), ids=LINES)
def test_it_never_strikes_more_than_half_of_the_upbeats_of_a_bar_of_the_line(values):
    bars = with_line(bars_of(find_form("blues"), 240), values)
    struck = {(note.bar, note.onset) for note in comp(bars, 1)}
    for number, bar in enumerate(bars):
        upbeats = [note.onset for note in bar.line if is_upbeat(note.onset, bar.meter)]
        assert sum((number, onset) in struck for onset in upbeats) * 2 <= len(upbeats)


def test_it_is_sparser_where_the_line_is_dense():
    def strikes(values):
        bars = with_line(bars_of(find_form("blues"), 120), values)
        return len(chords_of(comp(bars, 1), bars))

    assert strikes(LINES["dense"]) < 0.75 * strikes("1 | 1")


@pytest.mark.parametrize("meter", [Meter(3, 4), Meter(5, 4), Meter(6, 8), Meter(12, 8), Meter(7, 4), Meter(2, 4)])
def test_it_comps_in_every_meter(meter):
    form = find_form("blues").__class__("x", "x", "", parse_chords("Dm7 | G7", meter))
    bars = bars_of(form, 32, meter)
    struck = chords_of(comp(bars, 1), bars)
    assert 16 <= len(struck) <= 32 * 3
    thirds = meter.pulse / 3 if meter.compound else meter.pulse / 2
    assert all(place % meter.length % thirds == 0 for place in struck)


def test_as_the_line_it_plays_a_chord_on_each_of_its_notes_for_its_length():
    bars = with_line(
        bars_of(find_form("blues"), 12), "4 8 8 4. 8 | 8r [8 | 2] 2r".replace("8r [8 | 2]", "2r 4r 8r [8 | 2]")
    )
    notes = comp_line(bars, 1)
    written = [(number, one.onset, one.length) for number, bar in enumerate(bars) for one in bar.line]
    assert sorted({(note.bar, note.onset, note.length) for note in notes}) == sorted(written)


def test_every_quality_can_be_voiced_slow_and_fast():
    from grooves.band.chords import _known_qualities

    for quality in _known_qualities():
        for root in ("C", "F#", "Bb"):
            for shell in (False, True):
                assert voicings(parse_chord(root + quality), shell), (root, quality, shell)
