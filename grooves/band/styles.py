"""Which bass goes with which groove. Common practice, no source."""

from grooves.groove import Groove, swings

BY_GROOVE = {  # what goes with the shipped grooves, at whatever swing a lesson plays them
    "swing": "walking", "fast-swing": "walking", "shuffle": "walking", "jazz-waltz": "walking",
    "five-four-swing": "walking", "six-eight": "walking", "twelve-eight": "walking", "two-feel": "two-feel",
    "bossa-nova": "dotted", "jazz-samba": "dotted", "second-line": "street", "straight-eighths": "straight",
}  # fmt: skip


def style_for(groove: Groove, bass: str) -> str:
    """How the bass plays over a groove: `style_for(bossa, "by the groove")` is "dotted", else what is asked for."""
    if bass != "by the groove":
        return bass
    if groove.name in BY_GROOVE:  # another one walks where it swings, and where its bar has not four felt beats
        return BY_GROOVE[groove.name]
    return "walking" if swings(groove) or groove.meter.compound or groove.meter.pulses != 4 else "straight"
