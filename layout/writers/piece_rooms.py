"""In which room of a joined bay each piece lies."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import shapely

from importer.plan import Plan, RoomId
from layout.floor import BayLayout, PieceId


def piece_rooms(layout: BayLayout, plan: Plan | None) -> Mapping[PieceId, RoomId | None]:
    """The room that holds the greatest part of each piece; None for pieces that lie in doorways only."""
    own = {r.id: r.shape for r in plan.rooms} if plan is not None else {}
    rooms = [r for r in layout.bay.rooms if r in own]
    if len(layout.bay.rooms) == 1:
        return dict.fromkeys((p.id for p in layout.pieces), layout.bay.rooms[0])
    found: dict[PieceId, RoomId | None] = dict.fromkeys(p.id for p in layout.pieces)
    if not rooms or not layout.pieces:
        return found
    frame = layout.setting_out.frame
    shapes = np.array([frame.to_bay(own[r]) for r in rooms], dtype=object)
    pieces = np.array([p.shape for p in layout.pieces], dtype=object)
    at, room = shapely.STRtree(shapes).query(pieces, predicate="intersects")
    areas = np.zeros((len(pieces), len(rooms)))
    areas[at, room] = shapely.area(shapely.intersection(pieces[at], shapes[room]))
    best = areas.argmax(axis=1)
    for n, piece in enumerate(layout.pieces):
        if areas[n, best[n]] > 0.0:
            found[piece.id] = rooms[best[n]]
    return found
