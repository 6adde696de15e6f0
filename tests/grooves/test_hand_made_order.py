"""Twenty bars put in order of difficulty by hand, as a drummer at the kit feels them, against the formula.

The order is ours: it was written down before the weights were set, and is read from easy to hard over swing time.
"""

import pytest
from written import score

from grooves.line import PlayedOn
from grooves.teaching.coordination import difficulty

ORDER = [  # the bar, over and over; who reads it; quarters a minute
    ("1", "snare", 120),
    ("2 2", "snare", 120),
    ("4 4 4 4", "snare", 120),
    ("4r 4 4r 4", "hi-hat", 120),  # the backbeat that the foot keeps anyway
    ("4r 4 4r 4", "snare", 120),
    ("4 4 8 8 4", "snare", 120),
    ("4 8 8 4 8 8", "snare", 120),  # with the ride
    ("4. 8 4 4", "snare", 120),
    ("8 8 8 8 8 8 8 8", "snare", 120),
    ("4 8 8 4 8 8", "bass drum", 120),
    ("12 12 12 4 12 12 12 4", "snare", 120),
    ("8 8 8 8 8 8 8 8", "bass drum", 120),
    ("4 8r 8 4 8r 8", "bass drum", 120),
    ("4 8 4. 4", "snare", 120),
    ("16 16 16 16 4 16 16 16 16 4", "snare", 120),
    ("8 4 4 4 8", "snare", 120),
    ("8r 8 8r 8 8r 8 8r 8", "snare", 120),
    ("8r 4 4 [8 8] 8", "bass drum", 120),
    ("12 12 12 16 16 16 16 12 12 12 4", "bass drum", 120),
    ("12r 12 12 [12 12] 12 16r 16 16 16 8r 8", "snare", 160),
]


def total(bar: str, drum: str = "snare", tempo: float = 120) -> float:
    return difficulty(score(f"{bar} | {bar}", played_on=PlayedOn(drum, drum), tempo_bpm=tempo), 0).total


def spearman(values: list[float]) -> float:
    """Spearman's rank correlation with 0, 1, 2, …; without ties 1 - 6 Σd² / n(n² - 1) (Spearman 1904)."""
    ranks = {place: rank for rank, place in enumerate(sorted(range(len(values)), key=values.__getitem__))}
    n = len(values)
    return 1 - 6 * sum((place - rank) ** 2 for place, rank in ranks.items()) / (n * (n * n - 1))


def test_the_formula_agrees_with_the_order_made_by_hand() -> None:
    totals = [total(*bar) for bar in ORDER]
    assert len(set(totals)) == len(totals) == 20
    assert spearman(totals) >= 0.91


@pytest.mark.parametrize(
    ("easier", "harder"),
    [
        # limb speed: a foot is slower than a hand
        (("16 16 16 16 2.", "snare"), ("16 16 16 16 2.", "bass drum")),
        # a fast bar in the foot against one upbeat quarter
        (("4 8 4 8 4", "snare"), ("12 12 12 16 16 16 16 12 12 12 4", "bass drum")),
        # the help of a stroke that falls with another limb: & of 2 with the ride's skip note, & of 1 without
        (("4 8 4. 4r", "snare"), ("8 4. 4r 4", "snare")),
        # the backbeat with the hi-hat against running eighths
        (("4r 4 4r 4", "hi-hat"), ("8 8 8 8 8 8 8 8", "snare")),
        # steadiness: as many notes, evenly and not
        (("8 8 8 8 8 8 8 8", "snare"), ("16 16 8 8 16 16 8 16 16 4", "snare")),
    ],
)  # fmt: skip
def test_what_is_plainly_easier_counts_less(easier: tuple[str, str], harder: tuple[str, str]) -> None:
    assert total(*easier) < total(*harder)


def test_a_faster_tempo_costs_a_foot_more_than_a_hand() -> None:
    eighths = "8 8 8 8 8 8 8 8"
    rises = {drum: total(eighths, drum, 200) - total(eighths, drum, 100) for drum in ("snare", "bass drum")}
    assert rises["bass drum"] > rises["snare"] > 0
