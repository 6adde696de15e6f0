"""The drum kit as tables: limbs, instruments, MIDI keys and places on the staff.

Keys: General MIDI 1 percussion key map, channel 10.
Staff places: N. Weinberg, Guidelines for Drumset Notation, Percussive Notes, June 1994, pp. 15-26,
as display-step and octave in percussion clef (middle line B4): seen as others transcribe them, not the page itself.
Which limb plays what on a right-handed kit: common practice, no source.
"""

from dataclasses import dataclass
from types import MappingProxyType
from typing import Literal

HeadShape = Literal["normal", "x", "diamond", "circle-x"]
Handedness = Literal["right-handed", "left-handed"]  # which way round a kit stands

HANDS = ("right hand", "left hand")
FEET = ("right foot", "left foot")
LIMBS = (*HANDS, *FEET)


@dataclass(frozen=True)
class Instrument:
    """One sound of the kit: `INSTRUMENTS["ride"].key` is 51."""

    name: str
    key: int  # General MIDI percussion key
    limb: str  # the limb that plays it unless a groove says otherwise; "" for a helper's sound
    step: str  # staff place, e.g. "F5"
    head: HeadShape
    choke: str = ""  # instruments of one choke group cut each other off


_ALL = (
    Instrument("ride", 51, "right hand", "F5", "x"),
    Instrument("ride bell", 53, "right hand", "F5", "diamond"),
    Instrument("closed hi-hat", 42, "right hand", "G5", "x", "hat"),
    Instrument("open hi-hat", 46, "right hand", "G5", "circle-x", "hat"),
    Instrument("snare", 38, "left hand", "C5", "normal"),
    Instrument("cross-stick", 37, "left hand", "C5", "x"),
    Instrument("bass drum", 36, "right foot", "F4", "normal"),
    Instrument("hi-hat", 44, "left foot", "D4", "x", "hat"),  # with the foot
    # General MIDI 1 has no pair of sticks; its side stick is the nearest sound every module has.
    Instrument("sticks", 37, "", "C5", "x"),
    Instrument("click", 76, "", "C5", "x"),  # high wood block
)

INSTRUMENTS = MappingProxyType({instrument.name: instrument for instrument in _ALL})

# What a lesson may call a part, in the order of the staff from top to bottom.
PARTS = ("ride", "ride bell", "closed hi-hat", "open hi-hat", "snare", "cross-stick", "bass drum", "hi-hat")
HELPERS = MappingProxyType({"count-in": "sticks", "click": "click"})
BAND = ("bass", "piano", "horns")  # who else may play: pitched parts, in the order of their MIDI channels


def mirrored(limb: str) -> str:
    """Swap right and left in a limb's name: `mirrored("left hand")` is "right hand"."""
    side, _, rest = limb.partition(" ")
    return f"{({'right': 'left', 'left': 'right'})[side]} {rest}" if rest else limb
