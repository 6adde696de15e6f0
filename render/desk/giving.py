"""Files of a lesson, made as the command line makes them, in a process of its own that can be broken off."""

import itertools
import json
import subprocess
import sys
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass, field
from glob import escape
from pathlib import Path
from threading import Lock, Thread
from typing import Any

from grooves.errors import LessonError, nearest
from render.desk.folder import Folder

WHAT = ("everything", "page", "chart", "tracks")
MADE = (".html", ".pdf", ".zip", ".mid", ".wav", ".musicxml")
MOST_AT_ONCE = 2
_KEPT = 50


@dataclass
class Job:
    """One making: its process, and what it has said so far."""

    process: "subprocess.Popen[str]"
    folder: Path
    planned: list[str] = field(default_factory=list)  # files, by their names in the folder
    share: float = 0.0
    files: list[str] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    error: str = ""
    done: bool = False
    stopped: bool = False


class Making:
    """What is being made of the lessons of a folder: `Making(folder).begin("tuesday.toml", "page")["number"]`."""

    def __init__(self, folder: Folder) -> None:
        self.folder = folder
        self._jobs: dict[int, Job] = {}
        self._numbers = itertools.count(1)
        self._lock = Lock()

    def begin(self, name: str, what: str) -> dict[str, Any]:
        """Begin to make something of a lesson as it stands on the disk; raises LessonError."""
        if what not in WHAT:
            raise LessonError(f"'{what}' cannot be made; {nearest(what, WHAT)}")
        path = self.folder.place(name)
        with self._lock:
            if sum(not job.done for job in self._jobs.values()) >= MOST_AT_ONCE:
                raise LessonError("two makings are under way; wait for one of them, or break it off")
            number = next(self._numbers)
            process = subprocess.Popen(
                [sys.executable, "-m", "render.desk.make_process", what, str(path)],
                stdin=subprocess.DEVNULL,
                stdout=subprocess.PIPE,
                stderr=subprocess.DEVNULL,
                text=True,
                encoding="utf-8",
            )
            job = self._jobs[number] = Job(process, self.folder.path)
            for old in list(self._jobs)[:-_KEPT]:
                if self._jobs[old].done:
                    del self._jobs[old]
        Thread(target=_listen, args=(job,), daemon=True).start()
        return {"number": number}

    def state(self, number: int) -> dict[str, Any]:
        """How far a making is: each file with whether it waits, is begun or made."""
        job = self._job(number)
        files = [{"file": name, "state": _state(job, name)} for name in job.files or job.planned]
        return {
            "done": job.done,
            "stopped": job.stopped,
            "share": job.share,
            "files": files,
            "notes": job.notes,
            "error": job.error,
        }

    def stop(self, number: int) -> dict[str, Any]:
        """Break a making off: none of its files appears."""
        job = self._job(number)
        if not job.done:
            job.stopped = True
            job.process.terminate()
        return {}

    def stop_all(self) -> None:
        """Break everything off, at the end of the desk."""
        for number, job in list(self._jobs.items()):
            if not job.done:
                self.stop(number)

    def _job(self, number: int) -> Job:
        if number not in self._jobs:
            raise LessonError("this making is long over")
        return self._jobs[number]


def _state(job: Job, name: str) -> str:
    if job.files:
        return "made"
    path = job.folder / name
    try:
        begun = any(path.parent.glob(f".{escape(path.name)}.*.part"))
    except OSError:
        begun = False
    return "begun" if begun else "waiting"


def _listen(job: Job) -> None:
    """Take in what the process says, until it has said all."""
    assert job.process.stdout
    with job.process.stdout as said:
        for line in said:
            with suppress(ValueError, KeyError):
                _note(job, json.loads(line))
    code = job.process.wait()
    if not job.files and not job.error and not job.stopped:
        job.error = f"it broke off (code {code}); nothing was made"
    job.done = True


def _note(job: Job, said: Mapping[str, Any]) -> None:
    job.share = said.get("share", job.share)
    job.error = said.get("error", job.error)
    job.notes = said.get("notes", job.notes)
    for key in ("planned", "files"):
        if key in said:
            names = [Path(one).relative_to(job.folder).as_posix() for one in said[key]]
            setattr(job, key, names)


def made_here(folder: Folder, name: str) -> Path:
    """A file that can be made of a lesson, inside the folder; raises LessonError for any other."""
    suffix = Path(name).suffix
    if suffix not in MADE:
        raise LessonError("only what is made of lessons is given out here")
    path = folder.place(name, suffix)
    if not path.is_file():
        raise LessonError(f"{name}: there is no such file; make it first")
    return path
