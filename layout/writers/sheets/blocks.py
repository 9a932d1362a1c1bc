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
_HAIR: Final = 1e-6
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
    parted when it fits into one of the columns. `in_sequence`: it is read after the one before it that
    is.
    """

    head: tuple[Strip, ...] = ()
    strips: tuple[Strip, ...] = ()
    whole: bool = True
    in_sequence: bool = False

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
class _Filling:
    """A column while it is filled: `at` is how far down it is taken."""

    column: Column
    at: float

    @property
    def room(self) -> float:
        """Height that is left."""
        return self.at - self.column.low

    @property
    def is_fresh(self) -> bool:
        """Nothing stands in it yet."""
        return self.at == self.column.top


@dataclass(slots=True)
class Flow:
    """Blocks set into columns; `marks` is what was set. A block that is not to be parted goes into the
    first column that has room for it, others run on from column to column. Blocks of a sequence never
    stand before the one that they follow.
    """

    columns: list[_Filling]
    marks: list[Mark]
    _reached: int = 0
    """Column in which the sequence has arrived."""

    @classmethod
    def through(cls, columns: Iterable[Column]) -> Flow:
        """A flow at the top of its first column."""
        return cls(columns=[_Filling(c, c.top) for c in columns], marks=[])

    def set(self, block: Block) -> Block | None:
        """Set a block; what finds no more room comes back to go on a further page."""
        start = self._reached if block.in_sequence else 0
        for n in range(start, len(self.columns)):
            if self.columns[n].room >= block.height - _AFTER - _HAIR:
                return self._set_in(n, block)
        tallest = max((c.column.top - c.column.low for c in self.columns), default=0.0)
        if block.whole and block.height - _AFTER <= tallest:
            return block
        rest: Block | None = block
        for n in range(start, len(self.columns)):
            if rest is not None and self._takes(n, rest):
                rest = self._set_in(n, rest)
        return rest

    def _takes(self, n: int, block: Block) -> bool:
        """Whether enough of a block fits into a column to begin or go on there. A page's tallest column
        takes at least one line, however high that is.
        """
        here = self.columns[n]
        count = _fitting(block.strips, here.room - sum(s.height for s in block.head))
        if count >= min(_LEAST_STRIPS, len(block.strips)):
            return True
        height = here.column.top - here.column.low
        return here.is_fresh and all(height >= c.column.top - c.column.low for c in self.columns)

    def _set_in(self, n: int, block: Block) -> Block | None:
        here = self.columns[n]
        head = sum(s.height for s in block.head)
        count = max(_fitting(block.strips, here.room - head), 1)
        for strip in (*block.head, *block.strips[:count]):
            self.marks.extend(moved(m, (here.column.left, here.at)) for m in strip.marks)
            here.at -= strip.height
        here.at -= _AFTER
        if block.in_sequence:
            self._reached = n
        return None if count >= len(block.strips) else replace(block, strips=block.strips[count:])


def _fitting(strips: Sequence[Strip], room: float) -> int:
    """How many of the strips fit."""
    for count, strip in enumerate(strips):
        room -= strip.height
        if room < -1e-6:
            return count
    return len(strips)
