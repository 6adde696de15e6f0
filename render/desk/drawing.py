"""Drawing in processes of their own, so that a pencil is answered while a chart and a page are being made.

Engraver and synthesizer keep state of their own and much of a processor's time; here each has a process that stays
warm, and the server neither loads them nor waits for them.
"""

import json
import subprocess
import sys
from base64 import b64decode
from collections import OrderedDict
from contextlib import suppress
from pathlib import Path
from threading import Lock, Thread
from typing import Any

from grooves.errors import LessonError
from render.lesson.term_record import hash_of_bytes

PICTURES = 12  # that are kept
PIECES = 120  # a page has about ten, one with a band thirty
TYPES = {
    "svg": "image/svg+xml", "html": "text/html; charset=utf-8", "wav": "audio/wav",
    "css": "text/css", "js": "text/javascript", "flac": "audio/flac",
}  # fmt: skip
_FRAME = """<!DOCTYPE html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta name="color-scheme" content="light dark">
<link rel="stylesheet" href="/kept/{style}">
<script src="/kept/{script}"></script>
<script src="/files/shown.js"></script>
</head>
<body></body>
</html>
"""


class Kept:
    """What was made for the browser to fetch, the last of it: `Kept(12).put(b"<svg…", "svg")` is its name."""

    def __init__(self, most: int) -> None:
        self._data: OrderedDict[str, bytes] = OrderedDict()
        self._lock = Lock()
        self._most = most

    def put(self, data: bytes, form: str, name: str = "") -> str:
        """Keep some bytes under a name that says what they are, their hash unless it is known."""
        name = f"{name or hash_of_bytes(data)[:32]}.{form}"
        with self._lock:
            self._data[name] = data
            self._data.move_to_end(name)
            while len(self._data) > self._most:
                self._data.popitem(last=False)
        return name

    def get(self, name: str) -> bytes | None:
        """The bytes of a name, if they are among the last."""
        with self._lock:
            return self._data.get(name)


def framed(page: bytes, pieces: Kept) -> dict[str, Any]:
    """What the browser needs of a page in pieces: the frame that it begins in, and what a change has moved in it.

    `pieces` holds the rest, each under a name that stays while it stays the same: so it is fetched once.
    """
    told = json.loads(page)
    common, last = (pieces.put(script.encode(), "js") for script in told["scripts"])
    style = pieces.put(told["style"].encode(), "css")
    for name, flac in told["hits"].items():
        pieces.put(b64decode(flac), "flac", name)
    frame = pieces.put(_FRAME.format(style=style, script=common).encode(), "html")
    return {"title": told["title"], "body": told["body"], "frame": frame, "begins": last, "hits": list(told["hits"])}


class Drawer:
    """One warm process that draws, a wish at a time: `Drawer().draw("chart", text, path)[:4]` is b"<svg"."""

    def __init__(self) -> None:
        self._process: subprocess.Popen[bytes] | None = None
        self._lock = Lock()
        self._over = False

    def draw(self, kind: str, text: str, path: Path) -> bytes:
        """What `render.desk.preview` draws of a lesson's text; raises LessonError."""
        wish = json.dumps([kind, text, str(path)]).encode() + b"\n"
        with self._lock:
            for last in (False, True):
                try:
                    return self._answer(wish)
                except LessonError:
                    raise
                except (OSError, ValueError):  # it died: another one is tried, once
                    self._end()
                    if last or self._over:
                        raise LessonError("the drawing broke off; take the last change back") from None
        raise AssertionError

    def _answer(self, wish: bytes) -> bytes:
        process = self._process = self._process or _started()
        assert process.stdin and process.stdout
        process.stdin.write(wish)
        process.stdin.flush()
        told = json.loads(process.stdout.readline())
        data = process.stdout.read(told["bytes"])
        if "error" in told:
            raise LessonError(told["error"])
        if len(data) != told["bytes"]:
            raise OSError("the answer is cut short")
        return data

    def warm(self, kind: str, text: str) -> None:
        """Draw something that nobody waits for, so that the next wish finds everything loaded."""

        def draw() -> None:
            with suppress(LessonError):
                self.draw(kind, text, Path("desk.toml"))

        Thread(target=draw, daemon=True).start()

    def end(self) -> None:
        """Let the process go, whatever it draws."""
        self._over = True
        if process := self._process:
            process.kill()
        with self._lock:
            self._end()

    def _end(self) -> None:
        process, self._process = self._process, None
        if process:
            process.kill()
            process.wait()
            for stream in (process.stdin, process.stdout):
                with suppress(OSError):  # what was not sent any more
                    if stream:
                        stream.close()


def _started() -> "subprocess.Popen[bytes]":
    return subprocess.Popen(
        [sys.executable, "-m", "render.desk.draw_process"],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
    )
