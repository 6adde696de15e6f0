"""Who may speak to the desk: the browser that its own address was opened in, on this computer, and nobody else.

Every request must name this host and port (so that no other name leads here: DNS rebinding), must come from this
origin where it says an origin (RFC 6454; Fetch Metadata, W3C), and must carry the cookie that the random address of
the start gave out. No other origin is ever allowed in, so there are no CORS headers. Bodies are bounded while they
come in, whatever length they announce.
"""

import secrets
from collections.abc import Awaitable, Callable, Mapping, MutableMapping
from dataclasses import dataclass, field
from http.cookies import CookieError, SimpleCookie
from typing import Any

Scope = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[MutableMapping[str, Any]]]
Send = Callable[[MutableMapping[str, Any]], Awaitable[None]]
App = Callable[[Scope, Receive, Send], Awaitable[None]]

SMALL_BODY = 65_536  # bytes: so much is read of a request that is turned away
LARGEST_BODY = 12_000_000  # bytes: an imported score may have ten million, and everything else has far less
POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; media-src 'self'; connect-src 'self'; "
    "frame-src 'self'; frame-ancestors 'none'; base-uri 'none'; form-action 'none'"
)
HEADERS = {
    "Content-Security-Policy": POLICY,
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "no-referrer",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Cache-Control": "no-store",
}


@dataclass(frozen=True)
class Pass:
    """What opens this desk: a random word, and the port it is told on."""

    port: int
    token: str = field(default_factory=lambda: secrets.token_urlsafe(32))

    @property
    def cookie(self) -> str:
        """The cookie's name; ports share their cookies, so it names the port."""
        return f"desk-{self.port}"

    @property
    def address(self) -> str:
        """What the browser opens, once."""
        return f"http://127.0.0.1:{self.port}/open/{self.token}"

    @property
    def hosts(self) -> frozenset[str]:
        """The names by which this desk may be asked for."""
        return frozenset({f"127.0.0.1:{self.port}", f"localhost:{self.port}"})

    def fits(self, word: str) -> bool:
        """Whether a word is the token; how much of it is right takes no different time."""
        return secrets.compare_digest(word.encode(), self.token.encode())


class Guard:
    """An ASGI application that lets through what may come in: `Guard(app, Pass(8000))`.

    `closing` is awaited before the server waits for the last answers.
    """

    def __init__(self, app: App, own: Pass, closing: Callable[[], Awaitable[None]] | None = None) -> None:
        self.app, self.own, self.closing = app, own, closing

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer a request, or refuse it in a sentence."""
        if scope["type"] != "http":
            if scope["type"] == "lifespan":
                await self.app(scope, receive, send)
            return
        headers = {key.decode("latin-1").lower(): value.decode("latin-1") for key, value in scope["headers"]}
        refused = self._refusal(scope, headers)
        if refused:
            await _read_away(receive, headers.get("content-length", ""))
            await _refuse(send, *refused)
            return
        await self.app(scope, _bounded(receive), _with_headers(send))

    def _refusal(self, scope: Scope, headers: Mapping[str, str]) -> tuple[int, str] | None:
        """Why a request is turned away: its status and a sentence."""
        host = headers.get("host", "")
        if host not in self.own.hosts:
            return 421, "This desk answers only to its own address on this computer."
        origin = headers.get("origin")
        changes = scope["method"] not in ("GET", "HEAD")
        if origin != f"http://{host}" and (origin is not None or changes):
            return 403, "This request comes from another page; the desk answers only its own."
        opening = scope["path"].startswith("/open/")
        if not opening and headers.get("sec-fetch-site", "same-origin") not in ("same-origin", "none"):
            return 403, "This request comes from another page; the desk answers only its own."
        if not opening and not self.own.fits(_cookie(headers.get("cookie", ""), self.own.cookie)):
            return 403, "Open the desk by the address that the command has printed; it holds the key."
        length = headers.get("content-length", "0")
        if not length.isdecimal() or len(length) > 12 or int(length) > LARGEST_BODY:
            return 413, f"This is too large; a file that is read here has at most {LARGEST_BODY // 1_000_000} MB."
        return None


def _cookie(header: str, name: str) -> str:
    try:
        found = SimpleCookie(header).get(name)
    except CookieError:
        return ""
    return found.value if found else ""


class TooLargeError(Exception):
    """A body went on past what it may hold."""


def _bounded(receive: Receive) -> Receive:
    """The same body, broken off where it grows too large: a chunked one announces no length."""
    held = 0

    async def counted() -> MutableMapping[str, Any]:
        nonlocal held
        message = await receive()
        held += len(message.get("body", b""))
        if held > LARGEST_BODY:
            raise TooLargeError
        return message

    return counted


def _with_headers(send: Send) -> Send:
    """Every answer with the desk's headers, unless it has its own of that name."""

    async def sent(message: MutableMapping[str, Any]) -> None:
        if message["type"] == "http.response.start":
            there = {key.lower() for key, _ in message["headers"]}
            added = [(key.lower().encode(), value.encode()) for key, value in HEADERS.items()]
            message["headers"] = [*message["headers"], *(one for one in added if one[0] not in there)]
        await send(message)

    return sent


async def _read_away(receive: Receive, length: str) -> None:
    """Take in a small body that was announced: a connection that ends on unread bytes may cut the answer off.

    Source: RFC 9112, section 9.6.
    """
    if not length.isdecimal() or len(length) > 6 or not 0 < int(length) <= SMALL_BODY:
        return
    while (message := await receive())["type"] == "http.request" and message.get("more_body", False):
        pass


async def _refuse(send: Send, status: int, sentence: str) -> None:
    """Turn a request away in plain words, and end the connection: a body that still comes is not read."""
    headers = [(b"content-type", b"text/plain; charset=utf-8"), (b"connection", b"close")]
    headers += [(key.lower().encode(), value.encode()) for key, value in HEADERS.items()]
    await send({"type": "http.response.start", "status": status, "headers": headers})
    await send({"type": "http.response.body", "body": f"{sentence}\n".encode()})
