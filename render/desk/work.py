"""What can be done at the desk, one method for each: from a request's table to an answer's table.

Nothing of a lesson is kept here between two requests: the browser holds its text, the folder its file.
"""

import asyncio
import contextlib
from collections.abc import AsyncIterator, Mapping, Sequence
from contextlib import asynccontextmanager
from pathlib import Path
from typing import Any

from starlette.concurrency import run_in_threadpool

from grooves.errors import LessonError
from render.desk.asked import LAST_LINE, number, which_line, word
from render.desk.drawing import PICTURES, PIECES, Drawer, Kept, framed
from render.desk.edits import edited
from render.desk.folder import FIRST_LESSON, Folder, difference
from render.desk.giving import Making, made_here
from render.desk.sharing import Sharing
from render.desk.tapping import read_score, tapped
from render.desk.view import card, view
from render.lesson.groove_files import read_text
from render.lesson.load import lesson_of_text
from render.lesson.term_record import hash_of_bytes

Body = Mapping[str, Any]
Answer = dict[str, Any]
WAIT_SECONDS = 20.0  # a browser that asks for changes is told after this at the latest
MOST_TEXT = 1_000_000


class Desk:
    """The desk over a folder: `Desk(Path("term")).lessons({})["lessons"]`. Methods raise LessonError."""

    def __init__(self, path: Path) -> None:
        self.folder = Folder(path)
        self.kept, self.pieces = Kept(PICTURES), Kept(PIECES)
        self.charts, self.pages = Drawer(), Drawer()
        self.makings = Making(self.folder)
        self.sharing = Sharing()
        self._changes, self._closing = 0, False
        self._changed: asyncio.Condition | None = None
        self._staves: dict[str, bytes] = {}
        self._grooves: dict[str, bytes] = {}

    # --- the folder ---

    def lessons(self, _: Body) -> Answer:
        """Every lesson as its card says it, a wrong one with what is wrong."""
        found = self.folder.listing()
        cards = [self._card(self.folder.name(path)) for path in found.lessons]
        return {"folder": self.folder.path.name, "lessons": cards, "left_out": found.left_out}

    def _card(self, name: str) -> Answer:
        try:
            path = self.folder.place(name)
            text = read_text(path)
            told = card(lesson_of_text(text, path))
        except LessonError as error:
            return {"name": name, "error": str(error)}
        return {"name": name, "version": hash_of_bytes(text.encode())[:16], **told}

    def staff(self, name: str) -> bytes:
        """The picture of a lesson's first bars."""
        path = self.folder.place(name)
        text = read_text(path)
        key = hash_of_bytes(f"{name}\n{text}".encode())
        if key not in self._staves:
            self._staves = {**dict(list(self._staves.items())[-200:]), key: self.charts.draw("staff", text, path)}
        return self._staves[key]

    def new(self, body: Body) -> Answer:
        """A new lesson."""
        return {"name": self.folder.new(word(body, "title"))}

    def copy(self, body: Body) -> Answer:
        """A lesson once more."""
        return {"name": self.folder.copy(word(body, "name"), word(body, "title"))}

    def rename(self, body: Body) -> Answer:
        """A lesson under another title."""
        return {"name": self.folder.rename(word(body, "name"), word(body, "title"))}

    def delete(self, body: Body) -> Answer:
        """A lesson into the trash."""
        self.folder.delete(word(body, "name"))
        return {}

    def show_folder(self, _: Body) -> Answer:
        """The folder in the system's own window."""
        import typer

        typer.launch(str(self.folder.path))
        return {"folder": str(self.folder.path)}

    def choices(self, body: Body) -> Answer:
        """What may be chosen from: grooves, forms, readers, levels."""
        from render.desk.choices import choices

        return choices(self.folder.place(word(body, "name")))

    # --- one lesson ---

    def open(self, body: Body) -> Answer:
        """A lesson's text, what it shows, and unsaved work that was found."""
        name = word(body, "name")
        opened = self.folder.open(name)
        told: Answer = {"name": name, "text": opened.text, "base": opened.base, "draft": opened.draft}
        if opened.draft is not None:
            told["difference"] = difference(opened.draft, opened.text)
        try:
            return {**told, "view": view(opened.text, self.folder.place(name))}
        except LessonError as error:
            return {**told, "error": str(error)}

    def look(self, body: Body) -> Answer:
        """What a text shows."""
        return {"view": view(self._text(body), self._path(body), which_line(body))}

    def edit(self, body: Body) -> Answer:
        """A text after a change, and what it shows."""
        change = body.get("change")
        if not isinstance(change, dict):
            raise LessonError("there is no change in this request")
        path = self._path(body)
        text = edited(self._text(body), path, change)
        shown = LAST_LINE if change.get("kind") == "add line" else which_line(change)  # it comes last
        return {"text": text, "view": view(text, path, shown)}

    def keep(self, body: Body) -> Answer:
        """Note unsaved work."""
        self.folder.keep(word(body, "name"), self._text(body), word(body, "base"))
        return {}

    def forget(self, body: Body) -> Answer:
        """Take the note of unsaved work away."""
        self.folder.forget(word(body, "name"))
        return {}

    def save(self, body: Body) -> Answer:
        """Write a lesson's file."""
        return {"base": self.folder.save(word(body, "name"), self._text(body), word(body, "base"))}

    def save_as(self, body: Body) -> Answer:
        """Write a text as a new lesson."""
        return {"name": self.folder.save_as(self._text(body), word(body, "title"), word(body, "name"))}

    def differ(self, body: Body) -> Answer:
        """What differs between a text and its file as it stands on the disk."""
        opened = self.folder.open(word(body, "name"))
        mine = self._text(body)
        return {"theirs": opened.text, "base": opened.base, "difference": difference(mine, opened.text)}

    def _text(self, body: Body) -> str:
        return word(body, "text", most=MOST_TEXT)

    def _path(self, body: Body) -> Path:
        return self.folder.place(word(body, "name"))

    # --- seeing, tapping, reading ---

    def chart(self, body: Body) -> Answer:
        """The chart of a text, to be fetched."""
        return {"chart": self.kept.put(self.charts.draw("chart", self._text(body), self._path(body)), "svg")}

    def page(self, body: Body) -> Answer:
        """The page of a text, in pieces."""
        return framed(self.pages.draw("page", self._text(body), self._path(body)), self.pieces)

    def groove(self, name: str) -> bytes:
        """Some bars of a groove as sound."""
        if name not in self._grooves:
            self._grooves[name] = self.pages.draw("groove", name, self.folder.path)
        return self._grooves[name]

    def tap(self, body: Body) -> Answer:
        """What was tapped, as note values, and how it was read."""
        return tapped(body, self._path(body))

    def read_score(self, data: bytes, file: str, part: str, groove: str) -> Answer:
        """A dropped score, as note values, and how it was read."""
        return read_score(data, file, part, groove, self.folder.path)

    # --- giving ---

    def make(self, body: Body) -> Answer:
        """Begin to make files of a saved lesson."""
        return self.makings.begin(word(body, "name"), word(body, "what"))

    def making(self, body: Body) -> Answer:
        """How far it is."""
        return self.makings.state(number(body, "number", 0, 10**9))

    def stop_making(self, body: Body) -> Answer:
        """Break it off."""
        return self.makings.stop(number(body, "number", 0, 10**9))

    def made_file(self, name: str) -> Path:
        """A file of this folder that was made of a lesson."""
        return made_here(self.folder, name)

    def share(self, body: Body) -> Answer:
        """Let one page be fetched by a phone, for ten minutes."""
        told = self.sharing.begin(self.made_file(word(body, "file")))
        return {**told, "code": self.kept.put(told["code"].encode(), "svg")}

    def stop_sharing(self, _: Body) -> Answer:
        """Let nothing be fetched any more."""
        self.sharing.stop()
        return {}

    # --- what others do to the folder ---

    @asynccontextmanager
    async def lifespan(self, _: Any) -> AsyncIterator[None]:
        """Watch the folder for as long as the desk serves."""
        self._changed = asyncio.Condition()
        ended = asyncio.Event()
        self.charts.warm("chart", FIRST_LESSON)
        self.pages.warm("page", FIRST_LESSON)
        watching = asyncio.create_task(self._watch(ended))
        try:
            yield
        finally:
            ended.set()
            self.makings.stop_all()
            self.sharing.stop()
            self.charts.end()
            self.pages.end()
            watching.cancel()
            with contextlib.suppress(asyncio.CancelledError):
                await watching

    async def _watch(self, ended: asyncio.Event) -> None:
        """Tell of every change of a lesson; where folders come or go, watch those that are there then."""
        again = False
        while not ended.is_set():
            folders = (await run_in_threadpool(self.folder.listing)).folders
            missed = [self._tell(0.3)] if again else []  # what came between one watch and the next
            try:
                await asyncio.gather(self._watch_these(folders, ended), *missed)
            except OSError:  # a folder went meanwhile, or the system watches no more of them
                await asyncio.sleep(5)
            again = True

    async def _watch_these(self, folders: Sequence[Path], ended: asyncio.Event) -> None:
        from watchfiles import Change, awatch

        def is_ours(change: Change, path: str) -> bool:
            if path.endswith(".toml"):
                return not Path(path).name.startswith(".")
            return Path(path).is_dir() if change == Change.added else change == Change.deleted and Path(path) in folders

        watch = awatch(*folders, watch_filter=is_ours, debounce=100, step=20, stop_event=ended, recursive=False)
        async for changes in watch:
            await self._tell()
            if not all(path.endswith(".toml") for _, path in changes):
                return

    async def _tell(self, after_seconds: float = 0.0) -> None:
        """Something has changed: let everybody know who waits for that."""
        await asyncio.sleep(after_seconds)
        assert self._changed
        async with self._changed:
            self._changes += 1
            self._changed.notify_all()

    async def wait_for_change(self, since: int) -> int:
        """How often the folder has changed, told once that is more often than `since`, or after a while."""
        assert self._changed
        with contextlib.suppress(TimeoutError):
            async with asyncio.timeout(WAIT_SECONDS), self._changed:
                await self._changed.wait_for(lambda: self._changes != since or self._closing)
        return self._changes

    async def closing(self) -> None:
        """Let nobody wait any longer: the desk is being closed."""
        self._closing = True
        assert self._changed
        async with self._changed:
            self._changed.notify_all()
