"""Print the ride's ratio as heard from rendered sound beside published medians, and write a plot of both.

Run: python tests/bench/swing.py [FILE.svg]; the plot goes to swing.svg unless told otherwise.
"""

import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parent.parent))

from ride_ratio import heard_ratios

from grooves.feel import MEASURED

TEMPOS = (60, 90, 120, 150, 180, 200, 220, 240, 280, 300)


def main() -> None:
    heard = {
        curve: [float(np.median(heard_ratios(curve, tempo))) for tempo in TEMPOS]
        for curve in ("by tempo", "as measured")
    }
    print("tempo  by tempo  as measured  published median (Jazz Trio Database, TISMIR 2024)")
    published = dict(MEASURED)
    for n, tempo in enumerate(TEMPOS):
        near = published.get(tempo, "")
        print(f"{tempo:5d}  {heard['by tempo'][n]:8.2f}  {heard['as measured'][n]:11.2f}  {near}")
    target = Path(sys.argv[1] if len(sys.argv) > 1 else "swing.svg")
    target.write_text(plot(heard))
    print(target)


def plot(heard: dict[str, list[float]]) -> str:
    """Tempo to the right, ratio upwards; circles are published, lines are heard."""

    def at(tempo: float, ratio: float) -> str:
        return f"{40 + (tempo - 60) * 2:.1f},{240 - (ratio - 1) * 110:.1f}"

    lines = [
        f'<polyline fill="none" stroke="black" stroke-dasharray="{dash}" points="{" ".join(map(at, TEMPOS, heard[curve]))}"/>'
        for curve, dash in (("by tempo", "none"), ("as measured", "6 3"))
    ]
    circles = [
        f'<circle cx="{at(*point).split(",")[0]}" cy="{at(*point).split(",")[1]}" r="4" fill="none" stroke="black"/>'
        for point in MEASURED
    ]
    words = '<text x="60" y="275" font-size="12">60 to 300 quarters a minute; line: by tempo, dashes: as measured, circles: published medians</text>'
    return f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 600 290"><title>Swing ratio by tempo</title>{"".join(lines + circles)}{words}</svg>'


if __name__ == "__main__":
    main()
