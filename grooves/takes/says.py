"""Findings in a teacher's sentences, the weightiest first; each limit that a word rests on names its source.

- 19 ms: limbs nearer than this were liked better than both wider and exactly quantized ones (Hofmann, Wesolowski &
  Goebl 2017, J. New Music Research 46(4)), and 19 to 24 ms is where a kit's asynchrony is just noticed (preprint,
  osf.io/jsg94).
- 24 ms: where a change of an upbeat's place is just noticed in drums (the same preprint: 24 to 26 ms).
- 10 ms: the order of a good player's deviations (Hennig et al. 2011, PLoS ONE 6:e26457).
- 6 ms, or 2.5 % of the time between strokes: the least change of tempo that is noticed (Friberg & Sundberg 1995).
The bands of loudness, the shares and how many places are told: ours, by ear.
"""

from collections import Counter
from collections.abc import Iterable, Sequence

from grooves.rhythm import place_name
from grooves.takes.findings import BarFinding, Findings, LimbFinding
from grooves.takes.sheet import Sheet

NOTICED_MS = 19.0
SWING_NOTICED_MS = 24.0
GOOD_SPREAD_MS = 10.0
DRIFT_NOTICED_MS = 20.0  # a minute; ours: a beat's place moves by less than is noticed within a chorus
BASS_DRUM_LU = ((-10.0, "feathered"), (-6.0, "soft"))  # up to which level; over them loud; bands of 4 LU, by ear
MOST_PLACES = 3
OFTEN = 0.5  # share of the rounds in which a place is missing


def sentences(found: Findings, sheet: Sheet, unclear: Sequence[str] = (), against_track: bool = False) -> list[str]:
    """What to tell a student: `sentences(findings, sheet)[0]`; `against_track` where the device's delay is known.

    `unclear` are the parts that were played too softly, or too much under others, to be judged.
    """
    heard = [one for one in found.limbs if one.heard]
    said = [
        *_lost(found, sheet),
        *_late(heard, found, against_track),
        *_together(found),
        *_missing(found, sheet),
        *_swing(found, sheet),
        *_spread(heard),
        *_bass_drum(found),
        *_extra(heard, found),
        *_drift(found),
        *_unsure(heard),
        *_unheard(found, unclear),
    ]
    if not against_track and len(heard) > 1:
        said.append("How late all limbs are together is not told, since it looks the same as the device's own delay.")
    return said


def counted(number: int, what: str) -> str:
    """A number with its noun: `counted(2, "bar")` is "2 bars"."""
    return f"{number} {what}{'' if number == 1 else 's'}"


def listed(words: Iterable[object]) -> str:
    """Words in a row: `listed([3, 6, 7])` is "3, 6 and 7"."""
    *first, last = [str(word) for word in words]
    return f"{', '.join(first)} and {last}" if first else last


# --- time -----------------------------------------------------------------------------------------


def _late(heard: Sequence[LimbFinding], found: Findings, against_track: bool) -> Iterable[str]:
    """Limbs that lie off by more than is noticed, the worst first."""
    than = "the track" if against_track else "the other limbs"
    late = [one for one in heard if one.lateness_ms is not None]
    for one in sorted(late, key=lambda limb: -abs(limb.lateness_ms or 0)):
        lateness = one.lateness_ms or 0.0
        if abs(lateness) >= NOTICED_MS:
            where = "after" if lateness > 0 else "before"
            yield f"Your {named(one, heard)} came {abs(lateness):.0f} ms {where} {than}{_most(one.limb, found)}."


def named(one: LimbFinding, heard: Sequence[LimbFinding]) -> str:
    """A limb, with its part where it plays more than one: "left hand on the snare"."""
    several = sum(other.limb == one.limb for other in heard) > 1
    return f"{one.limb} on the {one.part}" if several else f"{one.limb} ({one.part})"


def _most(limb: str, found: Findings) -> str:
    """Where a limb was off most: bars in which it was by a quarter more than elsewhere."""
    by_bar = {bar.bar: bar.limbs.get(limb, {}).get("lateness_ms") for bar in found.bars}
    off = {bar: abs(late) for bar, late in by_bar.items() if late is not None}
    if len(off) < 3:
        return ""
    usual = sorted(off.values())[len(off) // 2]
    worst = sorted(sorted(off, key=lambda bar: -off[bar])[:2])
    worst = [bar for bar in worst if off[bar] > 1.25 * usual + 3]
    return f", most in {'bars' if len(worst) > 1 else 'bar'} {listed(worst)}" if worst else ""


def _together(found: Findings) -> Iterable[str]:
    many = [pair for pair in found.together if pair.places >= 4]
    if not many:
        return
    worst = max(many, key=lambda pair: pair.apart_ms)
    if worst.apart_ms < NOTICED_MS:
        yield f"Limbs that are written together fell together: {worst.apart_ms:.0f} ms apart as a rule, or nearer."
        return
    first, second = worst.limbs
    yield (
        f"{first.capitalize()} and {second} are written together in {worst.places} places "
        f"and fell {worst.apart_ms:.0f} ms apart as a rule."
    )


def _spread(heard: Sequence[LimbFinding]) -> Iterable[str]:
    measured = [one for one in heard if one.spread_ms is not None and one.hit >= 8]
    if not measured:
        return
    worst = max(measured, key=lambda one: one.spread_ms or 0.0)
    spread = worst.spread_ms or 0.0
    if spread > 2 * GOOD_SPREAD_MS:
        yield f"Your {named(worst, heard)} is the least steady: it spreads by {spread:.0f} ms around its place."
    elif spread <= GOOD_SPREAD_MS:
        yield f"Your time is steady: no limb spreads by more than {spread:.0f} ms."


def _swing(found: Findings, sheet: Sheet) -> Iterable[str]:
    asked, played = found.swing_asked, found.swing_played
    if asked is None or played is None:
        return
    beat_ms = 1000 * sorted(bar.beat_seconds for bar in sheet.bars)[len(sheet.bars) // 2] / float(sheet.meter.pulse)
    moved_ms = beat_ms * (played / (played + 1) - asked / (asked + 1))
    words = f"You swung {played:.1f} : 1; {asked:.1f} : 1 is asked"
    if abs(moved_ms) >= SWING_NOTICED_MS:
        yield f"{words}, so your upbeats came {abs(moved_ms):.0f} ms {'late' if moved_ms > 0 else 'early'}."


def _drift(found: Findings) -> Iterable[str]:
    drift = found.drift_ms_per_minute
    if abs(drift) >= DRIFT_NOTICED_MS:
        way = "behind" if drift > 0 else "ahead of"
        yield f"From beginning to end you moved {abs(drift):.0f} ms a minute {way} the track."


# --- strokes missing, too many, out of place --------------------------------------------------------


def _missing(found: Findings, sheet: Sheet) -> Iterable[str]:
    """The places that were missed most often, and how many there were in all."""
    gone: Counter[tuple[int, str, str]] = Counter()
    turns: Counter[tuple[int, str, str]] = Counter()
    for one in found.judged:
        number = 0 if one.stroke.place < 0 else sheet.bars[one.stroke.bar].number  # a pickup has none
        at = (number, one.stroke.part, place_name(one.stroke.place % sheet.meter.length, sheet.meter))
        turns[at] += 1
        gone[at] += one.state == "missed"
    often = [at for at, count in gone.most_common() if count and count >= OFTEN * turns[at]]
    for bar, part, place in often[:MOST_PLACES]:
        count, of = gone[bar, part, place], turns[bar, part, place]
        rounds = f" in {count} of {of} rounds" if of > 1 else ""
        where = f"bar {bar}" if bar else "the pickup"
        yield f"In {where} the {part} was missing on {place}{rounds}."
    total, written = sum(gone.values()), sum(turns.values())
    if total and (not often or len(often) > MOST_PLACES or total > sum(gone[at] for at in often)):
        yield f"In all {total} of {written} written strokes were missing."
    if not total and written:
        yield "Nothing that is written was missing."


def _extra(heard: Sequence[LimbFinding], found: Findings) -> Iterable[str]:
    total = sum(one.extra for one in heard)
    if total:
        worst = max(found.bars, key=lambda bar: bar.extra)
        yield f"{counted(total, 'stroke')} too many, most of them in bar {worst.bar}."


def _lost(found: Findings, sheet: Sheet) -> Iterable[str]:
    """Rows of bars that were played beats off, in the order they were played."""
    run: list[tuple[BarFinding, int, int]] = []
    for bar, turn, lag in [*_in_order(found, sheet), (None, 0, 0)]:
        if run and (bar is None or lag != run[0][2]):
            yield _run_words(run)
            run = []
        if bar is not None and lag:
            run.append((bar, turn, lag))


def _in_order(found: Findings, sheet: Sheet) -> Iterable[tuple[BarFinding, int, int]]:
    by_number = {bar.bar: bar for bar in found.bars}
    seen: Counter[int] = Counter()
    for place in sorted({one.stroke.bar for one in found.judged}):
        bar = by_number[sheet.bars[place].number]
        turn = seen[bar.bar]
        seen[bar.bar] += 1
        if turn < len(bar.lost_beats):
            yield bar, turn + 1, bar.lost_beats[turn]


def _run_words(run: Sequence[tuple[BarFinding, int, int]]) -> str:
    bar, turn, lag = run[0]
    which = f" (round {turn})" if bar.times > 1 else ""
    way = "late" if lag > 0 else "early"
    return f"From bar {bar.bar}{which} you were {counted(abs(lag), 'beat')} {way} for {counted(len(run), 'bar')}."


# --- what is heard --------------------------------------------------------------------------------


def _bass_drum(found: Findings) -> Iterable[str]:
    if found.bass_drum_lu is not None:
        word = next((word for limit, word in BASS_DRUM_LU if found.bass_drum_lu <= limit), "loud")
        yield f"Your bass drum is {word}: {found.bass_drum_lu:+.0f} LU against the ride, as the microphone hears it."


def _unsure(heard: Sequence[LimbFinding]) -> Iterable[str]:
    unsure = {one.part: one.unsure for one in heard if one.unsure}
    if unsure:
        told = listed(f"{count} of the {part}" for part, count in unsure.items())
        yield f"Strokes that were only just heard, and count neither way: {told}."


def _unheard(found: Findings, unclear: Sequence[str]) -> Iterable[str]:
    here = {one.part for one in found.limbs if one.heard}
    silent = [one for one in found.limbs if not one.heard and one.part not in unclear and one.part not in here]
    if silent:
        yield f"Not played, or not heard: {listed(f'{one.limb} ({one.part})' for one in silent)}."
    for part in unclear:
        yield f"The {part} is not heard clearly enough to be judged."
