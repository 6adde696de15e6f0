"""Print how many bars a second are analysed on one core: `python tests/bench/bars.py`."""

from pathlib import Path
from time import perf_counter

from grooves.groove import parse_groove
from grooves.line import PlayedOn
from grooves.rhythm import Meter, parse_values
from grooves.score import write_score
from grooves.teaching.coordination import difficulty

LINE = "4 8 8 4 4 | 8r 4 4 [8 8] 8 | 8 8 8 8 8 8 8 8 | 12 12 12 4 16 16 16 16 4"
BARS = 1000


def main() -> None:
    """Analyse a thousand bars of swing and print the rate."""
    groove = parse_groove((Path(__file__).parents[2] / "grooves/library/swing.toml").read_text())
    line = parse_values(" | ".join([LINE] * (BARS // 4)), Meter(4, 4))
    score = write_score("bench", groove, 120, line, [PlayedOn("snare", "snare")])
    start = perf_counter()
    for index in range(BARS):
        difficulty(score, index)
    print(f"{BARS / (perf_counter() - start):.0f} bars a second")


if __name__ == "__main__":
    main()
