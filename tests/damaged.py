"""The bundled soundfont, damaged inside its tables: each fault that was found, by name.

As a program it opens each in this process and prints what came of it, a line each: the name, a tab, and the message or
the peaks of a ride and a bass drum stroke.
"""

import struct
import sys
from pathlib import Path

import numpy as np

from grooves.errors import LessonError
from render.soundfont.soundfont import default_soundfont, open_kit

RECORDS = {  # SoundFont Technical Specification 2.04, section 7
    "phdr": "<20sHHHIII",
    "pbag": "<HH",
    "pgen": "<HH",
    "inst": "<20sH",
    "ibag": "<HH",
    "imod": "<HHhHH",
    "igen": "<HH",
    "shdr": "<20sIIIIIBbHH",
}
PROGRAM, BANK, FIRST_ZONE = 1, 2, 3  # fields of phdr
START, END, LOOP_START, LOOP_END, RATE, LINK, KIND = 1, 2, 3, 4, 5, 8, 9  # fields of shdr
RIDE = 51


class Font:
    """The bundled soundfont as lists of chunks, to be damaged at one place."""

    def __init__(self):
        data, at, self.lists = default_soundfont().read_bytes(), 12, []
        while at < len(data):
            end = at + 8 + struct.unpack_from("<I", data, at + 4)[0]
            chunks, inner = [], at + 12
            while inner < end:
                name, length = struct.unpack_from("<4sI", data, inner)
                chunks.append([name.decode(), bytearray(data[inner + 8 : inner + 8 + length])])
                inner += 8 + length
            self.lists.append([data[at + 8 : at + 12].decode(), chunks])
            at = end
        self.facts, self.samples, self.tables = (chunks for _, chunks in self.lists)
        self.lengths = {}  # by chunk, or by kind of list, where the file is to say another than the true one

    def bytes(self):
        lists = b""
        for kind, chunks in self.lists:
            inner = b"".join(self._chunk(name, data) for name, data in chunks)
            lists += self._chunk("LIST", kind.encode() + inner, kind)
        return self._chunk("RIFF", b"sfbk" + lists)

    def _chunk(self, name, data, kind=""):
        return name.encode() + struct.pack("<I", self.lengths.get(kind or name, len(data))) + data

    def table(self, name):
        return next(data for chunk, data in self.tables if chunk == name)

    def get(self, table, record, field):
        size = struct.calcsize(RECORDS[table])
        return struct.unpack_from(RECORDS[table], self.table(table), record % self.count(table) * size)[field]

    def count(self, table):
        return len(self.table(table)) // struct.calcsize(RECORDS[table])

    def put(self, table, record, field, value):
        at = record % self.count(table) * struct.calcsize(RECORDS[table])
        fields = list(struct.unpack_from(RECORDS[table], self.table(table), at))
        fields[field] = value
        struct.pack_into(RECORDS[table], self.table(table), at, *fields)

    def zone(self, key):
        """The instrument's zone of a key of the jazz kit: its bag."""
        generator = self.get("pbag", self.get("phdr", self._kit(), FIRST_ZONE) + 1, 0) - 1
        first = self.get("inst", self.get("pgen", generator, 1), 1)
        return next(n for n in range(first, first + 99) if self.get("igen", self.get("ibag", n, 0), 1) == key * 257)

    def _kit(self):
        """The jazz kit's preset."""
        return next(
            n for n in range(self.count("phdr")) if self.get("phdr", n, 1) == 32 and self.get("phdr", n, 2) == 128
        )

    def sample(self, key):
        return self.get("igen", self.get("ibag", self.zone(key) + 1, 0) - 1, 1)

    def shape(self, key, *generators):
        """Add generators to the end of a zone, where they count before others of their number."""
        records = [struct.pack("<Hh", *generator) for generator in generators]
        self._insert(self.zone(key), 0, "igen", self.get("ibag", self.zone(key) + 1, 0) - 1, records)

    def shape_outside(self, *generators):
        """Add generators to the jazz kit's own zone."""
        kit = self._kit()
        zone = self.get("phdr", kit, FIRST_ZONE)
        at = 4 * self.get("pbag", zone, 0)
        self.table("pgen")[at:at] = b"".join(struct.pack("<Hh", *generator) for generator in generators)
        for later in range(zone + 1, self.count("pbag")):
            self.put("pbag", later, 0, self.get("pbag", later, 0) + len(generators))

    def aim(self, key, *modulators):
        """Add modulators to a zone: what each follows, the generator it aims at, the amount."""
        records = [struct.pack(RECORDS["imod"], *modulator, 0, 0) for modulator in modulators]
        self._insert(self.zone(key), 1, "imod", self.get("ibag", self.zone(key), 1), records)

    def _insert(self, bag, column, table, number, records):
        at = number * struct.calcsize(RECORDS[table])
        self.table(table)[at:at] = b"".join(records)
        for later in range(bag + 1, self.count("ibag")):
            self.put("ibag", later, column, self.get("ibag", later, column) + len(records))


def put(table, record, field, value):
    """Write one number over another."""
    return lambda font: font.put(table, record, field, value)


def sample(field, value):
    """Write a number into the ride's sample."""
    return lambda font: font.put("shdr", font.sample(RIDE), field, value)


def shape(*generators):
    """Give the ride's zone more generators."""
    return lambda font: font.shape(RIDE, *generators)


def aim(*modulators):
    """Give the ride's zone modulators."""
    return lambda font: font.aim(RIDE, *modulators)


def loop(first, last, *generators):
    """Loop the ride's sample between two of its frames."""

    def edit(font):
        number = font.sample(RIDE)
        for field, frame in ((LOOP_START, first), (LOOP_END, last)):
            font.put("shdr", number, field, font.get("shdr", number, START) + frame)
        font.shape(RIDE, (MODE, 1), *generators)

    return edit


def both(*edits):
    return lambda font: [edit(font) for edit in edits]


def swap(kind, one, other):
    """Let two chunks change places."""

    def edit(font):
        chunks = getattr(font, kind)
        chunks[one], chunks[other] = chunks[other], chunks[one]

    return edit


def cut(table, start, end=None):
    """Take bytes out of a table."""
    return lambda font: font.table(table).__delitem__(slice(start, end))


def length(chunk, value):
    """Let a chunk say that it is of another length."""
    return lambda font: font.lengths.__setitem__(chunk, value)


BY_VELOCITY, BY_SOFTNESS = 2, 0x0102  # what a modulator follows, section 8.2
VIBRATO, ENVELOPE, FINE, COARSE, PLAYED_KEY, KEY_TO_KEY, ROOT = 6, 7, 52, 51, 46, 56, 58  # generators, section 8.1.2
OFFSET, LOOP_END_COARSE, MODE, ATTENUATION, VELOCITIES = 0, 50, 54, 48, 44
NO_RIDE = r"its kit 'Jazz' has no sound on key 51 \(ride\); choose another soundfont"
SILENT = r"its sample for key 51 \(ride\) is silent; choose another soundfont"
NO_GENERATOR = "damaged: a modulator points at something that is no generator; get the file again"
PAST_TABLE = "damaged: a sound points past the end of its table; get the file again"
OUT_OF_REACH = "damaged: one of its sounds is tuned out of all reach; get the file again"
PAST_LOOP = "damaged: its sample 'Ride Ping' starts past its loop; get the file again"
TOO_LONG = "damaged: a part of it is longer than the file; get the file again"
NO_SAMPLES = "damaged: the samples of its drum kits are not in it; get the file again"
NO_INSTRUMENT = "damaged: a preset points at an instrument that is not there; get the file again"
NO_SAMPLE = "damaged: an instrument points at a sample that is not there; get the file again"
SOUND = r"[\d.e-]+ [\d.e-]+"


def misplaced(what):
    return f"damaged: its list {what} is missing or not where it should be; get the file again"


def misfit(table):
    return f"damaged: its table {table} is missing or has the wrong length; get the file again"


def fact(name, length):
    return f"damaged: its list INFO has a part '{name}' of {length} bytes; get the file again"


# What FluidSynth would refuse; it hands such files on to a reader of other formats, which complains by itself.
REFUSED = {
    "lengths past 32 bits": (length("smpl", 2**32 - 1), TOO_LONG),
    "a list past 32 bits": (length("pdta", 2**32 - 4), TOO_LONG),
    "a fact past its list": (length("INAM", 300), TOO_LONG),
    "lengths of zero": (length("sdta", 0), TOO_LONG),
    "a file longer than it says": (
        length("RIFF", 1000),
        r"damaged: it should have 1008 bytes and has \d+; get the file again",
    ),
    "a file shorter than it says": (
        length("RIFF", 2**32 - 1),
        r"cut short: it should have 4294967303 bytes and has \d+; get it again",
    ),
    "lists in another order": (swap("lists", 0, 1), misplaced("INFO")),
    "a list less": (lambda font: font.lists.pop(1), misplaced("sdta")),
    "a list twice": (lambda font: font.lists.insert(1, font.lists[1]), misplaced("pdta")),
    "an unknown fact": (lambda font: font.facts.append(["abcd", b"ab"]), fact("abcd", 2)),
    "an empty fact": (lambda font: font.facts[2][1].clear(), fact("INAM", 0)),
    "version 1": (lambda font: font.facts[0][1].__setitem__(0, 1), r"not a SoundFont 2 file \(its version is 1\); .*"),
    "samples of another name": (
        lambda font: font.samples[0].__setitem__(0, "sm24"),
        r".* samples \(smpl\) are missing; .*",
    ),
    "tables in another order": (swap("tables", 1, 2), misfit("pbag")),
    "a table twice": (lambda font: font.tables.insert(5, font.tables[4]), misfit("ibag")),
    "an empty table": (cut("igen", 0), misfit("igen")),
    "half a record": (cut("igen", -2), misfit("igen")),
    "a closing record less": (cut("shdr", -46), NO_SAMPLE),
    "an empty closing record": (put("phdr", -1, FIRST_ZONE, 0), PAST_TABLE),
    "a first zone that is not the first": (put("phdr", 0, FIRST_ZONE, 1), PAST_TABLE),
    "zones of no preset": (lambda font: font.table("pbag").extend(font.table("pbag")[-4:]), PAST_TABLE),
    "generators backwards": (put("ibag", 300, 0, 1), PAST_TABLE),
    "generators past the end": (put("ibag", -1, 0, 60000), PAST_TABLE),
    "modulators backwards": (put("ibag", 300, 1, 60000), PAST_TABLE),
    "no such instrument": (put("pgen", 7, 1, 60000), NO_INSTRUMENT),
    "no such sample": (lambda font: font.put("igen", font.get("ibag", 255, 0) - 1, 1, 60000), NO_SAMPLE),
}
# What makes FluidSynth 2.3 write or read outside its memory.
DEADLY = {
    "a modulator at no generator": (aim((BY_VELOCITY, 2626, 9000)), NO_GENERATOR),
    "a modulator at the first number that is none": (aim((BY_VELOCITY, 59, 9000)), NO_GENERATOR),
    "a modulator at a low byte that is one": (aim((BY_VELOCITY, 0x0808, 9000)), NO_GENERATOR),
    "a start past its loop": (loop(0, 1000, (OFFSET, 1500)), PAST_LOOP),
    "a start five frames before its loop's end": (loop(0, 1000, (OFFSET, 995)), PAST_LOOP),
    "a start that velocity moves": (both(loop(0, 1000), aim((BY_VELOCITY, OFFSET, 1800))), PAST_LOOP),
    "a loop moved before its start": (loop(1900, -(2**18), (OFFSET, 5000), (LOOP_END_COARSE, -99)), PAST_LOOP),
}
# What makes it hang or crawl.
ENDLESS = {
    "keys too far apart": (shape((KEY_TO_KEY, 32767)), OUT_OF_REACH),
    "played as no key": (shape((PLAYED_KEY, 22628)), OUT_OF_REACH),
    "tuned too high": (shape((COARSE, 120), (ENVELOPE, 12000)), OUT_OF_REACH),
    "tuned too fine": (shape((FINE, 32767)), OUT_OF_REACH),
    "tuned too high inside and outside together": (
        both(shape((COARSE, 100)), lambda font: font.shape_outside((COARSE, 100))),
        OUT_OF_REACH,
    ),
    "tuned by velocity": (aim((BY_VELOCITY, ENVELOPE, 12000), (BY_VELOCITY, VIBRATO, 12000)), OUT_OF_REACH),
    "a rate of 0": (sample(RATE, 0), "damaged: its sample 'Ride Ping' has a rate of 0 Hz; get the file again"),
    "a huge rate": (sample(RATE, 2**32 - 1), ".* 'Ride Ping' has a rate of 4294967295 Hz; .*"),
}
SILENCE = {
    "attenuation without end": (shape((ATTENUATION, 32767)), SILENT),
    "soft strokes silent": (aim((BY_SOFTNESS, ATTENUATION, 32767)), SILENT),
    "hard strokes silent": (aim((BY_VELOCITY, ATTENUATION, 32767)), SILENT),
    "ends swapped": (sample(END, 9), NO_RIDE),
    "an end past the data": (sample(END, 2**32 - 1), NO_RIDE),
    "in ROM": (sample(KIND, 0x8001), NO_RIDE),
    "samples cut short": (lambda font: font.samples[0][1].__delitem__(slice(1000, None)), NO_SAMPLES),
    "samples empty": (lambda font: font.samples[0][1].clear(), NO_SAMPLES),
}
PLAYED = {
    "nothing": (lambda font: None, SOUND),
    "no modulators, not even the closing one": (cut("pmod", 0), SOUND),
    "a loop past the data": (loop(-5, 2**30), SOUND),
    "a loop backwards": (loop(1000, 10), SOUND),
    "a start in a loop from the first frame": (loop(0, 1000, (OFFSET, 500)), SOUND),
    "a start late in a loop from the first frame": (loop(0, 1000, (OFFSET, 990)), SOUND),
    "a filter and an envelope out of range": (shape(*((number, -32768) for number in (8, 9, 34, 36, 38))), SOUND),
    "tuned down ten octaves": (shape((COARSE, -120)), SOUND),
    "tuned up inside and outside, within reach": (
        both(shape((COARSE, 1)), lambda font: font.shape_outside((COARSE, 1))),
        SOUND,
    ),
    "a link to no sample": (sample(LINK, 60000), SOUND),
}
DAMAGE = REFUSED | DEADLY | ENDLESS | SILENCE | PLAYED


def outcome(path):
    """The message, or the peaks of two strokes."""
    try:
        kit = open_kit(path, use_cache=False)
        try:
            return " ".join(f"{np.abs(kit.hit(key, velocity)).max():.3g}" for key, velocity in ((RIDE, 90), (36, 40)))
        finally:
            kit.close()
    except LessonError as error:
        return str(error)


def main(path):
    for name, (edit, _) in DAMAGE.items():
        print(name, end="\t", flush=True)
        font = Font()
        edit(font)
        path.write_bytes(font.bytes())
        print(outcome(path), flush=True)


if __name__ == "__main__":
    main(Path(sys.argv[1]))
