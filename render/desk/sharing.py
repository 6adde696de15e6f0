"""One page for one phone in the same network: on an address and a port of its own, for ten minutes, fetched once."""

import contextlib
import io
import secrets
import socket
from contextlib import ExitStack
from dataclasses import dataclass, field
from pathlib import Path
from threading import Lock
from time import monotonic as now
from typing import Any

from grooves.errors import LessonError
from render.desk.guard import Receive, Scope, Send
from render.desk.serve import listen, running

SHARED_SECONDS = 600.0
_HEADERS = [
    (b"content-type", b"text/html; charset=utf-8"),
    (b"x-content-type-options", b"nosniff"),
    (b"referrer-policy", b"no-referrer"),
    (b"cache-control", b"no-store"),
    (b"connection", b"close"),
]


@dataclass
class Shared:
    """A page that may be fetched once: `Shared(data, "192.168.1.2:40000", until)`."""

    data: bytes
    host: str
    until: float  # on the monotonic clock
    token: str = field(default_factory=lambda: secrets.token_urlsafe(16))
    fetched: bool = False

    async def __call__(self, scope: Scope, _: Receive, send: Send) -> None:
        """Answer the one address that there is, once."""
        if scope["type"] != "http":
            return
        host = dict(scope["headers"]).get(b"host", b"").decode("latin-1")
        own = secrets.compare_digest(scope["path"].encode(), f"/{self.token}".encode())
        if scope["method"] != "GET" or host != self.host or not own or now() > self.until:
            await _answer(send, 404, b"There is nothing here.\n")
        elif self.fetched:
            await _answer(send, 410, b"This page was fetched already; ask for it to be shown again.\n")
        else:
            self.fetched = True  # before the answer: of two at once, one gets it
            await _answer(send, 200, self.data)


async def _answer(send: Send, status: int, body: bytes) -> None:
    headers = _HEADERS if status == 200 else [(b"content-type", b"text/plain"), *_HEADERS[1:]]
    await send({"type": "http.response.start", "status": status, "headers": headers})
    await send({"type": "http.response.body", "body": body})


class Sharing:
    """At most one page is shared: `Sharing().begin(Path("tuesday.html"))["address"]`."""

    def __init__(self, host: str = "") -> None:
        self._host = host
        self._open: ExitStack | None = None
        self._shared: Shared | None = None
        self._lock = Lock()

    def begin(self, page: Path) -> dict[str, Any]:
        """Share a page: its address, and that as a QR code in SVG; what was shared before is no longer."""
        if page.suffix != ".html":
            raise LessonError("a page is given to a phone, nothing else")
        self.stop()
        host = self._host or address_in_network()
        with self._lock:
            own = listen(0, host)
            port = own.getsockname()[1]
            shared = Shared(page.read_bytes(), f"{host}:{port}", now() + SHARED_SECONDS)
            self._open, self._shared = ExitStack(), shared
            self._open.enter_context(running(shared, own))
        address = f"http://{shared.host}/{shared.token}"
        return {"address": address, "code": qr_svg(address), "seconds": SHARED_SECONDS}

    def state(self) -> dict[str, Any]:
        """Whether something is shared, and whether it was fetched; what is over is ended."""
        with self._lock:
            shared = self._shared
        if shared and now() > shared.until:
            self.stop()
            return {"shared": False, "fetched": shared.fetched}
        return {"shared": shared is not None and not shared.fetched, "fetched": bool(shared and shared.fetched)}

    def stop(self) -> None:
        """Share nothing any more."""
        with self._lock:
            opened, self._open, self._shared = self._open, None, None
        if opened:
            opened.close()


def address_in_network() -> str:
    """The address of this computer in its network; raises LessonError where it is in none.

    To ask the system for a way to a foreign address sends nothing (that one is for documentation, RFC 5737).
    """
    with contextlib.suppress(OSError), socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asked:
        asked.connect(("192.0.2.1", 9))
        address = str(asked.getsockname()[0])
        if not address.startswith(("127.", "0.")):
            return address
    raise LessonError("this computer is in no network that a phone could reach; connect both to the same one")


def qr_svg(address: str) -> str:
    """An address as a QR code (ISO/IEC 18004), black on white: `qr_svg("http://192.168.1.2:4000/x")[:4]` is "<svg"."""
    import segno

    out = io.BytesIO()
    segno.make(address, error="m", micro=False).save(out, kind="svg", scale=6, border=4, xmldecl=False, light="#fff")
    return out.getvalue().decode()
