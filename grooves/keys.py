"""What a key of a lesson or a groove file is for: the rows of the tables in `docs/`."""

from dataclasses import dataclass


@dataclass(frozen=True)
class Key:
    """What a key is for, and one line that shows it: `Key("how fast", "tempo = 120")`.

    Where nothing else knows them, also what it takes, its unit and what stands for it when it is left out.
    """

    what: str
    example: str
    kind: str = ""
    unit: str = ""
    default: str = ""  # "" is needed; "none" is left out


# All keys of a groove file; `docs/groove.md` is made of them.
GROOVE_KEYS = {
    "name": Key("what a lesson calls it", 'name = "swing"', "text"),
    "title": Key("what a person calls it", 'title = "Swing"', "text"),
    "meter": Key("the time signature", 'meter = "4/4"', "text, 1 to 16 over 2, 4 or 8"),
    "swing": Key("how long the first of two eighths is", "swing = 2.0", 'ratio, 1.0 to 4.0, or "by tempo", "as measured", "straight"', "long:short", '"straight"'),
    "tempo": Key("from where to where it is at home", "tempo = [60, 300]", "two numbers, 30 to 400", "beats a minute"),
    "beat": Key("the note that the tempo counts", 'beat = "4."', "note value", "", "a quarter; in x/8 the felt beat"),
    "source": Key("what it rests on", 'source = "common practice, no source"', "text", "", "none"),
}  # fmt: skip
PART_KEYS = {
    "limb": Key("who plays it", 'limb = "left hand"', "a limb", "", "the limb that usually does"),
    "instrument": Key("what it is played on", 'instrument = "closed hi-hat"', "an instrument of the kit", "", "the part's name"),
    "counts": Key("the pattern as spoken counts, one or more bars in turn; either this or values", 'counts = "1 2 & 3 4 &"', "text", "", "none"),
    "values": Key("the pattern as note values", 'values = "4 8 8 4 8 8"', "text", "", "none"),
    "accents": Key("counts that are stronger", 'accents = "2 4"', "text", "", "none"),
    "accent": Key("how much stronger", "accent = 2.0", "number, -40 to 12", "LU", "0"),
    "light": Key("counts that are lighter", 'light = "(2) & (4) &"', "text", "", "none"),
    "lighter": Key("how much lighter, below 0", "lighter = -2.0", "number, -40 to 12", "LU", "0"),
    "level": Key("loudness of a plain stroke against the ride's", "level = -6", "number, -40 to 12", "LU", "0"),
    "spread": Key("share of the lesson's deviation in level that it takes; even, feathered strokes take less", "spread = 0.3", "number, 0 to 2", "", "1"),
}  # fmt: skip
