"""How long a chart takes: 32 different bars, from score to file, each form in a fresh process. Prints, asserts nothing."""

import subprocess
import sys
import time
from pathlib import Path

HERE = Path(__file__).resolve().parents[1]
CELLS = ("4", "8 8", "8r 8", "12 12 12", "12 12r 12", "16 16 8", "8 16 16", "4r")
CODE = """
import sys
sys.path.insert(0, {tests!r})
from written import score
from render.paper.chart import chart
cells = {cells!r}
line = " | ".join(" ".join(cells[(bar // 8 ** beat + beat * bar) % 8] for beat in range(4)) for bar in range(32))
sys.stdout.buffer.write(chart(score(line), {form!r}))
"""


def main() -> None:
    """Print seconds and size for every form."""
    for form in ("musicxml", "svg", "pdf", "png"):
        code = CODE.format(tests=str(HERE), cells=CELLS, form=form)
        started = time.perf_counter()
        made = subprocess.run([sys.executable, "-c", code], check=True, capture_output=True, cwd=HERE.parent).stdout
        print(f"{form:9} {time.perf_counter() - started:5.2f} s  {len(made) / 1024:7.0f} KB")


if __name__ == "__main__":
    main()
