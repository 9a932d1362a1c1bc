"""What the finders of one drawing hand to each other. Millimetres about the drawing's origin."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

from shapely import Polygon

from importer.plan import DoorwayKind, Finding, Point


@dataclass(frozen=True, slots=True, kw_only=True)
class DoorSymbol:
    """One hinged leaf as drawn: quarter arc (or near) about the hinge, and the leaf line.

    `closed_end` is where the leaf's free end meets the other jamb when shut, `open_end` where it is
    drawn standing open. `source` indexes `Drawing.sources`; `insert` is the index of the door block
    it came from, or None for an exploded arc. `has_leaf` is the decisive test of a door arc.
    """

    hinge: Point
    closed_end: Point
    open_end: Point
    radius_mm: float
    source: int
    insert: int | None = None
    has_leaf: bool = True


class OpeningKind(Enum):
    """What is drawn in a gap of the walls."""

    DOOR = "door"
    WINDOW = "window"
    LINE = "line"
    GAP = "gap"


@dataclass(frozen=True, slots=True, kw_only=True)
class Opening:
    """A gap between two wall ends, closed to get rooms. `shape` is the quadrilateral between the
    jambs and the wall faces, `jamb_line` runs jamb to jamb through the middle of the wall, `symbols`
    index the door symbols that stand in it.
    """

    shape: Polygon
    jamb_line: tuple[Point, Point]
    width_mm: float
    thickness_mm: float
    kind: OpeningKind
    door_kind: DoorwayKind = DoorwayKind.OPENING
    symbols: tuple[int, ...] = ()
    why: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class RoomShape:
    """A room outline and the evidence for it. `source` is the entity it was drawn as, if any."""

    shape: Polygon
    why: str
    source: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Recovered:
    """Rooms and openings recovered from wall linework, and the wall bodies between them."""

    rooms: tuple[RoomShape, ...] = ()
    openings: tuple[Opening, ...] = ()
    walls: tuple[Polygon, ...] = ()
    findings: tuple[Finding, ...] = ()
