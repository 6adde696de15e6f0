"""Opens soundfonts and strikes their drums, in a process of its own, which a damaged one may take along.

It reads a path a line, and prints a line for each: "sound", or the message; a fault of ours ends it.
"""

import sys
from pathlib import Path

import fuzz
import numpy as np

from grooves.errors import LessonError
from render.soundfont.soundfont import open_kit

KEYS = ((51, 90), (36, 40), (38, 127), (44, 1))


def struck(path: Path) -> str:
    try:
        kit = open_kit(path, use_cache=False)
        try:
            sounds = [kit.hit(*one) for one in KEYS]
        finally:
            kit.close()
    except LessonError as error:
        return str(error).replace(str(path), "FONT")
    return "sound" if all(np.isfinite(sound).all() for sound in sounds) else "what it plays is no number"


if __name__ == "__main__":
    fuzz.limit_memory()
    for row in sys.stdin:
        print(struck(Path(row.rstrip("\n"))), flush=True)
