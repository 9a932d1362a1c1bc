"""Blocks of text and tables that flow through columns and over pages."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Final

from layout.writers.sheets.letters import wrapped
from layout.writers.sheets.marks import Box, Group, Lines, Mark, Text
from layout.writers.sheets.style import BLACK, MEDIUM, PITCH, SMALL, Colour

GUTTER: Final = 6.0
LEAST_COLUMN: Final = 83.0
_HEADING: Final = 7.0
_AFTER: Final = 4.0
_LEAST_STRIPS: Final = 3
"""Lines of a table that at least stand under its heading."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Strip:
    """One line of a block. Marks are placed from its upper left corner, y up, so below it."""

    height: float
    marks: tuple[Mark, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Block:
    """Strips under a head, which is repeated where the block goes on in the next column. `whole`: not
    parted when it fits into one of the columns left.
    """

    head: tuple[Strip, ...] = ()
    strips: tuple[Strip, ...] = ()
    whole: bool = True

    @property
    def height(self) -> float:
        """Height of all of it."""
        return sum(s.height for s in (*self.head, *self.strips)) + _AFTER


@dataclass(frozen=True, slots=True, kw_only=True)
class Column:
    """A place for blocks, from the top down."""

    left: float
    top: float
    width: float
    low: float


def columns_in(box: Box, least: float = LEAST_COLUMN) -> tuple[Column, ...]:
    """As many columns of equal width, none below `least`, as fit into a box."""
    left, low, right, top = box
    width = right - left
    count = int((width + GUTTER) // (least + GUTTER))
    if count < 1 or top - low < 3 * PITCH + _HEADING:
        return ()
    each = (width - GUTTER * (count - 1)) / count
    return tuple(
        Column(left=left + n * (each + GUTTER), top=top, width=each, low=low) for n in range(count)
    )


def heading(words: str, colour: Colour = BLACK) -> Strip:
    """A heading of a block."""
    text = Text(words=words, at=(0.0, -MEDIUM - 0.5), height=MEDIUM, bold=True, colour=colour)
    return Strip(height=_HEADING, marks=(text,))


def paragraph(words: str, width: float, *, indent: float = 0.0, bold: bool = False) -> list[Strip]:
    """A sentence over as many lines as it needs."""
    lines = wrapped(words, width - indent, SMALL, bold=bold)
    return [
        Strip(height=PITCH, marks=(Text(words=line, at=(indent, -SMALL), bold=bold),))
        for line in lines
    ]


def item(mark: str, words: str, width: float, *, indent: float, bold: bool = True) -> list[Strip]:
    """A sentence with a mark or a figure before it."""
    first = Text(words=mark, at=(0.0, -SMALL), bold=bold)
    indent = max(indent, first.width + 2.0)
    strips = paragraph(words, width, indent=indent) or [Strip(height=PITCH)]
    strips[0] = replace(strips[0], marks=(first, *strips[0].marks))
    return strips


def moved(mark: Mark, by: tuple[float, float]) -> Mark:
    """The mark at another place."""
    dx, dy = by
    if isinstance(mark, Text):
        return replace(mark, at=(mark.at[0] + dx, mark.at[1] + dy))
    if isinstance(mark, Group):
        x0, y0, x1, y1 = mark.clip
        inner = tuple(moved(m, by) for m in mark.marks)
        return replace(mark, marks=inner, clip=(x0 + dx, y0 + dy, x1 + dx, y1 + dy))
    chains = tuple(tuple((x + dx, y + dy) for x, y in chain) for chain in mark.chains)
    if isinstance(mark, Lines):
        return replace(mark, chains=chains)
    x0, y0, x1, y1 = mark.box
    return replace(mark, chains=chains, box=(x0 + dx, y0 + dy, x1 + dx, y1 + dy))


@dataclass(slots=True)
class Flow:
    """Blocks set into columns one after the other; `marks` is what was set."""

    columns: list[Column]
    marks: list[Mark]
    at: float = 0.0
    """Ordinate reached in the first of the columns left."""

    @classmethod
    def through(cls, columns: Iterable[Column]) -> Flow:
        """A flow at the top of its first column."""
        own = list(columns)
        return cls(columns=own, marks=[], at=own[0].top if own else 0.0)

    def set(self, block: Block) -> Block | None:
        """Set a block; what finds no more room comes back to go on a further page."""
        rest: Block | None = block
        while rest is not None and self.columns:
            rest = self._set_here(rest)
            if rest is not None:
                self._next_column()
        return rest

    def _set_here(self, block: Block) -> Block | None:
        column = self.columns[0]
        room = self.at - column.low
        fresh = self.at == column.top
        tallest = max(c.top - c.low for c in self.columns)
        if block.whole and not fresh and room < block.height - _AFTER <= tallest:
            return block
        head = sum(s.height for s in block.head)
        count = _fitting(block.strips, room - head)
        least = min(_LEAST_STRIPS, len(block.strips))
        if count < least and not fresh:
            return block
        count = max(count, 1) if fresh else count
        for strip in (*block.head, *block.strips[:count]):
            self.marks.extend(moved(m, (column.left, self.at)) for m in strip.marks)
            self.at -= strip.height
        self.at -= _AFTER
        return None if count >= len(block.strips) else replace(block, strips=block.strips[count:])

    def _next_column(self) -> None:
        del self.columns[0]
        self.at = self.columns[0].top if self.columns else 0.0


def _fitting(strips: Sequence[Strip], room: float) -> int:
    """How many of the strips fit."""
    for count, strip in enumerate(strips):
        room -= strip.height
        if room < -1e-6:
            return count
    return len(strips)
