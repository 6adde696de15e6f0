"""The process that draws: `python -m render.desk.draw_process` answers wishes until nobody is there to have any.

A wish is a line of JSON, `["chart", text, path]`; an answer a line of JSON with the number of bytes that follow it,
or with what is wrong. It ends with the desk: then its input ends.
"""

import json
import sys
from collections.abc import Callable
from pathlib import Path
from typing import BinaryIO

from grooves.errors import LessonError
from render.desk.preview import chart_svg, groove_wav, page_pieces, staff_svg

DRAWN: dict[str, Callable[[str, Path], bytes]] = {
    "chart": chart_svg,
    "page": page_pieces,
    "staff": staff_svg,
    "groove": groove_wav,
}


def main(wishes: BinaryIO, answers: BinaryIO) -> None:
    """Answer every wish in turn."""
    for wish in wishes:
        kind, text, path = json.loads(wish)
        try:
            data, told = DRAWN[kind](text, Path(path)), {}
        except LessonError as error:
            data, told = b"", {"error": str(error)}
        except OSError as error:
            data, told = b"", {"error": f"{error.filename or 'a file'}: {error.strerror or error}"}
        answers.write(json.dumps({"bytes": len(data), **told}).encode() + b"\n" + data)
        answers.flush()


if __name__ == "__main__":
    main(sys.stdin.buffer, sys.stdout.buffer)
