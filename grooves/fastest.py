"""How fast a limb can strike."""

from types import MappingProxyType

# Strokes a second, three in a row, where most players' hands and feet end. Ours; a foot is slower than a hand.
FASTEST_PER_SECOND = MappingProxyType({"hand": 12.0, "foot": 8.0})


def fastest_per_second(limb: str) -> float:
    """How many strokes a second a limb can be asked for: `fastest_per_second("left foot")` is 8."""
    return FASTEST_PER_SECOND["foot" if limb.endswith("foot") else "hand"]
