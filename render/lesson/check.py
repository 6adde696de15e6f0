"""A take held against its lesson: from two files to an answer, pictures, and practice of the bars that went worst."""

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from grooves.errors import LessonError, at, visible
from grooves.lesson import Lesson, bar_numbers
from grooves.passages import Track, track_passages
from grooves.performance import perform
from grooves.takes.check import Answer, check_take, runs_at
from grooves.takes.findings import BarFinding, LimbFinding, Together
from grooves.takes.pads import Pads, key_name, played_take, told_pads
from grooves.takes.says import listed
from grooves.takes.sheet import Sheet, sheet_of
from grooves.takes.take import Take
from render.hearing.files import kind_of_take
from render.hearing.kept_take import KeptTake, kept_take
from render.hearing.midi_take import read_pads
from render.lesson.load import Loaded, load_lesson
from render.lesson.options import MadeFile, Progress
from render.lesson.plan import choose_tracks
from render.lesson.played_to import played_to
from render.page.practice_log import lesson_hash

if TYPE_CHECKING:
    from render.hearing.features import Bands
    from render.hearing.single_strokes import OwnKit

KIT_RATE = 44100
LATENCIES_MS = (-100.0, 1000.0)
LEVEL_EXACT_LU = 4.0  # a difference from four single strokes that is told; those four vary by 2 LU themselves


@dataclass(frozen=True)
class CheckOptions:
    """What is asked of a check: which track was played to, which bars count, what tells the drums apart, where to."""

    track: str | None = None  # none: that which leaves somebody out and fits best
    bars: str | None = None  # of the line; none: all
    kit: Path | None = None  # a recording of single strokes
    latency_ms: float | None = None  # of the device, where it is known
    folder: Path | None = None  # for pictures and practice; none: words alone
    soundfont: Path | None = None


@dataclass(frozen=True)
class CheckReport:
    """What came of a take, in numbers and in words; `heard` and `answer` hold all that pictures are drawn from."""

    track: str
    offset_ms: float
    drift_ms_per_minute: float
    swing: Mapping[str, float | None]
    bass_drum_lu: float | None
    limbs: tuple[LimbFinding, ...]
    bars: tuple[BarFinding, ...]
    together: tuple[Together, ...]
    sentences: tuple[str, ...]
    files: tuple[MadeFile, ...] = ()
    lesson: Mapping[str, str] = field(default_factory=dict)  # "title", and the "hash" that ties a report to it
    tempo_bpm: float = 0.0  # of the track, its fastest


@dataclass(frozen=True)
class Heard:
    """A take that was read, with what a teacher should know about how it was heard."""

    take: Take
    notes: tuple[str, ...] = ()
    refused: str = ""  # why nothing is said of it, in one sentence


def check_lesson(path: Path, take: Path, options: CheckOptions, progress: Progress = lambda _: None) -> CheckReport:
    """Hold a take against a lesson: `check_lesson(Path("a.toml"), Path("a.mid"), CheckOptions()).sentences`.

    Raises LessonError for files that cannot be read; a take that cannot be judged is answered in one sentence.
    """
    loaded = load_lesson(path)
    lesson = loaded.lesson
    _check_latency(options.latency_ms)
    with at("--bars"):
        chosen = _chosen_bars(lesson, options.bars)
    named = choose_tracks(lesson.tracks, [options.track])[0] if options.track else None
    kind, kept = kind_of_take(take), kept_take(take, lesson.score.meter)
    if kept:
        _check_belongs(take, kept, lesson)
    against = _against_page(kept) if kept and not named else _against(lesson, named or played_to(lesson, take))
    against = replace(against, latency_ms=_latency_ms(kept, options))
    heard = _heard(path, loaded, take, kind, kept, against.sheet, options, progress)
    answer = check_take(heard.take, against.sheet, against.sounding, chosen, against.latency_ms)
    if heard.refused:
        answer = replace(answer, no_verdict=heard.refused, sentences=(heard.refused,))
    report = replace(
        _report(against.name, answer, heard),
        lesson={"title": lesson.title, "hash": lesson_hash(lesson)},
        tempo_bpm=against.tempo_bpm,
    )
    if options.folder is None or answer.no_verdict:
        return report
    from render.lesson.check_files import CheckFolder, check_files

    reads = (*loaded.reads, take, *([options.kit] if options.kit else []))
    where = CheckFolder(options.folder, path, take, reads, options.soundfont)
    return replace(report, files=tuple(check_files(where, loaded, against.sheet, answer, heard.take, progress)))


@dataclass(frozen=True)
class _Against:
    """What a take is held against: a track, or what its page played."""

    name: str
    sheet: Sheet
    sounding: Sequence[tuple[str, float]]
    tempo_bpm: float
    latency_ms: float | None = None


def _against(lesson: Lesson, track: Track) -> _Against:
    return _Against(track.name, sheet_of(lesson, track), _sounding(lesson, track), _fastest(lesson, track))


def _against_page(kept: KeptTake) -> _Against:
    """What the page played while the take was made."""
    return _Against(kept.step or "on its page", kept.sheet, kept.sounding, kept.tempo_bpm)


def _latency_ms(kept: KeptTake | None, options: CheckOptions) -> float | None:
    return kept.delay_ms if kept and options.latency_ms is None else options.latency_ms


def _check_belongs(take: Path, kept: KeptTake, lesson: Lesson) -> None:
    known = all(bar.score_bar < len(lesson.score.bars) for bar in kept.sheet.bars)
    if kept.lesson_hash == lesson_hash(lesson) and known:
        return
    if kept.title == lesson.title:
        raise LessonError(f"{take}: was played to '{lesson.title}' before its line was changed; play it once more")
    raise LessonError(
        f"{take}: was played to '{visible(kept.title)}', and this lesson is '{lesson.title}'; name that one"
    )


def _check_latency(latency_ms: float | None) -> None:
    low, high = LATENCIES_MS
    if latency_ms is not None and not low <= latency_ms <= high:
        raise LessonError(f"--latency: {latency_ms:g} is out of range; write {low:g} to {high:g} ms")


def _chosen_bars(lesson: Lesson, bars: str | None) -> Collection[int]:
    there = [bar.number for bar in lesson.score.bars]
    return () if bars is None else bar_numbers(bars, there, lesson.score.letters)


def _fastest(lesson: Lesson, track: Track) -> float:
    passages = track_passages(track, lesson.score, lesson.choruses, lesson.count_in)
    return max(passage.tempo_bpm for passage in passages)


def _sounding(lesson: Lesson, track: Track) -> list[tuple[str, float]]:
    """What the track itself sounds like: parts and moments."""
    passages = track_passages(track, lesson.score, lesson.choruses, lesson.count_in)
    hits = perform(lesson.score, passages, lesson.feel, lesson.balance_lu).hits
    return [(hit.part, hit.onset_seconds) for hit in hits]


# --- hearing --------------------------------------------------------------------------------------


def _heard(
    path: Path,
    loaded: Loaded,
    take: Path,
    kind: str,
    kept: KeptTake | None,
    sheet: Sheet,
    options: CheckOptions,
    progress: Progress,
) -> Heard:
    """The strokes of a take, whoever tells them: its paper, its notes or its sound."""
    if kept and kept.struck is not None:
        found, pads = played_take(kept.struck, sheet, kept.pads)
        return Heard(found, tuple(_pad_notes(found, pads, sheet)))
    if kind == "kept":
        raise LessonError(f"{take}: says what was written and not what was played; name the recording it lies beside")
    if kind == "midi":
        return _hear_pads(take, sheet, options, progress)
    return _hear_microphone(path, loaded, take, sheet, options, progress)


def _hear_pads(take: Path, sheet: Sheet, options: CheckOptions, progress: Progress) -> Heard:
    told = None
    if options.kit is not None:
        if kind_of_take(options.kit) != "midi":
            raise LessonError(f"--kit: {options.kit} is a sound file, and the take is MIDI; record the pads as .mid")
        with at(f"--kit: {options.kit}"):
            told = told_pads(read_pads(options.kit), sheet.parts)
    found, pads = played_take(read_pads(take), sheet, told)
    progress(1.0)
    return Heard(found, tuple(_pad_notes(found, pads, sheet)))


def _pad_notes(take: Take, pads: Pads, sheet: Sheet) -> Sequence[str]:
    """What was guessed about pads, and what to do about those that nobody could guess."""
    notes = [f"{key_name(key).capitalize()} was taken for the {part}." for key, part in pads.guessed.items()]
    missing = [part for part in sheet.parts if part not in {one.part for one in take.strokes}]
    if pads.unknown and missing:
        keys = listed(key_name(key) for key in pads.unknown)
        notes.append(
            f"What is played on {keys} is not clear. Record one stroke of each pad, in this order: "
            f"{', '.join(sheet.parts)}; then add --kit and that file."
        )
    return notes


def _hear_microphone(
    lesson: Path, loaded: Loaded, take: Path, sheet: Sheet, options: CheckOptions, progress: Progress
) -> Heard:
    from render.hearing.faults import refusal
    from render.hearing.features import open_recording
    from render.hearing.sound_take import listen

    recording = open_recording(take)
    refused = refusal(recording)
    if refused:
        return Heard(Take((), 0.0), refused=refused)
    usual = _usual_templates(lesson, loaded.lesson, sheet, options)
    own = _own_kit(options.kit, sheet) if options.kit else None
    found = listen(recording, sheet, usual, own, progress)
    if found.speed:
        return Heard(found, refused=runs_at(found.speed))
    if not found.strokes:
        return Heard(found, refused="None of this lesson's drums is heard in this take.")
    return Heard(found, tuple(level_notes(found)))


def level_notes(take: Take) -> Iterator[str]:
    """What to know about loudness: a gain that moved, or a recording without the lowest tones of a bass drum.

    Example: `list(level_notes(Take((), 20.0, automatic=True)))`.
    """
    if take.automatic:
        yield "The recorder changed its own gain, so loudness is not compared; turn that off."
    if take.against_own_lu is None or take.levels:
        return
    by, louder = abs(take.against_own_lu), "louder" if take.against_own_lu > 0 else "softer"
    told = f"{by:.0f} LU {louder}" if by >= LEVEL_EXACT_LU else "about as loud"
    yield (
        f"Against the ride your bass drum was {told}{' than' if by >= LEVEL_EXACT_LU else ' as'} in your own single "
        "strokes. How loud that is for an ear is not said, since this recording lacks its lowest tones."
    )


def _usual_templates(path: Path, lesson: Lesson, sheet: Sheet, options: CheckOptions) -> "Mapping[str, Bands]":
    from render.hearing.drums import kit_templates
    from render.soundfont.soundfont import kit_for

    with kit_for(path, lesson, options.soundfont, KIT_RATE, True) as kit:
        return kit_templates(kit, sheet.parts)


def _own_kit(path: Path, sheet: Sheet) -> "OwnKit":
    from render.hearing.features import open_recording
    from render.hearing.single_strokes import own_kit

    if kind_of_take(path) != "sound":
        raise LessonError(f"--kit: {path} is a MIDI file, and the take is sound; record single strokes as sound")
    recording = open_recording(path)
    with at(f"--kit: {path}"):
        return own_kit(recording, sheet.parts)


# --- the answer -----------------------------------------------------------------------------------


def _report(name: str, answer: Answer, heard: Heard) -> CheckReport:
    found = answer.findings
    return CheckReport(
        name,
        round(found.offset_ms, 1),
        round(found.drift_ms_per_minute, 2),
        {"asked": _rounded(found.swing_asked, 3), "played": _rounded(found.swing_played, 3)},
        _rounded(found.bass_drum_lu, 1),
        tuple(_tidy(one) for one in found.limbs),
        tuple(_tidy(one) for one in found.bars),
        tuple(_tidy(one) for one in found.together),
        (*answer.sentences, *heard.notes),
    )


def _rounded(value: float | None, places: int) -> float | None:
    return None if value is None else round(value, places)


def _tidy(found: Any) -> Any:
    """A finding with its numbers to a tenth of a millisecond."""
    numbers = {key: value for key, value in vars(found).items() if isinstance(value, float)}
    return replace(found, **{key: round(value, 3 if "within" in key else 1) for key, value in numbers.items()})
