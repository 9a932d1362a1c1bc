"""A drawing in, a Plan out. Knows nothing of planks.

    from importer import Hints, PlanError, read_plan

`read_plan` shows how it is used; the names listed in `__all__` are what other programs may rely on.
"""

from importer.hints import UNIT_TO_MM, Hints
from importer.plan import (
    Doorway,
    DoorwayId,
    DoorwayKind,
    Finding,
    Flat,
    FlatId,
    Obstacle,
    ObstacleId,
    ObstacleKind,
    Origin,
    Plan,
    PlanError,
    Point,
    Room,
    RoomId,
    Severity,
    Storey,
    StoreyId,
    UnitReading,
)
from importer.read import read_plan

__all__ = [
    "UNIT_TO_MM",
    "Doorway",
    "DoorwayId",
    "DoorwayKind",
    "Finding",
    "Flat",
    "FlatId",
    "Hints",
    "Obstacle",
    "ObstacleId",
    "ObstacleKind",
    "Origin",
    "Plan",
    "PlanError",
    "Point",
    "Room",
    "RoomId",
    "Severity",
    "Storey",
    "StoreyId",
    "UnitReading",
    "read_plan",
]
