"""What stands on a page, before any PDF is made. Paper frame: mm from the lower left corner, y up."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from enum import Enum

from importer.plan import Point
from layout.writers.sheets.letters import text_width
from layout.writers.sheets.style import BLACK, SMALL, Colour, Paper

Box = tuple[float, float, float, float]
"""Left, low, right, top."""


class Align(Enum):
    """Which part of a text stands at its place."""

    LEFT = 0.0
    CENTRE = 0.5
    RIGHT = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Text:
    """One line of lettering: `at` is on the base line, `height` that of its capitals. `ground` is
    painted under it, where it stands on lines.
    """

    words: str
    at: Point
    height: float = SMALL
    bold: bool = False
    colour: Colour = BLACK
    align: Align = Align.LEFT
    ground: Colour | None = None

    @property
    def width(self) -> float:
        """Printed width."""
        return text_width(self.words, self.height, bold=self.bold)

    @property
    def box(self) -> Box:
        """What it covers, from the base line to the top of its capitals."""
        x = self.at[0] - self.align.value * self.width
        return x, self.at[1], x + self.width, self.at[1] + self.height


@dataclass(frozen=True, slots=True, kw_only=True)
class Lines:
    """Chains of points drawn in one go. `pen` is the line width (None: not drawn), `fill` the colour
    inside closed ones.
    """

    chains: tuple[tuple[Point, ...], ...]
    pen: float | None = None
    colour: Colour = BLACK
    fill: Colour | None = None
    closed: bool = False
    dash: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Hatching:
    """Lines at 45 degrees inside closed chains."""

    chains: tuple[tuple[Point, ...], ...]
    box: Box
    pen: float
    step: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Group:
    """Marks of which only what lies in a box is seen."""

    marks: tuple[Mark, ...]
    clip: Box


Mark = Text | Lines | Hatching | Group


@dataclass(frozen=True, slots=True, kw_only=True)
class Page:
    """One sheet: what is drawn, in drawing order. `name` is for the reader's list of pages."""

    paper: Paper
    name: str
    marks: tuple[Mark, ...]


@dataclass(slots=True)
class Sketch:
    """Marks gathered while a page is put together."""

    marks: list[Mark] = field(default_factory=list)

    def write(self, text: Text) -> None:
        """Add lettering."""
        if text.words:
            self.marks.append(text)

    def draw(self, *chains: Sequence[Point], pen: float, colour: Colour = BLACK) -> None:
        """Add open lines."""
        self.marks.append(Lines(chains=tuple(tuple(c) for c in chains), pen=pen, colour=colour))

    def rect(self, box: Box, *, pen: float | None = None, fill: Colour | None = None) -> None:
        """Add a rectangle."""
        x0, y0, x1, y1 = box
        corners = ((x0, y0), (x1, y0), (x1, y1), (x0, y1))
        self.marks.append(Lines(chains=(corners,), pen=pen, fill=fill, closed=True))


def overlap(a: Box, b: Box, margin: float = 0.0) -> bool:
    """Whether two boxes come nearer to each other than `margin`."""
    return (
        a[0] < b[2] + margin
        and b[0] < a[2] + margin
        and a[1] < b[3] + margin
        and b[1] < a[3] + margin
    )
