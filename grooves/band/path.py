"""The best way through pitches by dynamic programming: each note is judged with the two before it.

A note's cost has three parts: its own (is it a chord tone, does it lie well), that of the interval into it, and that
of two intervals in a row (a leap asks for a step back). The cheapest whole line wins, as in a Viterbi search:
A. J. Viterbi, IEEE Trans. Information Theory 13(2), 1967; here over pairs of notes.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Costs = NDArray[np.float32]


@dataclass(frozen=True)
class Step:
    """One note to be found: what each pitch costs there, and what each interval into it costs."""

    own: Costs  # (pitches,)
    into: Costs  # (pitches before, pitches)


def cheapest_path(steps: Sequence[Step], triples: Costs, before: tuple[int, int] | None = None) -> list[int]:
    """Indexes of the pitches of the cheapest line: one for each step.

    `triples[b, c, a]` is the cost of the notes a, b, c in a row. `before` are the two notes already played, if any.
    """
    costs = _first_costs(steps, triples, before)
    back: list[NDArray[np.intp]] = []
    for step in steps[2:]:
        reached = costs.T[:, None, :] + triples
        back.append(reached.argmin(axis=2))
        costs = np.take_along_axis(reached, back[-1][:, :, None], axis=2)[:, :, 0] + step.into + step.own
    end = int(costs.argmin())
    pair = divmod(end, costs.shape[1])
    path = [pair[1], pair[0]]
    for origin in reversed(back):
        path.append(int(origin[path[-1], path[-2]]))
    return path[::-1][: len(steps)] if len(steps) > 1 else [path[0]]


def _first_costs(steps: Sequence[Step], triples: Costs, before: tuple[int, int] | None) -> Costs:
    """Cost of each pair of the first two notes; for a single note, of each pair of the note before and itself."""
    first = steps[0].own.copy()
    if before:
        first += steps[0].into[before[1]] + triples[before[1], :, before[0]]
    if len(steps) == 1:
        return np.broadcast_to(first, (len(first), len(first)))
    pairs: Costs = first[:, None] + steps[1].into + steps[1].own
    return pairs + triples[:, :, before[1]] if before else pairs
