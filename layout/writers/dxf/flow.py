"""Lists on a sheet: lines of cells under headings, and sentences, flowing through columns of one width.

All lengths are millimetres on paper. What stands in one place of the cells in a column is one text of
several lines, not a text for each line: a sheet of a bay then is a hundred entities less.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import Final

from layout.writers.dxf.lettering import text_width, wrapped
from layout.writers.dxf.marks import Align, Lines, Mark, Stroke
from layout.writers.dxf.scheme import Content
from layout.writers.dxf.sizes import MEDIUM_MM, SMALL_MM

PITCH_MM: Final = 4.0
"""From line to line of small lettering (ISO 3098 asks for at least 1.4 heights)."""
_HEADING_MM: Final = 7.0
_CELL_GAP_MM: Final = 3.0
_LEAST_WIDTH_MM: Final = 78.0
"""Sentences are set no narrower than this."""
_MOST_CELL_MM: Final = 42.0
"""A cell of words is broken into lines at this width."""
_GUIDE_EVERY: Final = 5
"""A rule under every fifth line guides the eye."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Ledger:
    """A list: what stands over each place of its lines, on which side the cells of it are flush, and
    the lines.
    """

    headings: tuple[str, ...]
    aligns: tuple[Align, ...]
    rows: tuple[tuple[str, ...], ...]
    heading: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class FlowLine:
    """A line of a list, whose cells belong to ledger number `ledger`; or of a note, one text."""

    cells: tuple[str, ...]
    ledger: int | None = None
    head: bool = False
    large: bool = False
    number: int = 0
    block: int = 0
    """Which list or note it belongs to."""

    @property
    def pitch(self) -> float:
        """Height that it takes."""
        return _HEADING_MM if self.large else PITCH_MM


Column = tuple[FlowLine, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Flow:
    """Lists and notes broken into lines of one width, ready to be set into columns."""

    lines: tuple[FlowLine, ...]
    width: float
    edges: tuple[tuple[float, ...], ...]
    """For each list the flush side of each place, and last its width."""
    aligns: tuple[tuple[Align, ...], ...]

    def columns(self, heights: Sequence[float]) -> tuple[Column, ...] | None:
        """The lines in columns of at most these heights, one after another; None when they do not hold
        them all. A list that goes on has its headings again; a note goes to the next column as a whole
        where it finds room there.
        """
        columns: list[list[FlowLine]] = [[]]
        head: FlowLine | None = None
        for _, block in groupby(self.lines, key=lambda line: line.block):
            lines = tuple(block)
            if not lines[-1].number and _moves_on(columns, lines, heights):
                columns.append([])
            for line in lines:
                head = line if line.head else head if line.number else None
                needed = line.pitch + (3 * PITCH_MM if line.large or line.head else 0.0)
                if columns[-1] and _high(columns[-1]) + needed > heights[len(columns) - 1]:
                    if len(columns) == len(heights):
                        return None
                    columns.append([head] if head is not None and not line.head else [])
                if columns[-1] or any(line.cells):  # no blank line at the top of a column
                    columns[-1].append(line)
        return tuple(tuple(c) for c in columns)


def _moves_on(
    columns: Sequence[Sequence[FlowLine]], note: Sequence[FlowLine], heights: Sequence[float]
) -> bool:
    """A note that would be divided here stands whole in the next column."""
    n = len(columns)
    full = _high(columns[-1]) + _high(note) > heights[n - 1]
    return full and n < len(heights) and _high(note) <= heights[n]


def _high(lines: Sequence[FlowLine]) -> float:
    return sum(line.pitch for line in lines)


def flow_of(ledgers: Sequence[Ledger], notes: Sequence[tuple[str, Sequence[str]]]) -> Flow:
    """Ledgers, then notes: a heading (or none) and sentences."""
    broken = [_broken(ledger) for ledger in ledgers]
    edges = [_edges(ledger, rows) for ledger, rows in zip(ledgers, broken, strict=True)]
    width = max([_LEAST_WIDTH_MM, *(own[-1] for own in edges)])
    lines: list[FlowLine] = []
    for n, (ledger, rows) in enumerate(zip(ledgers, broken, strict=True)):
        lines += _spaced(n, ledger.heading)
        lines.append(FlowLine(cells=ledger.headings, ledger=n, head=True, block=n))
        lines += [FlowLine(cells=row, ledger=n, number=k, block=n) for k, row in rows]
    for n, (heading, sentences) in enumerate(notes, start=len(ledgers)):
        lines += _spaced(n, heading)
        for sentence in sentences:
            parts = wrapped(sentence, width, SMALL_MM)
            lines += [FlowLine(cells=(part,), block=n) for part in parts]
    return Flow(
        lines=tuple(lines),
        width=width,
        edges=tuple(edges),
        aligns=tuple(ledger.aligns for ledger in ledgers),
    )


def _spaced(block: int, heading: str) -> list[FlowLine]:
    blank = [FlowLine(cells=("",), block=block)] if block else []
    return blank + ([FlowLine(cells=(heading,), large=True, block=block)] if heading else [])


def _broken(ledger: Ledger) -> list[tuple[int, tuple[str, ...]]]:
    """Rows with their number; a row with a long cell becomes several lines of one number."""
    lines = []
    for number, row in enumerate(ledger.rows, start=1):
        parts = [list(wrapped(cell, _MOST_CELL_MM, SMALL_MM)) or [""] for cell in row]
        deep = max(len(p) for p in parts)
        lines += [(number, tuple(p[k] if k < len(p) else "" for p in parts)) for k in range(deep)]
    return lines


def _edges(ledger: Ledger, rows: Sequence[tuple[int, tuple[str, ...]]]) -> tuple[float, ...]:
    """The place of each cell's flush side, and last the width of the whole."""
    places, x = [], 0.0
    for n, align in enumerate(ledger.aligns):
        texts = [ledger.headings[n], *(cells[n] for _, cells in rows)]
        wide = max(text_width(t, SMALL_MM) for t in texts)
        places.append(x if align is Align.LEFT else x + wide)
        x += wide + _CELL_GAP_MM
    return (*places, x - _CELL_GAP_MM)


def set_flow(
    flow: Flow, columns: Sequence[Column], places: Sequence[tuple[float, float]]
) -> Iterator[Mark]:
    """The marks of the columns, each with its upper left corner at its place."""
    for column, (x, top) in zip(columns, places, strict=False):
        y = top
        for (ledger, large), group in groupby(column, key=lambda line: (line.ledger, line.large)):
            lines = tuple(group)
            if ledger is None:
                yield _text(lines, (x, y), large=large)
            else:
                yield from _ledger(flow, ledger, lines, (x, y))
            y -= sum(line.pitch for line in lines)


def _text(lines: Sequence[FlowLine], at: tuple[float, float], *, large: bool) -> Lines:
    height = MEDIUM_MM if large else SMALL_MM
    return Lines(
        content=Content.NOTE,
        lines=tuple(line.cells[0] for line in lines),
        at=(at[0], at[1] - (lines[0].pitch - height) / 2),
        height=height,
        pitch=lines[0].pitch,
    )


def _ledger(
    flow: Flow, ledger: int, lines: Sequence[FlowLine], at: tuple[float, float]
) -> Iterator[Mark]:
    x, top = at
    for k, (edge, align) in enumerate(
        zip(flow.edges[ledger][:-1], flow.aligns[ledger], strict=True)
    ):
        texts = [line.cells[k] for line in lines]
        while texts and not texts[-1]:
            texts.pop()
        if texts:
            yield Lines(
                content=Content.TABLE,
                lines=tuple(texts),
                at=(x + edge, top - (PITCH_MM - SMALL_MM) / 2),
                height=SMALL_MM,
                pitch=PITCH_MM,
                align=align,
            )
    for k, line in enumerate(lines):
        last_of_row = k + 1 == len(lines) or lines[k + 1].number != line.number
        guide = line.number and line.number % _GUIDE_EVERY == 0 and last_of_row
        if line.head or guide or k + 1 == len(lines):
            y = top - (k + 1) * PITCH_MM
            ends = ((x, y), (x + flow.edges[ledger][-1], y))
            yield Stroke(content=Content.TABLE, points=ends)
