"""What the site has to say about a bay: what to measure there, and what the measures changed."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

from importer.plan import Point


class DimensionKind(Enum):
    """What a dimension to measure on site runs along: the rows, across them, or a wall between two
    corners where no line through the room ties two of its parts together.
    """

    LENGTH = "length"
    WIDTH = "width"
    STEP = "step"


@dataclass(frozen=True, slots=True, kw_only=True)
class SiteDimension:
    """A distance to measure on site before the first cut, wall face to wall face.

    `id` is stable within the bay for one drawing and rule set (`L1`, `W2`, `S1`). `line` is in the plan
    frame, its ends on the two faces. The layout holds while the distance is from `least_mm` to
    `most_mm`, all others as drawn; `breaks` names the rule that breaks below and above, "" where the
    range ends only because beyond it the room is another room.
    """

    id: str
    kind: DimensionKind
    line: tuple[Point, Point]
    drawn_mm: float
    least_mm: float
    most_mm: float
    breaks: tuple[str, str] = ("", "")


@dataclass(frozen=True, slots=True, kw_only=True)
class SiteMeasure:
    """A dimension as drawn and as measured on site, mm."""

    id: str
    drawn_mm: float
    measured_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class SiteChange:
    """What measures from the site changed in a bay. `recut_rows` keep their joints, only their end
    pieces or their rip are cut to another measure; `changed_rows` have other joints or another number
    of pieces; `grid_changed`: the row lines had to move. `why` is one plain sentence.
    """

    measures: tuple[SiteMeasure, ...]
    recut_rows: tuple[int, ...]
    changed_rows: tuple[int, ...]
    grid_changed: bool
    why: str
