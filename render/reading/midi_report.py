"""What is told of a line read from MIDI: its grids, how far from them the notes were, and where it is unsure."""

from collections import Counter
from collections.abc import Iterable
from fractions import Fraction
from math import prod

from grooves.rhythm import Meter, place_name
from render.reading.parts import numbers_listed
from render.reading.played import Quantized, beat_of

SURE = 0.9  # a beat whose reading is less probable than this is doubtful


def reading_report(quantized: Quantized, meter: Meter, silent: int = 0) -> tuple[str, ...]:
    """The report's sentences; `silent` bars were left out in front: `reading_report(quantized, Meter(4, 4))[0]`."""
    delay_ms = quantized.delay_seconds * 1000
    late = "late" if delay_ms > 0 else "early"
    return (
        _grids(quantized),
        *_tempo(quantized),
        *([f"all notes were {abs(delay_ms):.0f} ms {late}; that is taken off"] if delay_ms else []),
        *_alike(quantized, meter, silent),
        *_sureness(quantized, meter, silent),
        _distances(quantized, meter, silent),
    )


def _grids(quantized: Quantized) -> str:
    """Which grids were chosen, in how many beats."""
    counted = Counter(grid.name for grid in quantized.grids.values())
    grids = ", ".join(f"{name} in {count} {'beat' if count == 1 else 'beats'}" for name, count in counted.most_common())
    swung = ""
    if quantized.upbeat is not None and counted["swung eighths"]:
        ratio = float(quantized.upbeat / (1 - quantized.upbeat))
        swung = f"; swung about {ratio:.1f} to 1, written as even eighths"
    return f"grid: {grids}{swung}"


def _tempo(quantized: Quantized) -> list[str]:
    """Say at which tempo it was played, where that is not the file's."""
    if quantized.pace == 1.0 or not quantized.placed:
        return []
    played_bpm = 60 / quantized.placed[0].note.quarter_seconds
    return [f"played at about {played_bpm:.1f} quarters a minute; the file says {played_bpm / quantized.pace:.0f}"]


def _alike(quantized: Quantized, meter: Meter, silent: int) -> list[str]:
    """Say where swung eighths and another rhythm are one sound, to the tick."""
    if not quantized.alike or quantized.upbeat is None:
        return []
    other = "8. 16" if quantized.upbeat == Fraction(3, 4) else "6 12"
    return [f"8 8 and {other} sound alike at this swing; 8 8 is written ({_bars(quantized.alike, meter, silent)})"]


def _sureness(quantized: Quantized, meter: Meter, silent: int) -> list[str]:
    """How sure the reading is, and which bars to look at."""
    if not quantized.sure:
        return []
    doubtful = [beat for beat, sure in quantized.sure.items() if sure < SURE]
    told = f"spread {quantized.spread_seconds * 1000:.0f} ms; every place right with a probability of "
    told += f"{_percent(prod(quantized.sure.values()))}"
    return [told + (f"; doubtful: {_bars(doubtful, meter, silent)}" if doubtful else "")]


def _percent(share: float) -> str:
    return "over 99%" if share > 0.99 else "under 1%" if share < 0.01 else f"{share * 100:.0f}%"


def _bars(beats: Iterable[int], meter: Meter, silent: int) -> str:
    """The bars of these beats by their numbers: "bars 2, 5"."""
    return numbers_listed(sorted({int(beat * beat_of(meter) // meter.length) + 1 - silent for beat in beats}))


def _distances(quantized: Quantized, meter: Meter, silent: int) -> str:
    """How far the notes were from the grid."""
    distances = [abs(float(item.off)) * item.note.quarter_seconds * 1000 for item in quantized.placed]
    worst = max(range(len(distances)), key=distances.__getitem__)
    bar, within = divmod(quantized.placed[worst].onset, meter.length)
    return (
        f"distance from the grid: mean {sum(distances) / len(distances):.1f} ms, worst {distances[worst]:.1f} ms "
        f"(bar {int(bar) + 1 - silent}, beat {place_name(within, meter)})"
    )
