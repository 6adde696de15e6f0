"""How written strokes become played ones: swing, phrasing, where a limb lies. Pure functions.

Conventions: a place is a Fraction of quarters; a ratio is long:short of the two eighths in a beat; levels in LU.

Sources of the swing curves: H. Cheston et al., Jazz Trio Database, TISMIR 2024, doi 10.5334/tismir.186:
medians and a straight line, both computed by us from its plots of each track, over 1 163 tracks in 4/4
from 102 to 299 quarters a minute (drums, machine-annotated; ratios over 4 cut off). Friberg & Sundström 2002,
Music Perception 19(3): the short note stays near 100 ms from medium to fast.
Outside those tempos the curves are ours: held level below, never under 1 above.
Phrasing: common practice, no source; its LU are ours, by ear.
How far strokes stray is in `grooves.deviations`.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from itertools import pairwise

from grooves.groove import Swing
from grooves.rhythm import EIGHTH, QUARTER, Meter
from grooves.score import Stroke


@dataclass(frozen=True)
class Feel:
    """How a lesson is played: `Feel(swing=2.0, timing_ms=0, level_lu=0)` is exact triplet swing."""

    swing: Swing = "by tempo"
    line_swing: Swing | None = None  # None: as the ride
    upbeat_accent_lu: float = 2.0  # every upbeat of the line
    held_upbeat_lu: float = 1.0  # more, where an upbeat is held past the next beat
    downbeat_quarters_lu: float = 1.0  # each of two or more quarters in a row on the beat
    accent_lu: float = 3.0  # a written accent
    timing_ms: float = 6.0  # standard deviation
    level_lu: float = 1.0  # standard deviation
    correlation: float = 1.0  # exponent of 1/f^x along a limb's strokes; 0 = white
    together: float = 0.75  # correlation between limbs
    placement_ms: Mapping[str, float] = field(default_factory=dict)  # by limb; positive = behind
    seed: int = 1


# --- swing ---------------------------------------------------------------------------------------

# Quarters a minute and median ratio of the Jazz Trio Database's drums, in the middle of each 20 a minute.
MEASURED = (
    (110, 2.40), (130, 2.37), (150, 2.30), (170, 2.16), (190, 2.06),
    (210, 1.83), (230, 1.68), (250, 1.48), (270, 1.40), (290, 1.29),
)  # fmt: skip
TRIPLETS = 2.0


def fitted_ratio(quarters_per_minute: float) -> float:
    """The straight line through the tracks' ratios by tempo, never under 1: `fitted_ratio(240)` is about 1.59."""
    return max(1.0, float(2 ** (1.9161 - 0.005205 * quarters_per_minute)))


def measured_ratio(quarters_per_minute: float) -> float:
    """The median at a tempo: `measured_ratio(110)` is 2.4; held level below 110, the fitted line above 290."""
    slowest, fastest = MEASURED[0], MEASURED[-1]
    if quarters_per_minute <= slowest[0]:
        return slowest[1]
    if quarters_per_minute > fastest[0]:
        return min(fastest[1], fitted_ratio(quarters_per_minute))
    below, above = next(pair for pair in pairwise(MEASURED) if quarters_per_minute <= pair[1][0])
    share = (quarters_per_minute - below[0]) / (above[0] - below[0])
    return below[1] + share * (above[1] - below[1])


def swing_ratio(swing: Swing, quarters_per_minute: float) -> float:
    """Ratio long:short at a tempo: `swing_ratio("by tempo", 120)` is 2.0, and 1.28 at 300.

    "by tempo" is triplets up to about 176 a minute, where the fitted line takes over.
    """
    if swing == "by tempo":
        return min(TRIPLETS, fitted_ratio(quarters_per_minute))
    if swing == "as measured":
        return measured_ratio(quarters_per_minute)
    return 1.0 if swing == "straight" else float(swing)


def upbeat_place(ratio: float) -> Fraction:
    """Where in the beat the upbeat falls: `upbeat_place(2.0)` is 2/3, `upbeat_place(3.0)` is 3/4."""
    exact = Fraction(ratio).limit_denominator(1_000_000)
    return exact / (exact + 1)


def swung(
    onset: Fraction,
    ratio: float,
    sixteenth_beats: frozenset[int] = frozenset(),
    triplet_beats: frozenset[int] = frozenset(),
) -> Fraction:
    """Move a written upbeat, and nothing else: `swung(Fraction(3, 2), 2.0)` is 5/3.

    Triplets and sixteenths stay. An upbeat in a beat of sixteenths stays with them; in a beat of triplets, where it
    swings at all, it falls on the third of them.
    """
    beat, within = divmod(onset, QUARTER)
    if within != EIGHTH or beat in sixteenth_beats:
        return onset
    return beat + upbeat_place(TRIPLETS if beat in triplet_beats and ratio > 1 else ratio)


def sixteenth_beats(onsets: Sequence[Fraction]) -> frozenset[int]:
    """The beats in which sixteenths are written: `sixteenth_beats([Fraction(5, 4)])` is {1}."""
    return frozenset(int(onset // QUARTER) for onset in onsets if (onset % QUARTER).denominator >= 4)


def triplet_beats(onsets: Sequence[Fraction]) -> frozenset[int]:
    """The beats in which triplets are written: `triplet_beats([Fraction(4, 3)])` is {1}."""
    return frozenset(int(onset // QUARTER) for onset in onsets if (onset % QUARTER).denominator == 3)


# --- phrasing ------------------------------------------------------------------------------------


def is_upbeat(onset: Fraction, meter: Meter) -> bool:
    """Whether a place leads into the next beat: the & in quarters, the last eighth of a beat in 6/8 and 12/8."""
    if meter.compound:
        return onset % meter.pulse == meter.pulse * 2 / 3
    return onset % meter.step == meter.step / 2


def phrasing_lu(notes: Sequence[Stroke], meter: Meter, feel: Feel) -> list[float]:
    """What the line's phrasing adds to each of a bar's notes: upbeats lean, held upbeats lean more.

    Common practice, no source.
    """
    quarters = [note.onset % meter.pulse == 0 and note.length == meter.pulse for note in notes]
    added = []
    for index, note in enumerate(notes):
        lu = feel.accent_lu if note.accented else 0.0
        if is_upbeat(note.onset, meter):
            held = note.onset + note.length > note.onset // meter.pulse * meter.pulse + meter.pulse
            lu += feel.upbeat_accent_lu + (feel.held_upbeat_lu if held else 0.0)
        elif quarters[index] and any(quarters[max(index - 1, 0) : index] + quarters[index + 1 : index + 2]):
            lu += feel.downbeat_quarters_lu
        added.append(lu)
    return added


def placement_seconds(feel: Feel, limb: str) -> float:
    """How far behind the beat a limb lies, in seconds: `placement_seconds(Feel(), "left hand")` is 0."""
    return feel.placement_ms.get(limb, 0.0) / 1000
