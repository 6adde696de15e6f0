"""Words for bars that are as an earlier one: "Bars 9–12: as bars 1–4."."""

from collections.abc import Sequence
from dataclasses import dataclass, replace


@dataclass(frozen=True)
class Playing:
    """A bar as a reader finds it: `str(Playing(5))` is "bar 5"; `round` is 2 where its second playing differs."""

    number: int
    round: int = 1
    read_on: str = ""

    def __str__(self) -> str:
        again = f", round {self.round}" if self.round > 1 else ""
        return f"bar {self.number}{again}" + (f" on the {self.read_on}" if self.read_on else "")


Reference = tuple[Playing, Playing]  # a bar, and the earlier one that it is like


def reference_words(references: Sequence[Reference]) -> list[str]:
    """The words that send the reader back, a sentence for each run: `["Bar 5: as bar 2."]`."""
    return [_as_words(run) for run in reference_runs(references)]


def reference_runs(references: Sequence[Reference]) -> list[list[Reference]]:
    """References parted where neither the bars nor what they are like go on by one, or all are like one bar."""
    runs: list[list[Reference]] = []
    for one in references:
        if runs and any(_goes_on([*runs[-1], one], step) for step in (0, 1)):
            runs[-1].append(one)
        else:
            runs.append([one])
    return runs


def _goes_on(run: Sequence[Reference], step: int) -> bool:
    (bar, earlier), plain = run[0], all(bar.round == 1 == earlier.round for bar, earlier in run)
    follows = [
        (replace(bar, number=bar.number + at), replace(earlier, number=earlier.number + at * step))
        for at in range(len(run))
    ]
    return plain and list(run) == follows


def _as_words(run: Sequence[Reference]) -> str:
    """One run in words: "Bars 9–12: as bars 1–4."."""
    (bar, earlier), (last, last_earlier) = run[0], run[-1]
    if len(run) == 1:
        return f"{str(bar).capitalize()}: as {earlier}."
    like = str(earlier)
    if last_earlier != earlier:
        like = f"bars {earlier.number}–{str(last_earlier).removeprefix('bar ')}"
    return f"Bars {bar.number}–{last.number}: as {like}."
