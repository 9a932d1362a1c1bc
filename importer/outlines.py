r"""From linework and solids to clean outlines of the spaces between them. Pure geometry, no drawing.

Every barrier, stroke or body, is thickened by the same small `BARRIER_MM`; what is left of the sheet
is free space. Free space is shrunk until leaks narrower than twice the seal have closed, falls into
parts, and each part grows back until it meets the barriers again. Since every barrier was thickened
by the same amount, a last growth by that amount puts the outline exactly on the drawn strokes.

      ______    ______            the leak is narrower than 2 x seal: two spaces,
     |      |__|      |           and the outline runs straight across the leak
     |  A    __    B  |
     |______|  |______|
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import MultiPolygon, Polygon, STRtree
from shapely.errors import GEOSException
from shapely.geometry.base import BaseGeometry
from shapely.geometry.polygon import orient

from importer.tolerance import GRID_MM, SAME_POINT_MM

Floats = NDArray[np.float64]
Shapes = NDArray[Any]

BARRIER_MM: Final = 1.0
"""Half the thickness that a stroke is given so that it is a barrier: far above float noise, far below
anything built. It is taken off again, so that its size does not show in the result."""

SEAL_MM: Final = 75.0
"""Leaks up to twice this are closed: nobody walks through 150 mm, and every passage is wider."""

MITRE_LIMIT: Final = 10.0
"""Corners of barriers sharper than about 11 degrees are blunted."""

GROWN_LIMIT: Final = 40.0
"""Corners of spaces sharper than about 3 degrees are cut off: no plank reaches into them."""

FRAME_MM: Final = 1000.0
"""Free margin around everything, which is the outside."""

SAME_AREA_MM2: Final = 10.0
"""Areas that differ by no more than float noise and rounded corners of strokes leave."""

STRAIGHT_MM: Final = 0.02
"""A corner this near the line of its neighbours is no corner."""

SMALLEST_HOLE_MM2: Final = 900.0
"""Holes up to this (30 mm square) are no body a floor has to be cut around."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Space:
    """A part of the free space. `outside` when it reaches the margin around everything; its shape then
    keeps the seal's distance from the barriers: nobody asks for the outline of the outside.
    """

    shape: Polygon
    outside: bool


def thickened_strokes(ends: Floats) -> Shapes:
    """Strokes, (n, 4), as rectangles `BARRIER_MM` thick on either side, ends extended alike."""
    if not len(ends):
        return np.empty(0, dtype=object)
    lines = shapely.linestrings(ends.reshape(-1, 2, 2))
    return np.asarray(
        shapely.buffer(lines, BARRIER_MM, cap_style="square", join_style="mitre"), dtype=object
    )


def thickened_bodies(bodies: Sequence[BaseGeometry] | Shapes) -> Shapes:
    """Solids grown by `BARRIER_MM`."""
    grown = shapely.buffer(np.asarray(bodies, dtype=object), BARRIER_MM, join_style="mitre")
    return np.asarray(grown, dtype=object).reshape(-1)


def spaces_between(
    barriers: Shapes, seal: float = SEAL_MM, solid: BaseGeometry | None = None
) -> tuple[Space, ...]:
    """The spaces that barriers leave, leaks up to twice the seal closed.

    Args:
        barriers: thickened strokes and bodies (`thickened_strokes`, `thickened_bodies`), mm.
        seal: half the width of the widest leak that is closed.
        solid: the union of the barriers, where it is at hand.

    Returns:
        The spaces, outlines on the strokes themselves and on the faces of the bodies, larger than
        twice the seal across; ordered from the top of the sheet down, then from left to right.
    """
    if not len(barriers):
        return ()
    # GEOS divides by nought on the way to right results; numpy would pass that on as a warning.
    with np.errstate(invalid="ignore", divide="ignore"):
        return _spaces_between(barriers, seal, solid or shapely.disjoint_subset_union_all(barriers))


def _spaces_between(barriers: Shapes, seal: float, solid: BaseGeometry) -> tuple[Space, ...]:
    x0, y0, x1, y1 = shapely.bounds(solid)
    margin = FRAME_MM + seal
    frame = shapely.box(x0 - margin, y0 - margin, x1 + margin, y1 + margin)
    sealed = shapely.buffer(solid, seal - BARRIER_MM, join_style="mitre", mitre_limit=MITRE_LIMIT)
    cores = shapely.get_parts(shapely.difference(frame, sealed))
    reach = shapely.bounds(cores)[:, 0] <= x0 - margin + 1.0
    spaces = [Space(shape=core, outside=True) for core in cores[reach].tolist()]
    cores = cores[~reach]
    grown = shapely.buffer(cores, seal - BARRIER_MM, join_style="mitre", mitre_limit=GROWN_LIMIT)
    free = _tight_parts(shapely.get_parts(shapely.difference(frame, solid)), cores, grown)
    leaky = np.flatnonzero(shapely.is_missing(free))
    core_at, barrier_at = STRtree(barriers).query(grown[leaky], predicate="intersects")
    order = np.lexsort((barrier_at, core_at))
    near = np.split(barrier_at[order], np.cumsum(np.bincount(core_at, minlength=len(leaky)))[:-1])
    for k, touching in zip(leaky.tolist(), near, strict=len(leaky) > 0):
        free[k] = _grown_back(cores[k], grown[k], barriers[touching])
    _part_overlaps(free, cores, seal - BARRIER_MM)
    outlines = [_onto_strokes(shape) for shape in free.tolist() if shape is not None]
    spaces += [Space(shape=shape, outside=False) for shape in outlines if shape is not None]
    return tuple(sorted(spaces, key=lambda s: reading_order(s.shape)))


def _tight_parts(free: Shapes, cores: Shapes, grown: Shapes) -> Shapes:
    """For each core the part of the free space around it, where that has no leak and no nook that the
    core does not grow back into; None for the others.
    """
    tight = np.full(len(cores), None, dtype=object)
    core, part = STRtree(free).query(cores, predicate="within")
    alone = np.bincount(part, minlength=len(free))[part] == 1
    same = np.abs(shapely.area(grown[core]) - shapely.area(free[part])) <= SAME_AREA_MM2
    tight[core[alone & same]] = free[part[alone & same]]
    return tight


def _grown_back(core: Polygon, grown: BaseGeometry, barriers: Shapes) -> Polygon | None:
    """The core grown back as far as the barriers allow; only the part that holds the core."""
    return _part_with(_less(grown, shapely.union_all(barriers)), core)


def _part_overlaps(free: Shapes, cores: Shapes, reach: float) -> None:
    """Where two spaces grew into one leak, at sharp corners, each keeps clear of the other's near
    surroundings; what both still claim goes to the first. Changes `free`.
    """
    here = np.flatnonzero(~shapely.is_missing(free))
    one, two = STRtree(free[here]).query(free[here], predicate="intersects")
    one, two = here[one[one < two]], here[two[one < two]]
    both = shapely.area(shapely.intersection(free[one], free[two])) > SAME_AREA_MM2
    for i, j in sorted(zip(one[both].tolist(), two[both].tolist(), strict=True)):
        near_i, near_j = shapely.buffer(cores[[i, j]], reach)
        free[i] = _part_with(_less(free[i], near_j), cores[i])
        free[j] = _part_with(_less(free[j], near_i), cores[j])
        free[j] = _part_with(_less(free[j], free[i]), cores[j])


def _less(shape: BaseGeometry, other: BaseGeometry) -> BaseGeometry:
    """The shape less the other; on a grid where float noise leaves GEOS no way."""
    try:
        return shapely.difference(shape, other)
    except GEOSException:
        return shapely.difference(_polygons_of(shape), _polygons_of(other), grid_size=GRID_MM)


def _polygons_of(shape: BaseGeometry) -> BaseGeometry:
    """A shape made valid, lines and points that come of it left out."""
    parts = shapely.get_parts(shapely.get_parts(shapely.make_valid(shape)))
    return shapely.union_all([p for p in parts.tolist() if isinstance(p, Polygon)])


def _part_with(shape: BaseGeometry, core: Polygon) -> Polygon | None:
    """The largest polygon of a shape that touches the core."""
    parts = [p for p in shapely.get_parts(shape).tolist() if isinstance(p, Polygon)]
    return max((p for p in parts if p.intersects(core)), key=lambda p: p.area, default=None)


def _onto_strokes(shape: Polygon) -> Polygon | None:
    """A part of the free space grown by what the barriers were thickened by. A little more than that
    and back, so that the two sides of a stroke that ends in the space meet for certain.
    """
    grown = shapely.buffer(
        shape, BARRIER_MM + SAME_POINT_MM, join_style="mitre", mitre_limit=GROWN_LIMIT
    )
    return clean_outline(
        shapely.buffer(grown, -SAME_POINT_MM, join_style="mitre", mitre_limit=GROWN_LIMIT)
    )


def clean_outline(shape: BaseGeometry) -> Polygon | None:
    """The largest polygon of a shape, counter-clockwise, without needless corners and tiny holes.

    Returns None when nothing with an area is left.
    """
    if not shape.is_valid:
        shape = shapely.make_valid(shape)
    parts = [p for p in shapely.get_parts(shape).tolist() if isinstance(p, Polygon)]
    if not parts:
        return None
    part = max(parts, key=lambda p: p.area)
    shell = _corners(np.asarray(part.exterior.coords))
    if shell is None:
        return None
    holes = [
        hole
        for ring in part.interiors
        if Polygon(ring).area > SMALLEST_HOLE_MM2
        and (hole := _corners(np.asarray(ring.coords))) is not None
    ]
    cleaned = Polygon(shell, holes)
    if not cleaned.is_valid:
        # Dropping a corner can make a hole touch the shell; the uncleaned outline is right too.
        cleaned = part
    # Normalised, so that the outline begins at the same corner however the strokes were ordered.
    normal = cleaned.normalize()
    return orient(normal) if isinstance(normal, Polygon) else None


def _corners(ring: Floats) -> Floats | None:
    """Corners of a closed ring without doubles and without those on a straight side."""
    points = ring[:-1]
    step = np.hypot(*(np.roll(points, -1, axis=0) - points).T)
    points = points[step > SAME_POINT_MM]
    if len(points) < 3:
        return None
    # A ring's first point is never dropped: begin at the corner that stands out most.
    side = np.roll(points, -1, axis=0) - np.roll(points, 1, axis=0)
    back = points - np.roll(points, 1, axis=0)
    off = np.abs(side[:, 0] * back[:, 1] - side[:, 1] * back[:, 0])
    first = int(np.argmax(off / np.maximum(np.hypot(side[:, 0], side[:, 1]), SAME_POINT_MM)))
    rolled = np.roll(points, -first, axis=0)
    closed = shapely.linestrings(np.vstack([rolled, rolled[:1]]))
    kept = shapely.get_coordinates(shapely.simplify(closed, STRAIGHT_MM))[:-1]
    # Neighbours get the very same corners on the grid: near misses are what overlays stumble over.
    return np.round(kept / GRID_MM) * GRID_MM if len(kept) >= 3 else None


def reading_order(shape: BaseGeometry) -> tuple[float, float, float]:
    """Sort key: from the top of the sheet down, then from left to right, to the millimetre."""
    x0, _, _, y1 = shape.bounds
    return (-round(y1), round(x0), round(shape.area))


def filled_thin_holes(solid: BaseGeometry, width: float) -> BaseGeometry:
    """The solid with those of its holes filled that are nowhere wider than `width`: the insides of
    walls drawn by their faces, corners where strips of wall meet.
    """
    filled = []
    for part in shapely.get_parts(solid).tolist():
        rings = list(part.interiors)
        if not rings:
            filled.append(part)
            continue
        holes = np.array([Polygon(r) for r in rings], dtype=object)
        thin = 2 * shapely.area(holes) <= width * shapely.length(holes)
        tested = np.flatnonzero(thin)
        core = shapely.buffer(holes[tested], -width / 2, join_style="mitre")
        thin[tested] = shapely.is_empty(core)
        filled.append(
            Polygon(part.exterior, [r for r, t in zip(rings, thin, strict=True) if not t])
        )
    return MultiPolygon(filled)


def inscribed_diameter(shape: Polygon) -> float:
    """Diameter of the largest circle inside the polygon, to about 5 mm."""
    line = shapely.maximum_inscribed_circle(shape, tolerance=5.0)
    return 2 * float(shapely.length(line))
