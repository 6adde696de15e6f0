"""Which bass goes with which groove. Common practice, no source."""

from grooves.groove import Groove, swings

BY_GROOVE = {  # what goes with the shipped grooves; what is not named walks where it swings or is felt in threes
    "two-feel": "two-feel", "bossa-nova": "dotted", "jazz-samba": "dotted", "second-line": "street",
    "straight-eighths": "straight",
}  # fmt: skip


def style_for(groove: Groove, bass: str) -> str:
    """How the bass plays over a groove: `style_for(bossa, "by the groove")` is "dotted", else what is asked for."""
    if bass != "by the groove":
        return bass
    if groove.name in BY_GROOVE:
        return BY_GROOVE[groove.name]
    return "walking" if swings(groove) or groove.meter.compound or groove.meter.pulses != 4 else "straight"
