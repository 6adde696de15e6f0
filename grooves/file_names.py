"""Names of people's things as parts of file names."""

import re
import unicodedata

# What Windows keeps for devices, whatever ending follows. Source: Microsoft, "Naming Files, Paths, and Namespaces".
DEVICES = frozenset({"con", "prn", "aux", "nul", *(f"{port}{n}" for port in ("com", "lpt") for n in range(10))})


def slug(name: str, fallback: str = "track") -> str:
    """A name as part of a file name: `slug("You play the snare!")` is "you-play-the-snare"; `slug("Con")`, "track-con".

    Small letters, digits and hyphens alone, at most 80; a name without any is the fallback. So it is a name on every
    system: no device's, without colon, question mark or a dot at the end.
    """
    plain = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode().lower()
    plain = re.sub(r"[^a-z0-9]+", "-", plain).strip("-")[:80].strip("-")
    return f"{fallback or 'of'}-{plain}" if plain in DEVICES else plain or fallback
