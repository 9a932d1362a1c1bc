"""The plan: what every importer delivers and every later stage starts from.

Frames and units
    All coordinates are millimetres in *drawing coordinates*: the numbers in the architect's file
    times `UnitReading.to_mm`, neither shifted nor turned. Polygons are valid shapely polygons with
    the shell counter-clockwise. Code that does boolean operations moves them near the origin first
    (drawings sit at national-grid coordinates) and moves the result back.

Vocabulary: design words only. A *finding* is something the importer noticed that the user should
know: what, where, how sure, what was assumed, how to override it.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import Enum
from typing import NewType

from shapely import LineString, Polygon

Point = tuple[float, float]
"""x, y in millimetres, drawing coordinates."""

StoreyId = NewType("StoreyId", str)
FlatId = NewType("FlatId", str)
RoomId = NewType("RoomId", str)
DoorwayId = NewType("DoorwayId", str)
ObstacleId = NewType("ObstacleId", str)


class Severity(Enum):
    """How much a finding matters.

    NOTE: assumed or repaired, and believed right. SETTLE: laid out on an assumption that the user
    should confirm (exit status 1). REFUSED: this part, or the whole plan, could not be used.
    """

    NOTE = "note"
    SETTLE = "settle"
    REFUSED = "refused"


@dataclass(frozen=True, slots=True, kw_only=True)
class Origin:
    """Where in which file a thing comes from; carried to the end so that any line can name it.

    `at` is in drawing units as drawn (what a CAD program shows), not in millimetres.
    """

    file: str = ""
    layer: str | None = None
    handle: str | None = None
    guid: str | None = None
    at: Point | None = None

    def __str__(self) -> str:
        parts = [self.file] if self.file else []
        if self.layer is not None:
            parts.append(f"layer {self.layer}")
        if self.handle is not None:
            parts.append(f"handle {self.handle}")
        if self.guid is not None:
            parts.append(f"GUID {self.guid}")
        if self.at is not None:
            parts.append(f"at ({self.at[0]:.6g}, {self.at[1]:.6g})")
        return ", ".join(parts)


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """Something noticed that the user should know. `code` is stable, the wording is free.

    Code bands: IMP-1xx file and loading, IMP-2xx units, IMP-3xx geometry and rooms,
    IMP-4xx doorways, IMP-5xx labels, flats, storeys; LAY-1xx layout; OUT-1xx writing.
    """

    code: str
    severity: Severity
    what: str
    where: Origin = field(default_factory=Origin)
    remedy: str = ""

    def __str__(self) -> str:
        place = str(self.where)
        head = f"{place}: " if place else ""
        tail = f" {self.remedy}" if self.remedy else ""
        return f"{head}[{self.code}] {self.what}{tail}"


class PlanError(Exception):
    """A plan that cannot be used at all. Takes one frozen record, so that it pickles."""

    def __init__(self, finding: Finding) -> None:
        super().__init__(finding)
        self.finding = finding

    def __str__(self) -> str:
        return str(self.finding)


@dataclass(frozen=True, slots=True, kw_only=True)
class UnitReading:
    """The drawing unit that was believed, its size in millimetres, and the evidence for it."""

    name: str
    to_mm: float
    because: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Storey:
    """One floor level of the building."""

    id: StoreyId
    name: str
    elevation_mm: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Flat:
    """A dwelling: rooms that belong together behind one entrance door."""

    id: FlatId
    name: str
    storey: StoreyId


@dataclass(frozen=True, slots=True, kw_only=True)
class Room:
    """One space bounded by walls. `shape` runs along the drawn wall faces; holes are wall or column
    bodies standing free in it. The floor area inside a doorway is not in it but in the doorway.
    """

    id: RoomId
    shape: Polygon
    storey: StoreyId
    name: str | None = None
    number: str | None = None
    flat: FlatId | None = None
    printed_area_m2: float | None = None
    communal: bool = False
    """Belongs to no flat: stair, corridor, lobby of a block."""
    also_called: tuple[str, ...] = ()
    """Other names that a model gives it: use, type, classification. Rules match them as well."""
    finish_hint: str | None = None
    """Floor covering that a model already names for it."""
    left_out: str = ""
    """Why the job does not lay it, as a sentence; empty where it does."""
    elsewhere: bool = False
    """Another part of the job lays it, or its storey is none of the job's."""
    floor_mm: float | None = None
    """Height of its floor in a model's coordinates; None in a drawing."""
    source: Origin = field(default_factory=Origin)


class DoorwayKind(Enum):
    """What stands in the opening."""

    HINGED = "hinged"
    DOUBLE = "double"
    SLIDING = "sliding"
    FOLDING = "folding"
    OPENING = "opening"


@dataclass(frozen=True, slots=True, kw_only=True)
class Doorway:
    """An opening in a wall that reaches the floor.

    `shape` is the floor inside the opening: the quadrilateral between the jambs and the two wall
    faces; it touches the rooms on either side. `leaf_line` is the line on the floor under the
    closed leaf, jamb to jamb, where the drawing shows it, else the middle of the wall; `rooms[1]`
    is None where nothing recovered lies beyond (outside, or a place that was not read).
    """

    id: DoorwayId
    rooms: tuple[RoomId, RoomId | None]
    storey: StoreyId
    shape: Polygon
    leaf_line: tuple[Point, Point]
    width_mm: float
    wall_thickness_mm: float
    kind: DoorwayKind = DoorwayKind.OPENING
    swings_into: RoomId | None = None
    flat_entrance: bool = False
    source: Origin = field(default_factory=Origin)

    @property
    def at(self) -> Point:
        """Middle of the leaf line."""
        (x0, y0), (x1, y1) = self.leaf_line
        return (x0 + x1) / 2, (y0 + y1) / 2


class ObstacleKind(Enum):
    """What the floor has to stop at inside a room."""

    COLUMN = "column"
    FIXED_UNIT = "fixed unit"
    SHAFT = "shaft"
    STAIR = "stair"
    OTHER = "other"


@dataclass(frozen=True, slots=True, kw_only=True)
class Obstacle:
    """Something fixed on the floor of a room; the floor keeps the wall gap to it."""

    id: ObstacleId
    kind: ObstacleKind
    shape: Polygon
    storey: StoreyId
    room: RoomId | None = None
    source: Origin = field(default_factory=Origin)


class DrawnKind(Enum):
    """What a line of an architect's plan stands for, as far as it decides how it is drawn."""

    WALL = "wall"
    COLUMN = "column"
    STAIR = "stair"
    OVERHEAD = "overhead"
    """Above the plane of the section, so drawn dashed."""
    WINDOW = "window"
    DOOR_LEAF = "door leaf"
    DOOR_SWING = "door swing"
    RAILING = "railing"
    OTHER = "other"


@dataclass(frozen=True, slots=True, kw_only=True)
class Drawn:
    """One thing of a storey as an architect's plan shows it: a body cut through (polygon) or a line.
    A swing's corners lie on its arc. From models only; drawings are returned as they came.
    """

    kind: DrawnKind
    storey: StoreyId
    shape: Polygon | LineString
    source: Origin = field(default_factory=Origin)


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """One architect's file as understood. Order of every tuple is deterministic (reading order:
    storey, then from the top of the sheet down, then from left to right).

    `walls` are wall bodies and `backdrop` other linework worth showing behind a picture; neither
    takes part in the layout. The storeys of a model lie on top of each other, so that what belongs to
    one of them is told by `walls_of` and `drawn_of`; `drawn` is empty for a drawing.
    """

    file: str
    format: str
    units: UnitReading
    storeys: tuple[Storey, ...]
    flats: tuple[Flat, ...]
    rooms: tuple[Room, ...]
    doorways: tuple[Doorway, ...]
    obstacles: tuple[Obstacle, ...] = ()
    findings: tuple[Finding, ...] = ()
    walls: tuple[Polygon, ...] = ()
    backdrop: tuple[LineString, ...] = ()
    drawn: tuple[Drawn, ...] = ()
    stage_lines: tuple[LineString, ...] = ()
    """Lines that the user asked for (`Hints.stage_layers`): where the work is to stop for a while."""

    def room(self, room_id: RoomId) -> Room:
        """The room with that id. Raises KeyError when there is none."""
        for room in self.rooms:
            if room.id == room_id:
                return room
        raise KeyError(room_id)

    def doorways_of(self, room_id: RoomId) -> tuple[Doorway, ...]:
        """The doorways that open into the room, in plan order."""
        return tuple(d for d in self.doorways if room_id in d.rooms)

    def obstacles_of(self, room_id: RoomId) -> tuple[Obstacle, ...]:
        """The obstacles that stand in the room, in plan order."""
        return tuple(o for o in self.obstacles if o.room == room_id)

    def drawn_of(self, storey: StoreyId) -> tuple[Drawn, ...]:
        """What a plan of the storey shows besides its rooms, in plan order; empty for a drawing."""
        return tuple(d for d in self.drawn if d.storey == storey)

    def walls_of(self, storey: StoreyId) -> tuple[Polygon, ...]:
        """The wall bodies to show with a storey: its own in a model, all of them in a drawing, whose
        storeys lie side by side.
        """
        if not self.drawn:
            return self.walls
        return tuple(
            d.shape
            for d in self.drawn
            if d.storey == storey and d.kind is DrawnKind.WALL and isinstance(d.shape, Polygon)
        )
