"""Hostile sound: recordings by the rules of WAVE, and soundfonts by those of SF2, with wrong numbers here and there."""

import math
import struct
from array import array
from functools import lru_cache

from hostile import damaged, seldom
from hypothesis import strategies as st

# --- recordings: RIFF WAVE (Microsoft, Multiple Channel Audio Data and WAVE Files, 2001) -----------

RATE = 8000  # the lowest that is read, so that a case is cheap
PCM, FLOAT, EXTENSIBLE = 1, 3, 0xFFFE
_ODD = [float("nan"), float("inf"), float("-inf"), 1e30, -1e30, 0.0]
_SOUNDS = ["strokes"] * 8 + ["noise", "silence", "full", "nothing", "one"]


@lru_cache(None)
def _sound(kind: str, seconds: float) -> tuple[float, ...]:
    """One channel: strokes on the beats of 120 a minute, or what nobody plays."""
    count = int(seconds * RATE)
    match kind:
        case "strokes":
            period = RATE // 2
            return tuple(math.exp(-(n % period) / 200) * math.sin(n * n % 977) * 0.5 for n in range(count))
        case "noise":
            return tuple(math.sin(n * n * 0.37) for n in range(count))
        case "full":
            return tuple((-1.0) ** (n // 40) for n in range(count))
        case "silence":
            return (0.0,) * count
    return (0.5,) if kind == "one" else ()


def _packed(frames: tuple[float, ...], channels: int, tag: int, bits: int) -> bytes:
    many = [value for value in frames for _ in range(min(channels, 2))]
    if tag == FLOAT:
        return array("f" if bits == 32 else "d", many).tobytes()
    return array("h", (round(32767 * value) for value in many)).tobytes()


def wave_file(data: bytes, tag: int = PCM, channels: int = 1, rate: int = RATE) -> bytes:
    """A recording that is right."""
    bits = 16 if tag == PCM else 32
    head = struct.pack("<IHHIIHH", 16, tag, channels, rate, rate * channels * bits // 8, channels * bits // 8, bits)
    inside = b"WAVEfmt " + head + b"data" + struct.pack("<I", len(data)) + data
    return b"RIFF" + struct.pack("<I", len(inside)) + inside


@st.composite
def wav(draw) -> bytes:
    """A recording: mostly strokes of a few seconds, at times with a header that lies."""
    tag = draw(seldom(st.sampled_from([PCM, PCM, FLOAT]), st.sampled_from([0, 2, 17, 85, EXTENSIBLE, 65535]), 16))
    bits = {PCM: 16, FLOAT: 32}.get(tag, 16)
    said_bits = draw(seldom(st.just(bits), st.sampled_from([0, 1, 8, 12, 24, 64, 65535]), 16))
    channels = draw(seldom(st.sampled_from([1, 1, 2]), st.sampled_from([0, 3, 8, 255, 65535]), 16))
    rate = draw(
        seldom(st.just(RATE), st.sampled_from([0, 1, 7999, 11025, 44100, 192_000, 192_001, 2**31, 2**32 - 1]), 12)
    )
    data = _packed(_sound(draw(st.sampled_from(_SOUNDS)), draw(st.sampled_from([0.5, 3.0, 8.0]))), channels, tag, bits)
    if tag == FLOAT and draw(st.integers(0, 2)) == 1:
        at = draw(st.integers(0, max(len(data) // 4 - 1, 0)))
        data = (
            data[: 4 * at]
            + struct.pack("<f", draw(st.sampled_from(_ODD))) * draw(st.sampled_from([1, 400]))
            + data[4 * at :]
        )
    align = draw(seldom(st.just(channels * said_bits // 8 % 65536), st.sampled_from([0, 1, 3, 65535])))
    head = struct.pack("<HHIIHH", tag, channels, rate, rate * align % 2**32, align, said_bits)
    more = b"LIST" + struct.pack("<I", draw(st.sampled_from([4, 0, 2**32 - 1]))) + b"INFO"
    length = draw(seldom(st.just(len(data)), st.sampled_from([0, 1, 2**31, 2**32 - 1]), 12))
    inside = b"WAVEfmt " + struct.pack("<I", draw(seldom(st.just(16), st.sampled_from([0, 14, 18, 2**32 - 1])))) + head
    inside += draw(seldom(st.just(b""), st.just(more), 12)) + b"data" + struct.pack("<I", length) + data
    whole = b"RIFF" + struct.pack("<I", draw(seldom(st.just(len(inside)), st.sampled_from([0, 2**32 - 1])))) + inside
    return draw(damaged(whole)) if draw(st.integers(0, 15)) == 7 else whole


# --- soundfonts: SoundFont Technical Specification 2.04, sections 5 to 8 ---------------------------

FRAMES = 400  # of a sample; 46 of silence follow (section 6.1)
_NUMBERS = [0, 1, 2, 3, 127, 128, 255, 0x7FFF, 0x8000, 0xFFFF, 2**31 - 1, 2**31, 2**32 - 1]
_AMOUNTS = st.sampled_from(
    [0, 1, 60, 127, 0x7F00, 0x7F7F, 0x0A00, 960, 1000, 7900, 12000, 0x7FFF, 0x8000, 0x8AD0, 0xFFFF]
)
_KEY, _VELOCITY, _INSTRUMENT, _SAMPLE = 43, 44, 41, 53


@st.composite
def number(draw, right: int, bits: int) -> int:
    """A field of a record, one in 60 a wrong one."""
    return draw(seldom(st.just(right), st.sampled_from(_NUMBERS), 60)) % 2**bits


@st.composite
def _zone(draw, last: int, pointer: int) -> list[tuple[int, int]]:
    """Generators of a zone: at times a range of keys, some of all kinds, and what it points at."""
    found = [(_KEY, draw(seldom(st.just(0x7F00), _AMOUNTS, 12)))] if draw(st.booleans()) else []
    kinds = st.one_of(st.integers(0, 58), st.sampled_from([0, 2, 3, 4, 46, 48, 51, 54, 57, 58, 59, 255]))
    found += draw(st.lists(st.tuples(kinds.filter(lambda kind: kind not in (41, 43, 53)), _AMOUNTS), max_size=2))
    return [*found, (last, pointer)]


def _bags(zones: list[list[tuple[int, int]]]) -> tuple[bytes, bytes]:
    """The tables of zones: where each begins, and the generators of all."""
    starts = [sum(map(len, zones[:number])) for number in range(len(zones) + 1)]
    generators = b"".join(struct.pack("<HH", *one) for zone in zones for one in zone)
    return b"".join(struct.pack("<HH", start, 0) for start in starts), generators + bytes(4)


def _chunk(name: bytes, data: bytes, length: int | None = None) -> bytes:
    return name + struct.pack("<I", len(data) if length is None else length) + data


@st.composite
def _samples(draw, count: int) -> bytes:
    """The headers of samples, one after another in the data."""
    rows = b""
    for place in range(count):
        start = place * (FRAMES + 46)
        fields = [start, start + FRAMES, start + 50, start + FRAMES - 50, 22050]
        fields = [draw(number(value, 32)) for value in fields]
        kind = draw(seldom(st.just(1), st.sampled_from([0, 2, 4, 8, 16, 0x8001, 65535])))
        rows += struct.pack("<20s5IBbHH", b"stroke", *fields, draw(number(60, 8)), 0, 0, kind)
    return rows + struct.pack("<20s5IBbHH", b"EOS", *[0] * 5, 0, 0, 0, 0)


@lru_cache(None)
def _waves(count: int) -> bytes:
    wave = array("h", (round(12000 * math.exp(-n / 150) * math.sin(n / 3)) for n in range(FRAMES)))
    return (wave.tobytes() + bytes(92)) * count


@st.composite
def soundfonts(draw) -> bytes:
    """A soundfont of one drum kit of a few short samples."""
    count = draw(st.integers(1, 3))
    zones = [draw(_zone(_SAMPLE, draw(number(place, 16)))) for place in range(count)]
    bags, generators = _bags(zones)
    preset_bags, preset_generators = _bags([draw(_zone(_INSTRUMENT, draw(number(0, 16))))])
    preset = struct.pack("<20sHHHIII", b"Kit", draw(number(0, 16)), draw(number(128, 16)), 0, 0, 0, 0)
    presets = preset + struct.pack("<20sHHHIII", b"EOP", 0, 0, draw(number(1, 16)), 0, 0, 0)
    instruments = struct.pack("<20sH", b"Kit", 0) + struct.pack("<20sH", b"EOI", draw(number(count, 16)))
    tables = {
        b"phdr": presets, b"pbag": preset_bags, b"pmod": bytes(10), b"pgen": preset_generators, b"inst": instruments,
        b"ibag": bags, b"imod": bytes(10), b"igen": generators, b"shdr": draw(_samples(count)),
    }  # fmt: skip
    facts = b"INFO" + _chunk(b"ifil", struct.pack("<HH", draw(number(2, 16)), 1)) + _chunk(b"INAM", b"Kit\0")
    pdta = b"pdta" + b"".join(_chunk(name, data, draw(number(len(data), 32))) for name, data in tables.items())
    inside = (
        b"sfbk"
        + _chunk(b"LIST", facts)
        + _chunk(b"LIST", b"sdta" + _chunk(b"smpl", _waves(count)))
        + _chunk(b"LIST", pdta)
    )
    whole = _chunk(b"RIFF", inside, draw(number(len(inside), 32)))
    return draw(damaged(whole, 3)) if draw(st.integers(0, 9)) == 7 else whole
