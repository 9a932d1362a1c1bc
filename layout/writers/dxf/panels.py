"""The text beside the plan as lines of cells, in millimetres on paper: a panel is a heading and lines.

What is said once here is not repeated on the planks.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from enum import Enum
from typing import Final

from layout.writers.dxf.lettering import wrapped
from layout.writers.dxf.marks import Align, Fill, Letter, Mark, Stroke
from layout.writers.dxf.scheme import Content
from layout.writers.dxf.sizes import LARGE_MM, MEDIUM_MM, SMALL_MM, Scale

WIDTH_MM: Final = 150.0
"""Width of the column of panels on paper."""
LINE_MM: Final = 4.5
"""Pitch of lines of small lettering (ISO 3098 asks for at least 1.4 heights)."""
_GAP_MM: Final = 6.0
_BETWEEN_MM: Final = 15.0
_SHORTEST_MM: Final = 150.0
"""A column is at least this tall, however low the drawing beside it is."""
_PART_MM: Final = 40.0
"""A panel begins in a column that has room for at least this much of it."""


class Sample(Enum):
    """What is drawn at the start of a legend line."""

    START = "start"
    DATUM = "datum"
    RIP = "rip"
    CUT = "cut"
    JOINT = "joint"
    BREACH = "breach"


@dataclass(frozen=True, slots=True, kw_only=True)
class Cell:
    """A text in a line. `x` is the place on paper of the point that `align` names."""

    text: str
    x: float = 0.0
    align: Align = Align.LEFT
    height: float = SMALL_MM


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """Cells on one line; `ruled` draws a rule below it."""

    cells: tuple[Cell, ...] = ()
    pitch: float = LINE_MM
    ruled: bool = False
    sample: Sample | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Panel:
    """Lines that stay together."""

    lines: tuple[Line, ...]
    content: Content = Content.NOTE

    @property
    def height(self) -> float:
        """Height on paper."""
        return sum(line.pitch for line in self.lines)


def heading(text: str, height: float = MEDIUM_MM) -> Line:
    """The first line of a panel."""
    return Line(cells=(Cell(text=text, height=height),), pitch=height * 1.9)


def title(text: str) -> Line:
    """The first line of all."""
    return heading(text, LARGE_MM)


def paragraph(text: str, x: float = 0.0, width: float = WIDTH_MM) -> Iterator[Line]:
    """A sentence broken into lines."""
    for part in wrapped(text, width - x, SMALL_MM):
        yield Line(cells=(Cell(text=part, x=x),))


def item(label: str, text: str, x: float = 8.0, width: float = WIDTH_MM) -> Iterator[Line]:
    """A label, and beside it a sentence broken into lines."""
    for n, part in enumerate(wrapped(text, width - x, SMALL_MM)):
        label_cell = (Cell(text=label),) if n == 0 else ()
        yield Line(cells=(*label_cell, Cell(text=part, x=x)))


@dataclass(frozen=True, slots=True, kw_only=True)
class Block:
    """Panels set out: their marks with the upper left corner at 0, 0, and the size, mm of building."""

    marks: tuple[Mark, ...]
    width: float
    height: float


def set_panels(panels: Sequence[Panel], scale: Scale, most_height: float) -> Block:
    """Stack the panels downwards, in as many columns as keep them no taller than `most_height`, mm.

    Columns stand side by side, each as wide as `WIDTH_MM` on paper. A panel is divided only where a
    column has room for a good part of it.
    """
    tall = max(most_height / scale.ratio, _SHORTEST_MM)
    marks: list[Mark] = []
    column, y, lowest = 0, 0.0, 0.0
    for panel in panels:
        if y and y + min(panel.height, _PART_MM) > tall:
            column, y = column + 1, 0.0
        for line in panel.lines:
            if y and y + line.pitch > tall:
                column, y = column + 1, 0.0
            place = (column * (WIDTH_MM + _BETWEEN_MM), -y)
            marks.extend(_line_marks(line, panel.content, scale, place))
            y += line.pitch
            lowest = max(lowest, y)
        y += _GAP_MM
    width = (column + 1) * WIDTH_MM + column * _BETWEEN_MM
    return Block(marks=tuple(marks), width=scale.paper(width), height=scale.paper(lowest))


def _line_marks(
    line: Line, content: Content, scale: Scale, at: tuple[float, float]
) -> Iterator[Mark]:
    x, top = at
    middle = top - line.pitch / 2
    for cell in line.cells:
        if cell.text:
            yield Letter(
                content=content,
                text=cell.text,
                at=(scale.paper(x + cell.x), scale.paper(middle)),
                height=scale.paper(cell.height),
                align=cell.align,
            )
    if line.ruled:
        y = scale.paper(top - line.pitch)
        ends = ((scale.paper(x), y), (scale.paper(x + WIDTH_MM), y))
        yield Stroke(content=content, points=ends)
    if line.sample is not None:
        yield from _sample(line.sample, scale, (x, middle))


def _sample(sample: Sample, scale: Scale, at: tuple[float, float]) -> Iterator[Mark]:
    """A sample 10 wide, drawn as on the plan."""

    def points(*places: tuple[float, float]) -> tuple[tuple[float, float], ...]:
        return tuple((scale.paper(at[0] + x), scale.paper(at[1] + y)) for x, y in places)

    if sample is Sample.START:
        square = points((3.8, -1.2), (6.2, -1.2), (6.2, 1.2), (3.8, 1.2))
        yield Fill(content=Content.START, points=square)
        yield Stroke(content=Content.START, points=square, closed=True)
    elif sample is Sample.DATUM:
        yield Stroke(content=Content.DATUM, points=points((0, 0), (10, 0)))
    elif sample is Sample.JOINT:
        yield Stroke(content=Content.MOVE, points=points((0, 0), (10, 0)))
    elif sample is Sample.CUT:
        yield Stroke(content=Content.PLANK, points=points((10, -1.5), (2, -1.5)))
        yield Stroke(content=Content.PLANK, points=points((2, 1.5), (10, 1.5)))
        yield Stroke(content=Content.CUT, points=points((2, -1.5), (2, 1.5)))
    elif sample is Sample.RIP:
        outline = points((0, -1.5), (10, -1.5), (10, 1.5), (0, 1.5))
        yield Stroke(content=Content.PLANK, points=outline, closed=True)
        for k in range(4):
            yield Stroke(content=Content.RIP, points=points((k * 2.4, -1.5), (k * 2.4 + 2.8, 1.3)))
    else:
        triangle = points((3.3, -1.4), (6.7, -1.4), (5.0, 1.5))
        yield Stroke(content=Content.BREACH, points=triangle, closed=True)
