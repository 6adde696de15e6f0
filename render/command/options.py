"""Options that several commands have, and what they come to for a render."""

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

import typer

from grooves.errors import LessonError, nearest

if TYPE_CHECKING:
    from render.lesson.options import RenderOptions

Lesson = Annotated[Path, typer.Argument(metavar="LESSON", help="A lesson file (.toml).")]
Folder = Annotated[Path, typer.Option("-o", "--out", metavar="DIR", help="Output folder.")]
Format = Annotated[str, typer.Option("--format", metavar="F", help="Audio format: wav, flac, ogg or mp3.")]
NoAudio = Annotated[bool, typer.Option("--no-audio", help="No audio files.")]
Velocities = Annotated[
    Literal["measured", "plain"],
    typer.Option("--velocities", help="measured: balanced for the soundfont; plain: for an unknown sound module."),
]
Soundfont = Annotated[
    Path | None,
    typer.Option("--soundfont", metavar="FILE", help="Play with this soundfont (.sf2)."),
]
KitProgram = Annotated[
    str | None,
    typer.Option("--kit-program", metavar="KIT", help="A drum kit of the soundfont, by number or name, such as Brush."),
]
Rate = Annotated[int, typer.Option("--rate", metavar="HZ", help="Sample rate: 44100 or 48000.")]
NoCache = Annotated[bool, typer.Option("--no-cache", help="Record the drums afresh, keep nothing on disk.")]
Json = Annotated[bool, typer.Option("--json", help="Report as JSON on standard output.")]


def render_options(
    out: Path,
    *,
    audio_format: str = "wav",
    rate: int = 44100,
    soundfont: Path | None = None,
    kit_program: str | None = None,
    no_cache: bool = False,
    no_audio: bool = False,
    documents: bool = False,
    stems: bool = False,
    velocities: str = "measured",
    tracks: Sequence[str] = (),
    level: Literal["shared", "per-lesson"] = "shared",
    jobs: int = 0,
) -> "RenderOptions":
    """What a command asks of a render: `render_options(Path("out"), stems=True)`; raises LessonError for a format."""
    from render.files.parallel import processes
    from render.lesson.options import RenderOptions
    from render.sound.audio import FORMATS

    if audio_format.lower() not in FORMATS:
        raise LessonError(f"--format: '{audio_format}' is an unsupported format; {nearest(audio_format, FORMATS)}")
    return RenderOptions(
        folder=out,
        tracks=tuple(tracks),
        format=audio_format.lower(),
        rate=rate,
        audio=not no_audio,
        paper=documents,
        stems=stems,
        plain_velocities=velocities == "plain",
        soundfont=soundfont,
        kit_program=kit_program,
        use_cache=not no_cache,
        level=level,
        processes=processes(jobs),
    )
