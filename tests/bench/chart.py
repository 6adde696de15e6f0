"""What a chart costs: 32 and 64 different bars, from score to file, each form in a fresh process.

Prints processor seconds of the whole process, and how many bare Pythons that is; asserts nothing.
"""

import os
import subprocess
import sys
from pathlib import Path

HERE = Path(__file__).resolve().parents[1]
CELLS = ("4", "8 8", "8r 8", "12 12 12", "12 12r 12", "16 16 8", "8 16 16", "4r")
CODE = """
import sys
sys.path.insert(0, {tests!r})
from written import score
from render.paper.chart import chart
cells = {cells!r}
line = " | ".join(" ".join(cells[(bar // 8 ** beat + beat * bar) % 8] for beat in range(4)) for bar in range({bars}))
sys.stdout.buffer.write(chart(score(line), {form!r}))
"""


def cost(code: str) -> tuple[float, bytes]:
    """Processor seconds of a Python that runs some code, and what it wrote."""
    before = os.times()
    made = subprocess.run([sys.executable, "-c", code], check=True, capture_output=True, cwd=HERE.parent).stdout
    after = os.times()
    return after.children_user + after.children_system - before.children_user - before.children_system, made


def main() -> None:
    """Print seconds, bare Pythons and size for every form."""
    bare = min(cost("pass")[0] for _ in range(3)) or 0.01
    for bars in (32, 64):
        for form in ("musicxml", "svg", "pdf", "png"):
            seconds, made = cost(CODE.format(tests=str(HERE), cells=CELLS, form=form, bars=bars))
            print(f"{bars} bars {form:9} {seconds:5.2f} s {seconds / bare:5.0f} Pythons {len(made) / 1024:7.0f} KB")


if __name__ == "__main__":
    main()
