"""Which cuts make a piece out of a plank, read from the piece's outline.

    +-----------------+------+      what the outline lacks of its bounding box is sawn away:
    |                 |notch |      beside a corner that points inwards: a notch;
    |                 +------+      along the rows within 3 degrees: a tapered rip;
    |                       /       at an end: a cross cut, angled
    +----------------------+

The order of cuts is the fitter's. Bay frame, millimetres.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import radians, tan

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import MultiPoint, Polygon

from importer.tolerance import GRID_MM, LENGTH_MM, PARALLEL_DEG, SAME_POINT_MM, SLIVER_WIDTH_MM
from layout.floor import Cut, CutKind

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Box:
    """Bounding box of a piece, and the plank that it is cut from."""

    x0: float
    y0: float
    x1: float
    y1: float
    plank_length: float
    plank_width: float

    @property
    def length(self) -> float:
        """Along the rows."""
        return self.x1 - self.x0

    @property
    def width(self) -> float:
        """Across them."""
        return self.y1 - self.y0

    @property
    def is_shortened(self) -> bool:
        """Shorter than a plank."""
        return self.length < self.plank_length - LENGTH_MM

    @property
    def is_ripped(self) -> bool:
        """Narrower than a plank."""
        return self.width < self.plank_width - LENGTH_MM


def box_cuts(box: Box) -> tuple[Cut, ...]:
    """The cuts of a rectangular piece."""
    cuts = []
    if box.is_shortened:
        cuts.append(Cut(kind=CutKind.CROSS, measures_mm=(box.length, box.length)))
    if box.is_ripped:
        cuts.append(Cut(kind=CutKind.RIP, measures_mm=(box.width, box.width)))
    return tuple(cuts)


def cuts_of(shape: Polygon, box: Box) -> tuple[Cut, ...]:
    """The cuts of any piece: cross cuts, rips, notches, each kind from near end to far end."""
    whole = shapely.box(box.x0, box.y0, box.x1, box.y1)
    lacking = shapely.difference(whole, shape, grid_size=GRID_MM)
    parts = sorted((p for p in shapely.get_parts(lacking) if _is_sawn(p)), key=lambda p: p.bounds)
    inward = _inward_corners(shape)
    crosses: list[Cut] = []
    rips: list[Cut] = []
    notches: list[Cut] = []
    for part in parts:
        px0, py0, px1, py1 = part.bounds
        if not inward.is_empty and part.distance(inward) <= SAME_POINT_MM:
            notches.append(Cut(kind=CutKind.NOTCH, measures_mm=(px1 - px0, py1 - py0)))
        elif py1 - py0 <= tan(radians(PARALLEL_DEG)) * (px1 - px0):
            rips.append(_taper(part, box))
        else:
            crosses.append(_angled(part, box))
    plain = box_cuts(box)
    if not crosses:
        crosses.extend(c for c in plain if c.kind is CutKind.CROSS)
    if not rips:
        rips.extend(c for c in plain if c.kind is CutKind.RIP)
    return (*crosses, *rips, *notches)


def _is_sawn(part: Polygon) -> bool:
    """Whether a part is large enough to saw off: no snapping noise along an edge."""
    x0, y0, x1, y1 = part.bounds
    return min(x1 - x0, y1 - y0) > SLIVER_WIDTH_MM


def _taper(part: Polygon, box: Box) -> Cut:
    """Widths left at the near and the far end."""
    points = shapely.get_coordinates(part)
    return Cut(
        kind=CutKind.RIP,
        measures_mm=(
            max(0.0, box.width - _reach(points, axis=0, place=box.x0)),
            max(0.0, box.width - _reach(points, axis=0, place=box.x1)),
        ),
    )


def _angled(part: Polygon, box: Box) -> Cut:
    """Lengths left along the near and the far long edge."""
    points = shapely.get_coordinates(part)
    return Cut(
        kind=CutKind.CROSS,
        measures_mm=(
            max(0.0, box.length - _reach(points, axis=1, place=box.y0)),
            max(0.0, box.length - _reach(points, axis=1, place=box.y1)),
        ),
    )


def _reach(points: Floats, *, axis: int, place: float) -> float:
    """How much of one side of the box the sawn-off part takes."""
    on = points[np.abs(points[:, axis] - place) <= SAME_POINT_MM, 1 - axis]
    return float(np.ptp(on)) if len(on) else 0.0


def _inward_corners(shape: Polygon) -> MultiPoint:
    """Corners where the piece turns away from itself: a saw must stop there. Bends of less than a
    degree are a wall's, not a corner's.
    """
    found = []
    turned = shapely.orient_polygons(shape)
    for ring in (turned.exterior, *turned.interiors):
        points = shapely.get_coordinates(ring)
        after = np.diff(points, axis=0)
        before = np.concatenate([after[-1:], after[:-1]])
        cross = before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0]
        along = before[:, 0] * after[:, 0] + before[:, 1] * after[:, 1]
        found.append(points[:-1][np.arctan2(cross, along) < -radians(1.0)])
    return MultiPoint(np.concatenate(found))
