"""The pieces of a chart laid on pages: what belongs together stays together, cautions head the last page."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from render.paper.layout import Block

MARGIN_MM = 14.0
RUNNING_MM = 9.0  # running title above
FOOT_MM = 12.0  # free below
NUMBER_FOOT_MM = 16.0  # and on the first page, whose number stands below
MOST_TRIES = 50


@dataclass(frozen=True)
class Placed:
    """A piece and how far down its page it begins."""

    y: float
    block: Block


@dataclass(frozen=True)
class Room:
    """What a page has: `top` of the first page, the paper's height, and how high the cautions are."""

    top: float
    height: float
    cautions: Block


def on_pages(blocks: Sequence[Block], room: Room) -> list[list[Placed]]:
    """The pieces page by page: `on_pages(blocks, room)[-1][0].block.kind` is "cautions"."""
    groups = list(kept_together(blocks))
    last = len(_laid(groups, room, -1)) - 1
    for _ in range(MOST_TRIES):
        pages = _laid(groups, room, last)
        if len(pages) == last + 1:
            return pages
        last = max(last + 1, len(pages) - 1)
    return pages


def _laid(groups: Sequence[Sequence[Block]], room: Room, last: int) -> list[list[Placed]]:
    """Pages of which number `last` begins with the cautions, and the one before leaves as much free below."""
    starts = _starts(groups, room, last)
    if len(starts) > 1 and last == len(starts) - 1:
        starts = _shared(groups, starts)
    pages = []
    for number, (first, end) in enumerate(zip(starts, [*starts[1:], len(groups)], strict=True)):
        pieces = [block for group in groups[first:end] for block in group]
        if number == last:
            pieces.insert(0, room.cautions)
        pages.append(list(_down(pieces, _top(room, number))))
    return pages


def _starts(groups: Sequence[Sequence[Block]], room: Room, last: int) -> list[int]:
    """Which group each page begins with."""
    starts, y, number = [0], _top(room, 0) + (room.cautions.height_mm if last == 0 else 0.0), 0
    for at, group in enumerate(groups):
        if y + _height(group) > _bottom(room, number) and at > starts[-1]:
            starts.append(at)
            number += 1
            y = _top(room, number) + (room.cautions.height_mm if number == last else 0.0)
        y += _height(group)
    return starts


def _shared(groups: Sequence[Sequence[Block]], starts: Sequence[int]) -> list[int]:
    """The same, but the last page has more than one bar where the page before can give some."""
    first = starts[-1]
    while sum(block.bars for group in groups[first:] for block in group) < 2 and first - 1 > starts[-2]:
        first -= 1
    return [*starts[:-1], first]


def _top(room: Room, number: int) -> float:
    return MARGIN_MM + RUNNING_MM if number else room.top


def _bottom(room: Room, number: int) -> float:
    return room.height - (FOOT_MM if number else NUMBER_FOOT_MM)


def _height(group: Sequence[Block]) -> float:
    return sum(block.height_mm for block in group)


def _down(pieces: Sequence[Block], y: float) -> Iterator[Placed]:
    for block in pieces:
        yield Placed(y, block)
        y += block.height_mm


def kept_together(blocks: Sequence[Block]) -> Iterator[list[Block]]:
    """Pieces that must stand on one page: a heading with what it heads."""
    group: list[Block] = []
    for block in blocks:
        group.append(block)
        if not block.keep:
            yield group
            group = []
    if group:
        yield group
