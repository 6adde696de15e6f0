"""The door for takes: what kind of file it is, and that it may be read at all."""

from pathlib import Path

from grooves.errors import LessonError

MIDI_ENDINGS = (".mid", ".midi")
SOUND_ENDINGS = (".wav", ".flac", ".ogg", ".mp3", ".m4a", ".aif", ".aiff")
KEPT_ENDING = ".json"  # a take of pads that a lesson page kept
LARGEST_MIDI = 1_000_000
LARGEST_SOUND = 4_000_000_000  # bytes: an hour of stereo in 24 bits is a quarter of it
LARGEST_KEPT = 8_000_000
_KINDS = {**dict.fromkeys(MIDI_ENDINGS, "midi"), **dict.fromkeys(SOUND_ENDINGS, "sound"), KEPT_ENDING: "kept"}
_LARGEST = {"midi": LARGEST_MIDI, "sound": LARGEST_SOUND, "kept": LARGEST_KEPT}


def kind_of_take(path: Path) -> str:
    """Whether a take is "midi", "sound" or "kept" by a lesson page: `kind_of_take(Path("tuesday.mid"))`.

    Raises LessonError for a file that is not there, is no plain file, is of another kind, or far too large.
    """
    kind = _KINDS.get(path.suffix.lower())
    try:
        if not path.exists():
            raise LessonError(f"{path}: there is no such file")
        if not path.is_file():
            raise LessonError(f"{path}: this is no file; name a recording (.mid, .wav, .flac, .ogg, .mp3)")
        size = path.stat().st_size
    except (OSError, ValueError) as error:
        if isinstance(error, LessonError):
            raise
        raise LessonError(f"{path}: cannot be read: {getattr(error, 'strerror', None) or error}") from None
    if kind is None:
        usual = ", ".join((*MIDI_ENDINGS[:1], *SOUND_ENDINGS))
        raise LessonError(f"{path}: a take ends in {usual} or {KEPT_ENDING}; export it as one")
    if size == 0:
        raise LessonError(f"{path}: is empty; record it again")
    if size > _LARGEST[kind]:
        raise LessonError(f"{path}: holds {size / 1e6:.0f} MB, which is no take; record one lesson at a time")
    return kind
