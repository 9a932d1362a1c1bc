"""Where on which paper at which scale each storey of a plan is drawn."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from importer.picture_words import clean
from importer.plan import Plan, Point, StoreyId

Box = tuple[float, float, float, float]
Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

MARGIN: Final = 10.0
TITLE: Final = 17.0
"""Height of the title lines."""
FOOT: Final = 12.0
"""Height of the scale bar."""
COLUMN: Final = 88.0
"""Width of the lists at the side."""
GUTTER: Final = 6.0
CAPTION: Final = 8.0
"""Height of a storey's name over its plan, where there are several."""

PAPERS: Final = {
    "A4": (297.0, 210.0),
    "A3": (420.0, 297.0),
    "A2": (594.0, 420.0),
    "A1": (841.0, 594.0),
    "A0": (1189.0, 841.0),
}
"""ISO 216 sizes, lying."""
_ROUNDS: Final = (
    (20, ("A4",)),
    (50, ("A4", "A3")),
    (100, ("A4", "A3", "A2", "A1")),
    (200, ("A3", "A2", "A1")),
    (500, ("A3", "A2", "A1", "A0")),
    (1000, ("A3", "A2", "A1", "A0")),
    (2000, ("A2", "A0")),
)
"""Scales of ISO 5455 and the sheets they are tried on, first fit wins."""
_AROUND_MM: Final = 400.0
"""Shown beyond the outermost wall."""
_REACH: Final = 0.25
"""Walls are shown as far from the rooms as this part of the rooms' extent: enough for what was not
read as a room beside them, not for a detail drawn elsewhere on the sheet."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Panel:
    """One storey's place on the paper. `box` is what it shows, in the plan's millimetres; `left` and
    `top` are where its upper left corner lies on the paper.
    """

    storey: StoreyId | None
    caption: str
    box: Box
    left: float
    top: float
    scale: float

    def to_paper(self, p: Point) -> Point:
        """Plan millimetres to paper millimetres."""
        return (
            self.left + (p[0] - self.box[0]) / self.scale,
            self.top + (self.box[3] - p[1]) / self.scale,
        )

    def shape_to_paper(self, shape: BaseGeometry) -> BaseGeometry:
        """The same for a geometry."""
        x0, y1 = self.box[0], self.box[3]
        origin = np.array([x0, y1])
        factor = np.array([1.0, -1.0]) / self.scale
        place = np.array([self.left, self.top])
        moved: BaseGeometry = shapely.transform(shape, lambda c: (c - origin) * factor + place)
        return moved

    def holds(self, p: Point) -> bool:
        """Whether a place of the plan is on this panel."""
        x0, y0, x1, y1 = self.box
        return x0 <= p[0] <= x1 and y0 <= p[1] <= y1


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet:
    """The paper, the scale 1:`scale`, and the panels on it. The width is trimmed to the panels and
    the side column; `height` may be trimmed further when the lists are known, down to `lowest`.
    """

    width: float
    height: float
    lowest: float
    scale: float
    panels: tuple[Panel, ...]


def sheet_of(plan: Plan) -> Sheet:
    """The largest standard scale, and then the smallest paper, that hold every storey."""
    boxes = storey_boxes(plan)
    names = {s.id: clean(s.name) for s in plan.storeys}
    sizes = [(b[2] - b[0], b[3] - b[1]) for _, b in boxes]
    head = CAPTION if len(boxes) > 1 else 0.0
    scale, name, spots = _fitted(sizes, head)
    panels = tuple(
        Panel(
            storey=storey,
            caption=names.get(storey, "") if head and storey else "",
            box=box,
            left=left,
            top=top,
            scale=scale,
        )
        for (storey, box), (left, top) in zip(boxes, spots, strict=True)
    )
    ends = [p.to_paper((p.box[2], p.box[1])) for p in panels]
    right = max([x for x, _ in ends], default=MARGIN + COLUMN)
    return Sheet(
        width=right + GUTTER + COLUMN + MARGIN,
        height=PAPERS[name][1],
        lowest=max([y for _, y in ends], default=0.0) + FOOT + MARGIN,
        scale=scale,
        panels=panels,
    )


def _fitted(sizes: Sequence[tuple[float, float]], head: float) -> tuple[float, str, list[Point]]:
    """Scale, paper, and the upper left corner of each panel."""
    for scale, names in _ROUNDS:
        for name in names:
            spots = _flow(sizes, float(scale), PAPERS[name], head)
            if spots is not None:
                return float(scale), name, spots
    # Larger than a town quarter: as coarse as it takes on the largest sheet.
    coarse = _ROUNDS[-1][0] * 2.0
    while (spots := _flow(sizes, coarse, PAPERS["A0"], head)) is None:
        coarse *= 2.0
    return coarse, "A0", spots


def _flow(
    sizes: Sequence[tuple[float, float]], scale: float, paper: tuple[float, float], head: float
) -> list[Point] | None:
    """Panels side by side, then in further rows; None when the paper does not hold them."""
    right = paper[0] - MARGIN - COLUMN - GUTTER
    bottom = paper[1] - MARGIN - FOOT
    x, y, row = MARGIN, MARGIN + TITLE, 0.0
    spots: list[Point] = []
    for wide, high in sizes:
        w, h = wide / scale, high / scale + head
        if spots and x + w > right:
            x, y, row = MARGIN, y + row + GUTTER, 0.0
        if x + w > right or y + h > bottom:
            return None
        spots.append((x, y + head))
        x, row = x + w + GUTTER, max(row, h)
    return spots


# --- what each storey shows ------------------------------------------------------------------


def storey_boxes(plan: Plan) -> list[tuple[StoreyId | None, Box]]:
    """Extent of each storey that has rooms, with the walls about them; of all that there is when no
    room was found; nothing for an empty plan.
    """
    inner = [
        (s.id, _bounds([r.shape for r in plan.rooms if r.storey == s.id]))
        for s in plan.storeys
        if any(r.storey == s.id for r in plan.rooms)
    ]
    if not inner:
        everything = [*plan.walls, *plan.backdrop, *(d.shape for d in plan.doorways)]
        return [(None, _grown(_bounds(everything), _AROUND_MM))] if everything else []
    boxes = [b for _, b in inner]
    found: list[tuple[StoreyId | None, Box]] = []
    for i, (storey, box) in enumerate(inner):
        walls = shapely.bounds(np.array(plan.walls_of(storey), dtype=object)).reshape(-1, 4)
        own = walls[nearest_panel(walls, boxes)[:, i]]
        found.append((storey, _grown(_with_walls(box, own), _AROUND_MM)))
    return found


def nearest_panel(bounds: Floats, boxes: Sequence[Box]) -> Bools:
    """Which boxes each of the bounds belongs to: the nearest, or all that it touches; shape (n, k)."""
    if len(bounds) == 0:
        return np.zeros((0, len(boxes)), dtype=bool)
    gaps = np.column_stack([_gap(bounds, box) for box in boxes])
    nearest: Bools = gaps <= gaps.min(axis=1, keepdims=True)
    return nearest


def _gap(bounds: Floats, box: Box) -> Floats:
    """Distance between rectangles, 0 where they touch."""
    dx = np.maximum(0.0, np.maximum(box[0] - bounds[:, 2], bounds[:, 0] - box[2]))
    dy = np.maximum(0.0, np.maximum(box[1] - bounds[:, 3], bounds[:, 1] - box[3]))
    gap: Floats = np.hypot(dx, dy)
    return gap


def _with_walls(box: Box, walls: Floats) -> Box:
    """The box with the walls about it, as far as `_REACH` lets them."""
    if len(walls) == 0:
        return box
    limit = _grown(box, _REACH * max(box[2] - box[0], box[3] - box[1]))
    low = np.maximum(walls[:, :2].min(axis=0), limit[:2])
    high = np.minimum(walls[:, 2:].max(axis=0), limit[2:])
    return (
        min(box[0], float(low[0])),
        min(box[1], float(low[1])),
        max(box[2], float(high[0])),
        max(box[3], float(high[1])),
    )


def _bounds(shapes: Sequence[BaseGeometry]) -> Box:
    x0, y0, x1, y1 = shapely.total_bounds(np.array(shapes, dtype=object))
    return float(x0), float(y0), float(x1), float(y1)


def _grown(box: Box, by: float) -> Box:
    return box[0] - by, box[1] - by, box[2] + by, box[3] + by
