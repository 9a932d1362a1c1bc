"""Plain tables as blocks: columns as wide as their widest cell, one that wraps takes the rest."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from layout.writers.sheets.blocks import Block, Strip, heading
from layout.writers.sheets.letters import fitted, text_width, wrapped
from layout.writers.sheets.marks import Align, Lines, Mark, Text
from layout.writers.sheets.style import BLACK, FINE, GREY, PALE, PITCH, SMALL, THIN

_BETWEEN: Final = 3.0
_WIDEST: Final = 34.0
"""A column that does not wrap is no wider than this; what is longer is cut off."""


def table_block(
    title: str, headings: Sequence[str], rows: Sequence[Sequence[str]], width: float, *, wraps: int
) -> Block:
    """A table. Cells that start with a figure stand at the right of their column; column `wraps` holds
    words over as many lines as they need.
    """
    widths = [_width(n, headings, rows) for n in range(len(headings))]
    others = sum(w for n, w in enumerate(widths) if n != wraps) + _BETWEEN * (len(widths) - 1)
    widths[wraps] = max(width - others, 20.0)
    lefts = [sum(widths[:n]) + _BETWEEN * n for n in range(len(widths))]
    places = list(zip(lefts, widths, strict=True))
    rights = [all(_is_figure(row[n]) for row in rows) and n != wraps for n in range(len(headings))]
    head = [
        _cell(words, places[n], right=rights[n], base=-SMALL, grey=True)
        for n, words in enumerate(headings)
    ]
    rule = ((0.0, -PITCH + 0.3), (width, -PITCH + 0.3))
    head.append(Lines(chains=(rule,), pen=FINE))
    strips = [_row(row, places, rights, (wraps, width)) for row in rows]
    title_strip = (heading(title),) if title else ()
    return Block(
        head=(*title_strip, Strip(height=PITCH, marks=tuple(head))),
        strips=tuple(strips),
        whole=False,
    )


def _width(n: int, headings: Sequence[str], rows: Sequence[Sequence[str]]) -> float:
    cells = {row[n] for row in rows} | {headings[n]}
    return min(_WIDEST, max(text_width(c, SMALL) for c in cells))


def _is_figure(cell: str) -> bool:
    return not cell or cell[0].isdigit() or cell[0] in "-+"


def _row(
    row: Sequence[str],
    places: Sequence[tuple[float, float]],
    rights: Sequence[bool],
    wrap: tuple[int, float],
) -> Strip:
    wraps, width = wrap
    lines = wrapped(row[wraps], places[wraps][1], SMALL) or ("",)
    height = PITCH * len(lines)
    base = -SMALL - 0.55
    marks = [
        _cell(cell, places[n], right=rights[n], base=base)
        for n, cell in enumerate(row)
        if n != wraps
    ]
    marks += [
        Text(words=line, at=(places[wraps][0], base - k * PITCH)) for k, line in enumerate(lines)
    ]
    marks.append(Lines(chains=(((0.0, -height), (width, -height)),), pen=THIN, colour=PALE))
    return Strip(height=height, marks=tuple(marks))


def _cell(
    words: str, place: tuple[float, float], *, right: bool, base: float, grey: bool = False
) -> Mark:
    left, width = place
    return Text(
        words=fitted(words, width + 0.01, SMALL),
        at=(left + width if right else left, base),
        align=Align.RIGHT if right else Align.LEFT,
        colour=GREY if grey else BLACK,
    )
