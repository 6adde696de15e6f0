"""What is wrong with a recording itself, seen in one pass over its samples: silence, clipping, too little of it."""

from dataclasses import dataclass

import numpy as np

from render.hearing.features import Recording, read_mono

SILENT = 10 ** (-70 / 20)  # of full scale; the noise of any microphone lies above it
FULL = 0.985  # of the highest sample: what stays there is cut
RUN = 4  # samples in a row
HIGH = 0.9  # of full scale: a flat top lower down is a sound, not a cut
CUT_A_SECOND = 2.0  # runs from which on the recording is spoilt; ours
LONGEST_SECONDS = 3 * 3600.0
SHORTEST_SECONDS = 4.0
_BLOCK_SECONDS = 20


@dataclass(frozen=True)
class Faults:
    """Its highest sample, and how many flat tops it has a second."""

    peak: float
    cuts_a_second: float


def faults(recording: Recording) -> Faults:
    """Look through a recording: `faults(open_recording(path)).peak`."""
    peak, cuts = 0.0, 0
    step = _BLOCK_SECONDS * recording.rate
    for start in range(0, recording.frames, step):
        loud = np.abs(read_mono(recording, start, min(step, recording.frames - start)))
        peak = max(peak, float(loud.max(initial=0.0)))
        high = np.concatenate([[False], loud >= max(HIGH, FULL * float(loud.max(initial=0.0))), [False]])
        edges = np.flatnonzero(np.diff(high.astype(np.int8)))
        cuts += int(np.sum(edges[1::2] - edges[::2] >= RUN))
    return Faults(peak, cuts / max(recording.seconds, 1.0))


def refusal(recording: Recording) -> str:
    """Why nothing can be said of a recording, in one sentence, "" where something can: `refusal(recording)`."""
    if recording.seconds > LONGEST_SECONDS:
        return f"This recording lasts {recording.seconds / 3600:.0f} hours; record one lesson at a time."
    found = faults(recording)
    if found.peak < SILENT:
        return "There is no sound in this take: was the microphone on?"
    if recording.seconds < SHORTEST_SECONDS:
        return "This take is too short to say anything: play at least four bars."
    if found.cuts_a_second > CUT_A_SECOND:
        return "This take is clipped: turn the microphone down or move it away, and record again."
    return ""
