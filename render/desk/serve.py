"""The desk on a port of this computer, until it is told to end: one process, nobody kept waiting by a slow client."""

import asyncio
import contextlib
import socket
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from threading import Thread
from typing import TYPE_CHECKING

from grooves.errors import LessonError

if TYPE_CHECKING:
    import uvicorn

    from render.desk.guard import App

REQUEST_SECONDS = 10.0  # in which a request must have come in whole
MOST_CONNECTIONS = 200  # beyond them 503; fifty slow ones leave a teacher room
HOST = "127.0.0.1"


def listen(port: int, host: str = HOST) -> socket.socket:
    """A socket on a port of this computer, 0 for any that is free; raises LessonError where it is taken."""
    own = socket.socket(
        socket.AF_INET, socket.SOCK_STREAM, socket.IPPROTO_TCP
    )  # named: only then asyncio sends at once
    own.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        own.bind((host, port))
    except (OSError, OverflowError) as error:
        own.close()
        reason = getattr(error, "strerror", None) or str(error)
        raise LessonError(
            f"--port: {port} cannot be used ({reason.lower()}); leave it out for one that is free"
        ) from None
    return own


def server_of(app: "App", seconds: float = REQUEST_SECONDS) -> "uvicorn.Server":
    """A uvicorn server of an application that breaks off requests slower than this."""
    import uvicorn

    from render.desk.patience import patient

    class Server(uvicorn.Server):
        async def shutdown(self, sockets: list[socket.socket] | None = None) -> None:
            if closing := getattr(app, "closing", None):
                await closing()
            await super().shutdown(sockets)

    return Server(
        uvicorn.Config(
            app,
            http=patient(seconds),
            ws="none",
            lifespan="on",
            log_config=None,
            access_log=False,
            server_header=False,
            timeout_keep_alive=20,
            timeout_graceful_shutdown=1,
            limit_concurrency=MOST_CONNECTIONS,
            h11_max_incomplete_event_size=32_768,
            proxy_headers=False,
        )
    )


@contextmanager
def running(app: "App", own: socket.socket, seconds: float = REQUEST_SECONDS) -> Iterator[None]:
    """Serve in a thread of its own for as long as the block lasts, which begins once there are answers."""
    server = server_of(app, seconds)
    thread = Thread(target=lambda: asyncio.run(server.serve(sockets=[own])), daemon=True)
    thread.start()
    try:
        while not server.started and thread.is_alive():
            time.sleep(0.005)
        yield
    finally:
        server.should_exit = True
        thread.join(timeout=10)


def serve(app: "App", own: socket.socket, begun: Callable[[], None]) -> None:
    """Serve until Ctrl-C or a signal to end; `begun` is called once the desk answers."""
    server = server_of(app)

    async def run() -> None:
        async def tell() -> None:
            while not server.started and not server.should_exit:
                await asyncio.sleep(0.02)
            if server.started:
                begun()

        told = asyncio.create_task(tell())
        await server.serve(sockets=[own])
        told.cancel()
        with contextlib.suppress(asyncio.CancelledError):
            await told

    asyncio.run(run())


def lessons_folder(folder: Path) -> Path:
    """The folder that a desk is laid over, made if it is missing; raises LessonError for a file."""
    if folder.is_file():
        raise LessonError(f"{folder}: this is a file; name the folder that it lies in: {folder.parent}")
    return folder
