"""Areas of rooms out to the middle of their walls, as some programs state them.

To the floor comes, along every stretch of its outline, half the thickness of the wall that begins there,
and at corners the rectangle between two such strips. Where no wall begins nothing is added.
"""

from __future__ import annotations

from pathlib import Path
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon, STRtree
from shapely.geometry.base import BaseGeometry

from importer.hints import Hints
from importer.ifc.meshes import near_origin
from importer.ifc.model import Watch, guid_of
from importer.ifc.opening import open_model
from importer.ifc.section_bodies import Role, find_bodies
from importer.ifc.section_cut import cut_at
from importer.ifc.spaces import find_space_rooms
from importer.ifc.storeys import find_storeys

Floats = NDArray[np.float64]

SAMPLES: Final = 100
"""Places along an edge at which the wall is looked for."""
TOUCHES_MM: Final = 30.0
"""A wall that begins further off than this is another room's."""
THICKEST_MM: Final = 600.0
CUT_MM: Final = 300.0


def areas_to_wall_middle(path: Path) -> dict[str, float]:
    """Square metres of every space of a model by GlobalId."""
    model = near_origin(open_model(path, Hints(), Watch()))
    walls = find_bodies(model, [Role.WALL, Role.CURTAIN]).bodies
    found: dict[str, float] = {}
    for room in find_space_rooms(model, find_storeys(model)).rooms:
        height = room.low + CUT_MM
        cuts = [cut_at(w.mesh, height) for w in walls if w.low < height < w.high]
        guid = guid_of(room.space)
        found[guid] = found.get(guid, 0.0) + area_to_middle(room.shape, cuts) / 1e6
    return found


def area_to_middle(shape: Polygon, walls: list[BaseGeometry]) -> float:
    """Area of a room out to the middle of its walls, mm2; openings in the walls are closed."""
    tree = STRtree(walls)
    ring = np.asarray(shapely.orient_polygons(shapely.simplify(shape, 1.0)).exterior.coords)
    edges = np.diff(ring, axis=0)
    lengths = np.hypot(edges[:, 0], edges[:, 1])
    ways = edges / lengths[:, None]
    halves = [
        half_walls(start, way, length, (tree, walls))
        for start, way, length in zip(ring[:-1], ways, lengths, strict=True)
    ]
    strips = sum(float(h.mean()) * length for h, length in zip(halves, lengths, strict=True))
    corners = sum(
        float(halves[k - 1][-1] * halves[k][0])
        * float(ways[k - 1][0] * ways[k][1] - ways[k - 1][1] * ways[k][0])
        for k in range(len(halves))
    )
    return float(shape.area) + strips + corners


def half_walls(
    start: Floats, way: Floats, length: float, known: tuple[STRtree, list[BaseGeometry]]
) -> Floats:
    """Half the thickness of the wall along an edge, at each sample, mm."""
    tree, walls = known
    out = np.array([way[1], -way[0]])
    along = (np.arange(SAMPLES) + 0.5) / SAMPLES * length
    feet = start + along[:, None] * way
    rays = shapely.linestrings(np.stack([feet - 5.0 * out, feet + THICKEST_MM * out], axis=1))
    thick = np.zeros(SAMPLES)
    for n, k in zip(*tree.query(rays, predicate="intersects").tolist(), strict=True):
        for part in shapely.get_parts(rays[n].intersection(walls[k])):
            off = (shapely.get_coordinates(part) - feet[n]) @ out
            if off.min() <= TOUCHES_MM < off.max():
                thick[n] = min(thick[n] or np.inf, float(off.max()))
    return thick / 2
