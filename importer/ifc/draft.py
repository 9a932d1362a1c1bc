"""Rooms, doorways and things in the way before they get their ids. Lengths in mm, model coordinates."""

from __future__ import annotations

from dataclasses import dataclass

from shapely import Polygon

from importer.ifc.model import Entity
from importer.plan import DoorwayKind, ObstacleKind, Point


@dataclass(frozen=True, slots=True, kw_only=True)
class RoomDraft:
    """A room. `space` is None for one found between walls; `storey` an index; `low` and `high` its z
    range.
    """

    shape: Polygon
    storey: int
    low: float
    high: float
    space: Entity | None = None
    name: str | None = None
    number: str | None = None
    also_called: tuple[str, ...] = ()
    finish: str | None = None
    flat: str | None = None
    stated_m2: float | None = None

    @property
    def title(self) -> str:
        """What to call it in a finding."""
        called = " ".join(x for x in (self.number, self.name) if x)
        return called or (f"#{self.space.id()}" if self.space is not None else "a room")


@dataclass(frozen=True, slots=True, kw_only=True)
class DoorwayDraft:
    """A doorway between rooms by index; `entity` is the door, else the opening, else None."""

    rooms: tuple[int, int | None]
    shape: Polygon
    leaf_line: tuple[Point, Point]
    width_mm: float
    thickness_mm: float
    kind: DoorwayKind
    swings_into: int | None = None
    entity: Entity | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class ObstacleDraft:
    """Something in the way in a room by index."""

    kind: ObstacleKind
    shape: Polygon
    room: int
    entity: Entity | None = None
