"""The two files of a loop have the gain that the louder of them allows: neither passes -1 dBTP (EBU R 128)."""

import numpy as np
import pytest
import soundfile
from music import text_of
from scipy.signal import resample_poly

from render.lesson.loop import render_loop
from render.lesson.options import LoopOptions, RenderOptions

LOOSE = "timing_ms = 6\nlevel_lu = 1"


def peaks_dbtp(lesson_tempo, loop_tempo, times, tmp_path):
    """True peak of the seamless file and of the one that is counted in, eight times oversampled."""
    path = tmp_path / "harbour.toml"
    path.write_text(text_of("4 8 8 4 4 | 8 8 8 8 2", tempo=lesson_tempo, feel=LOOSE, top="choruses = 1"))
    report = render_loop(path, LoopOptions("1", loop_tempo, times), RenderOptions(tmp_path / "out"))
    sounds = [soundfile.read(made.path)[0] for made in report.files if made.kind == "audio"]
    return [20 * np.log10(np.abs(resample_poly(sound, 8, 1, axis=0)).max()) for sound in sounds]


@pytest.mark.parametrize(("tempos", "times", "louder"), [((60, "300"), 8, 0), ((120, "400"), 4, 1)])
def test_the_file_that_peaks_higher_sets_the_level_of_both(tempos, times, louder, tmp_path):
    peaks = peaks_dbtp(*tempos, times, tmp_path)
    assert max(peaks) <= -1
    assert peaks[louder] == max(peaks) == pytest.approx(-1, abs=0.15)  # and no lower than it must be
    assert peaks[1 - louder] < peaks[louder] - 0.1
