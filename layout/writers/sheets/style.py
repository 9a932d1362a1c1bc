"""What is printed how: papers, lines, lettering, inks. Millimetres on paper unless it says otherwise.

Papers from ISO 216, line widths from ISO 128-2, lettering from ISO 3098-1 (heights are those of
capitals), scales from ISO 5455.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

Colour = tuple[float, float, float]
"""Red, green, blue from 0 to 1."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Paper:
    """A sheet lying on its long side, with the frame inside it: 20 to bind on the left, 10 elsewhere
    (ISO 5457).
    """

    name: str
    width: float
    height: float

    @property
    def left(self) -> float:
        """Left side of the frame."""
        return 20.0

    @property
    def right(self) -> float:
        """Right side of the frame."""
        return self.width - 10.0

    @property
    def low(self) -> float:
        """Lower side of the frame."""
        return 10.0

    @property
    def top(self) -> float:
        """Upper side of the frame."""
        return self.height - 10.0


A4: Final = Paper(name="A4", width=297.0, height=210.0)
A3: Final = Paper(name="A3", width=420.0, height=297.0)
PAPERS: Final = (A4, A3)
SCALES: Final = (20, 50, 100, 200, 500, 1000, 2000)
"""From ISO 5455, those for a floor or a storey, largest first."""

# Line widths.
HAIR: Final = 0.13
THIN: Final = 0.18
FINE: Final = 0.25
EDGE: Final = 0.35
BOLD: Final = 0.5
HEAVY: Final = 0.7

# Heights of capitals.
CAPTION: Final = 1.8
SMALL: Final = 2.5
MEDIUM: Final = 3.5
LARGE: Final = 5.0

PITCH: Final = 3.8
"""From line to line of small lettering in tables and sentences."""
LEAST_PITCH: Final = 3.4
"""A row thinner than this on paper carries no lettering."""

BLACK: Final[Colour] = (0.0, 0.0, 0.0)
GREY: Final[Colour] = (0.4, 0.4, 0.4)
PALE: Final[Colour] = (0.72, 0.74, 0.76)
WALL: Final[Colour] = (0.62, 0.62, 0.62)
TINT: Final[Colour] = (0.83, 0.85, 0.87)
WHITE: Final[Colour] = (1.0, 1.0, 1.0)
VERMILION: Final[Colour] = (0.70, 0.24, 0.0)
"""Start, datum, direction, what is laid in reverse: 5.9 : 1 on white. Never the only sign of a thing."""
BLUE: Final[Colour] = (0.0, 0.27, 0.53)
"""Lengths to cut: 9.5 : 1 on white, always in bold."""
DASH: Final = (2.4, 1.2)
"""Dashed line (ISO 128-2 line 02), shortened likewise."""
DASH_DOT: Final = (6.0, 1.2, 0.6, 1.2)
"""Long dash-dot line (ISO 128-2 line 04), shortened for the length of a room on paper."""
