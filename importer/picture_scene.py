"""What a picture consists of: filled areas, strokes and words on a sheet, in order of drawing.

Frame: millimetres on paper from the top left corner, y down. Colours are `#rrggbb`. Both the SVG
and the PDF writer draw exactly these.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

Point = tuple[float, float]
Ring = tuple[Point, ...]


class Anchor(Enum):
    """Which end of the words stands at their place."""

    START = "start"
    MIDDLE = "middle"
    END = "end"


@dataclass(frozen=True, slots=True, kw_only=True)
class Area:
    """A filled area: outer rings and holes by the even-odd rule, outlined when `width` is not 0."""

    rings: tuple[Ring, ...]
    fill: str | None = None
    stroke: str | None = None
    width: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Strokes:
    """Open lines of one colour and width."""

    lines: tuple[Ring, ...]
    stroke: str
    width: float
    dashed: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Disc:
    """A circle, filled and outlined."""

    centre: Point
    radius: float
    fill: str
    stroke: str
    width: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Words:
    """One line of text. `at` lies at half the height of the capitals, `cap` is that height, and
    `turn_deg` turns it counter-clockwise as seen on paper.
    """

    text: str
    at: Point
    cap: float
    colour: str = "#000000"
    bold: bool = False
    anchor: Anchor = Anchor.START
    turn_deg: float = 0.0


Mark = Area | Strokes | Disc | Words


@dataclass(frozen=True, slots=True, kw_only=True)
class Scene:
    """A finished sheet. `title` is told to those who do not see it."""

    width: float
    height: float
    title: str
    marks: tuple[Mark, ...]
