"""Kitchen units, wardrobes and other casework that a floor is laid up to.

A model has one class for a fitted cabinet and for a chair: the words of its name, type and kind decide,
by the same list that a drawing's layers and blocks are read with.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Final

import numpy as np
from shapely import STRtree

from importer.dxf.layer_words import About, says
from importer.ifc.draft import ObstacleDraft, RoomDraft
from importer.ifc.model import Entity, text_of
from importer.ifc.section_bodies import Bodies, Body, Role
from importer.ifc.section_cut import polygons_of, seen_from_above
from importer.plan import ObstacleKind

LEAST_MM2: Final = 1e5
"""A cabinet 330 by 300 mm; basins and hobs let into a worktop are smaller."""
ON_FLOOR_MM: Final = 150.0
"""A unit whose body begins no higher stands on the floor, on its plinth or feet; wall units hang."""
MOST_OF_IT: Final = 0.5
"""A unit is in a room when at least so much of it is."""


def find_fixed_units(rooms: Sequence[RoomDraft], bodies: Bodies) -> tuple[ObstacleDraft, ...]:
    """The fitted units of all rooms, cut to them, by room and then in the order of the file."""
    units = [b for b in bodies.of(Role.FURNITURE) if is_fixed_unit(b.product)]
    if not units or not rooms:
        return ()
    tree = STRtree([r.shape for r in rooms])
    found: list[ObstacleDraft] = []
    for body in units:
        if not any(_stands_in(body, room) for room in rooms):
            continue
        outline = seen_from_above(body.mesh)
        for k in np.sort(tree.query(outline, predicate="intersects")).tolist():
            if not _stands_in(body, rooms[k]):
                continue
            inside = outline.intersection(rooms[k].shape)
            if inside.area < MOST_OF_IT * outline.area:
                continue
            found += [
                ObstacleDraft(kind=ObstacleKind.FIXED_UNIT, shape=part, room=k, entity=body.product)
                for part in polygons_of(inside, LEAST_MM2)
            ]
    return tuple(sorted(found, key=lambda o: o.room))


def _stands_in(body: Body, room: RoomDraft) -> bool:
    return abs(body.low - room.low) <= ON_FLOOR_MM


def is_fixed_unit(product: Entity) -> bool:
    """Whether its words say that it is fitted and not moved about."""
    about = [says(words) for words in _words(product)]
    return any(About.FIXED_UNIT in a for a in about)


def _words(product: Entity) -> Iterator[str]:
    """Name and kind of a product and of its type."""
    types = [
        relation.RelatingType
        for inverse in ("IsTypedBy", "IsDefinedBy")
        for relation in getattr(product, inverse, ()) or ()
        if getattr(relation, "RelatingType", None) is not None
    ]
    for thing in (product, *types):
        for attribute in ("Name", "ObjectType", "ElementType"):
            words = text_of(thing, attribute)
            if words is not None:
                yield words
