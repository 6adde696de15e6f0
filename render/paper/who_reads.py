"""Who reads the line, in words: "on the bass drum, gaps on the snare"."""

from grooves.kit import PARTS
from grooves.line import PlayedOn
from grooves.score import Score


def read_on(score: Score, reading: int) -> str:
    """Who reads, as a heading says it: `read_on(score, 0)` is "on the snare"."""
    ways = score.played_on if score.readings == 1 else score.played_on[reading : reading + 1]
    said = dict.fromkeys(map(_way, ways))
    if len(said) > 1 and all(way.instruments == (way.long,) and not way.gaps and not way.alternate for way in ways):
        names = {way.long for way in ways}
        return f"on the {' and '.join(name for name in PARTS if name in names)} in turn"
    return ", then ".join(said)


def reads_from(score: Score, number: int) -> str:
    """Who reads from the letter over a bar on, "" where that stays as it was: `reads_from(score, 9)`."""
    before: tuple[PlayedOn, ...] = ()
    for one in score.letters:
        if one.bar == number and one.readers != before:
            return ", then ".join(dict.fromkeys(map(_way, one.readers)))
        before = one.readers
    return ""


def _way(way: PlayedOn) -> str:
    if way.alternate:
        return f"on the {way.long}, hands in turn"
    if way.long != way.short:
        return f"on the {way.long} (long notes) and the {way.short} (short)"
    return f"on the {way.long}" + (f", gaps on the {way.gaps}" if way.gaps else "")
