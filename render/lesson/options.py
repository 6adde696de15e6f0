"""What is asked of a render, and what came of it."""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

Progress = Callable[[float], object]  # told the share that is done, 0 to 1


def half(progress: Progress, number: int) -> Progress:
    """The progress of the first or the second of two pieces of work: `half(progress, 1)(0.0)` tells 0.5."""
    return lambda share: progress((number + share) / 2)


@dataclass(frozen=True)
class RenderOptions:
    """What the command line asked for: where to, which tracks, what kind of sound."""

    folder: Path
    tracks: tuple[str, ...] = ()  # names; none: all
    format: str = "wav"
    rate: int = 44100
    audio: bool = True
    paper: bool = False  # also chart, MusicXML and lesson page
    stems: bool = False
    processes: int = 1  # that share one lesson's sound
    plain_velocities: bool = False
    soundfont: Path | None = None
    kit_program: str | int | None = None  # a drum kit of the soundfont; none: the lesson's
    use_cache: bool = True
    level: Literal["shared", "per-lesson"] = "shared"  # of several lessons: one gain, or each its own
    ride_lufs: float | None = None  # loudness of the ride's plain stroke that lessons share; none: a lesson's own


@dataclass(frozen=True)
class LoopOptions:
    """Which bars are looped, and how: `LoopOptions("6", "60%", times=8, without=("snare",))`."""

    bars: str
    tempo: str | None = None  # none: 60 % of the lesson's
    times: int = 8
    without: tuple[str, ...] = ()  # parts or limbs
    click: str = "off"


@dataclass(frozen=True)
class ChartOptions:
    """What a chart shows: `ChartOptions("1-4", show=("line",), under=("counts",))`."""

    bars: str | None = None  # none: all
    paper: str = "a4"
    show: tuple[str, ...] = ()  # its pieces; none: all
    under: tuple[str, ...] = ("sticking",)  # what stands below the line


@dataclass(frozen=True)
class MadeFile:
    """One file that was made: its track, its kind (midi, audio, stem, …), and who plays in it."""

    track: str
    kind: str
    path: Path
    seconds: float = 0.0
    plays: tuple[str, ...] = ()
    left_out: tuple[str, ...] = ()


@dataclass(frozen=True)
class Report:
    """What became of a lesson: its files and what a teacher should know about them."""

    lesson: Path
    title: str
    files: tuple[MadeFile, ...]
    notes: tuple[str, ...] = ()
