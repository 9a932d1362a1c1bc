"""What stands about a bay, as far as it decides how its floor is laid: rooms, and what the rules say of
them. Plan frame.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import shapely
from shapely import Polygon

from importer.plan import Plan
from layout.floor import Bay, Frame, Run


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class NamedRoom:
    """A room of the bay as the sheets call it."""

    name: str
    shape: Polygon


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Around:
    """The rooms of a bay, in the order of the bay."""

    rooms: tuple[NamedRoom, ...] = ()


NOTHING_AROUND: Final = Around()
"""A bay of which only the floor is known."""


def around_of(bay: Bay, plan: Plan) -> Around:
    """What the plan says of a bay."""
    by_id = {r.id: r for r in plan.rooms}
    rooms = [by_id[r] for r in bay.rooms if r in by_id]
    return Around(
        rooms=tuple(NamedRoom(name=r.name or r.number or str(r.id), shape=r.shape) for r in rooms)
    )


def rooms_of_runs(runs: Sequence[Run], frame: Frame, around: Around) -> tuple[int, ...]:
    """Per run the number of the room in which it lies for its greatest part; a run that lies in none
    (in a doorway) belongs to the nearest.
    """
    if len(around.rooms) < 2 or not runs:
        return (0,) * len(runs)
    shapes = np.asarray([r.shape for r in runs], dtype=object)
    rooms = np.asarray([frame.to_bay(r.shape) for r in around.rooms], dtype=object)
    run, room = shapely.STRtree(rooms).query(shapes, predicate="intersects")
    shared = np.zeros((len(runs), len(rooms)))
    shared[run, room] = shapely.area(shapely.intersection(shapes[run], rooms[room]))
    found = shared.argmax(axis=1)
    outside = np.flatnonzero(shared.max(axis=1) <= 0.0)
    for i in outside:
        found[i] = int(np.argmin(shapely.distance(shapes[i], rooms)))
    return tuple(int(n) for n in found)
