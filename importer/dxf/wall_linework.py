"""The strokes, arcs and fills of the wall layers, door symbols taken out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import shapely
from shapely import Polygon
from shapely.geometry.base import BaseGeometry

from importer.dxf.arrays import Geometries, line_array
from importer.dxf.drawing import Arc, Bools, Drawing, Floats
from importer.dxf.found import DoorSymbol
from importer.dxf.wall_strips import THICKEST_MM

LEAF_MM: Final = 80.0
"""A stroke of a leaf lies this near the line from hinge to open end: leaves have a thickness."""

LEAF_SHARE: Final = 1.15
"""Strokes longer than the leaf by this are the wall it stands against."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class WallLinework:
    """What walls are read from. `strokes` (n, 4) are all of them, `straight` (m, 4) those that can be
    faces; `arcs` whole circular arcs; `solids` filled outlines as thin as walls. `mixed` when the
    strokes of furniture and fittings are among them, so that a stroke alone is no wall.
    """

    strokes: Floats
    straight: Floats
    arcs: tuple[Arc, ...]
    solids: Geometries
    mixed: bool = False


def wall_linework(
    drawing: Drawing, on_walls: Bools, symbols: Sequence[DoorSymbol], *, mixed: bool = False
) -> WallLinework:
    """The linework of the sources marked in `on_walls`.

    Args:
        drawing: the drawing, mm.
        on_walls: for each source of the drawing whether it may be a wall.
        symbols: the door symbols; their swings and leaves are left out.
        mixed: whether other things than walls are among the sources.
    """
    seg = drawing.segments
    picked = on_walls[seg.source] & ~_drawn_as_door(drawing, on_walls, symbols)
    solids, edges = _solids(drawing, on_walls)
    swings = frozenset(s.source for s in symbols)
    arcs = tuple(a for a in drawing.arcs if on_walls[a.source] and a.source not in swings)
    return WallLinework(
        strokes=np.vstack([seg.ends[picked], edges]),
        straight=np.vstack([seg.ends[picked & ~seg.curved], edges]),
        arcs=arcs,
        solids=solids,
        mixed=mixed,
    )


def _drawn_as_door(drawing: Drawing, on_walls: Bools, symbols: Sequence[DoorSymbol]) -> Bools:
    """Strokes of door symbols that are drawn among the walls: blocks, swings and leaves."""
    seg = drawing.segments
    among = [s for s in symbols if on_walls[s.source]]
    drawn = np.zeros(len(seg), dtype=bool)
    if not among:
        return drawn
    blocks = sorted({s.insert for s in among if s.insert is not None})
    insert = np.array([s.insert for s in drawing.sources], dtype=np.int64)
    drawn |= np.isin(insert[seg.source], blocks)
    drawn |= np.isin(seg.source, sorted({s.source for s in among})) & seg.curved
    leaves = np.array([(*s.hinge, *s.open_end) for s in among])
    radius = np.array([s.radius_mm for s in among])
    near = shapely.buffer(line_array(leaves), LEAF_MM)
    rows = np.flatnonzero(on_walls[seg.source] & ~seg.curved & ~drawn)
    length = np.hypot(*(seg.ends[rows, 2:] - seg.ends[rows, :2]).T)
    stroke, leaf = shapely.STRtree(near).query(line_array(seg.ends[rows]), predicate="within")
    drawn[rows[stroke[length[stroke] <= LEAF_SHARE * radius[leaf]]]] = True
    return drawn


def _solids(drawing: Drawing, on_walls: Bools) -> tuple[Geometries, Floats]:
    """Filled outlines no thicker than walls, and their edges as strokes, (n, 4)."""
    rings: dict[int, list[Floats]] = {}
    for ring in drawing.rings:
        if ring.filled and on_walls[ring.source]:
            rings.setdefault(ring.source, []).append(ring.points)
    solids: list[BaseGeometry] = []
    edges: list[Floats] = [np.empty((0, 4))]
    for outlines in rings.values():
        shape = _even_odd(outlines)
        if shape.area > 0 and 2 * shape.area <= THICKEST_MM * shape.length:
            solids.append(shape)
            edges += [np.hstack([p, np.roll(p, -1, axis=0)]) for p in outlines]
    return np.array(solids, dtype=object), np.vstack(edges)


def _even_odd(outlines: Sequence[Floats]) -> BaseGeometry:
    shape: BaseGeometry = Polygon()
    for points in outlines:
        shape = shapely.symmetric_difference(shape, shapely.make_valid(Polygon(points)))
    return shape
