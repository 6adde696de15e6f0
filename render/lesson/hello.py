"""Before a take: a click to strike each drum by, so that it is known, and the delay of the device, if it is wanted."""

from dataclasses import dataclass
from pathlib import Path

from grooves.errors import LessonError, at
from render.files.write import make_folder, whole
from render.hearing.features import open_recording
from render.hearing.files import kind_of_take
from render.hearing.hello import RATE, Latency, click_sound, latency
from render.hearing.single_strokes import EACH
from render.lesson.load import load_lesson

USUAL_PARTS = ("ride", "snare", "bass drum", "hi-hat")
FILE = "hello.wav"


@dataclass(frozen=True)
class Hello:
    """The click and the order in which to strike."""

    path: Path
    parts: tuple[str, ...]

    @property
    def words(self) -> list[str]:
        """What to do with it, line by line."""
        return [
            f"{self.path}: a click for single strokes. Play it in headphones, record yourself, and strike",
            *(f"  {EACH} times the {part}" for part in self.parts),
            "each alone, one stroke a click; the higher click is the last of a drum. Then: fourlimb check … --kit "
            "and the recording.",
            "To measure the delay of your device, lay the headphone at the microphone, record the click from its "
            "beginning, and run: fourlimb check --hello and that recording.",
        ]


def write_hello(lesson: Path | None, folder: Path) -> Hello:
    """Write the click for a lesson's parts, or for the usual four: `write_hello(None, Path("out")).path`."""
    import soundfile

    loaded = load_lesson(lesson) if lesson else None
    parts = loaded.lesson.score.parts if loaded else USUAL_PARTS
    target = make_folder(folder) / FILE
    with whole([target], loaded.reads if loaded else []) as (beside,):
        soundfile.write(str(beside), click_sound(len(parts)), RATE, "PCM_16", format="WAV")
    return Hello(target, parts)


def measure_delay(path: Path) -> Latency:
    """How late a recording of the click is: `measure_delay(Path("back.wav")).milliseconds`; raises LessonError."""
    if kind_of_take(path) != "sound":
        raise LessonError(f"{path}: the delay is measured in a sound file; record the click")
    recording = open_recording(path)
    with at(str(path)):
        return latency(recording)
