"""A drawing in, a Plan out. Knows nothing of planks.

>>> from importer import Hints, read_plan
>>> Hints(units="mm").units
'mm'
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
