"""The desk as a web application: what each address answers. What is done stands in the modules beside this one."""

import json
from collections.abc import Callable, Mapping
from importlib.resources import files
from pathlib import Path
from typing import Any

from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import JSONResponse, PlainTextResponse, RedirectResponse, Response
from starlette.routing import Route

from grooves.errors import LessonError
from render.desk.drawing import TYPES
from render.desk.folder import ChangedOnDiskError
from render.desk.guard import App, Guard, Pass, TooLargeError
from render.desk.preview import groove_svg
from render.desk.work import Desk

Body = Mapping[str, Any]
ASSETS = {".css": "text/css", ".js": "text/javascript", ".svg": "image/svg+xml"}
MADE_TYPES = {
    ".html": "text/html; charset=utf-8", ".pdf": "application/pdf", ".svg": "image/svg+xml", ".zip": "application/zip",
    ".mid": "audio/midi", ".wav": "audio/wav", ".musicxml": "application/vnd.recordare.musicxml+xml",
}  # fmt: skip
_FRAMED = "frame-ancestors 'self'"  # beside the policy that a lesson page carries itself
_FRAME = (  # of the page while it is written: what its own policy says, for scripts and styles of their own addresses
    "default-src 'none'; style-src 'self'; script-src 'self'; worker-src blob:; frame-ancestors 'self'; "
    "base-uri 'none'; form-action 'none'"
)
_PICTURE = "default-src 'none'; style-src 'unsafe-inline'; font-src data:"


def desk_app(desk: Desk, own: Pass) -> App:
    """The application of a desk, behind its guard: `desk_app(Desk(Path("term")), Pass(8000))`."""
    asked = {
        "lessons": desk.lessons, "open": desk.open, "new": desk.new, "copy": desk.copy, "rename": desk.rename,
        "delete": desk.delete, "show-folder": desk.show_folder, "edit": desk.edit, "look": desk.look, "keep": desk.keep,
        "forget": desk.forget, "chart": desk.chart, "page": desk.page, "save": desk.save, "save-as": desk.save_as,
        "differ": desk.differ, "tap": desk.tap, "make": desk.make, "making": desk.making,
        "stop-making": desk.stop_making, "share": desk.share, "stop-sharing": desk.stop_sharing,
        "choices": desk.choices,
    }  # fmt: skip
    routes = [
        Route("/", _file("desk.html", "text/html; charset=utf-8")),
        Route("/open/{token}", _opener(own)),
        Route("/files/{name}", _asset),
        Route("/kept/{name}", _kept(desk)),
        Route("/staff/{name:path}", _picture(lambda request: desk.staff(request.path_params["name"]))),
        Route(
            "/groove.svg", _picture(lambda request: groove_svg(request.query_params.get("name", ""), desk.folder.path))
        ),
        Route("/groove.wav", _sound(desk)),
        Route("/made/{name:path}", _made(desk)),
        Route("/changes", _changes(desk)),
        Route("/import", _imported(desk), methods=["POST"]),
        *(Route(f"/do/{name}", _asked(act), methods=["POST"]) for name, act in asked.items()),
    ]
    return Guard(Starlette(routes=routes, lifespan=desk.lifespan, exception_handlers=_HANDLERS), own, desk.closing)


# --- what is asked in JSON ------------------------------------------------------------------------


def _asked(act: Callable[[Body], Any]) -> Any:
    """An address that takes a JSON table and answers one; what is wrong is told with status 422."""

    async def answer(request: Request) -> Response:
        try:
            body = json.loads(await request.body())
        except (ValueError, RecursionError):
            return _wrong("the request is no JSON")
        if not isinstance(body, dict):
            return _wrong("the request is no table")
        return JSONResponse(await run_in_threadpool(act, body))

    return answer


def _wrong(message: str, status: int = 422, **more: Any) -> Response:
    return JSONResponse({"error": message, **more}, status_code=status)


async def _lesson_error(_: Request, error: Exception) -> Response:
    if isinstance(error, ChangedOnDiskError):
        return _wrong(str(error), 409, theirs=error.text)
    return _wrong(str(error))


async def _too_large(_: Request, __: Exception) -> Response:
    return PlainTextResponse("This is too large.\n", 413, {"connection": "close"})


async def _system_error(_: Request, error: Exception) -> Response:
    assert isinstance(error, OSError)
    return _wrong(f"{error.filename or 'a file'}: {error.strerror or error}")


_HANDLERS: Any = {LessonError: _lesson_error, TooLargeError: _too_large, OSError: _system_error}


def _imported(desk: Desk) -> Any:
    """A score that was dropped, as the bytes of its file; its name and the lesson stand in the address."""

    async def answer(request: Request) -> Response:
        data = await request.body()
        asked = {key: request.query_params.get(key, "") for key in ("file", "part", "groove")}
        return JSONResponse(await run_in_threadpool(desk.read_score, data, **asked))

    return answer


# --- files ----------------------------------------------------------------------------------------


def _opener(own: Pass) -> Any:
    async def answer(request: Request) -> Response:
        if not own.fits(request.path_params["token"]):
            return PlainTextResponse("This address has another key; take the one that the command has printed.\n", 403)
        response = RedirectResponse("/", 303)
        response.set_cookie(own.cookie, own.token, httponly=True, samesite="strict", path="/")
        return response

    return answer


def _read(name: str, package: str = "render.desk") -> bytes:
    return (files(package) / name).read_bytes()


def _file(name: str, kind: str) -> Any:
    async def answer(_: Request) -> Response:
        return Response(_read(name), media_type=kind)

    return answer


async def _asset(request: Request) -> Response:
    """Style, scripts and the sign of the desk, by the names that there are."""
    name = request.path_params["name"]
    if name == "sheet.css":  # of the lesson page, so that both look alike
        return Response(_read("page.css", "render.page"), media_type="text/css")
    kind = ASSETS.get(Path(name).suffix)
    if kind is None or name not in {one.name for one in files("render.desk").iterdir()}:
        return PlainTextResponse("There is no such file.\n", 404)
    return Response(_read(name), media_type=kind)


def _kept(desk: Desk) -> Any:
    async def answer(request: Request) -> Response:
        name = request.path_params["name"]
        form = name.rpartition(".")[2]
        if (data := desk.kept.get(name)) is not None:
            return Response(data, media_type=TYPES[form], headers={"Content-Security-Policy": _policy(form)})
        if (data := desk.pieces.get(name)) is None:
            return PlainTextResponse("This was drawn too long ago.\n", 404)
        headers = {"Content-Security-Policy": _FRAME, "Cache-Control": "private, max-age=86400, immutable"}
        return Response(data, media_type=TYPES[form], headers=headers)

    return answer


def _policy(form: str) -> str:
    return {"svg": _PICTURE, "html": _FRAMED, "pdf": "frame-ancestors 'none'"}.get(form, "default-src 'none'")


def _picture(draw: Callable[[Request], bytes]) -> Any:
    async def answer(request: Request) -> Response:
        data = await run_in_threadpool(draw, request)
        return Response(data, media_type="image/svg+xml", headers={"Content-Security-Policy": _PICTURE})

    return answer


def _sound(desk: Desk) -> Any:
    async def answer(request: Request) -> Response:
        data = await run_in_threadpool(desk.groove, request.query_params.get("name", ""))
        return Response(data, media_type="audio/wav")

    return answer


def _made(desk: Desk) -> Any:
    """A file that was made of a lesson of this folder, to look at or to keep."""

    async def answer(request: Request) -> Response:
        path = desk.made_file(request.path_params["name"])
        kind = MADE_TYPES.get(path.suffix, "application/octet-stream")
        headers = {"Content-Security-Policy": _policy(path.suffix.lstrip("."))}
        if path.suffix not in (".html", ".pdf", ".svg"):
            headers["Content-Disposition"] = "attachment"
        return Response(await run_in_threadpool(path.read_bytes), media_type=kind, headers=headers)

    return answer


def _changes(desk: Desk) -> Any:
    """Waits until something changes in the folder, and says how often it has."""

    async def answer(request: Request) -> Response:
        since = request.query_params.get("since", "0")
        return JSONResponse({"count": await desk.wait_for_change(int(since) if since.isdecimal() else 0)})

    return answer
