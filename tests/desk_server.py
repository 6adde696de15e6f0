"""A desk that serves, for the tests of it: a real server on a port of this computer, and requests to it."""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import httpx

from render.desk.app import desk_app
from render.desk.guard import Pass
from render.desk.serve import listen, running
from render.desk.work import Desk


@dataclass
class Served:
    """A desk, its address and a client that has opened it."""

    desk: Desk
    own: Pass
    client: httpx.Client

    @property
    def origin(self) -> str:
        return f"http://127.0.0.1:{self.own.port}"

    def ask(self, what: str, /, **body: Any) -> Any:
        """The answer to a request that is granted."""
        answer = self.client.post(f"/do/{what}", json=body)
        assert answer.status_code == 200, answer.text
        return answer.json()


@contextmanager
def served(folder: Path, seconds: float = 10.0) -> Iterator[Served]:
    """A desk over a folder, with so much patience for a request."""
    socket = listen(0)
    own = Pass(socket.getsockname()[1])
    desk = Desk(folder)
    origin = f"http://127.0.0.1:{own.port}"
    with (
        running(desk_app(desk, own), socket, seconds),
        httpx.Client(base_url=origin, headers={"origin": origin}, timeout=60) as client,
    ):
        opened = client.get(own.address, follow_redirects=True)
        assert opened.status_code == 200
        yield Served(desk, own, client)
